//! The engine at a glance: what a page shows of this moment that no note has told.

use super::io::Arrangement;
use super::{Crew, Slots, Who};
use crate::core::aircraft::{SignalId, Value};
use crate::core::book::expr::Scope;
use crate::core::book::schema::{By, Edge, Source, Station};
use crate::core::time::SessionTime;

/// This moment of the engine.
#[derive(Debug, Clone, PartialEq)]
pub struct Glance {
    /// What people call the phase.
    pub phase: String,
    /// Phases that may follow, as people call them.
    pub next: Vec<String>,
    /// Who is who.
    pub arrangement: Arrangement,
    /// Whether pilot flying and pilot monitoring are flight roles now; else captain and first officer stand for them.
    pub flight_roles: bool,
    /// The checklist that is being read, if one is.
    pub list: Option<List>,
    /// Checklists that wait for it, as spoken.
    pub waiting: Vec<String>,
    /// Flows under way, the oldest first.
    pub flows: Vec<Flow>,
    /// Questions to which the pilot's answer is due.
    pub asked: Vec<String>,
    /// Commands being repeated aloud and controls that are moving.
    pub moving: Vec<String>,
    /// Callouts that are armed: the words and the mark.
    pub armed: Vec<(String, String)>,
    /// The flight sheet, in the book's order.
    pub sheet: Vec<Option<Value>>,
    /// Of each of its entries what is known about the value.
    pub known: Vec<Entered>,
    /// Commands that were put off until later, in words.
    pub put_off: Vec<String>,
    /// The briefing that goes on, if one does.
    pub briefing: Option<Briefing>,
    /// The signals that were asked for; `None` when stale or missing.
    pub signals: Vec<Option<Value>>,
}

/// What is known about the value of an entry of the flight sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entered {
    /// Where it came from; `None` if there is none.
    pub source: Option<Source>,
    /// When it was written.
    pub at: SessionTime,
    /// Whether the pilot has cross-checked it.
    pub by_pilot: bool,
    /// Whether the program has.
    pub by_program: bool,
    /// Whether a check says that it cannot be right, and nobody has confirmed it.
    pub doubted: bool,
}

/// A briefing under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Briefing {
    /// What people call it.
    pub title: String,
    /// Each topic as people call it, and whether it has come up.
    pub topics: Vec<(String, bool)>,
}

/// Whose turn or duty something is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// The human's.
    Pilot,
    /// The program's.
    Program,
    /// First the one, then the other.
    Both,
}

/// A checklist under way.
#[derive(Debug, Clone, PartialEq)]
pub struct List {
    /// Its name.
    pub id: String,
    /// As spoken.
    pub title: String,
    /// The present item, an index into `items`; beyond the end while the completion is spoken.
    pub at: usize,
    /// The pilot holds it.
    pub held: bool,
    /// The pilot's answer is due now.
    pub due: bool,
    /// What it waits for, in words.
    pub waits: String,
    /// Every item.
    pub items: Vec<ListItem>,
}

/// An item of a checklist.
#[derive(Debug, Clone, PartialEq)]
pub struct ListItem {
    /// The challenge.
    pub challenge: String,
    /// Who answers.
    pub whose: Whose,
    /// What the aircraft shows now: signal titles and values; `None` for a value that is stale or missing.
    pub shown: Vec<(String, Option<Value>)>,
    /// Whether that agrees with what the book wants; `None` if unknown, or if there is nothing to see.
    pub agrees: Option<bool>,
}

/// A flow under way.
#[derive(Debug, Clone, PartialEq)]
pub struct Flow {
    /// What people call it.
    pub title: String,
    /// Who does it.
    pub station: Station,
    /// The present step, from 1.
    pub step: usize,
    /// How many there are.
    pub steps: usize,
    /// What it does or waits for, in words.
    pub doing: String,
    /// The step after, in words.
    pub then: Option<String>,
    /// The pilot holds it, or his hand or answer is waited for.
    pub waits_for_pilot: bool,
}

impl Crew {
    /// This moment, with the values of `signals`.
    pub(super) fn look(&self, signals: &[SignalId]) -> Glance {
        let none = Slots::new();
        let book = &self.book;
        let now = book.phases.get(self.phase.0 as usize);
        let title = |p: &crate::core::book::schema::PhaseId| book.phases[p.0 as usize].title.clone();
        let mut moving: Vec<String> = self
            .commands
            .iter()
            .map(|c| {
                let title = &book.controls[c.control.0 as usize].title;
                format!("{title} to {}: repeated aloud, can still be cancelled", plain(&c.to))
            })
            .collect();
        moving.extend(
            self.motions
                .iter()
                .map(|m| format!("{} to {}: is moving", book.controls[m.control.0 as usize].title, plain(&m.to))),
        );
        let armed =
            book.callouts.iter().enumerate().filter(|(i, c)| {
                self.callouts[*i].armed && c.phases.contains(&self.phase) && !self.done.contains(&c.id)
            });
        let armed = armed.filter(|(_, c)| self.who(c.by) != Who::Pilot).filter_map(|(_, c)| match &c.edge {
            Edge::When { .. } => None,
            Edge::Through { signal, value, .. } => {
                let mark = plain(&value.eval(&self.scope(&none, None))?);
                let signal = &book.signals[signal.0 as usize].title;
                Some((self.text(&c.say, &none, None), format!("{signal} {mark}")))
            }
        });
        Glance {
            phase: now.map_or_else(String::new, |p| p.title.clone()),
            next: now.map_or_else(Vec::new, |p| p.next.iter().map(title).collect()),
            arrangement: self.arrangement,
            flight_roles: book.roles.flight_roles_in.contains(&self.phase),
            list: self.list_seen(),
            waiting: self.lists_waiting(),
            flows: self.runs_seen(),
            asked: self.asks.iter().map(|a| self.asked_in_words(a)).collect(),
            moving,
            armed: armed.collect(),
            sheet: self.sheet.clone(),
            known: self.entered(),
            put_off: self.put_off_names(),
            briefing: self.briefing_seen(),
            signals: signals.iter().map(|s| self.signal(*s)).collect(),
        }
    }

    /// A signal's value, unless it is stale.
    pub(super) fn signal(&self, signal: SignalId) -> Option<Value> {
        self.scope(&Slots::new(), None).value(&crate::core::book::expr::Name::Signal(signal))
    }

    pub(super) fn whose(&self, by: By) -> Whose {
        match self.who(by) {
            Who::Pilot => Whose::Pilot,
            Who::Program => Whose::Program,
            Who::Both => Whose::Both,
        }
    }

    fn asked_in_words(&self, a: &super::asks::Asking) -> String {
        let spoken = a.ask.say.as_ref().map(|t| self.text(t, &Slots::new(), None));
        spoken.filter(|t| !t.is_empty()).unwrap_or_else(|| "your call".into())
    }
}

/// A value for the eye: numbers to two places, names without underscores.
pub fn plain(value: &Value) -> String {
    match value {
        Value::Number(n) => (libm::round(n * 100.0) / 100.0 + 0.0).to_string(),
        Value::Bool(true) => "yes".into(),
        Value::Bool(false) => "no".into(),
        Value::Word(w) => w.replace('_', " "),
    }
}
