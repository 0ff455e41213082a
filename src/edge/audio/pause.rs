//! How long the thread that reads a microphone by ALSA may sleep before it looks for the next period.
//!
//! ALSA lets it sleep until there is sound; but its way to a PulseAudio server wakes it as soon as there is any, not a whole
//! period, and then again and again until the period is full: a third of a core for nothing. So it stays away for most of a
//! period after each, unless it is behind.

use std::time::{Duration, Instant};

/// The share of a period that it stays away: what waits is still read faster than it comes.
const AWAY: f64 = 0.95;
/// So many periods late, it reads without a pause.
const LATE: u32 = 2;
/// How fast it gets used to sound that comes late for good, a share of time: far faster than clocks differ.
const CREEP: f64 = 0.005;

/// When the next period would come if it came as early as any before it.
#[derive(Debug, Default)]
pub struct Pause {
    line: Option<Instant>,
}

impl Pause {
    /// A period that lasts so long has come: stays away for as long as it may.
    pub fn sleep(&mut self, came: Instant, period: Duration) {
        if let Some(away) = self.after(came, period) {
            std::thread::sleep(away);
        }
    }

    /// How long to stay away, if at all.
    fn after(&mut self, came: Instant, period: Duration) -> Option<Duration> {
        let line = self.line.map_or(came, |line| came.min(line + period.mul_f64(CREEP)));
        self.line = Some(line + period);
        (came - line < period * LATE).then(|| period.mul_f64(AWAY))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PERIOD: Duration = Duration::from_millis(10);

    /// When each period is read, ms, of periods that are there at these moments; the thread is asked again once it is awake.
    fn read_at(there: impl IntoIterator<Item = u64>) -> Vec<f64> {
        let (start, mut pause, mut now) = (Instant::now(), Pause::default(), 0.0f64);
        let mut read = Vec::new();
        for t in there {
            now = now.max(t as f64);
            read.push(now);
            let away = pause.after(start + Duration::from_secs_f64(now / 1e3), PERIOD);
            now += away.map_or(0.0, |a| a.as_secs_f64() * 1e3);
        }
        read
    }

    #[test]
    fn periods_that_come_in_time_are_read_at_once_and_the_thread_sleeps_between() {
        assert_eq!(read_at((0..50).map(|i| 10 * i)), (0..50).map(|i| 10.0 * f64::from(i)).collect::<Vec<_>>());
        assert_eq!(Pause::default().after(Instant::now(), PERIOD), Some(Duration::from_micros(9_500)));
    }

    #[test]
    fn of_periods_that_come_in_pairs_the_second_is_read_nearly_a_period_later() {
        let read = read_at((0..100).map(|i| i / 2 * 20));
        assert!(read.chunks(2).all(|pair| (pair[1] - pair[0] - 9.5).abs() < 1e-6), "{read:?}");
    }

    /// After a hiccup eleven periods wait at once: all but the last two are read at once, and those soon made good.
    #[test]
    fn what_waits_is_read_without_a_sleep() {
        let read = read_at((0..10).map(|i| 10 * i).chain([210; 11]).chain((22..50).map(|i| 10 * i)));
        assert!(read[10..19].iter().all(|t| *t == 210.0), "{read:?}");
        assert_eq!(read.last(), Some(&490.0), "{read:?}");
    }

    /// A device that lost a tenth of a second is late for ever: half a minute later it sleeps again.
    #[test]
    fn it_gets_used_to_what_is_late_for_good() {
        let (start, mut pause) = (Instant::now(), Pause::default());
        let mut after = |ms: u64| pause.after(start + Duration::from_millis(ms), PERIOD);
        (0..100).for_each(|i| assert!(after(10 * i).is_some()));
        assert_eq!(after(1_100), None);
        assert!((1..2_000).any(|i| after(1_100 + 10 * i).is_some()));
    }
}
