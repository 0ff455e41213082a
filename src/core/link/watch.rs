//! Every signal of a link as it comes: its value, its age, how often it is told.

use crate::core::aircraft::{Delta, Value};
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, VecDeque};

/// The rate is that of so many last tellings.
const KEPT: usize = 64;
/// Older tellings do not count, s.
const RECENT_S: f64 = 10.0;

/// A signal at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Shown {
    /// Its name.
    pub name: String,
    /// Its value; `None`: not known.
    pub value: Option<Value>,
    /// Since it was last told, s.
    pub age_s: f64,
    /// Tellings a second of late.
    pub rate_hz: f64,
    /// Told before, and not to be relied upon now.
    pub stale: bool,
}

#[derive(Debug, Clone, Default)]
struct Seen {
    value: Option<Value>,
    told: VecDeque<SessionTime>,
}

/// All signals.
#[derive(Debug, Clone, Default)]
pub struct Watch {
    signals: BTreeMap<String, Seen>,
    frames: VecDeque<SessionTime>,
    up: bool,
}

fn note(times: &mut VecDeque<SessionTime>, at: SessionTime) {
    if times.len() == KEPT {
        times.pop_front();
    }
    times.push_back(at);
}

fn rate(times: &VecDeque<SessionTime>, now: SessionTime) -> f64 {
    let recent: Vec<&SessionTime> = times.iter().filter(|t| now.since(**t) <= RECENT_S).collect();
    match (recent.first(), recent.last()) {
        (Some(first), Some(last)) if recent.len() > 1 && last > first => {
            (recent.len() - 1) as f64 / last.since(**first)
        }
        _ => 0.0,
    }
}

impl Watch {
    /// A state came.
    pub fn frame(&mut self, at: SessionTime, delta: &Delta) {
        self.up = true;
        note(&mut self.frames, at);
        for (name, value) in delta {
            let seen = self.signals.entry(name.clone()).or_default();
            seen.value.clone_from(value);
            note(&mut seen.told, at);
        }
    }

    /// The aircraft is there, and nothing changes.
    pub fn stands(&mut self, at: SessionTime) {
        note(&mut self.frames, at);
    }

    /// The aircraft is out of sight.
    pub fn lost(&mut self) {
        self.up = false;
    }

    /// States a second of late.
    pub fn rate_hz(&self, now: SessionTime) -> f64 {
        rate(&self.frames, now)
    }

    /// Every signal that was ever told, by name; without any state for `stale_after_s` all are stale.
    pub fn shown(&self, now: SessionTime, stale_after_s: impl Fn(&str) -> f64) -> Vec<Shown> {
        let silent_s = self.frames.back().map_or(f64::INFINITY, |t| now.since(*t));
        let show = |(name, seen): (&String, &Seen)| Shown {
            name: name.clone(),
            value: seen.value.clone(),
            age_s: seen.told.back().map_or(0.0, |t| now.since(*t)),
            rate_hz: rate(&seen.told, now),
            stale: !self.up || silent_s > stale_after_s(name) || seen.value.is_none(),
        };
        self.signals.iter().map(show).collect()
    }

    /// Signals that had a value.
    pub fn given(&self) -> impl Iterator<Item = &str> {
        self.signals.iter().filter(|(_, s)| s.value.is_some()).map(|(n, _)| n.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn age_rate_and_staleness_are_each_signals_own() {
        let at = SessionTime::from_secs;
        let mut w = Watch::default();
        for i in 0..=20 {
            let mut delta: Delta = [("fast".to_string(), Some(Value::Number(f64::from(i))))].into();
            if i % 10 == 0 {
                delta.insert("slow".into(), Some(Value::Bool(true)));
            }
            w.frame(at(f64::from(i) * 0.05), &delta);
        }
        w.frame(at(1.05), &[("gone".to_string(), None)].into());
        let all = w.shown(at(1.5), |_| 2.0);
        let of = |name: &str| all.iter().find(|s| s.name == name).expect("shown");
        let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
        assert!(near(of("fast").rate_hz, 20.0) && near(of("fast").age_s, 0.5) && !of("fast").stale, "{all:?}");
        assert!(near(of("slow").rate_hz, 2.0) && near(of("slow").age_s, 0.5), "{all:?}");
        assert!(of("gone").stale && of("gone").value.is_none());
        assert_eq!(w.given().collect::<Vec<_>>(), ["fast", "slow"]);
        assert!(w.shown(at(4.0), |_| 2.0).iter().all(|s| s.stale));
        w.stands(at(4.0));
        assert!(!w.shown(at(4.0), |_| 2.0)[0].stale);
        w.lost();
        assert!(w.shown(at(4.0), |_| 2.0).iter().all(|s| s.stale));
    }
}
