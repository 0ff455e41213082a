//! What a session came to.

use super::item::{Exercise, Mode};
use super::score::{Answer, CallsignScore, Note, Score, Verdict};
use std::collections::BTreeMap;

/// How often something was right and how often not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Right.
    pub right: u32,
    /// Wrong, incomplete or missing.
    pub faulty: u32,
}

/// A session's counts. Items count by the first readback of each exercise.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Summary {
    /// Exercises that were read back, or rightly left alone.
    pub exercises: u32,
    /// Exercises that ended without a readback.
    pub unanswered: u32,
    /// Of them right at once.
    pub right_at_once: u32,
    /// Items read back right.
    pub right: u32,
    /// With another value.
    pub wrong: u32,
    /// Left out, or without one of their values, though the rules want them.
    pub missing: u32,
    /// Said though nobody cleared it.
    pub extra: u32,
    /// Callsign wrong, shortened or missing.
    pub callsign: u32,
    /// No answer to a call that was meant.
    pub silent: u32,
    /// Not understood.
    pub unreadable: u32,
    /// Could not comply.
    pub unable: u32,
    /// By kind of item.
    pub kinds: BTreeMap<String, Tally>,
    /// Faults beside the items, and remarks, with how often.
    pub remarks: BTreeMap<Note, u32>,
    /// Every latency, s.
    pub latency_s: Vec<f64>,
    /// Every pace, words a minute.
    pub wpm: Vec<f64>,
}

impl Summary {
    /// Counts an answer; `first` is the first that was meant to be right.
    pub(super) fn add(&mut self, exercise: &Exercise, score: &Score, first: bool) {
        self.latency_s.extend(score.latency_s);
        self.wpm.extend(score.wpm);
        for note in score.faults.iter().chain(&score.notes).chain(score.items.iter().flat_map(|i| &i.notes)) {
            *self.remarks.entry(note.clone()).or_default() += 1;
        }
        match score.answer {
            Answer::Silence if !score.not_mine => {
                self.silent += 1;
                return;
            }
            Answer::Unreadable if !score.not_mine => {
                self.unreadable += 1;
                return;
            }
            _ => {}
        }
        if !first {
            return;
        }
        self.exercises += 1;
        self.right_at_once += u32::from(score.is_right());
        self.callsign += u32::from(!matches!(score.callsign, CallsignScore::Right | CallsignScore::NotAsked));
        self.extra += score.extra.len() as u32;
        for item in &score.items {
            let kind = exercise.items.get(item.item).map_or(String::new(), |i| i.kind.clone());
            let tally = self.kinds.entry(kind).or_default();
            match (&item.verdict, item.is_fault()) {
                (Verdict::Correct, _) => (self.right, tally.right) = (self.right + 1, tally.right + 1),
                (Verdict::Wrong(_), _) => (self.wrong, tally.faulty) = (self.wrong + 1, tally.faulty + 1),
                (_, true) => (self.missing, tally.faulty) = (self.missing + 1, tally.faulty + 1),
                (_, false) => {}
            }
        }
    }

    /// Kinds of item with faults, the worst first.
    pub fn weak(&self) -> Vec<(&str, Tally)> {
        let mut weak: Vec<(&str, Tally)> =
            self.kinds.iter().filter(|(_, t)| t.faulty > 0).map(|(k, t)| (k.as_str(), *t)).collect();
        weak.sort_by(|a, b| b.1.faulty.cmp(&a.1.faulty).then(a.0.cmp(b.0)));
        weak
    }
}

/// The mean, if there is one.
pub fn mean(all: &[f64]) -> Option<f64> {
    (!all.is_empty()).then(|| all.iter().sum::<f64>() / all.len() as f64)
}

/// The name of a mode on the command line.
pub fn mode_name(mode: Mode) -> &'static str {
    Mode::ALL.iter().find(|m| m.1 == mode).map_or("", |m| m.0)
}
