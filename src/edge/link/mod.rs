//! Links to an aircraft. The built-in one steps in the session's own time; a live one tells its states as they come.

mod built_in;
mod guard;
pub mod live;
pub mod property;
pub mod record;
pub mod tcp;

pub use built_in::BuiltIn;
pub use live::Live;

use crate::core::aircraft::{Delta, Value};
use crate::core::time::{SessionTime, SimTime};
use std::collections::BTreeMap;
use std::time::Instant;

/// An aircraft as the app sees it.
pub trait Link {
    /// When the next frame of state comes, on the session clock; for a live link, when it is to be looked after.
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
    /// Moves a control on a request of the engine. `None`: the result comes later, as [`LinkNews::Result`].
    fn ask(&mut self, _request: u64, control: &str, to: &Value) -> Option<Result<(), String>> {
        Some(self.set(control, to))
    }
    /// A live link takes in what has come at `at`.
    fn take(&mut self, _at: SessionTime, _news: &LinkNews) -> Taken {
        Taken::Nothing
    }
    /// How a live link runs; `None` for one that steps in the session's time.
    fn live(&self) -> Option<Running> {
        None
    }
}

/// How a live aircraft runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Running {
    /// Simulator's seconds in one of the session's.
    pub rate: f64,
    /// Session seconds from frame to frame.
    pub interval_s: f64,
    /// Whether the aircraft is in sight.
    pub up: bool,
}

/// What a live link tells, from its own thread.
#[derive(Debug, Clone, PartialEq)]
pub enum LinkNews {
    /// The simulator is there.
    Up {
        /// What it calls itself.
        program: String,
        /// Callouts that the aircraft makes itself.
        callouts: Vec<String>,
    },
    /// The controls that can be moved.
    Offers(Vec<String>),
    /// The simulator is gone.
    Down {
        /// One sentence.
        why: String,
    },
    /// A state.
    Frame {
        /// When it arrived.
        arrived: Instant,
        /// The simulator's clock, s.
        time_s: f64,
        /// What changed; `None`: no longer known.
        delta: Delta,
    },
    /// Its clock stands, but it is there.
    Standing,
    /// Its clock stands or goes.
    Paused(bool),
    /// Its clock runs so many times as fast.
    Rate(f64),
    /// Place or time has jumped.
    Jumped,
    /// The delay one way, s.
    Delay(f64),
    /// What became of a request.
    Result {
        /// Which.
        request: u64,
        /// Why it failed.
        failed: Option<String>,
    },
    /// Something to tell once: one sentence.
    Told(String),
    /// The link's own thread broke down over something, and goes on.
    Failed(String),
}

/// What news did to a live link.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// Nothing that the engine must know.
    Nothing,
    /// There is a new state.
    Frame,
    /// There is a new state, at the time of the one before.
    Stands,
    /// There is a new state, and what lies between it and the one before was not lived through.
    Jumped,
}

/// Where a link's thread tells its news; `false` when nobody listens any more.
pub type Tell = Box<dyn Fn(LinkNews) -> bool + Send>;
