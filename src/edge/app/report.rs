//! What became of a session: for the transcript, for the end of the demo, for the exit status.

use crate::core::book::schema::{Due, Station};
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// Whose line it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The pilot.
    Pilot,
    /// The program, as one of its people.
    Crew(Station),
    /// The flight itself: phases, items, what was not done.
    Flight,
}

/// One line of the transcript.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// When it began.
    pub at: SessionTime,
    /// Whose.
    pub side: Side,
    /// The words, or what happened.
    pub text: String,
}

/// A callout measured against its mark.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Its name.
    pub callout: String,
    /// The signal's name.
    pub signal: String,
    /// What it should be.
    pub wanted: f64,
    /// The signal when the first (or last) sample of the words sounded.
    pub actual: f64,
    /// Which end was due.
    pub due: Due,
}

/// How an utterance fared. `meant` is what the words themselves mean where they are known (a scripted pilot).
#[derive(Debug, Clone, PartialEq)]
pub struct Utterance {
    /// When the ear gave its result.
    pub at: SessionTime,
    /// The words that were said, if they are known.
    pub said: Option<String>,
    /// The calls that were accepted.
    pub accepted: Vec<String>,
    /// Why none was.
    pub refused: Option<String>,
    /// Whether what was accepted is not what the words mean.
    pub wrong: bool,
    /// From the end of the utterance to the chosen call, real time, ms; absent for typed words.
    pub decision_ms: Option<f64>,
}

/// The whole session.
#[derive(Debug, Clone, Default)]
pub struct Report {
    /// The transcript in order.
    pub lines: Vec<Line>,
    /// What a scripted pilot said.
    pub said: usize,
    /// Every utterance of the pilot that reached a decision.
    pub utterances: Vec<Utterance>,
    /// Callouts with a mark.
    pub marks: Vec<Mark>,
    /// Checklists by id: their last state.
    pub checklists: BTreeMap<String, String>,
    /// Limits that were exceeded, in order.
    pub limits: Vec<String>,
    /// Items contradicted, skipped, not seen.
    pub items: Vec<(String, String)>,
    /// What was not done, and why.
    pub not_done: Vec<(String, String)>,
    /// Rooms that failed and were caught.
    pub faults: Vec<String>,
    /// What the script missed.
    pub failures: Vec<String>,
    /// The last phase.
    pub phase: String,
    /// Length of the session, s.
    pub session_s: f64,
    /// How long it took, s.
    pub wall_s: f64,
}

impl Report {
    pub(super) fn fault(&mut self, what: impl Into<String>) {
        self.faults.push(what.into());
    }

    /// Utterances that led to a call.
    pub fn heard(&self) -> usize {
        self.utterances.iter().filter(|u| !u.accepted.is_empty()).count()
    }

    /// Of these, the ones that led to a call that was not said.
    pub fn wrong(&self) -> usize {
        self.utterances.iter().filter(|u| u.wrong).count()
    }

    /// Utterances that were refused.
    pub fn refused(&self) -> usize {
        self.utterances.iter().filter(|u| u.refused.is_some()).count()
    }

    /// Median of the decision times, ms.
    pub fn decision_ms(&self) -> Option<f64> {
        let mut all: Vec<f64> = self.utterances.iter().filter_map(|u| u.decision_ms).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied()
    }
}
