//! The two clocks, as different types so that they cannot be mixed.
//!
//! Both count whole microseconds: integers compare, print and replay exactly.

use serde::{Deserialize, Serialize};

macro_rules! clock {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);

        impl $name {
            /// The start.
            pub const ZERO: Self = Self(0);
            /// From seconds, rounded to the nearest microsecond. `s` must be finite.
            pub fn from_secs(s: f64) -> Self {
                Self(libm::round(s * 1e6) as i64)
            }
            /// As seconds.
            pub fn secs(self) -> f64 {
                self.0 as f64 / 1e6
            }
            /// `seconds` later (or earlier, if negative).
            #[must_use]
            pub fn plus(self, seconds: f64) -> Self {
                Self(self.0 + libm::round(seconds * 1e6) as i64)
            }
            /// Seconds from `earlier` to `self`; negative if `self` comes first.
            pub fn since(self, earlier: Self) -> f64 {
                (self.0 - earlier.0) as f64 / 1e6
            }
        }
    };
}

clock! {
    /// Time of the session: captured samples when offline, a monotonic clock when live. Never stops, never jumps.
    SessionTime
}
clock! {
    /// Time in the simulated world: may pause, run faster or slower, or jump.
    SimTime
}

/// Which clock a timer follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Clock {
    /// The pilot's time: replies, repeats, pace of speech.
    #[default]
    Session,
    /// The aircraft's time: travel of flaps, start limits.
    Sim,
}

/// The next moment at which the engine wants to be called, on each clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Wake {
    /// On the session clock.
    pub session: Option<SessionTime>,
    /// On the simulator's clock.
    pub sim: Option<SimTime>,
}
