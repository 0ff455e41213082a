//! Where a voice rose out of the noise. Voice activity may notice speech late, in steady noise by a second; what stood well
//! above the noise without a break until it did belongs to the utterance.

use std::collections::VecDeque;

/// Frames that are remembered, 32 ms each: three seconds.
const KEPT: usize = 94;
/// As far back a beginning may lie, frames: one and a half seconds.
pub(super) const BACK: u64 = 47;
/// Frames that must be there before anything can be said of the noise.
const ENOUGH: usize = 31;
/// The noise is what so large a share of the frames does not exceed.
const FLOOR: f64 = 0.2;
/// A voice stands above it by so much, dB.
const ABOVE: f64 = 10.0;
/// Stops and pauses within a call last no more frames than this (a quarter of a second).
const GAP: usize = 8;

/// First sample and level in dB of the last frames.
#[derive(Debug, Clone, Default)]
pub(super) struct Rise {
    frames: VecDeque<(u64, f64)>,
}

impl Rise {
    /// Takes a frame in.
    pub fn frame(&mut self, from: u64, level_dbfs: f64) {
        self.frames.push_back((from, level_dbfs.max(-90.0)));
        if self.frames.len() > KEPT {
            self.frames.pop_front();
        }
    }

    /// Where the sound began that goes on at sample `at`, not before `earliest`; `at` where nothing rose before it.
    pub fn began(&self, at: u64, earliest: u64) -> u64 {
        if self.frames.len() < ENOUGH {
            return at;
        }
        let mut levels: Vec<f64> = self.frames.iter().map(|f| f.1).collect();
        levels.sort_by(f64::total_cmp);
        let floor = levels[(levels.len() as f64 * FLOOR) as usize];
        let (mut began, mut gap) = (at, 0);
        let before = self.frames.iter().rev().skip_while(|f| f.0 >= at);
        for (from, level) in before.take(BACK as usize).take_while(|f| f.0 >= earliest) {
            gap = if *level >= floor + ABOVE { 0 } else { gap + 1 };
            if gap > GAP {
                break;
            }
            if gap == 0 {
                began = *from;
            }
        }
        began
    }
}
