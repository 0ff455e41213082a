//! What a listener tells.

use crate::core::gate::Why;
use crate::core::matcher::Heard;
use crate::core::time::SessionTime;
use std::time::Duration;

/// What the listener tells.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// Someone began to speak.
    Began {
        /// First voiced moment.
        at: SessionTime,
    },
    /// An utterance is over.
    Heard {
        /// The endpoint: when it was decided that it is over.
        at: SessionTime,
        /// What was made of it.
        heard: Heard,
        /// Computing time from the endpoint decision to the ranked calls, on this machine.
        decision: Duration,
        /// Why it is over.
        why: Why,
    },
    /// No sound arrives.
    Dead {
        /// When that was noticed.
        at: SessionTime,
    },
}
