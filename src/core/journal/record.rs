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
    /// Lines of a step that a kill kept from being written, sealed now. Whatever cannot be written is left out.
    pub(super) fn owed(&mut self, lines: &[Line]) -> Vec<String> {
        self.outputs += lines.iter().filter(|l| l.action().is_some()).count() as u64;
        lines.iter().filter_map(|l| sealed(l, &mut self.sum, "output").ok()).collect()
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

#[cfg(test)]
mod tests {
    use super::super::toy;
    use super::*;
    use insta::assert_snapshot;
    use proptest::prelude::*;

    #[test]
    fn the_lines_of_a_session() {
        assert_snapshot!(toy::session(), @r#"
        {"antiphon_journal":1,"program":"0.1.0","book":{"id":"toy","hash":"00ff","path":"phrasebooks/toy"},"models":[{"name":"ear","hash":"beef"}],"settings":{"headset":true},"seed":7,"started":"2020-01-01T00:00:00Z","sum":"af39e3d5"}
        {"kind":"in","seq":1,"at":0,"sim":0,"input":{"in":"begin","arrangement":{"left_seat":true,"captain":true,"flying":true},"phase":"roll","sheet":{}},"sum":"81083776"}
        {"kind":"out","seq":1,"at":0,"sim":0,"n":0,"action":{"out":"note","note":"phase","phase":"roll"},"sum":"1e238667"}
        {"kind":"out","seq":1,"at":0,"sim":0,"n":1,"action":{"out":"listen","revision":1,"calls":[0,70],"due":[70]},"sum":"42f15690"}
        {"kind":"wake","seq":1,"at":0,"sim":0,"wake":{"session":2000000,"sim":null},"sum":"da12edc7"}
        {"kind":"in","seq":2,"at":1000000,"sim":2000000,"input":{"in":"state","delta":{"ias_kt":0.30000000000000004,"vertical_speed_fpm":0.0}},"sum":"3fa43720"}
        {"kind":"wake","seq":2,"at":1000000,"sim":2000000,"wake":{"session":null,"sim":null},"sum":"68b63951"}
        {"kind":"in","seq":3,"at":2500000,"sim":5000000,"input":{"in":"heard","heard":{"revision":1,"ranked":[{"meanings":[{"call":"gear_up"}],"score":4.1,"text":"gear up"}],"unheard":null,"typed":false,"pushed":false,"speech":[1700000,2500000]}},"sum":"11e7fdb6"}
        {"kind":"not_done","seq":3,"at":2500000,"sim":5000000,"n":0,"action":{"out":"note","note":"not_done","what":"gear up","why":"there is no positive climb yet"},"sum":"f73e2db8"}
        {"kind":"out","seq":3,"at":2500000,"sim":5000000,"n":1,"action":{"out":"say","id":1,"station":"flight_deck","text":"No climb yet","priority":"routine","expires_s":5.0},"sum":"d6f03dcf"}
        {"kind":"wake","seq":3,"at":2500000,"sim":5000000,"wake":{"session":4500000,"sim":null},"sum":"498d6822"}
        {"kind":"in","seq":4,"at":2600000,"sim":5200000,"input":{"in":"speech_started","id":1},"sum":"17306c5a"}
        {"kind":"wake","seq":4,"at":2600000,"sim":5200000,"wake":{"session":null,"sim":null},"sum":"1d96533f"}
        {"kind":"in","seq":5,"at":3400000,"sim":6800000,"input":{"in":"speech_ended","id":1,"cut":false},"sum":"ae71e126"}
        {"kind":"in","seq":6,"at":4000000,"sim":8000000,"input":{"in":"state","delta":{"ias_kt":81.25}},"sum":"1c7c3d51"}
        {"kind":"out","seq":6,"at":4000000,"sim":8000000,"n":0,"action":{"out":"say","id":2,"station":"flight_deck","text":"Eighty","priority":"routine","expires_s":5.0},"sum":"0b16958d"}
        {"kind":"out","seq":6,"at":4000000,"sim":8000000,"n":1,"action":{"out":"note","note":"callout","callout":"eighty","value":81.25,"wanted":80.0,"speech":2},"sum":"ddaeaad0"}
        {"kind":"wake","seq":6,"at":4000000,"sim":8000000,"wake":{"session":6000000,"sim":null},"sum":"c368791f"}
        {"kind":"in","seq":7,"at":4100000,"sim":8200000,"input":{"in":"tick"},"sum":"e893672e"}
        {"kind":"wake","seq":7,"at":4100000,"sim":8200000,"wake":{"session":null,"sim":null},"sum":"d81d6c07"}
        {"kind":"in","seq":8,"at":6000000,"sim":12000000,"input":{"in":"state","delta":{"vertical_speed_fpm":900.0}},"sum":"a908b915"}
        {"kind":"in","seq":9,"at":7000000,"sim":14000000,"input":{"in":"heard","heard":{"revision":1,"ranked":[{"meanings":[{"call":"gear_up"}],"score":4.1,"text":"gear up"}],"unheard":null,"typed":false,"pushed":false,"speech":[6200000,7000000]}},"sum":"7a82d850"}
        {"kind":"out","seq":9,"at":7000000,"sim":14000000,"n":0,"action":{"out":"note","note":"accepted","meaning":{"call":"gear_up"},"score":4.1},"sum":"6f237ce4"}
        {"kind":"out","seq":9,"at":7000000,"sim":14000000,"n":1,"action":{"out":"say","id":3,"station":"flight_deck","text":"Gear up","priority":"routine","expires_s":5.0},"sum":"3b94bf5c"}
        {"kind":"out","seq":9,"at":7000000,"sim":14000000,"n":2,"action":{"out":"set","request":1,"control":"gear_lever","to":"up"},"sum":"08b16581"}
        {"kind":"wake","seq":9,"at":7000000,"sim":14000000,"wake":{"session":9000000,"sim":null},"sum":"bb1a4629"}
        {"kind":"in","seq":10,"at":7100000,"sim":14200000,"input":{"in":"set_result","request":1,"failed":null},"sum":"c4d4028d"}
        {"kind":"wake","seq":10,"at":7100000,"sim":14200000,"wake":{"session":null,"sim":null},"sum":"f88a676e"}
        {"kind":"in","seq":11,"at":30000000,"sim":60000000,"input":{"in":"state","delta":{"ias_kt":190.0}},"sum":"795ea625"}
        {"kind":"measured","seq":11,"at":30000000,"sim":60000000,"measured":{"decision_ms":3.25},"sum":"f3ab5bc3"}
        {"kind":"end","seq":11,"at":30000000,"sim":60000000,"inputs":11,"outputs":9,"sum":"9f5f7711"}
        "#);
    }

    #[test]
    fn the_lines_of_the_page_are_lines() {
        let page = include_str!("../../../docs/journal.md");
        let rows: Vec<&str> = page.lines().filter(|l| l.starts_with('{')).collect();
        assert_eq!(rows.len(), 8);
        serde_json::from_str::<Header>(rows[0]).unwrap();
        for row in &rows[1..] {
            serde_json::from_str::<Line>(row).unwrap_or_else(|e| panic!("{row}: {e}"));
        }
    }

    #[test]
    fn what_json_cannot_hold_is_refused_and_leaves_no_trace() {
        let (mut rec, _) = Recorder::begin(&toy::header()).unwrap();
        let before = rec.clone();
        let (at, sim) = (SessionTime(1), SimTime(2));
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let e = rec.input(at, sim, &toy::state(&[("ias_kt", bad)])).unwrap_err();
            assert_eq!(e.what, "input");
            let step = Step {
                actions: vec![Action::Note(Note::Callout {
                    callout: "c".into(),
                    value: Some(bad),
                    wanted: None,
                    speech: 1,
                })],
                wake: Wake::default(),
            };
            assert_eq!(rec.step(at, sim, &step).unwrap_err().what, "output");
            assert_eq!(rec, before);
        }
        assert_snapshot!(Unwritable { what: "input" }, @"the journal cannot hold this input, because a number in it is infinite or not a number: leave it out at the edge");
    }

    proptest! {
        #[test]
        fn every_finite_number_comes_back_to_the_last_bit(x in any::<f64>().prop_filter("finite", |x| x.is_finite())) {
            let (mut rec, _) = Recorder::begin(&toy::header()).unwrap();
            let text = rec.input(SessionTime(1), SimTime(2), &toy::state(&[("x", x)])).unwrap();
            let Ok(Line::In { input: Input::State { delta }, .. }) = serde_json::from_str(&text) else { panic!("{text}") };
            let back = delta["x"].as_ref().unwrap().number().unwrap();
            prop_assert_eq!(back.to_bits(), x.to_bits());
        }

        #[test]
        fn every_word_comes_back(word in ".{0,40}", name in ".{1,10}", take in any::<bool>()) {
            let (mut rec, _) = Recorder::begin(&toy::header()).unwrap();
            let value = (!take).then_some(Value::Word(word));
            let input = Input::State { delta: [(name, value)].into() };
            let text = rec.input(SessionTime(1), SimTime(2), &input).unwrap();
            prop_assert!(!text.contains('\n'));
            let Ok(Line::In { input: back, .. }) = serde_json::from_str(&text) else { panic!("{text}") };
            prop_assert_eq!(back, input);
        }
    }
}
