//! The simulator's clock against the session's: how fast it runs, and when it shows what.
//!
//! States arrive late by a varying time. The least late of the last seconds shows the true relation of the clocks (what
//! remains is the constant part of the delay, which a ping measures); the slope shows the rate.

use crate::core::time::{SessionTime, SimTime};
use std::collections::VecDeque;

/// "Not until something new arrives".
pub const FAR: SessionTime = SessionTime(i64::MAX / 4);

/// States that are looked back on, s of the session.
const WINDOW_S: f64 = 2.5;
/// Shortest stretch from which a rate is taken, s.
const SLOPE_S: f64 = 0.4;
/// Rates that simulators offer; a measured one this near (as a part of it) is taken for it.
const RATES: [f64; 10] = [0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 6.0, 8.0, 16.0, 32.0];
const NEAR: f64 = 0.08;
/// A measured rate that differs by more than this part has changed.
const CHANGED: f64 = 0.3;
/// Without news the clock is believed to go on for this long, or for so many intervals.
const BELIEVED_S: f64 = 0.4;
const BELIEVED_INTERVALS: f64 = 2.5;
/// A leap of the simulator's clock by more than this and by more than `LEAP_RATE` allows is a jump.
const LEAP_S: f64 = 5.0;
const LEAP_RATE: f64 = 40.0;

/// What a state did to the clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moved {
    /// It is later than before.
    On,
    /// It stands.
    Stands,
    /// It has leapt: what was in between was not lived through.
    Jumped,
}

/// The relation of the two clocks. [`SimTime`] here never goes back: a jump only restarts it from where it was.
#[derive(Debug, Clone)]
pub struct Clock {
    window: VecDeque<(SessionTime, f64)>,
    /// Our simulator's time less theirs, s.
    shift_s: f64,
    last: Option<(SessionTime, f64)>,
    rate: f64,
    told: bool,
    paused: bool,
    delay_s: f64,
    interval_s: f64,
    /// Session time, s, at which their clock showed zero, as the least late state says.
    zero_s: f64,
}

impl Default for Clock {
    fn default() -> Self {
        Clock {
            window: VecDeque::new(),
            shift_s: 0.0,
            last: None,
            rate: 1.0,
            told: false,
            paused: false,
            delay_s: 0.0,
            interval_s: 0.05,
            zero_s: 0.0,
        }
    }
}

impl Clock {
    /// A state that arrived at `arrived` and shows `time_s` on the simulator's clock. `arrived` must not go back.
    pub fn frame(&mut self, arrived: SessionTime, time_s: f64) -> Moved {
        let Some((before, shown)) = self.last else {
            self.shift_s = -time_s;
            self.begin(arrived, time_s);
            return Moved::On;
        };
        let (passed, gone) = (arrived.since(before), time_s - shown);
        if gone < 0.0 || gone > LEAP_S + LEAP_RATE * passed {
            self.jump(arrived, time_s);
            return Moved::Jumped;
        }
        if gone == 0.0 {
            return Moved::Stands;
        }
        self.paused = false;
        if passed > 1.0 {
            self.window.clear();
        }
        self.last = Some((arrived, time_s));
        self.window.push_back((arrived, time_s));
        while self.window.front().is_some_and(|(t, _)| arrived.since(*t) > WINDOW_S) {
            self.window.pop_front();
        }
        self.learn();
        Moved::On
    }

    /// The simulator says that it is somewhere else: time goes on from where it was.
    pub fn jump(&mut self, arrived: SessionTime, time_s: f64) {
        let now = self.sim().secs();
        self.shift_s = now - time_s;
        self.begin(arrived, time_s);
    }

    fn begin(&mut self, arrived: SessionTime, time_s: f64) {
        self.window.clear();
        self.window.push_back((arrived, time_s));
        self.last = Some((arrived, time_s));
        self.anchor();
    }

    /// The simulator says that its clock stands, or goes.
    pub fn pause(&mut self, paused: bool) {
        if self.paused && !paused {
            self.window.clear();
        }
        self.paused = paused;
    }

    /// The simulator says how fast it runs.
    pub fn set_rate(&mut self, rate: f64) {
        if rate.is_finite() && rate > 0.0 {
            if rate != self.rate {
                self.window.clear();
            }
            (self.rate, self.told) = (rate, true);
        }
    }

    /// The constant part of the delay, one way, s.
    pub fn set_delay(&mut self, delay_s: f64) {
        self.delay_s = delay_s.clamp(0.0, 2.0);
    }

    fn learn(&mut self) {
        let (Some(first), Some(last)) = (self.window.front().copied(), self.window.back().copied()) else { return };
        let n = self.window.len() as f64;
        let span = last.0.since(first.0);
        if n >= 2.0 && span > 0.0 {
            self.interval_s = (span / (n - 1.0)).clamp(0.005, 2.0);
        }
        if !self.told && span >= SLOPE_S {
            let recent = self.window.iter().rev().find(|(t, _)| last.0.since(*t) >= SLOPE_S).copied();
            let (t, s) = recent.unwrap_or(first);
            let now = (last.1 - s) / last.0.since(t);
            if (now - self.rate).abs() > CHANGED * self.rate {
                self.window.retain(|(x, _)| *x >= t);
                self.rate = snap(now);
            } else {
                self.rate = snap((last.1 - first.1) / span);
            }
        }
        self.anchor();
    }

    fn anchor(&mut self) {
        let zeros = self.window.iter().map(|(t, s)| t.secs() - s / self.rate);
        self.zero_s = zeros.min_by(f64::total_cmp).unwrap_or(self.zero_s);
    }

    /// How many times as fast as the session's it runs.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// Whether it is known to stand.
    pub fn paused(&self) -> bool {
        self.paused
    }

    /// Session seconds from state to state.
    pub fn interval_s(&self) -> f64 {
        self.interval_s
    }

    /// The clock of the last state.
    pub fn sim(&self) -> SimTime {
        self.last.map_or(SimTime::ZERO, |(_, s)| SimTime::from_secs(s + self.shift_s))
    }

    /// How far it is believed to go on without news.
    fn believed(&self) -> SimTime {
        let ahead = if self.paused { 0.0 } else { BELIEVED_S.max(BELIEVED_INTERVALS * self.interval_s) * self.rate };
        self.sim().plus(ahead)
    }

    /// What it shows at `at`, as far as known.
    pub fn sim_at(&self, at: SessionTime) -> SimTime {
        let theirs = (at.secs() + self.delay_s - self.zero_s) * self.rate;
        SimTime::from_secs(theirs + self.shift_s).clamp(self.sim(), self.believed())
    }

    /// When it will show `sim`; [`FAR`] if that is beyond what is known. Never too early: `sim_at` of it has reached it.
    pub fn session_at(&self, sim: SimTime) -> SessionTime {
        if self.last.is_none() || sim > self.believed() {
            return FAR;
        }
        let theirs = sim.secs() - self.shift_s;
        SessionTime::from_secs(self.zero_s + theirs / self.rate - self.delay_s).plus(2e-6)
    }
}

fn snap(rate: f64) -> f64 {
    let rate = rate.clamp(0.01, 100.0);
    RATES.into_iter().find(|r| (rate - r).abs() <= NEAR * r).unwrap_or(rate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(s: f64) -> SessionTime {
        SessionTime::from_secs(s)
    }

    /// States each `every` s of the simulator's clock at `rate`, late by 5 to 35 ms, for 4 s; the error of when the clock
    /// will show a moment 0.2 s ahead, s.
    fn error(rate: f64, every: f64, delay: f64) -> (f64, f64) {
        let mut c = Clock::default();
        c.set_delay(delay);
        let mut late = 7u64;
        let mut t = 100.0;
        let mut before = 0.0f64;
        while t < 100.0 + 4.0 * rate {
            late = late.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let jitter = (late >> 40) as f64 / (1u64 << 24) as f64 * 0.03;
            let arrives = ((t - 100.0) / rate + delay + jitter).max(before);
            before = arrives;
            c.frame(at(arrives), t);
            t += every;
        }
        let sim = c.sim().plus(0.1 * rate);
        (c.session_at(sim).secs() - sim.secs() / rate, c.rate())
    }

    #[test]
    fn jitter_does_not_move_the_clock() {
        for (rate, every) in [(1.0, 0.05), (1.0, 0.2), (4.0, 0.05), (0.5, 0.05), (1.0, 1.0 / 60.0)] {
            let (error, found) = error(rate, every, 0.005);
            assert_eq!(found, rate, "every {every}");
            assert!(error.abs() < 0.012, "{rate} every {every}: {error}");
        }
    }

    #[test]
    fn a_change_of_rate_is_followed_within_a_second() {
        let mut c = Clock::default();
        for i in 0..60 {
            c.frame(at(f64::from(i) * 0.05), f64::from(i) * 0.05);
        }
        assert_eq!(c.rate(), 1.0);
        for i in 0..20 {
            c.frame(at(3.0 + f64::from(i) * 0.05), 3.0 + f64::from(i) * 0.2);
        }
        assert_eq!(c.rate(), 4.0);
    }

    #[test]
    fn time_never_goes_back_and_a_jump_is_told() {
        let mut c = Clock::default();
        assert_eq!(c.frame(at(0.0), 50.0), Moved::On);
        assert_eq!(c.frame(at(0.05), 50.05), Moved::On);
        assert_eq!(c.frame(at(0.10), 50.05), Moved::Stands);
        assert_eq!(c.sim(), SimTime::from_secs(0.05));
        assert_eq!(c.frame(at(0.15), 2.0), Moved::Jumped);
        assert_eq!(c.sim(), SimTime::from_secs(0.05));
        assert_eq!(c.frame(at(0.20), 2.05), Moved::On);
        assert_eq!(c.frame(at(0.25), 900.0), Moved::Jumped);
        assert_eq!(c.sim(), SimTime::from_secs(0.10));
    }

    #[test]
    fn nothing_is_believed_beyond_what_is_known() {
        let mut c = Clock::default();
        assert_eq!(c.session_at(SimTime::ZERO), FAR);
        for i in 0..20 {
            c.frame(at(f64::from(i) * 0.05), f64::from(i) * 0.05);
        }
        assert_eq!(c.sim_at(at(60.0)), c.sim().plus(BELIEVED_S));
        assert_eq!(c.session_at(c.sim().plus(1.0)), FAR);
        c.pause(true);
        assert_eq!(c.session_at(c.sim().plus(0.001)), FAR);
        assert_eq!(c.sim_at(at(60.0)), c.sim());
    }

    proptest! {
        #[test]
        fn a_moment_that_has_come_has_come_on_both_clocks(
            rate in 0.1f64..32.0,
            start in 0.0f64..1e5,
            ahead in 0.0f64..0.3,
        ) {
            let mut c = Clock::default();
            c.set_rate(rate);
            for i in 0..10 {
                c.frame(at(start + f64::from(i) * 0.05), f64::from(i) * 0.05 * rate);
            }
            let sim = c.sim().plus(ahead * rate);
            let when = c.session_at(sim);
            prop_assert!(when != FAR && c.sim_at(when) >= sim, "{:?} {:?}", c.sim_at(when), sim);
        }
    }
}
