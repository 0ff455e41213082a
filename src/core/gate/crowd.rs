//! Speech over the talk of others. Voice activity hears *that* someone speaks, not who; whoever speaks into the microphone
//! is nearer to it, and so louder than those in the background.

use std::collections::VecDeque;

/// Frames that are looked at before a beginning, 32 ms each.
const BEFORE: usize = 24;
/// Of these, so many must be talk: over silence or noise voice activity needs no help.
const TALK: usize = 20;
/// Frames that make a beginning.
const AFTER: usize = 4;
/// Their mean level must be above that of the frames before by so much, dB…
const RISE: f64 = 8.0;
/// … and above the loudest of these, smoothed over three, by so much: within one person's speech it is not.
const ABOVE: f64 = 4.0;
/// Of the way from the background to the loudest frame: what is below is background again.
const SHARE: f64 = 0.35;
/// The least height over the background, dB.
const LEAST: f64 = 4.0;

/// The levels of the last frames.
#[derive(Debug, Clone, Default)]
pub(super) struct Crowd {
    /// First sample, level in dB, and whether it is talk.
    frames: VecDeque<(u64, f64, bool)>,
}

/// Someone near speaks over others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Near {
    /// First sample.
    pub at: u64,
    /// Level of the others, dB.
    pub others_dbfs: f64,
    /// Loudest frame since, dB.
    pub loudest_dbfs: f64,
}

impl Near {
    /// Takes a frame in; whether it is his.
    pub fn hears(&mut self, level_dbfs: f64) -> bool {
        self.loudest_dbfs = self.loudest_dbfs.max(level_dbfs);
        level_dbfs >= self.others_dbfs + LEAST.max(SHARE * (self.loudest_dbfs - self.others_dbfs))
    }
}

impl Crowd {
    /// How far back a beginning may lie when it is noticed, frames.
    pub const BACK: u64 = AFTER as u64;

    /// Takes a frame in. Someone near who began to speak over others [`Crowd::BACK`] frames ago is told.
    pub fn frame(&mut self, from: u64, level_dbfs: f64, talk: bool) -> Option<Near> {
        self.frames.push_back((from, level_dbfs.max(-90.0), talk));
        if self.frames.len() > BEFORE + AFTER {
            self.frames.pop_front();
        }
        let all: Vec<(u64, f64, bool)> = self.frames.iter().copied().collect();
        let (before, after) = all.split_at_checked(BEFORE)?;
        if after.len() < AFTER || before.iter().filter(|f| f.2).count() < TALK || after.iter().any(|f| !f.2) {
            return None;
        }
        let mean = |frames: &[(u64, f64, bool)]| frames.iter().map(|f| f.1).sum::<f64>() / frames.len() as f64;
        let (others, near) = (mean(before), mean(after));
        let high = before.windows(3).map(mean).fold(f64::NEG_INFINITY, f64::max);
        let rises = near >= others + RISE && near >= high + ABOVE && after[0].1 >= others + LEAST;
        let loudest = after.iter().map(|f| f.1).fold(f64::NEG_INFINITY, f64::max);
        rises.then_some(Near { at: after[0].0, others_dbfs: others, loudest_dbfs: loudest })
    }

    /// The mean level of the last frames if nearly all of them were talk: others speak on and on.
    pub fn goes_on(&self) -> Option<f64> {
        let last = self.frames.iter().rev().take(BEFORE);
        let talk = last.clone().filter(|f| f.2).count();
        (talk >= TALK).then(|| last.map(|f| f.1).sum::<f64>() / BEFORE as f64)
    }
}
