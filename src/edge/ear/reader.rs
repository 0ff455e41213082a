//! What an ear must do for the listener.

use super::neural::{EarError, Reading};
use crate::core::grammar::{CallId, CallSet};
use crate::core::matcher::Thresholds;
use std::fmt::Debug;

/// Reads a piece of sound under the calls that are live.
pub trait Reader: Debug {
    /// Decodes mono samples at 16 kHz under the `live` calls.
    ///
    /// # Errors
    /// The ear cannot go on.
    fn read(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError>;
    /// A closer look at what [`Reader::read`] could not settle: the right reading may have been given up too early. At most
    /// so many calls in one breath; `None` if this ear has no closer look.
    ///
    /// # Errors
    /// The ear cannot go on.
    fn read_closer(&mut self, _: &[f32], _live: &CallSet, _calls: u8) -> Result<Option<Reading>, EarError> {
        Ok(None)
    }
    /// A look at a great many calls, for one of them and no more.
    ///
    /// # Errors
    /// The ear cannot go on.
    fn read_one(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError> {
        self.read(samples, live)
    }
    /// What it would write if nothing held it to the calls; `None` if this ear is always held to them.
    ///
    /// # Errors
    /// The ear cannot go on.
    fn read_freely(&mut self, _: &[f32]) -> Result<Option<String>, EarError> {
        Ok(None)
    }
    /// How much another model minds writing each of these texts for this sound, nats: 0 for what it would write itself. `None`
    /// if this ear has no other.
    ///
    /// # Errors
    /// The ear cannot go on.
    fn second(&mut self, _: &[f32], _texts: &[&str]) -> Result<Option<Vec<f64>>, EarError> {
        Ok(None)
    }
    /// These calls will be live: what can be computed for them before anything is said may be.
    fn expect(&mut self, _live: &CallSet) {}
    /// A few milliseconds of that, in a moment in which nobody speaks.
    ///
    /// # Errors
    /// The ear cannot go on.
    fn prepare(&mut self) -> Result<(), EarError> {
        Ok(())
    }
    /// How many calls the graph has.
    fn calls(&self) -> usize;
    /// The name of a call.
    fn name(&self, call: CallId) -> Option<&str>;
    /// Whether its scores are those of text ([`Thresholds::text`]).
    fn typed(&self) -> bool {
        false
    }
    /// What has gone wrong since it was last asked, one sentence each; it hears on.
    fn trouble(&mut self) -> Vec<String> {
        Vec::new()
    }
    /// The scores that tell whether a reading will do.
    fn thresholds(&self) -> Thresholds {
        if self.typed() { Thresholds::text() } else { Thresholds::default() }
    }
}
