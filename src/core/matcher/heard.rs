//! What every ear returns.

use crate::core::grammar::Meaning;
use crate::core::time::SessionTime;
use serde::{Deserialize, Serialize};

/// One reading of an utterance: up to three whole calls in the order spoken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Candidate {
    /// The calls, first spoken first; one to three.
    pub meanings: Vec<Meaning>,
    /// Prior-corrected log score in nats; above zero speaks for the call, below against it.
    pub score: f64,
    /// The best wording, as text.
    pub text: String,
    /// How much likelier, token by token, the ear holds what it would write if nothing held it to the calls, nats. Known
    /// to the ear alone: zero in what it returns.
    #[serde(skip)]
    pub strain: f64,
}

impl Candidate {
    /// A reading without strain, as of text.
    pub fn new(meanings: Vec<Meaning>, score: f64, text: String) -> Candidate {
        Candidate { meanings, score, text, strain: 0.0 }
    }

    /// Words spoken, all calls together.
    pub fn words(&self) -> usize {
        self.text.split_whitespace().count()
    }

    /// Whether another reading is of the same calls: then the two differ in values alone.
    pub fn same_calls(&self, other: &Candidate) -> bool {
        self.meanings.iter().map(|m| &m.call).eq(other.meanings.iter().map(|m| &m.call))
    }

    /// Whether the words of another reading are the same to the ear, as "standby" and "stand by" are.
    pub fn sounds_as(&self, other: &Candidate) -> bool {
        let letters = |text: &str| -> Vec<char> {
            text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
        };
        letters(&self.text) == letters(&other.text)
    }
}

/// Why an ear has nothing to offer, decided before any call is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unheard {
    /// Silence.
    NothingSaid,
    /// Speech below the level that can be understood.
    TooFaint,
    /// No samples, or digital silence.
    MicrophoneDead,
}

/// What an ear made of one utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Heard {
    /// Revision of the `Listen` under which it was decoded.
    pub revision: u32,
    /// Readings, best first; those with the same meanings are merged. May be empty.
    pub ranked: Vec<Candidate>,
    /// Set when the ear had nothing to decode.
    pub unheard: Option<Unheard>,
    /// Whether the words came as text, whose scores have their own scale ([`super::Thresholds::text`]).
    #[serde(default)]
    pub typed: bool,
    /// Whether push-to-talk was held: then something is always answered.
    #[serde(default)]
    pub pushed: bool,
    /// Whether we spoke ourselves meanwhile and could be heard: then only calls that are always live count, and by the
    /// stricter scores.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub over_us: bool,
    /// First and last voiced moment of the utterance.
    pub speech: (SessionTime, SessionTime),
}

impl Heard {
    /// Score of the best reading less that of the best with *other* meanings, in nats; infinite if there is none.
    pub fn margin(&self) -> f64 {
        match self.ranked.as_slice() {
            [] => 0.0,
            [_] => f64::INFINITY,
            [a, b, ..] => a.score - b.score,
        }
    }
}
