//! What a performance is told, sees, and does.

use crate::core::aircraft::Value;
use crate::core::book::schema::Station;
use crate::core::crew::io::Action;
use crate::core::time::SessionTime;
use std::fmt;

/// What the script is told of.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A line of ours began to sound.
    SpokenStarted {
        /// Who speaks.
        station: Station,
        /// The words.
        text: String,
    },
    /// A line of ours ended.
    SpokenEnded {
        /// Who spoke.
        station: Station,
        /// The words.
        text: String,
        /// Whether it was cut: then nobody reacts to its end.
        cut: bool,
    },
    /// The pilot's own words ([`Deed::Say`]) are over.
    SayEnded {
        /// The deed's id.
        id: u64,
    },
    /// The engine asked for something (expectations see it; the pilot does not).
    Action(Action),
}

/// What the pilot sees.
pub trait Senses {
    /// Whether a condition, as written in the script, holds now; `None` is unknown.
    fn holds(&self, condition: &str) -> Option<bool>;
    /// Where a control or signal stands now.
    fn value(&self, name: &str) -> Option<Value>;
}

/// What the pilot does.
#[derive(Debug, Clone, PartialEq)]
pub enum Deed {
    /// Says something; answer with [`Event::SayEnded`] when it is over. Never more than one at a time.
    Say {
        /// Unique in the session, from 1.
        id: u64,
        /// The words.
        text: String,
    },
    /// Moves a control of his own.
    Move {
        /// Which.
        control: String,
        /// To there, now.
        to: Value,
    },
    /// Puts a value into the world.
    Set {
        /// Which signal or control.
        name: String,
        /// The value.
        to: Value,
    },
    /// Lets a fault begin.
    Inject {
        /// Its name.
        fault: String,
    },
    /// Taps on the page.
    Touch {
        /// What.
        what: String,
    },
}

/// What one poll gives.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Turn {
    /// In the order in which they are to be done, now.
    pub deeds: Vec<Deed>,
    /// Poll at this time at the latest, and with every event and every change of the aircraft.
    pub wake: Option<SessionTime>,
}

/// One thing that went wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// The step, from 1; absent for the whole session.
    pub step: Option<usize>,
    /// What, as a sentence that names the step.
    pub sentence: String,
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}
