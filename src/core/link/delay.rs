//! How late states are: half of the shortest round trip of a ping.
//!
//! Many simulators look at what they were sent only once a frame. A ping that always comes at the same moment of the
//! frame then always waits as long for its answer, and half of that wait, up to 25 ms at 20 Hz, would be taken for delay
//! of the link: callouts would come early by it, four times as early at four times the speed. So pings come at moments
//! spread evenly over a frame of any length, and nothing is said before enough of them were answered.

use crate::core::time::SessionTime;
use std::collections::VecDeque;

/// Pings are so far apart on average: at first, s, and once so many were sent.
const GAP_S: (f64, f64) = (0.1, 0.5);
const AT_FIRST: u64 = 24;
/// So many answers are waited for.
const ENOUGH: u32 = 10;
/// The fractional parts of its multiples are spread more evenly than those of any other number.
const GOLDEN: f64 = 0.618_033_988_749_894_9;
/// Unanswered pings that are remembered.
const REMEMBERED: usize = 32;

/// Measures the delay of one connection.
#[derive(Debug, Clone, Default)]
pub struct Delay {
    sent: u64,
    next: Option<SessionTime>,
    open: VecDeque<(u64, SessionTime)>,
    answers: u32,
    best_s: Option<f64>,
}

impl Delay {
    /// The number of the ping to be sent now, if one is due.
    pub fn ping(&mut self, now: SessionTime) -> Option<u64> {
        if self.next.is_some_and(|t| now < t) {
            return None;
        }
        self.sent += 1;
        self.open.push_back((self.sent, now));
        while self.open.len() > REMEMBERED {
            self.open.pop_front();
        }
        let gap = if self.sent < AT_FIRST { GAP_S.0 } else { GAP_S.1 };
        let part = self.sent as f64 * GOLDEN;
        self.next = Some(now.plus(gap * (0.5 + part - libm::floor(part))));
        Some(self.sent)
    }

    /// A ping was answered; the delay one way, s, if it is known better by that.
    pub fn pong(&mut self, n: u64, now: SessionTime) -> Option<f64> {
        let i = self.open.iter().position(|(m, _)| *m == n)?;
        let (_, sent) = self.open.remove(i)?;
        let way = now.since(sent) / 2.0;
        self.answers += 1;
        let better = self.best_s.is_none_or(|b| way < b);
        if better {
            self.best_s = Some(way);
        }
        (self.answers == ENOUGH || better && self.answers > ENOUGH).then_some(self.best_s?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is measured in `seconds` of a simulator that answers only once in `frame_s`, over a way of `way_s`.
    fn measured(frame_s: f64, way_s: f64, seconds: f64) -> Option<f64> {
        let (mut delay, mut found) = (Delay::default(), None);
        let mut answers: VecDeque<(u64, SessionTime)> = VecDeque::new();
        let mut t = 0.013;
        while t < seconds {
            let now = SessionTime::from_secs(t);
            if let Some(n) = delay.ping(now) {
                let seen = libm::ceil((t + way_s) / frame_s) * frame_s;
                answers.push_back((n, SessionTime::from_secs(seen + way_s)));
            }
            while let Some((n, at)) = answers.front().copied().filter(|(_, at)| *at <= now) {
                answers.pop_front();
                found = delay.pong(n, at).or(found);
            }
            t += 0.001;
        }
        found
    }

    #[test]
    fn the_wait_for_a_frame_is_not_taken_for_delay() {
        for (frame_s, way_s, within) in
            [(1.0 / 60.0, 0.0, 0.001), (0.05, 0.0, 0.002), (0.05, 0.03, 0.002), (0.1, 0.005, 0.004), (0.2, 0.0, 0.01)]
        {
            let found = measured(frame_s, way_s, 3.0).expect("enough answers");
            assert!((0.0..=within).contains(&(found - way_s)), "{frame_s} s, {way_s} s: {found}");
        }
    }

    #[test]
    fn nothing_is_said_of_few_answers() {
        assert_eq!(measured(0.05, 0.0, 0.5), None);
        let mut delay = Delay::default();
        delay.ping(SessionTime::ZERO);
        assert_eq!(delay.pong(7, SessionTime::from_secs(0.1)), None, "never sent");
    }
}
