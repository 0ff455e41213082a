//! Whether a microphone lives: judged by the samples that arrive, since a device that dies says nothing.

/// A device that was just opened may sleep so long, s: a sound server's that was idle has played silence ahead, two seconds of
/// it with a null sink of PulseAudio; a headset without a cord is switched on first. Who gives it up meanwhile begins again
/// each time.
pub const WAKES_S: f64 = 4.0;

/// Waits and limits of [`Life`].
#[derive(Debug, Clone, PartialEq)]
pub struct LifeSettings {
    /// Without any sample for so long the device is lost, s.
    pub lost_s: f64,
    /// The same before the first sample, s.
    pub wakes_s: f64,
    /// So much digital silence from the first sample on means that it is muted, s.
    pub muted_s: f64,
    /// So much after sound has been heard; each time that it was no mistake to be silent, the next takes four times as long.
    pub muted_later_s: f64,
    /// Samples at least this large are clipped.
    pub clip: f32,
    /// A second with more than this share of clipped samples is a clipped one.
    pub clipped_share: f64,
    /// So many clipped seconds, one after the other, are told.
    pub clipped_s: u32,
}

impl Default for LifeSettings {
    /// Ours; common practice, no source.
    fn default() -> Self {
        LifeSettings {
            lost_s: 1.0,
            wakes_s: WAKES_S,
            muted_s: 5.0,
            muted_later_s: 20.0,
            clip: 0.999,
            clipped_share: 0.001,
            clipped_s: 2,
        }
    }
}

/// What has become of a microphone: each is told once, when it changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Turn {
    /// No samples arrive.
    Lost,
    /// They arrive again.
    Back,
    /// Only digital silence arrives.
    Muted,
    /// Sound arrives again.
    Unmuted,
    /// It is so loud that the tops are cut off. Told again only after a minute without.
    Clipped,
}

/// A minute without clipping, after which it is told again, s.
const CLIP_REST_S: f64 = 60.0;

/// The watch over one microphone.
#[derive(Debug, Clone)]
pub struct Life {
    settings: LifeSettings,
    rate: u32,
    without_s: f64,
    woken: bool,
    lost: bool,
    silent: u64,
    muted: bool,
    /// How long a silence is from now on taken for a muting, s.
    patience_s: f64,
    sounded: bool,
    second: (u64, u64),
    clipped: u32,
    clip_rest_s: f64,
}

impl Life {
    /// A watch over sound of `rate` Hz. It counts as alive until it is found lost.
    pub fn new(rate: u32, settings: LifeSettings) -> Life {
        Life {
            patience_s: settings.muted_s,
            sounded: false,
            settings,
            rate,
            without_s: 0.0,
            woken: false,
            lost: false,
            silent: 0,
            muted: false,
            second: (0, 0),
            clipped: 0,
            clip_rest_s: CLIP_REST_S,
        }
    }

    /// From here on samples come at another rate, Hz.
    pub fn changed_rate(&mut self, rate: u32) {
        self.rate = rate;
        self.second = (0, 0);
        self.silent = 0;
    }

    /// Whether no samples arrive.
    pub fn is_lost(&self) -> bool {
        self.lost
    }

    /// `samples` arrived in the last `passed_s` seconds; none is what is looked out for.
    pub fn arrived(&mut self, samples: &[f32], passed_s: f64) -> Vec<Turn> {
        let mut turns = Vec::new();
        if samples.is_empty() {
            self.without_s += passed_s;
            let limit = if self.woken { self.settings.lost_s } else { self.settings.wakes_s };
            if !self.lost && self.without_s >= limit {
                self.lost = true;
                self.silent = 0;
                self.muted = false;
                turns.push(Turn::Lost);
            }
            return turns;
        }
        self.without_s = 0.0;
        self.woken = true;
        if std::mem::take(&mut self.lost) {
            turns.push(Turn::Back);
        }
        turns.extend(self.silence(samples));
        turns.extend(samples.iter().filter_map(|s| self.loud(s.abs() >= self.settings.clip)));
        turns
    }

    fn silence(&mut self, samples: &[f32]) -> Option<Turn> {
        let trailing = samples.iter().rev().take_while(|s| **s == 0.0).count();
        let whole = trailing == samples.len();
        self.silent = if whole { self.silent + trailing as u64 } else { trailing as u64 };
        if !whole && !std::mem::replace(&mut self.sounded, true) {
            self.patience_s = self.settings.muted_later_s;
        }
        if !whole && self.muted {
            self.muted = false;
            return Some(Turn::Unmuted);
        }
        if !self.muted && self.silent as f64 >= self.patience_s * f64::from(self.rate) {
            self.muted = true;
            // Some microphones give pure silence between words, and some pilots like it so.
            self.patience_s = (self.patience_s * 4.0).max(self.settings.muted_later_s);
            return Some(Turn::Muted);
        }
        None
    }

    fn loud(&mut self, clipped: bool) -> Option<Turn> {
        self.second.0 += 1;
        self.second.1 += u64::from(clipped);
        if self.second.0 < u64::from(self.rate) {
            return None;
        }
        let (all, cut) = std::mem::take(&mut self.second);
        if cut as f64 <= self.settings.clipped_share * all as f64 {
            self.clipped = 0;
            self.clip_rest_s += 1.0;
            return None;
        }
        self.clipped += 1;
        let tell = self.clipped >= self.settings.clipped_s && self.clip_rest_s >= CLIP_REST_S;
        if self.clipped >= self.settings.clipped_s {
            self.clip_rest_s = 0.0;
        }
        tell.then_some(Turn::Clipped)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 1_000;

    /// Plays pieces of (what, seconds) in steps of 10 ms and gives each turn with its second.
    fn check(pieces: &[(Option<f32>, f64)], wanted: &[(Turn, f64)]) {
        let mut life = Life::new(RATE, LifeSettings::default());
        let mut got = Vec::new();
        let mut now = 0.0;
        for (what, length) in pieces {
            for _ in 0..(length * 100.0).round() as usize {
                now += 0.01;
                let samples = what.map_or_else(Vec::new, |s| vec![s; 10]);
                got.extend(life.arrived(&samples, 0.01).into_iter().map(|t| (t, libm::round(now * 10.0) / 10.0)));
            }
        }
        assert_eq!(got, wanted, "{pieces:?}");
    }

    #[test]
    fn each_turn_is_told_once() {
        let sound = Some(0.1);
        check(&[(sound, 10.0)], &[]);
        check(&[(sound, 1.0), (None, 5.0), (sound, 1.0)], &[(Turn::Lost, 2.0), (Turn::Back, 6.0)]);
        check(&[(sound, 1.0), (None, 0.5), (sound, 1.0)], &[]);
        // Before the first sample it has longer, but not for ever.
        check(&[(None, 3.9), (sound, 1.0), (None, 2.0)], &[(Turn::Lost, 5.9)]);
        check(&[(None, 9.0), (sound, 1.0)], &[(Turn::Lost, 4.0), (Turn::Back, 9.0)]);
        let zero = Some(0.0);
        check(&[(zero, 9.0), (sound, 1.0)], &[(Turn::Muted, 5.0), (Turn::Unmuted, 9.0)]);
        check(&[(sound, 1.0), (zero, 29.0), (sound, 1.0)], &[(Turn::Muted, 21.0), (Turn::Unmuted, 30.0)]);
        check(&[(zero, 4.0), (sound, 0.1), (zero, 19.0)], &[]);
        // The second time only after four times as long.
        let again = [(sound, 1.0), (zero, 29.0), (sound, 1.0), (zero, 79.0), (sound, 1.0), (zero, 81.0)];
        check(&again, &[(Turn::Muted, 21.0), (Turn::Unmuted, 30.0), (Turn::Muted, 191.0)]);
        // Lost while muted: it is only lost, and then back.
        check(&[(zero, 6.0), (None, 2.0), (sound, 1.0)], &[(Turn::Muted, 5.0), (Turn::Lost, 7.0), (Turn::Back, 8.0)]);
        check(&[(Some(1.0), 10.0)], &[(Turn::Clipped, 2.0)]);
        check(&[(Some(1.0), 3.0), (sound, 59.0), (Some(1.0), 3.0)], &[(Turn::Clipped, 2.0)]);
        check(&[(Some(1.0), 3.0), (sound, 61.0), (Some(1.0), 3.0)], &[(Turn::Clipped, 2.0), (Turn::Clipped, 66.0)]);
    }
}
