//! The radio in flight: a controller clears, whoever has the radio reads back, and what was cleared becomes known only
//! by a right readback. Our own readbacks may hold a slip, for the pilot to catch.

use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Clearance, Priority, Source, Station};
use crate::core::crew::io::{Action, Note};
use crate::core::radio::{
    Answer, Callsign, Exchange, Exercise, Generator, Phraseology, Phrases, Reader, Words, plausible,
};
use crate::core::time::SessionTime;
use crate::core::words::Regime;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::sync::Arc;

/// Whoever has not answered by then is called again, s. The drill waits as long.
const SILENCE_S: f64 = 8.0;
/// … and so long when he has asked to wait, s.
const STANDBY_S: f64 = 60.0;
/// The longest transmission, and what it takes to understand it, s.
const LONGEST_S: f64 = 30.0;
/// So long after our own readback the controller waits before he corrects it: the pilot may be first, s.
const CATCH_S: f64 = 4.0;
/// One of so many of our readbacks holds a slip.
const ONE_SLIP_IN: u32 = 3;
/// How many items the controller likes to put into a clearance where the values are drawn: see the drill.
const DIFFICULTY: u8 = 2;

/// The channel, when the radio is on.
#[derive(Debug, Clone)]
pub(super) struct OnAir {
    phrases: Arc<Phrases>,
    reader: Arc<Reader>,
    regime: Regime,
    dice: Pcg32,
    slips: bool,
    talking: Option<Talking>,
}

/// A clearance under way.
#[derive(Debug, Clone)]
struct Talking {
    index: usize,
    exchange: Exchange,
    who: Who,
    turn: Turn,
    /// What we said wrong, until somebody noticed.
    slip: Option<String>,
}

#[derive(Debug, Clone, PartialEq)]
enum Turn {
    /// The controller speaks; what he says next, and whether that ends it.
    Controller { rest: Vec<String>, over: bool },
    /// The pilot is to answer.
    Pilot { until: SessionTime },
    /// We read back: these words.
    Ours(String),
    /// We read back wrongly; the pilot may say so.
    Catch { until: SessionTime, said: String },
}

impl OnAir {
    fn phraseology(&self) -> Phraseology<'_> {
        Phraseology { phrases: &self.phrases, rules: self.phrases.rules(self.regime) }
    }
}

impl Crew {
    /// Switches the radio on. What clearances teach the flight sheet is from now on unknown until it has been read back.
    pub(super) fn radio_on(&mut self, rules: &str, seed: u64, slips: bool) {
        let opened = Phrases::built_in().and_then(|p| {
            let regime = p.region(rules).map_err(|near| format!("there are no rules {rules}; there is {near}"))?;
            Ok((Arc::new(Reader::new(&p)?), Arc::new(p), regime))
        });
        let (reader, phrases, regime) = match opened {
            Ok(all) => all,
            Err(why) => return self.not_done("switch the radio on".into(), why),
        };
        let dice = Pcg32::seed_from_u64(seed);
        self.air = Some(OnAir { phrases, reader, regime, dice, slips, talking: None });
        let book = self.book.clone();
        let ahead = book.clearances.iter().filter(|c| !self.done.contains(&c.id)).collect::<Vec<_>>();
        for (entry, _) in ahead.iter().flat_map(|c| &c.sets) {
            self.open_entry(entry.0 as usize, "it comes by radio".into(), false);
        }
        // What is not known yet reopens nothing.
        self.changed.clear();
    }

    /// Gives a clearance whose moment has come, and goes on where somebody has kept silent.
    pub(super) fn move_air(&mut self) -> bool {
        let Some(air) = &self.air else { return false };
        match air.talking.as_ref().map(|t| t.turn.clone()) {
            None => self.clear_next(),
            Some(Turn::Pilot { until }) if until <= self.at => {
                self.judge(&Words::default());
                true
            }
            Some(Turn::Catch { until, said }) if until <= self.at => {
                self.air_note("missed", said.clone());
                self.judge(&Words { text: said, ..Words::default() });
                true
            }
            Some(_) => false,
        }
    }

    pub(super) fn air_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        let turn = self.air.as_ref().and_then(|a| a.talking.as_ref()).map(|t| &t.turn);
        turn.into_iter().filter_map(|t| match t {
            Turn::Pilot { until } | Turn::Catch { until, .. } => Some(Deadline::Session(*until)),
            _ => None,
        })
    }

    fn clear_next(&mut self) -> bool {
        // A controller does not know what is said on the flight deck; but nobody profits from two voices at once.
        if self.air.is_none() || !self.quiet() || !self.lists.is_empty() {
            return false;
        }
        let book = self.book.clone();
        let due = |c: &Clearance| {
            let here = c.phases.is_empty() || c.phases.contains(&self.phase);
            here && !self.done.contains(&c.id) && self.truth(&c.when, &Slots::new()) == Some(true)
        };
        let Some(index) = book.clearances.iter().position(due) else { return false };
        let clearance = &book.clearances[index];
        self.done.insert(clearance.id.clone());
        let Some(exercise) = self.draw(clearance) else { return true };
        let Some(air) = &mut self.air else { return true };
        let text = exercise.transmission(&air.phrases, air.phrases.rules(air.regime));
        let who = self.who(clearance.by);
        let turn = Turn::Controller { rest: Vec::new(), over: false };
        if let Some(air) = &mut self.air {
            air.talking = Some(Talking { index, exchange: Exchange::new(exercise), who, turn, slip: None });
        }
        self.air_note("given", text.clone());
        self.transmit(text);
        true
    }

    fn draw(&mut self, clearance: &Clearance) -> Option<Exercise> {
        let mut given = Slots::new();
        for (binding, expr) in &clearance.with {
            let Some(value) = expr.eval(&self.scope(&Slots::new(), None)) else {
                self.not_done(clearance.id.clone(), format!("{} is unknown", expr.text));
                return None;
            };
            given.insert(binding.clone(), radio_value(&value));
        }
        let called = self.book.sheet_entry("callsign").and_then(|e| self.sheet[e.0 as usize].clone());
        let air = self.air.as_mut()?;
        let own = called.and_then(|c| Callsign::from_words(&c.to_string())).unwrap_or_else(|| air.phrases.own.clone());
        let mut generator = Generator::new(&air.phrases, air.regime, DIFFICULTY, air.dice.next_u64());
        Some(generator.in_flight(&own, &clearance.scene, &given))
    }

    fn transmit(&mut self, text: String) {
        self.speak_as(Station::Radio, text, Priority::Routine, Owner::Air);
    }

    /// A transmission of the controller or of ours is over.
    pub(super) fn air_spoken(&mut self, cut: bool) {
        let Some(t) = self.air.as_mut().and_then(|a| a.talking.as_mut()) else { return };
        match &mut t.turn {
            Turn::Controller { rest, .. } if !rest.is_empty() => {
                let text = rest.remove(0);
                self.transmit(text);
            }
            Turn::Controller { over: true, .. } => self.air_over(),
            // What nobody heard is given again when its moment comes.
            Turn::Controller { .. } if cut => {
                let id = self.book.clearances[t.index].id.clone();
                self.done.remove(&id);
                self.air_over();
            }
            Turn::Controller { .. } => self.answer_on_air(),
            Turn::Ours(said) => {
                let said = said.clone();
                match t.slip {
                    Some(_) => t.turn = Turn::Catch { until: self.at.plus(CATCH_S), said },
                    None => self.judge(&Words { text: said, ..Words::default() }),
                }
            }
            Turn::Pilot { .. } | Turn::Catch { .. } => {}
        }
    }

    /// It is ours or the pilot's to answer.
    fn answer_on_air(&mut self) {
        let at = self.at;
        let Some(air) = &mut self.air else { return };
        let Some(t) = &mut air.talking else { return };
        let expected = t.exchange.expected();
        if t.who != Who::Program {
            let patience = if t.exchange.waiting() { STANDBY_S } else { SILENCE_S };
            t.turn = Turn::Pilot { until: at.plus(patience) };
            self.out.push(Action::Readback { expect: Some(Box::new(expected)) });
            return;
        }
        let rules = air.phrases.rules(air.regime);
        let mut text = expected.model(&air.phrases, rules);
        if air.slips
            && air.dice.next_u32().is_multiple_of(ONE_SLIP_IN)
            && let Some(wrong) = slipped(&air.phrases, &expected, &mut air.dice)
        {
            text = wrong.model(&air.phrases, rules);
            t.slip = Some(text.clone());
        }
        self.read_back(text);
    }

    fn read_back(&mut self, text: String) {
        if let Some(t) = self.air.as_mut().and_then(|a| a.talking.as_mut()) {
            t.turn = Turn::Ours(text.clone());
        }
        self.speak(text, Priority::Routine, Owner::Air);
    }

    /// The pilot objects: to a slip in our readback, if there is one. Whether it was that.
    pub(super) fn slip_caught(&mut self) -> bool {
        let Some(air) = &mut self.air else { return false };
        let Some(t) = &mut air.talking else { return false };
        if !matches!(t.turn, Turn::Ours(_) | Turn::Catch { .. }) {
            return false;
        }
        let Some(wrong) = t.slip.take() else { return false };
        let rules = air.phrases.rules(air.regime);
        let right = format!("{}, {}", rules.react("self_correction"), t.exchange.expected().model(&air.phrases, rules));
        self.air_note("caught", wrong);
        self.disown(Owner::Air);
        self.hush();
        self.read_back(right);
        true
    }

    /// The pilot has begun to answer, or to speak to us: nobody calls him meanwhile.
    pub(super) fn answering(&mut self) {
        self.wait_for_pilot(|until, at| until.max(at.plus(LONGEST_S)));
    }

    /// His words were for us: the controller waits as long again.
    pub(super) fn said_on_board(&mut self) {
        self.wait_for_pilot(|_, at| at.plus(SILENCE_S));
    }

    /// Until when the controller waits, from until when he did and the time it is.
    fn wait_for_pilot(&mut self, longer: impl FnOnce(SessionTime, SessionTime) -> SessionTime) {
        let at = self.at;
        if let Some(Turn::Pilot { until }) = self.air.as_mut().and_then(|a| a.talking.as_mut()).map(|t| &mut t.turn) {
            *until = longer(*until, at);
        }
    }

    /// What the pilot said on the radio.
    pub(super) fn transmitted(&mut self, words: &Words) {
        match self.air.as_ref().and_then(|a| a.talking.as_ref()).map(|t| &t.turn) {
            Some(Turn::Pilot { .. }) => self.judge(words),
            _ => self
                .not_done(format!("answer \u{201c}{}\u{201d}", words.text), "the controller waits for nothing".into()),
        }
    }

    /// The controller has heard an answer.
    fn judge(&mut self, words: &Words) {
        let Some(air) = &mut self.air else { return };
        let Some(mut t) = air.talking.take() else { return };
        let (score, said) = t.exchange.hear(air.phraseology(), &air.reader, words);
        let next = t.exchange.go_on(air.phraseology(), &score, &said);
        let right = next.over && score.is_right() && !next.unable;
        t.slip = None;
        let index = t.index;
        let exercise = t.exchange.exercise().clone();
        t.turn = Turn::Controller { rest: next.controller.iter().skip(1).cloned().collect(), over: next.over };
        air.talking = Some(t);
        self.out.push(Action::Readback { expect: None });
        let state = match (right, next.unable, next.over, words.text.is_empty() && !words.unreadable) {
            (true, ..) => "read_back",
            (_, true, ..) => "unable",
            (_, _, true, _) => "given_up",
            (_, _, _, true) => "silence",
            _ if score.answer == Answer::Standby => "waiting",
            _ if matches!(score.answer, Answer::SayAgain(_)) => "said_again",
            _ => "asked_again",
        };
        self.air_note(state, words.text.clone());
        if right {
            self.learn(index, &exercise);
        }
        match next.controller.into_iter().next() {
            Some(text) => self.transmit(text),
            None => self.air_over(),
        }
    }

    /// What was read back rightly is known from now on.
    fn learn(&mut self, index: usize, exercise: &Exercise) {
        let book = self.book.clone();
        let mut slots = Slots::new();
        for item in exercise.items.iter().chain(&exercise.info) {
            for (binding, value) in &item.slots {
                slots.entry(binding.clone()).or_insert_with(|| value.clone());
            }
        }
        for (entry, expr) in &book.clearances[index].sets {
            let value = expr.eval(&self.scope(&slots, None));
            self.write_sheet(*entry, value, Source::Radio);
        }
        if let Some(flow) = book.clearances[index].flow {
            self.begin_flow(flow, Slots::new());
        }
    }

    fn air_over(&mut self) {
        if let Some(air) = &mut self.air {
            air.talking = None;
        }
    }

    /// Nobody reads back any more: something else has become urgent, or the world has jumped.
    pub(super) fn leave_air(&mut self) {
        if self.air.as_ref().is_some_and(|a| a.talking.is_some()) {
            self.air_note("given_up", String::new());
            self.disown(Owner::Air);
            self.out.push(Action::Readback { expect: None });
            self.air_over();
        }
    }

    fn air_note(&mut self, state: &str, text: String) {
        let index = self.air.as_ref().and_then(|a| a.talking.as_ref()).map(|t| t.index);
        let Some(clearance) = index.and_then(|i| self.book.clearances.get(i)).map(|c| c.id.clone()) else { return };
        self.note(Note::Radio { clearance, state: state.into(), text });
    }
}

/// A readback with one value said wrongly; `None` if there is none that could be.
fn slipped(phrases: &Phrases, exercise: &Exercise, dice: &mut Pcg32) -> Option<Exercise> {
    let mut wrong = exercise.clone();
    let mut below = |n: usize| dice.next_u32() as usize % n.max(1);
    let start = below(exercise.items.len());
    for k in 0..exercise.items.len() {
        let i = (start + k) % exercise.items.len();
        let item = &exercise.items[i];
        let Some(main) = phrases.items.get(&item.kind).and_then(|kind| kind.main.as_ref()) else { continue };
        if item.slots.get(main).is_none_or(|v| v.number().is_none() && main != "squawk") {
            continue;
        }
        let values = plausible(phrases, item, main, &[], &[]);
        if values.is_empty() {
            continue;
        }
        let value = values[below(values.len())].clone();
        wrong.items[i].slots.insert(main.clone(), value);
        return Some(wrong);
    }
    None
}

/// A value of the flight sheet as the radio phrasebook writes it: words in lower case.
fn radio_value(value: &Value) -> Value {
    match value {
        Value::Word(w) if w.chars().any(|c| c.is_ascii_lowercase()) => Value::Word(w.to_lowercase()),
        other => other.clone(),
    }
}
