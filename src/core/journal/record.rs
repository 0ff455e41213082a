//! From the session to lines.

use super::canon;
use crate::core::aircraft::Value;
use crate::core::crew::io::{Action, Input, Note, Step};
use crate::core::time::{SessionTime, SimTime, Wake};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Version of the line shapes; a reader takes its own and older ones.
pub const VERSION: u32 = 1;

/// The first line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// [`VERSION`] of the writer.
    pub antiphon_journal: u32,
    /// Version of the program.
    pub program: String,
    /// The book that was flown.
    pub book: BookMark,
    /// The model files that were loaded.
    #[serde(default)]
    pub models: Vec<ModelMark>,
    /// Settings of the command line and the session that have a bearing on it, by name.
    #[serde(default)]
    pub settings: BTreeMap<String, Value>,
    /// Seed of the engine.
    pub seed: u64,
    /// When the session began, wall clock, as the edge wrote it (RFC 3339).
    pub started: String,
}

/// Which book.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BookMark {
    /// Its id.
    pub id: String,
    /// Its hash ([`crate::core::Book::hash`]).
    pub hash: String,
    /// Where it was found, for `replay`.
    pub path: String,
}

/// Which model file.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelMark {
    /// Its name in the manifest.
    pub name: String,
    /// SHA-256, hex.
    pub hash: String,
}

/// What every line after the header begins with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// Number of the input, from 1; on other lines, of the input that they belong to (0 before the first).
    pub seq: u64,
    /// Session clock, µs.
    pub at: SessionTime,
    /// Simulator's clock, µs.
    pub sim: SimTime,
}

/// A line after the header.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Line {
    /// What went into the engine. State comes as changes only.
    In {
        /// When.
        #[serde(flatten)]
        stamp: Stamp,
        /// What.
        input: Input,
    },
    /// What came out.
    Out {
        /// Of the input that caused it.
        #[serde(flatten)]
        stamp: Stamp,
        /// Place among the outputs of this input, from 0.
        n: u32,
        /// What.
        action: Action,
    },
    /// What was not done, and why: an output like the others, under a kind of its own so that it can be found.
    NotDone {
        /// Of the input that caused it.
        #[serde(flatten)]
        stamp: Stamp,
        /// Place among the outputs of this input, from 0.
        n: u32,
        /// Always a [`Note::NotDone`].
        action: Action,
    },
    /// The engine's next deadline, when it is another than before.
    Wake {
        /// Of the input that caused it.
        #[serde(flatten)]
        stamp: Stamp,
        /// The deadline.
        wake: Wake,
    },
    /// Measured in the real world (time of computing and the like); `replay` passes over it.
    Measured {
        /// When.
        #[serde(flatten)]
        stamp: Stamp,
        /// By name; units in the names.
        measured: BTreeMap<String, Value>,
    },
    /// The session ended in order. Absent when the program was killed.
    End {
        /// When.
        #[serde(flatten)]
        stamp: Stamp,
        /// How many `in` lines stand above.
        inputs: u64,
        /// How many `out` and `not_done` lines stand above.
        outputs: u64,
    },
}

impl Line {
    /// Its stamp.
    pub fn stamp(&self) -> Stamp {
        match self {
            Line::In { stamp, .. }
            | Line::Out { stamp, .. }
            | Line::NotDone { stamp, .. }
            | Line::Wake { stamp, .. }
            | Line::Measured { stamp, .. }
            | Line::End { stamp, .. } => *stamp,
        }
    }
    /// The action, on `out` and `not_done` lines.
    pub fn action(&self) -> Option<&Action> {
        match self {
            Line::Out { action, .. } | Line::NotDone { action, .. } => Some(action),
            _ => None,
        }
    }
    /// Whether the engine produced it: `out`, `not_done` or `wake`.
    pub fn from_engine(&self) -> bool {
        matches!(self, Line::Out { .. } | Line::NotDone { .. } | Line::Wake { .. })
    }
}

/// The lines of one step: outputs in order, then the deadline if it is another than `before`.
pub(super) fn lines_of(stamp: Stamp, step: &Step, before: Wake) -> Vec<Line> {
    let mut lines: Vec<Line> = (0..)
        .zip(&step.actions)
        .map(|(n, action)| match action {
            Action::Note(Note::NotDone { .. }) => Line::NotDone { stamp, n, action: action.clone() },
            _ => Line::Out { stamp, n, action: action.clone() },
        })
        .collect();
    if step.wake != before {
        lines.push(Line::Wake { stamp, wake: step.wake });
    }
    lines
}

/// Something that JSON cannot hold: an infinite number, or one that is none.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "the journal cannot hold this {what}, because a number in it is infinite or not a number: leave it out at the edge"
)]
pub struct Unwritable {
    /// `header`, `input`, `output` or `measurement`.
    pub what: &'static str,
}

/// Turns a session into lines: hands out numbers, counts, and carries the running sum.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recorder {
    pub(super) seq: u64,
    pub(super) inputs: u64,
    pub(super) outputs: u64,
    pub(super) wake: Wake,
    pub(super) sum: String,
}

impl Recorder {
    /// Begins a journal: the recorder and the header line (without line end).
    pub fn begin(header: &Header) -> Result<(Recorder, String), Unwritable> {
        let mut new = Recorder { seq: 0, inputs: 0, outputs: 0, wake: Wake::default(), sum: String::new() };
        let text = sealed(header, &mut new.sum, "header")?;
        Ok((new, text))
    }
    /// The line of an input. Write it before the engine sees the input, so that one that brings it down is on record.
    pub fn input(&mut self, at: SessionTime, sim: SimTime, input: &Input) -> Result<String, Unwritable> {
        let stamp = Stamp { seq: self.seq + 1, at, sim };
        let text = sealed(&Line::In { stamp, input: input.clone() }, &mut self.sum, "input")?;
        self.seq += 1;
        self.inputs += 1;
        Ok(text)
    }
    /// The lines of what the engine returned for the last input. On an error nothing is recorded of the whole step.
    pub fn step(&mut self, at: SessionTime, sim: SimTime, step: &Step) -> Result<Vec<String>, Unwritable> {
        let lines = lines_of(Stamp { seq: self.seq, at, sim }, step, self.wake);
        let mut sum = self.sum.clone();
        let texts = lines.iter().map(|l| sealed(l, &mut sum, "output")).collect::<Result<_, _>>()?;
        self.sum = sum;
        self.outputs += step.actions.len() as u64;
        self.wake = step.wake;
        Ok(texts)
    }
    /// The line of something measured.
    pub fn measured(
        &mut self,
        at: SessionTime,
        sim: SimTime,
        measured: &BTreeMap<String, Value>,
    ) -> Result<String, Unwritable> {
        let stamp = Stamp { seq: self.seq, at, sim };
        sealed(&Line::Measured { stamp, measured: measured.clone() }, &mut self.sum, "measurement")
    }
    /// The last line.
    pub fn end(&mut self, at: SessionTime, sim: SimTime) -> String {
        let stamp = Stamp { seq: self.seq, at, sim };
        let line = Line::End { stamp, inputs: self.inputs, outputs: self.outputs };
        sealed(&line, &mut self.sum, "end").expect("whole numbers always fit")
    }
    /// How many inputs have been recorded.
    pub fn inputs(&self) -> u64 {
        self.inputs
    }
}

/// Serialises, proves that it reads back as the same, and appends the running sum.
fn sealed<T>(line: &T, sum: &mut String, what: &'static str) -> Result<String, Unwritable>
where
    T: Serialize + for<'a> Deserialize<'a> + PartialEq,
{
    let text = serde_json::to_string(line).map_err(|_| Unwritable { what })?;
    // JSON writes what is not finite as `null`, silently: only reading it back shows the loss.
    if serde_json::from_str::<T>(&text).ok().as_ref() != Some(line) {
        return Err(Unwritable { what });
    }
    let value: serde_json::Value = serde_json::from_str(&text).map_err(|_| Unwritable { what })?;
    *sum = canon::sum(sum, &canon::canonical(&value));
    let body = text.strip_suffix('}').unwrap_or(&text);
    Ok(format!("{body},\"sum\":\"{sum}\"}}"))
}
