//! Links to an aircraft. The built-in one steps in the session's own time; others will push their state as it comes.

mod built_in;

pub use built_in::BuiltIn;

use crate::core::aircraft::Value;
use crate::core::time::{SessionTime, SimTime};
use std::collections::BTreeMap;

/// An aircraft as the app sees it.
pub trait Link {
    /// When the next frame of state comes, on the session clock.
    fn next_frame(&self) -> SessionTime;
    /// Takes the next frame in; [`values`](Self::values) shows it from now on.
    fn frame(&mut self);
    /// All signals as of the last frame.
    fn values(&self) -> &BTreeMap<String, Value>;
    /// The simulator's time of the last frame.
    fn sim(&self) -> SimTime;
    /// The simulator's time at a session time at or after the last frame, as far as known.
    fn sim_at(&self, at: SessionTime) -> SimTime;
    /// The session time at which the simulator's clock will show `sim`, as far as known.
    fn session_at(&self, sim: SimTime) -> SessionTime;
    /// Moves a control.
    ///
    /// # Errors
    /// One sentence when the aircraft does not take it.
    fn set(&mut self, control: &str, to: &Value) -> Result<(), String>;
    /// Lets a fault happen.
    ///
    /// # Errors
    /// One sentence when the aircraft knows no such fault.
    fn inject(&mut self, fault: &str) -> Result<(), String>;
    /// Puts the aircraft somewhere, by the name of a place.
    ///
    /// # Errors
    /// One sentence when the simulator behind the link cannot do that, or knows no such place.
    fn place(&mut self, place: &str) -> Result<(), String> {
        Err(format!("this simulator is not put to \u{201c}{place}\u{201d} from here; do it there"))
    }
}
