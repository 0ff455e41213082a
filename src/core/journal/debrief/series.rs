//! What the aircraft did: signals over the session.

use crate::core::aircraft::{Delta, Value};
use crate::core::time::SessionTime;
use serde::Serialize;
use std::collections::BTreeMap;

/// State comes 20 times a second and only when it changes: across a longer gap the old value stood.
const GAP_S: f64 = 0.2;

/// Signals by name, each with its changes in order; `None` where the source took it away.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Series {
    kept: BTreeMap<String, Vec<(SessionTime, Option<Value>)>>,
}

impl Series {
    /// Keeps a signal from now on.
    pub(super) fn keep(&mut self, signal: &str) {
        if !self.kept.contains_key(signal) {
            self.kept.insert(signal.to_string(), Vec::new());
        }
    }

    pub(super) fn take(&mut self, at: SessionTime, delta: &Delta) {
        for (name, value) in delta {
            if let Some(all) = self.kept.get_mut(name) {
                all.push((at, value.clone()));
            }
        }
    }

    /// All changes of a signal.
    pub fn of(&self, signal: &str) -> &[(SessionTime, Option<Value>)] {
        self.kept.get(signal).map_or(&[], Vec::as_slice)
    }

    /// The number that a signal had; between two frames as on a straight line.
    pub fn number(&self, signal: &str, at: SessionTime) -> Option<f64> {
        let all = self.of(signal);
        let next = all.partition_point(|(t, _)| *t <= at);
        let (t0, v0) = all.get(next.checked_sub(1)?)?;
        let v0 = v0.as_ref()?.number()?;
        match all.get(next) {
            Some((t1, Some(v1))) if t1.since(*t0) <= GAP_S => {
                let v1 = v1.number()?;
                Some(v0 + (v1 - v0) * (at.since(*t0) / t1.since(*t0)).clamp(0.0, 1.0))
            }
            _ => Some(v0),
        }
    }

    /// When a signal passed `value`, last before or first after `near`.
    pub fn passed(&self, signal: &str, value: f64, rising: bool, near: SessionTime) -> Option<SessionTime> {
        let sign = if rising { 1.0 } else { -1.0 };
        self.passes(signal, |a, b| (a - value) * sign < 0.0 && (b - value) * sign >= 0.0)
            .map(|(t0, a, t1, b)| t0.plus(t1.since(t0) * ((value - a) / (b - a))))
            .min_by_key(|t| (t.0 - near.0).abs())
    }

    /// Each time a signal fell through `value`, coming from at least `from`.
    pub fn falls(&self, signal: &str, value: f64, from: f64) -> Vec<SessionTime> {
        let mut armed = false;
        let mut out = Vec::new();
        for (t, v) in self.of(signal) {
            let Some(n) = v.as_ref().and_then(Value::number) else {
                armed = false;
                continue;
            };
            armed |= n >= from;
            if armed && n < value {
                out.push(*t);
                armed = false;
            }
        }
        out
    }

    fn passes(
        &self,
        signal: &str,
        is: impl Fn(f64, f64) -> bool,
    ) -> impl Iterator<Item = (SessionTime, f64, SessionTime, f64)> {
        self.of(signal).windows(2).filter_map(move |w| {
            let (a, b) = (w[0].1.as_ref()?.number()?, w[1].1.as_ref()?.number()?);
            is(a, b).then_some((w[0].0, a, w[1].0, b))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_between_frames_and_across_gaps() {
        let t = SessionTime::from_secs;
        let mut s = Series::default();
        s.keep("x");
        for (at, v) in [(1.0, Some(10.0)), (1.1, Some(20.0)), (5.0, Some(40.0)), (6.0, None)] {
            s.take(t(at), &[("x".to_string(), v.map(Value::Number)), ("y".to_string(), None)].into());
        }
        let check = |at: f64, want: Option<f64>| {
            let got = s.number("x", t(at));
            assert!(got == want || (got.unwrap() - want.unwrap()).abs() < 1e-9, "{at}: {got:?}");
        };
        check(0.5, None);
        check(1.05, Some(15.0));
        check(3.0, Some(20.0));
        check(5.5, Some(40.0));
        check(7.0, None);
        assert_eq!(s.passed("x", 15.0, true, t(1.0)), Some(t(1.05)));
        assert_eq!(s.passed("x", 15.0, false, t(1.0)), None);
        assert!(s.of("y").is_empty());
        s.take(t(8.0), &[("x".to_string(), Some(Value::Number(5.0)))].into());
        assert_eq!(s.falls("x", 30.0, 35.0), []);
        for (at, v) in [(9.0, 40.0), (10.0, 20.0), (11.0, 31.0), (12.0, 20.0)] {
            s.take(t(at), &[("x".to_string(), Some(Value::Number(v)))].into());
        }
        assert_eq!(s.falls("x", 30.0, 35.0), [t(10.0)]);
    }
}
