//! Exact crossings: from frames of state to the moment at which a signal passes a value.
//!
//! A callout whose *end* is due at the value must begin before it, so a crossing is looked for ahead: the signal is
//! continued with its present rate and acceleration. A frame that has passed the value unforeseen counts at once. What
//! is beyond the value when it is first seen was not lived through and is never reported.

use super::Value;
use crate::core::time::SimTime;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// What to look out for.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Name that comes back in [`Crossing`].
    pub name: String,
    /// The signal.
    pub signal: String,
    /// The value.
    pub value: f64,
    /// Rising through it, or falling.
    pub rising: bool,
    /// How long before the crossing it is wanted, s (0 or more).
    pub lead_s: f64,
}

/// A crossing found.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// The mark's name.
    pub name: String,
    /// When it is wanted: the crossing less the lead, never before the frame that showed it.
    pub at: SimTime,
    /// The signal's value expected when the lead is over.
    pub value: f64,
}

/// Rates are taken over this long.
const WINDOW_S: f64 = 0.3;

#[derive(Debug, Clone, Default)]
struct History {
    frames: VecDeque<(SimTime, f64)>,
}

impl History {
    fn push(&mut self, at: SimTime, value: f64) {
        self.frames.push_back((at, value));
        while self.frames.len() > 3 && self.frames.front().is_some_and(|(t, _)| at.since(*t) > WINDOW_S) {
            self.frames.pop_front();
        }
    }

    /// Present rate (per s) and acceleration (per s²) from the older and the newer half of the window.
    fn motion(&self) -> Option<(f64, f64)> {
        let n = self.frames.len();
        let (first, mid, last) = (self.frames.front()?, self.frames.get(n / 2)?, self.frames.back()?);
        let whole = last.0.since(first.0);
        if whole <= 0.0 {
            return None;
        }
        let (older, newer) = (mid.0.since(first.0), last.0.since(mid.0));
        if older <= 0.0 || newer <= 0.0 {
            return Some(((last.1 - first.1) / whole, 0.0));
        }
        let (r1, r2) = ((mid.1 - first.1) / older, (last.1 - mid.1) / newer);
        let accel = (r2 - r1) / (whole / 2.0);
        Some((r2 + accel * newer / 2.0, accel))
    }
}

/// Looks for crossings, frame by frame.
#[derive(Debug, Clone, Default)]
pub struct Detector {
    marks: Vec<Mark>,
    found: BTreeSet<String>,
    /// Last value of the mark's signal since the mark was set.
    before: BTreeMap<String, f64>,
    histories: BTreeMap<String, History>,
    /// The aircraft's seconds in one of those in which the leads are counted; 0 before it is told, which means 1.
    rate: f64,
}

impl Detector {
    /// Says how many times as fast as the leads' clock the aircraft's runs.
    pub fn pace(&mut self, rate: f64) {
        self.rate = rate;
    }

    /// Replaces the marks; those that stay keep what they have seen.
    pub fn watch(&mut self, marks: Vec<Mark>) {
        let same = |name: &str, old: &[Mark]| {
            let new = marks.iter().find(|m| m.name == name);
            let old = old.iter().find(|m| m.name == name);
            matches!((new, old), (Some(a), Some(b)) if a.signal == b.signal && a.value == b.value && a.rising == b.rising)
        };
        let old = std::mem::take(&mut self.marks);
        self.found.retain(|name| same(name, &old));
        self.before.retain(|name, _| same(name, &old));
        self.histories.retain(|signal, _| marks.iter().any(|m| &m.signal == signal));
        self.marks = marks;
    }

    /// The signals that are looked at.
    pub fn signals(&self) -> impl Iterator<Item = &str> {
        self.histories.keys().map(String::as_str)
    }

    /// Forgets everything seen: time or place has jumped.
    pub fn reset(&mut self) {
        self.before.clear();
        self.histories.clear();
    }

    /// Takes one frame in; `next_s` is the time to the next one, as far as known. Crossings come in order of time.
    pub fn frame<'v>(&mut self, at: SimTime, next_s: f64, read: impl Fn(&str) -> Option<&'v Value>) -> Vec<Crossing> {
        let signals: BTreeSet<&str> = self.marks.iter().map(|m| m.signal.as_str()).collect();
        for signal in signals {
            if let Some(v) = read(signal).and_then(Value::number) {
                self.histories.entry(signal.to_string()).or_default().push(at, v);
            }
        }
        let mut out = Vec::new();
        for m in &self.marks {
            let Some(history) = self.histories.get(&m.signal) else { continue };
            let Some(&(t, v)) = history.frames.back() else { continue };
            if t != at || self.found.contains(&m.name) {
                continue;
            }
            let sign = if m.rising { 1.0 } else { -1.0 };
            let gap = (m.value - v) * sign;
            let before = self.before.insert(m.name.clone(), v);
            if gap <= 0.0 {
                if before.is_some_and(|b| (m.value - b) * sign > 0.0) {
                    out.push(Crossing { name: m.name.clone(), at, value: v });
                }
                continue;
            }
            let Some((rate, accel)) = history.motion() else { continue };
            let Some(eta) = time_to(gap, rate * sign, accel * sign) else { continue };
            let lead_s = if self.rate > 0.0 { m.lead_s * self.rate } else { m.lead_s };
            let wait = eta - lead_s;
            if wait <= next_s {
                let wait = wait.max(0.0);
                // What it will be when the lead is over: the mark itself, unless it came too suddenly.
                let then = wait + lead_s;
                let value = v + rate * then + 0.5 * accel * then * then;
                out.push(Crossing { name: m.name.clone(), at: at.plus(wait), value });
            }
        }
        self.found.extend(out.iter().map(|c| c.name.clone()));
        out.sort_by(|a, b| a.at.cmp(&b.at).then_with(|| a.name.cmp(&b.name)));
        out
    }
}

/// Smallest time ≥ 0 at which `rate·t + accel·t²/2` reaches `gap` > 0.
fn time_to(gap: f64, rate: f64, accel: f64) -> Option<f64> {
    if accel.abs() < 1e-9 {
        return (rate > 1e-9).then(|| gap / rate);
    }
    let under = rate * rate + 2.0 * accel * gap;
    if under < 0.0 {
        return None;
    }
    let root = libm::sqrt(under);
    let times = [(-rate + root) / accel, (-rate - root) / accel];
    times.into_iter().filter(|t| *t >= 0.0).min_by(f64::total_cmp)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mark(value: f64, rising: bool, lead_s: f64) -> Mark {
        Mark { name: "m".into(), signal: "ias_kt".into(), value, rising, lead_s }
    }

    /// Runs `speed(t)` at `hz` for `seconds`; the time of the first crossing found.
    fn first(marks: Vec<Mark>, hz: f64, seconds: f64, speed: impl Fn(f64) -> f64) -> Option<f64> {
        let mut d = Detector::default();
        d.watch(marks);
        let mut k = 0.0;
        while k / hz < seconds {
            let v = Value::Number(speed(k / hz));
            if let Some(c) = d.frame(SimTime::from_secs(k / hz), 1.0 / hz, |_| Some(&v)).first() {
                return Some(c.at.secs());
            }
            k += 1.0;
        }
        None
    }

    #[test]
    fn steady_acceleration_is_found_to_the_millisecond() {
        // v = 4 t: 80 at 20 s, whatever the frame rate.
        for hz in [60.0, 20.0, 5.0] {
            let t = first(vec![mark(80.0, true, 0.0)], hz, 30.0, |t| 4.0 * t).expect("crosses");
            assert!((t - 20.0).abs() < 1e-3, "{hz} Hz: {t}");
            let t = first(vec![mark(80.0, true, 0.4)], hz, 30.0, |t| 4.0 * t).expect("crosses");
            assert!((t - 19.6).abs() < 1e-3, "{hz} Hz with lead: {t}");
        }
    }

    #[test]
    fn falling_acceleration_is_followed() {
        // v = 100 t / (t + 10), crossing 60 at 15 s, with a slowly falling rate.
        let t = first(vec![mark(60.0, true, 0.5)], 20.0, 30.0, |t| 100.0 * t / (t + 10.0)).expect("crosses");
        assert!((t - 14.5).abs() < 0.01, "{t}");
        let t = first(vec![mark(60.0, false, 0.0)], 20.0, 60.0, |t| 140.0 - 4.0 * t).expect("falls");
        assert!((t - 20.0).abs() < 1e-3, "{t}");
    }

    #[test]
    fn what_was_not_lived_through_is_not_reported() {
        assert_eq!(first(vec![mark(80.0, true, 0.0)], 20.0, 10.0, |t| 100.0 + t), None);
        assert_eq!(first(vec![mark(80.0, true, 0.0)], 20.0, 10.0, |_| 79.9), None);
    }

    #[test]
    fn a_leap_over_the_value_counts_at_the_frame_that_shows_it() {
        let t = first(vec![mark(80.0, true, 0.0)], 20.0, 10.0, |t| if t < 5.0 { 10.0 } else { 90.0 });
        assert_eq!(t, Some(5.0));
    }

    #[test]
    fn a_reset_forgets() {
        let mut d = Detector::default();
        d.watch(vec![mark(80.0, true, 0.0)]);
        let (low, high) = (Value::Number(10.0), Value::Number(90.0));
        assert!(d.frame(SimTime::from_secs(0.0), 0.05, |_| Some(&low)).is_empty());
        d.reset();
        assert!(d.frame(SimTime::from_secs(0.05), 0.05, |_| Some(&high)).is_empty());
    }
}
