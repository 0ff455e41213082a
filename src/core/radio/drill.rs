//! A session of practice: exercise after exercise, and the controller who goes on by what he heard.

use super::clearance::{Generator, Weights};
use super::exchange::{Exchange, Phraseology};
use super::item::{Exercise, Mode};
use super::phrases::Phrases;
use super::reading::Reader;
use super::rules::Rules;
use super::score::{Answer, Score, Words};
use super::summary::Summary;
use crate::core::words::Regime;

/// What a session is about.
#[derive(Debug, Clone)]
pub struct Plan {
    /// Whose rules.
    pub regime: Regime,
    /// What is drilled.
    pub mode: Mode,
    /// 1 to 4.
    pub difficulty: u8,
    /// Decides everything that is drawn.
    pub seed: u64,
    /// How many exercises.
    pub count: usize,
    /// What should come more often.
    pub weights: Weights,
}

/// The beginning of an exercise.
#[derive(Debug, Clone, PartialEq)]
pub struct Prompt {
    /// Number, from 1.
    pub number: usize,
    /// Phase of flight, or the card's name.
    pub phase: String,
    /// Who speaks, or who is called.
    pub station: String,
    /// What the pilot is shown, where he begins.
    pub card: Option<String>,
    /// What the controller says; empty where the pilot begins.
    pub controller: String,
}

/// What came of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Reply {
    /// The score.
    pub score: Score,
    /// What it was held against: after a first answer only what was asked again.
    pub against: Exercise,
    /// What the controller says now, one transmission after another; nothing is assent.
    pub controller: Vec<String>,
    /// Whether the exercise is over.
    pub over: bool,
    /// A right answer, where the pilot gave none.
    pub model: Option<String>,
}

/// A session.
#[derive(Debug, Clone)]
pub struct Drill<'p> {
    phrases: &'p Phrases,
    rules: &'p Rules,
    reader: Reader,
    generator: Generator<'p>,
    plan: Plan,
    number: usize,
    exchange: Option<Exchange>,
    amended: bool,
    /// Whether the first readback of this exercise has been counted.
    counted: bool,
    summary: Summary,
}

impl<'p> Drill<'p> {
    /// Begins a session.
    ///
    /// # Errors
    /// One sentence; a phrasebook that was loaded gives none.
    pub fn new(phrases: &'p Phrases, plan: Plan) -> Result<Self, String> {
        Ok(Drill {
            phrases,
            rules: phrases.rules(plan.regime),
            reader: Reader::new(phrases)?,
            generator: Generator::new(phrases, plan.regime, plan.difficulty, plan.seed),
            plan,
            number: 0,
            exchange: None,
            amended: false,
            counted: false,
            summary: Summary::default(),
        })
    }

    /// The rules that count.
    pub fn rules(&self) -> &'p Rules {
        self.rules
    }

    /// What came of the session so far.
    pub fn summary(&self) -> &Summary {
        &self.summary
    }

    fn book(&self) -> Phraseology<'p> {
        Phraseology { phrases: self.phrases, rules: self.rules }
    }

    /// The next exercise; `None` when the session is over.
    pub fn begin(&mut self) -> Option<Prompt> {
        if self.number == self.plan.count {
            return None;
        }
        let exercise = self.generator.next(self.plan.mode, &self.plan.weights);
        self.number += 1;
        let prompt = Prompt {
            number: self.number,
            phase: exercise.phase.clone(),
            station: exercise.station.clone(),
            card: exercise.card.clone(),
            controller: exercise.transmission(self.phrases, self.rules),
        };
        self.take(exercise, false);
        Some(prompt)
    }

    fn take(&mut self, exercise: Exercise, amended: bool) {
        (self.counted, self.amended) = (false, amended);
        self.exchange = Some(Exchange::new(exercise));
    }

    /// What is expected now: the exercise with the items that are still to come. The others may be said again.
    pub fn expected(&self) -> Option<Exercise> {
        self.exchange.as_ref().map(Exchange::expected)
    }

    /// Takes an answer; `None` if nothing was asked.
    pub fn answer(&mut self, words: &Words) -> Option<Reply> {
        let book = self.book();
        let mut exchange = self.exchange.take()?;
        let against = exchange.expected();
        let (score, said) = exchange.hear(book, &self.reader, words);
        let first = !self.counted;
        if matches!(score.answer, Answer::Readback | Answer::Silence | Answer::Unreadable) || score.not_mine {
            let readback = score.answer == Answer::Readback && !score.not_mine;
            self.summary.add(&against, &score, first);
            self.counted |= readback || score.not_mine;
        }
        let mut reply = Reply { controller: Vec::new(), over: true, model: None, against, score };
        let mut amended = None;
        match self.plan.mode {
            Mode::Readback => {
                let next = exchange.go_on(book, &reply.score, &said);
                (reply.controller, reply.over) = (next.controller, next.over);
                if next.unable {
                    self.summary.unable += 1;
                    amended = self.amend(&exchange, &mut reply);
                }
            }
            _ => self.after_card(&mut reply),
        }
        if reply.over {
            if !self.counted && !self.amended {
                self.summary.unanswered += u32::from(!matches!(reply.score.answer, Answer::Unable));
            }
            if !reply.score.is_right() && reply.model.is_none() {
                reply.model = Some(exchange.exercise().model(self.phrases, self.rules));
            }
        } else if let Some(other) = amended {
            self.take(other, true);
        } else {
            self.exchange = Some(exchange);
        }
        Some(reply)
    }

    fn after_card(&self, reply: &mut Reply) {
        let called = reply.against.items.iter().any(|i| i.kind == RADIO_CHECK);
        if reply.score.is_right() && called {
            reply.controller.push(self.book().says("radio_check", &reply.against, &[]));
        }
    }

    /// A new clearance of the same kind, once; who cannot comply again is left in peace.
    fn amend(&mut self, exchange: &Exchange, reply: &mut Reply) -> Option<Exercise> {
        if self.amended {
            return None;
        }
        let other = self.generator.amend(exchange.exercise())?;
        reply.controller.push(other.transmission(self.phrases, self.rules));
        reply.over = false;
        Some(other)
    }
}

/// The kind of item that asks for an answer by the readability scale.
const RADIO_CHECK: &str = "radio_check";
