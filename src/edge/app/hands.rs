//! The scripted pilot: his words and his hands.

use super::report::Side;
use super::{App, AppError, Ears, Event, Next};
use crate::core::aircraft::{SignalId, Value};
use crate::core::book::Book;
use crate::core::book::expr::{Expr, Name, Scope};
use crate::core::script::{self, Deed, Senses};
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// What the loop keeps for the scripted pilot.
#[derive(Default)]
pub(super) struct Hands {
    pub events: Vec<script::Event>,
    pub wake: Option<SessionTime>,
    conditions: BTreeMap<String, Option<Expr>>,
    /// What he said and when, where it is known.
    words: Vec<(SessionTime, SessionTime, String)>,
}

/// The scripted pilot is told of changes this often at most.
const LOOK_EVERY: u32 = 3;
/// Typed words take as long as an unhurried speaker needs.
const WORDS_PER_S: f64 = 2.7;
/// What was heard and what was said must share this much time, s.
const SAME_WORDS_S: f64 = 0.1;

impl Hands {
    /// All words that were being said between two moments, in order; one utterance may hold two lines.
    pub fn words_in(&self, from: SessionTime, to: SessionTime) -> Option<String> {
        let near = |(began, over, _): &&(SessionTime, SessionTime, String)| {
            from <= over.plus(-SAME_WORDS_S) && to >= began.plus(SAME_WORDS_S)
        };
        let said: Vec<&str> = self.words.iter().filter(near).map(|(_, _, text)| text.as_str()).collect();
        if said.is_empty() { None } else { Some(said.join(", ")) }
    }
}

struct Sight<'a> {
    values: &'a BTreeMap<String, Value>,
    conditions: &'a BTreeMap<String, Option<Expr>>,
    book: &'a Book,
}

impl Scope for Sight<'_> {
    fn value(&self, name: &Name) -> Option<Value> {
        match name {
            Name::Signal(SignalId(i)) => self.values.get(&self.book.signals.get(*i as usize)?.id).cloned(),
            Name::Sheet(i) => self.book.sheet.get(*i as usize)?.value.clone(),
            _ => None,
        }
    }
}

impl Senses for Sight<'_> {
    fn holds(&self, condition: &str) -> Option<bool> {
        self.conditions.get(condition)?.as_ref()?.eval(self)?.truth()
    }
    fn value(&self, name: &str) -> Option<Value> {
        self.values.get(name).cloned()
    }
}

impl App {
    /// Conditions of the script, compiled once; one that does not compile is a fault of the script.
    pub(super) fn learn_script(&mut self) {
        let Some(p) = &self.parts.pilot else { return };
        let mut texts: Vec<String> = Vec::new();
        for s in &p.script().steps {
            texts.extend(s.trigger.when.clone());
            texts.extend(s.expect.iter().filter_map(|(w, _)| match w {
                script::Wanted::When(c) => Some(c.clone()),
                _ => None,
            }));
        }
        for text in texts {
            let expr = self.parts.book.condition(&text);
            if let Err(e) = &expr {
                self.report.fault(format!("the script's condition \u{201c}{text}\u{201d} cannot be used: {e}"));
            }
            self.hands.conditions.insert(text, expr.ok());
        }
    }

    /// Lets the pilot look, think and act.
    pub(super) fn pilot(&mut self) -> Result<(), AppError> {
        let Some(p) = &mut self.parts.pilot else { return Ok(()) };
        let due = self.hands.wake.is_some_and(|t| t <= self.now);
        if self.hands.events.is_empty() && !due && !self.frames.is_multiple_of(LOOK_EVERY) {
            return Ok(());
        }
        let events = std::mem::take(&mut self.hands.events);
        let sight =
            Sight { values: self.parts.link.values(), conditions: &self.hands.conditions, book: &self.parts.book };
        let turn = p.poll(self.now, &events, &sight);
        self.hands.wake = turn.wake;
        if p.finished() && self.leave_at.is_none() {
            self.leave_at = Some(self.now);
        }
        for deed in turn.deeds {
            self.act(deed)?;
        }
        Ok(())
    }

    fn act(&mut self, deed: Deed) -> Result<(), AppError> {
        let done = match deed {
            Deed::Say { id, text } => return self.speak_for_pilot(id, text),
            Deed::Move { control, to } => self.parts.link.set(&control, &to),
            Deed::Set { name, to } => self.parts.link.set(&name, &to),
            Deed::Inject { fault } => self.parts.link.inject(&fault),
            Deed::Touch { what } => Err(format!("there is no page to touch \u{201c}{what}\u{201d} on")),
        };
        if let Err(e) = done {
            self.report.fault(e);
        }
        Ok(())
    }

    fn speak_for_pilot(&mut self, id: u64, text: String) -> Result<(), AppError> {
        let began = self.now;
        let length = match (&self.parts.ears, &mut self.parts.captain) {
            (Ears::Sound(_), Some(voice)) => match voice(&text) {
                Ok(samples) => {
                    let s = samples.len() as f64 / f64::from(crate::edge::audio::EAR_RATE);
                    let at = self.sample_at(self.now);
                    self.mic.start(id, samples.into(), at);
                    s
                }
                Err(e) => {
                    self.report.fault(e);
                    0.0
                }
            },
            _ => text.split_whitespace().count() as f64 / WORDS_PER_S,
        };
        let over = began.plus(length);
        if matches!(self.parts.ears, Ears::Sound(_)) {
            self.tell(Side::Pilot, began, &text);
        } else {
            self.put(over, Event::Words { text: text.clone(), began });
        }
        self.hands.words.push((began, over, text));
        self.report.said += 1;
        self.put(over, Event::WordsDone { id });
        Ok(())
    }

    pub(super) fn own_words_done(&mut self, id: u64) -> Result<(), AppError> {
        self.hands.events.push(script::Event::SayEnded { id });
        self.step(Next::Pilot)
    }
}
