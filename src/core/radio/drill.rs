//! A session of practice: exercise after exercise, and the controller who goes on by what he heard.

use super::clearance::{Generator, Weights};
use super::item::{Exercise, Item, Mode, fill};
use super::phrases::Phrases;
use super::reading::{Reader, What};
use super::rules::{Need, Rules};
use super::score::{Answer, CallsignScore, Said, Score, Verdict, judge};
use super::summary::Summary;
use crate::core::words::Regime;

/// How often the controller hears the pilot out before he goes on with something else.
const MOST_TRIES: u8 = 3;

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

/// What the pilot did, as words.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Words {
    /// The words; empty for silence.
    pub text: String,
    /// Whether an ear heard them.
    pub by_ear: bool,
    /// Whether something was said that could not be understood.
    pub unreadable: bool,
    /// Kinds of item whose values the ear cannot be sure of.
    pub unclear: Vec<String>,
    /// From the end of the controller's words to the pilot's first, s.
    pub latency_s: Option<f64>,
    /// How long the pilot spoke, s.
    pub speech_s: Option<f64>,
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
    exercise: Option<Exercise>,
    /// The items that are still to come, and whether the callsign alone is.
    asked: Vec<usize>,
    tries: u8,
    amended: bool,
    waiting: bool,
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
            exercise: None,
            asked: Vec::new(),
            tries: 0,
            amended: false,
            waiting: false,
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

    /// The next exercise; `None` when the session is over.
    pub fn begin(&mut self) -> Option<Prompt> {
        if self.number == self.plan.count {
            return None;
        }
        let exercise = self.generator.next(self.plan.mode, &self.plan.weights);
        self.number += 1;
        self.take(exercise, false);
        self.exercise.as_ref().map(|e| Prompt {
            number: self.number,
            phase: e.phase.clone(),
            station: e.station.clone(),
            card: e.card.clone(),
            controller: e.transmission(self.phrases, self.rules),
        })
    }

    fn take(&mut self, exercise: Exercise, amended: bool) {
        self.asked = (0..exercise.items.len()).collect();
        (self.tries, self.waiting, self.counted, self.amended) = (0, false, false, amended);
        self.exercise = Some(exercise);
    }

    /// What is expected now: the exercise with the items that are still to come. The others may be said again.
    pub fn expected(&self) -> Option<Exercise> {
        let whole = self.exercise.as_ref()?;
        let mut view = whole.clone();
        view.items = self.asked.iter().filter_map(|i| whole.items.get(*i).cloned()).collect();
        let others = whole.items.iter().enumerate().filter(|(i, _)| !self.asked.contains(i));
        view.info.extend(others.map(|(_, item)| item.clone()));
        let slip = whole.slip.as_ref().and_then(|(at, slots)| {
            let to = self.asked.iter().position(|i| i == at)?;
            Some((to, slots.clone()))
        });
        view.slip = slip;
        Some(view)
    }

    /// Takes an answer; `None` if nothing was asked.
    pub fn answer(&mut self, words: &Words) -> Option<Reply> {
        let against = self.expected()?;
        let kinds: Vec<&str> = against.items.iter().map(|i| i.kind.as_str()).collect();
        let said = Said {
            pieces: self.reader.read(&words.text, &kinds),
            text: words.text.clone(),
            by_ear: words.by_ear,
            unreadable: words.unreadable,
            unclear: words.unclear.clone(),
            latency_s: words.latency_s,
            speech_s: words.speech_s,
        };
        let score = judge(self.phrases, self.rules, &against, &said);
        let first = !self.counted;
        if matches!(score.answer, Answer::Readback | Answer::Silence | Answer::Unreadable) || score.not_mine {
            let readback = score.answer == Answer::Readback && !score.not_mine;
            self.summary.add(&against, &score, first);
            self.counted |= readback || score.not_mine;
        }
        let mut reply = Reply { controller: Vec::new(), over: true, model: None, against, score };
        match self.plan.mode {
            Mode::Readback => self.go_on(&mut reply, &said),
            _ => self.after_card(&mut reply),
        }
        if reply.over {
            if !self.counted && !self.amended {
                self.summary.unanswered += u32::from(!matches!(reply.score.answer, Answer::Unable));
            }
            if !reply.score.is_right() && reply.model.is_none() {
                reply.model = self.exercise.as_ref().map(|e| e.model(self.phrases, self.rules));
            }
            self.exercise = None;
        }
        Some(reply)
    }

    fn after_card(&mut self, reply: &mut Reply) {
        let called = reply.against.items.iter().any(|i| i.kind == RADIO_CHECK);
        if reply.score.is_right() && called {
            reply.controller.push(self.says("radio_check", &reply.against, &[]));
        }
    }

    fn go_on(&mut self, reply: &mut Reply, said: &Said) {
        let asked: Vec<usize> = (0..reply.against.items.len()).collect();
        if reply.score.not_mine {
            if reply.score.answer != Answer::Silence {
                reply.controller.push(self.says("not_yours", &reply.against, &[]));
            }
            return;
        }
        if self.waiting && reply.score.items.iter().all(|i| i.verdict == Verdict::Missing) {
            self.waiting = false;
            reply.over = false;
            reply.controller.push(self.says("ready", &reply.against, &asked));
            return;
        }
        let (occasion, items): (&str, Vec<usize>) = match &reply.score.answer {
            Answer::SayAgain(items) => {
                reply.controller.push(self.says("say_again", &reply.against, items));
                reply.over = false;
                return;
            }
            Answer::Standby => {
                self.waiting = true;
                reply.over = false;
                reply.controller.push(self.says("standby", &reply.against, &[]));
                return;
            }
            Answer::Unable => {
                self.summary.unable += 1;
                self.amend(reply);
                return;
            }
            Answer::Silence => ("silence", asked),
            Answer::Unreadable => ("unreadable", asked),
            Answer::Readback => match self.wanting(&reply.score, &reply.against, said) {
                Some(found) => found,
                None => {
                    let confirmed = |i: &Item| self.rules.confirm.contains(&i.kind);
                    if self.tries > 0 || reply.against.items.iter().any(confirmed) {
                        reply.controller.push(self.says("correct_route", &reply.against, &[]));
                    }
                    return;
                }
            },
        };
        self.tries += 1;
        reply.over = self.tries == MOST_TRIES;
        if reply.over {
            return;
        }
        reply.controller.push(self.says(occasion, &reply.against, &items));
        // Only what was wrong or left out is still to come.
        if matches!(occasion, "wrong" | "missing" | "unclear" | "no_callsign") {
            self.asked = items.iter().filter_map(|i| self.asked.get(*i).copied()).collect();
        }
    }

    /// On what occasion the controller speaks again, and about which items; `None` if all is well.
    fn wanting(&self, score: &Score, against: &Exercise, said: &Said) -> Option<(&'static str, Vec<usize>)> {
        let of = |test: &dyn Fn(&Verdict) -> bool| -> Vec<usize> {
            score.items.iter().filter(|i| i.is_fault() && test(&i.verdict)).map(|i| i.item).collect()
        };
        let wrong = of(&|v| matches!(v, Verdict::Wrong(_)));
        let missing = of(&|v| !matches!(v, Verdict::Wrong(_)));
        let all = (0..against.items.len()).collect();
        if matches!(score.callsign, CallsignScore::Wrong(_)) {
            return Some(("wrong_callsign", all));
        }
        if !wrong.is_empty() || !score.extra.is_empty() && !score.faults.is_empty() {
            let mut items = wrong;
            items.extend(missing);
            items.sort_unstable();
            let items = if items.is_empty() { all } else { items };
            return Some(("wrong", conditions(self.rules, against, items)));
        }
        if !missing.is_empty() {
            let must = |i: &usize| score.items[*i].need() == Need::Must;
            let only_callsign = said.pieces.iter().all(|p| matches!(p.what, What::Callsign { .. }));
            return Some(match missing.iter().any(must) || !only_callsign {
                true => ("missing", missing),
                // Nothing but a callsign where an acknowledgement would have done.
                false => ("acknowledge", missing),
            });
        }
        let unclear: Vec<usize> =
            score.items.iter().filter(|i| i.verdict == Verdict::Unclear).map(|i| i.item).collect();
        if !unclear.is_empty() {
            return Some(("unclear", unclear));
        }
        match score.callsign {
            CallsignScore::Missing => Some(("no_callsign", Vec::new())),
            _ => None,
        }
    }

    /// A new clearance of the same kind, once; who cannot comply again is left in peace.
    fn amend(&mut self, reply: &mut Reply) {
        reply.controller.push(self.says("unable", &reply.against, &[]));
        if self.amended {
            return;
        }
        if let Some(other) = self.exercise.as_ref().and_then(|e| self.generator.amend(e)) {
            reply.controller.push(other.transmission(self.phrases, self.rules));
            self.take(other, true);
            reply.over = false;
        }
    }

    fn says(&self, occasion: &str, exercise: &Exercise, items: &[usize]) -> String {
        let (phrases, rules) = (self.phrases, self.rules);
        let with = |name: &str| match name {
            "callsign" => Some(exercise.own.spoken(rules)),
            "other" => Some(exercise.to.spoken(rules)),
            "station" => Some(exercise.station.clone()),
            "clearance" => Some(exercise.part(phrases, rules, 0..exercise.items.len(), false)),
            "items" => Some(exercise.part(phrases, rules, items.iter().copied(), false)),
            "called" => {
                let called = |i: &usize| {
                    let kind = &exercise.items.get(*i)?.kind;
                    phrases.items.get(kind).map(|k| k.called.clone())
                };
                Some(items.iter().filter_map(called).collect::<Vec<_>>().join(", "))
            }
            _ => None,
        };
        fill(rules.react(occasion), &with)
    }
}

/// The kind of item that asks for an answer by the readability scale.
const RADIO_CHECK: &str = "radio_check";

/// What is repeated comes with its condition.
fn conditions(rules: &Rules, exercise: &Exercise, items: Vec<usize>) -> Vec<usize> {
    let mut out: Vec<usize> = Vec::new();
    for i in items {
        let condition = i.checked_sub(1).filter(|c| {
            let kind = exercise.items.get(*c).map_or("", |i| i.kind.as_str());
            rules.say_after.contains_key(kind)
        });
        for k in condition.into_iter().chain([i]) {
            if !out.contains(&k) {
                out.push(k);
            }
        }
    }
    out
}
