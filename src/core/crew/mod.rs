//! The procedure engine: one function of state, time and input.
//!
//! [`Crew::handle`] takes what happened and returns everything to be done and the next moment at which it wants to be
//! called. Inside, an input is taken in ([`calls`], [`talk`], [`controls`] …), then [`Crew::settle`] lets phases,
//! triggers, flows, lists, callouts and limits move on until nothing changes any more.

mod air;
mod asks;
mod briefing;
mod callouts;
mod calls;
mod compare;
mod controls;
mod due;
mod flows;
pub mod glance;
mod intrinsics;
pub mod io;
mod later;
mod limits;
mod listen;
mod lists;
mod manners;
mod phases;
mod repair;
mod scope;
mod sheet;
mod standing;
mod survey;
mod talk;

#[cfg(test)]
mod tests;

use crate::core::aircraft::{SignalId, State, Value};
use crate::core::book::Book;
use crate::core::book::Uses;
use crate::core::book::expr::Expr;
use crate::core::book::schema::{By, PhaseId, SheetId, Source};
use crate::core::grammar::{CallSet, Meaning};
use crate::core::physics::performance::Performance;
use crate::core::time::{Clock, SessionTime, SimTime, Wake};
use io::{Action, Arrangement, Crossing, Engine, Input, Note, Step};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Slots of the call that started something.
type Slots = BTreeMap<String, Value>;

/// Who has a duty in the present arrangement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Who {
    /// The human.
    Pilot,
    /// This program.
    Program,
    /// Each in turn.
    Both,
}

/// A deadline on one of the clocks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Deadline {
    Session(SessionTime),
    Sim(SimTime),
}

/// The second pilot, with ground and cabin crew.
#[derive(Debug, Clone)]
pub struct Crew {
    book: Arc<Book>,
    at: SessionTime,
    sim: SimTime,
    out: Vec<Action>,
    begun: bool,
    arrangement: Arrangement,
    state: State,
    sheet: Vec<Option<Value>>,
    facts: Vec<sheet::Fact>,
    uses: Vec<Uses>,
    tables: Option<Performance>,
    /// Entries that are computed, and entries that are compared: indices into the book's sheet.
    derived: Vec<usize>,
    compared: Vec<usize>,
    comparing: Vec<compare::Comparing>,
    /// Entries that have changed in this round: what they were, and whether somebody gave the new value.
    changed: Vec<(SheetId, Option<Value>, bool)>,
    /// Why the last figure was refused.
    refused_figure: Option<String>,
    /// Checklists and flows that a change of the sheet has opened again, with the items of the lists.
    reopened: BTreeMap<String, BTreeSet<usize>>,
    /// The phase in which what is missing has been asked for; when that is due.
    asked_in: Option<PhaseId>,
    ask_at: SessionTime,
    surveying: Option<survey::Surveying>,
    begun_flying: bool,
    seen_since_begin: bool,
    phase: PhaseId,
    /// Flows and checklists completed, callouts made, since they were last re-armed.
    done: BTreeSet<String>,
    /// Flows that ended in any way: a trigger does not start them again until re-armed.
    spent: BTreeSet<String>,
    /// What this program last set.
    last_set: BTreeMap<String, Value>,
    talk: talk::Talk,
    runs: Vec<flows::Run>,
    next_run: u32,
    edges: BTreeMap<(u16, u16), bool>,
    lists: Vec<lists::Reading>,
    asks: Vec<asks::Asking>,
    commands: Vec<controls::Command>,
    motions: Vec<controls::Motion>,
    next_request: u64,
    callouts: Vec<callouts::Arming>,
    limits: Vec<limits::Watching>,
    /// Callouts that the aircraft makes itself.
    theirs: BTreeSet<String>,
    /// What the next state shows was not lived through.
    unlived: bool,
    /// What comes with it is flown anew.
    anew: bool,
    last_call: Option<calls::LastCall>,
    /// The last words were typed.
    typed: bool,
    /// What was taken back last, and when: not heard again in the same way.
    rejected: Option<(Vec<Meaning>, SessionTime)>,
    undo: Option<repair::Undo>,
    commanded_last: Option<repair::Commanded>,
    refused: Option<later::Refused>,
    later: Vec<later::PutOff>,
    briefing: Option<briefing::Briefed>,
    /// Lists and flows that are to be called for.
    dues: Vec<due::Owed>,
    /// The pilot speaks to somebody else.
    suspended: bool,
    /// The microphone is lost or muted.
    deaf: bool,
    style: manners::Style,
    lurking: Vec<manners::Lurking>,
    /// The radio, when it is on.
    air: Option<air::OnAir>,
    /// When each call was last accepted.
    heard_at: BTreeMap<u16, SessionTime>,
    last_not_done: Option<(String, String)>,
    revision: u32,
    live: CallSet,
    due: CallSet,
    crossings: Vec<Crossing>,
}

impl Crew {
    /// An engine for a book, before [`Input::Begin`].
    pub fn new(book: Arc<Book>) -> Self {
        let sheet = book.sheet.iter().map(|e| e.value.clone()).collect();
        let fact =
            |e: &crate::core::book::schema::SheetEntry| sheet::Fact::from(e.value.is_some().then_some(Source::Book));
        let with = |has: fn(&crate::core::book::schema::SheetEntry) -> bool| -> Vec<usize> {
            (0..book.sheet.len()).filter(|i| has(&book.sheet[*i])).collect()
        };
        let compared = with(|e| e.compare.is_some());
        let derived = with(|e| e.derived.is_some());
        let phase = book.first_phase.unwrap_or(PhaseId(0));
        Crew {
            at: SessionTime::ZERO,
            sim: SimTime::ZERO,
            out: Vec::new(),
            begun: false,
            arrangement: Arrangement::default(),
            state: State::new(book.signals.len()),
            sheet,
            facts: book.sheet.iter().map(fact).collect(),
            uses: book.sheet_uses(),
            tables: if derived.is_empty() { None } else { Performance::named(&book.aircraft) },
            derived,
            comparing: vec![compare::Comparing::default(); compared.len()],
            compared,
            changed: Vec::new(),
            refused_figure: None,
            reopened: BTreeMap::new(),
            asked_in: None,
            ask_at: SessionTime::ZERO,
            surveying: None,
            begun_flying: false,
            seen_since_begin: false,
            phase,
            done: BTreeSet::new(),
            spent: BTreeSet::new(),
            last_set: BTreeMap::new(),
            talk: talk::Talk::default(),
            runs: Vec::new(),
            next_run: 0,
            edges: BTreeMap::new(),
            lists: Vec::new(),
            asks: Vec::new(),
            commands: Vec::new(),
            motions: Vec::new(),
            next_request: 0,
            callouts: vec![callouts::Arming::default(); book.callouts.len()],
            limits: vec![limits::Watching::default(); book.limits.len()],
            theirs: BTreeSet::new(),
            unlived: false,
            anew: false,
            last_call: None,
            typed: false,
            rejected: None,
            undo: None,
            commanded_last: None,
            refused: None,
            later: Vec::new(),
            briefing: None,
            dues: due::owed(&book),
            suspended: false,
            deaf: false,
            style: manners::Style::default(),
            lurking: Vec::new(),
            air: None,
            heard_at: BTreeMap::new(),
            last_not_done: None,
            revision: 0,
            live: CallSet::none(),
            due: CallSet::none(),
            crossings: Vec::new(),
            book,
        }
    }

    /// The id of the present phase.
    pub fn phase(&self) -> &str {
        self.book.phases.get(self.phase.0 as usize).map_or("", |p| &p.id)
    }

    /// The live calls and, of these, the ones that answer something due.
    pub fn live(&self) -> (&CallSet, &CallSet) {
        (&self.live, &self.due)
    }

    fn begin(&mut self, arrangement: Arrangement, phase: Option<&str>, sheet: &BTreeMap<String, Value>) {
        self.begun = true;
        self.arrangement = arrangement;
        self.take_sheet(sheet, Source::File);
        // The plan as it is at the beginning takes nothing back.
        self.changed.clear();
        let given = phase.and_then(|name| {
            let found = self.book.phase(name);
            if found.is_none() {
                self.not_done(format!("begin in {name}"), "the book has no such phase".into());
            }
            found
        });
        match given.filter(|p| Some(*p) != self.book.first_phase) {
            Some(p) => self.survey(p, false),
            None => self.enter(self.phase, None),
        }
        self.begun_flying = true;
    }

    fn take_sheet(&mut self, values: &BTreeMap<String, Value>, source: Source) {
        for (name, value) in values {
            match self.book.sheet_entry(name) {
                Some(entry) => self.write_sheet(entry, Some(value.clone()), source),
                None => self.not_done(format!("sheet entry {name}"), "the book has no such entry".into()),
            }
        }
    }

    fn take(&mut self, input: &Input) {
        match input {
            Input::Begin { arrangement, phase, sheet } => self.begin(*arrangement, phase.as_deref(), sheet),
            Input::Tick => {}
            Input::Sheet { values, source } => self.take_sheet(values, *source),
            Input::Surprises { seed } => self.draw_surprises(*seed),
            Input::Radio { rules, seed, slips } => self.radio_on(rules, *seed, *slips),
            Input::Speaking => self.answering(),
            Input::Transmitted { words } => self.transmitted(words),
            Input::Heard { heard } => {
                self.hear(heard);
                self.said_on_board();
            }
            Input::State { delta } => {
                for (name, value) in delta {
                    let Some(id) = self.book.signal(name) else { continue };
                    let fits = value.as_ref().is_none_or(|v| v.fits(&self.book.signals[id.0 as usize].kind));
                    self.state.put(id, if fits { value.clone() } else { None }, self.at);
                }
                self.state.touch(self.at);
                self.seen_since_begin = self.begun;
                if std::mem::take(&mut self.unlived) {
                    self.arrive();
                }
            }
            Input::Crossed { callout, value } => self.crossed(callout, *value),
            Input::SpeechStarted { id } => self.speech_started(*id),
            Input::SpeechEnded { id, cut } => self.speech_ended(*id, *cut),
            Input::SetResult { request, failed } => self.set_result(*request, failed.as_deref()),
            Input::Link { up } => self.link(*up),
            Input::Device { device, state } => {
                match (device.as_str(), state.as_str()) {
                    ("microphone", "lost" | "muted") => self.deaf = true,
                    ("microphone", _) => self.deaf = false,
                    _ => {}
                }
                let text = self.wording(&format!("{device}_{state}"), &[]);
                if !text.is_empty() {
                    self.speak(text, crate::core::book::schema::Priority::Caution, talk::Owner::Nobody);
                }
            }
            Input::AircraftCalls { callouts } => self.theirs = callouts.iter().cloned().collect(),
            Input::Jumped => {
                self.unlived = true;
                self.leave_air();
                self.jumped();
            }
            Input::Anew => self.anew = true,
            Input::Fault { room, message } => {
                self.not_done(format!("work of {room}"), message.clone());
                let text = self.wording("room_failed", &[("what", room)]);
                self.speak(text, crate::core::book::schema::Priority::Caution, talk::Owner::Nobody);
            }
        }
    }

    /// Lets everything move on until nothing changes; the bound only guards against a book that feeds itself.
    fn settle(&mut self) {
        for _ in 0..64 {
            let before = (self.out.len(), self.runs.len(), self.lists.len());
            let mut moved = self.watch_speech();
            moved |= self.move_survey();
            moved |= self.move_phases();
            moved |= self.move_sheet();
            moved |= self.move_comparisons();
            moved |= self.move_commands();
            moved |= self.move_later();
            moved |= self.move_surprises();
            moved |= self.move_air();
            moved |= self.start_flows();
            moved |= self.move_flows();
            moved |= self.move_lists();
            moved |= self.move_asks();
            moved |= self.move_callouts();
            moved |= self.move_limits();
            moved |= self.move_dues();
            if !moved && before == (self.out.len(), self.runs.len(), self.lists.len()) {
                break;
            }
        }
    }

    fn wake(&self) -> Wake {
        let mut wake = Wake::default();
        let deadlines = self
            .talk_deadlines()
            .chain(self.run_deadlines())
            .chain(self.list_deadlines())
            .chain(self.ask_deadlines())
            .chain(self.motion_deadlines())
            .chain(self.callout_deadlines())
            .chain(self.limit_deadlines())
            .chain(self.surprise_deadlines())
            .chain(self.air_deadlines())
            .chain(self.comparison_deadlines())
            .chain(self.survey_deadlines())
            .chain(self.due_deadlines())
            .chain((self.begun && self.asked_in != Some(self.phase)).then_some(Deadline::Session(self.ask_at)));
        for d in deadlines {
            // What is past and has moved nothing waits for something else than time.
            match d {
                Deadline::Session(t) if t > self.at => wake.session = Some(wake.session.map_or(t, |w| w.min(t))),
                Deadline::Sim(t) if t > self.sim => wake.sim = Some(wake.sim.map_or(t, |w| w.min(t))),
                Deadline::Session(_) | Deadline::Sim(_) => {}
            }
        }
        wake
    }

    // What everybody here needs.

    fn note(&mut self, note: Note) {
        self.out.push(Action::Note(note));
    }

    fn not_done(&mut self, what: String, why: String) {
        self.last_not_done = Some((what.clone(), why.clone()));
        self.note(Note::NotDone { what, why });
    }

    fn after(&self, clock: Clock, seconds: f64) -> Deadline {
        match clock {
            Clock::Session => Deadline::Session(self.at.plus(seconds)),
            Clock::Sim => Deadline::Sim(self.sim.plus(seconds)),
        }
    }

    fn passed(&self, d: Deadline) -> bool {
        match d {
            Deadline::Session(t) => t <= self.at,
            Deadline::Sim(t) => t <= self.sim,
        }
    }

    fn who(&self, by: By) -> Who {
        let flight_roles = self.book.roles.flight_roles_in.contains(&self.phase);
        let a = &self.arrangement;
        let pilot = match by {
            By::Both => return Who::Both,
            By::Captain => a.captain,
            By::FirstOfficer => !a.captain,
            By::Left => a.left_seat,
            By::Right => !a.left_seat,
            By::Pf if flight_roles => a.flying,
            By::Pm if flight_roles => !a.flying,
            By::Pf => a.captain,
            By::Pm => !a.captain,
        };
        if pilot { Who::Pilot } else { Who::Program }
    }

    fn truth(&self, expr: &Expr, slots: &Slots) -> Option<bool> {
        expr.eval(&self.scope(slots, None))?.truth()
    }

    /// An absent guard is true; unknown is false.
    fn holds(&self, guard: Option<&Expr>, slots: &Slots) -> bool {
        guard.is_none_or(|e| self.truth(e, slots) == Some(true))
    }
}

impl Engine for Crew {
    fn handle(&mut self, at: SessionTime, sim: SimTime, input: &Input) -> Step {
        self.at = at;
        self.sim = sim;
        self.take(input);
        if self.begun {
            self.settle();
            self.listen();
        }
        Step { actions: std::mem::take(&mut self.out), wake: self.wake() }
    }

    fn glance(&self, signals: &[SignalId]) -> Option<glance::Glance> {
        self.begun.then(|| self.look(signals))
    }
}
