//! A control that is moved evenly from one value to another.

use crate::core::time::SessionTime;

/// Moves of a ramp a second.
const RATE: f64 = 20.0;

#[derive(Debug, Clone)]
pub(super) struct Ramp {
    pub control: String,
    pub from: f64,
    pub to: f64,
    pub began: SessionTime,
    pub for_s: f64,
    pub moves: u32,
}

impl Ramp {
    pub fn next(&self) -> SessionTime {
        self.began.plus((f64::from(self.moves + 1) / RATE).min(self.for_s))
    }

    /// Where it should be by now, and whether that is its end; counts as a move.
    pub fn advance(&mut self, at: SessionTime) -> (f64, bool) {
        let elapsed = at.since(self.began);
        self.moves = libm::floor(elapsed * RATE + 1e-6) as u32;
        let over = at >= self.began.plus(self.for_s);
        (if over { self.to } else { self.from + (self.to - self.from) * (elapsed / self.for_s) }, over)
    }
}
