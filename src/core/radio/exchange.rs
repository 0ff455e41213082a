//! One clearance between a controller and a pilot, until it is read back: what is still to come, how an answer is
//! scored, what the controller says next.

use super::item::{Exercise, Item, fill};
use super::phrases::Phrases;
use super::reading::{Reader, What};
use super::rules::{Need, Rules};
use super::score::{Answer, CallsignScore, Said, Score, Verdict, Words, judge};

/// How often the controller hears the pilot out before he goes on with something else.
const MOST_TRIES: u8 = 3;

/// A clearance that is being read back.
#[derive(Debug, Clone)]
pub struct Exchange {
    exercise: Exercise,
    /// The items that are still to come, and whether the callsign alone is.
    asked: Vec<usize>,
    tries: u8,
    waiting: bool,
}

/// What came of an answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Next {
    /// What the controller says now, one transmission after another; nothing is assent.
    pub controller: Vec<String>,
    /// Whether the exchange is over.
    pub over: bool,
    /// Whether the pilot cannot comply: another clearance may follow.
    pub unable: bool,
}

/// Whose words and whose rules.
#[derive(Debug, Clone, Copy)]
pub struct Phraseology<'p> {
    /// The phrasebook.
    pub phrases: &'p Phrases,
    /// The rules that count.
    pub rules: &'p Rules,
}

impl Exchange {
    /// A clearance that the controller has given.
    pub fn new(exercise: Exercise) -> Self {
        let asked = (0..exercise.items.len()).collect();
        Exchange { exercise, asked, tries: 0, waiting: false }
    }

    /// The whole clearance.
    pub fn exercise(&self) -> &Exercise {
        &self.exercise
    }

    /// What is expected now: the clearance with the items that are still to come. The others may be said again.
    pub fn expected(&self) -> Exercise {
        let whole = &self.exercise;
        let mut view = whole.clone();
        view.items = self.asked.iter().filter_map(|i| whole.items.get(*i).cloned()).collect();
        let others = whole.items.iter().enumerate().filter(|(i, _)| !self.asked.contains(i));
        view.info.extend(others.map(|(_, item)| item.clone()));
        let slip = whole.slip.as_ref().and_then(|(at, slots)| {
            let to = self.asked.iter().position(|i| i == at)?;
            Some((to, slots.clone()))
        });
        view.slip = slip;
        view
    }

    /// Whether the pilot has asked to wait.
    pub fn waiting(&self) -> bool {
        self.waiting
    }

    /// Scores an answer against what is expected now.
    pub fn hear(&self, book: Phraseology<'_>, reader: &Reader, words: &Words) -> (Score, Said) {
        let against = self.expected();
        let kinds: Vec<&str> = against.items.iter().map(|i| i.kind.as_str()).collect();
        let said = Said { pieces: reader.read(&words.text, &kinds), words: words.clone() };
        (judge(book.phrases, book.rules, &against, &said), said)
    }

    /// The controller goes on by what he heard.
    pub fn go_on(&mut self, book: Phraseology<'_>, score: &Score, said: &Said) -> Next {
        let against = self.expected();
        let asked: Vec<usize> = (0..against.items.len()).collect();
        let mut next = Next { controller: Vec::new(), over: true, unable: false };
        let says = |occasion: &str, items: &[usize]| book.says(occasion, &against, items);
        if score.not_mine {
            if score.answer != Answer::Silence {
                next.controller.push(says("not_yours", &[]));
            }
            return next;
        }
        let asks = matches!(score.answer, Answer::Unable | Answer::SayAgain(_) | Answer::Standby);
        if self.waiting && !asks && score.items.iter().all(|i| i.verdict == Verdict::Missing) {
            self.waiting = false;
            next.over = false;
            next.controller.push(says("ready", &asked));
            return next;
        }
        let (occasion, items): (&str, Vec<usize>) = match &score.answer {
            Answer::SayAgain(items) => {
                next.controller.push(says("say_again", items));
                next.over = false;
                return next;
            }
            Answer::Standby => {
                self.waiting = true;
                next.over = false;
                next.controller.push(says("standby", &[]));
                return next;
            }
            Answer::Unable => {
                next.controller.push(says("unable", &[]));
                next.unable = true;
                return next;
            }
            Answer::Silence => ("silence", asked),
            Answer::Unreadable => ("unreadable", asked),
            Answer::Readback => match wanting(book.rules, score, &against, said) {
                Some(found) => found,
                None => {
                    let confirmed = |i: &Item| book.rules.confirm.contains(&i.kind);
                    if self.tries > 0 || against.items.iter().any(confirmed) {
                        next.controller.push(says("correct_route", &[]));
                    }
                    return next;
                }
            },
        };
        self.tries += 1;
        next.over = self.tries == MOST_TRIES;
        if next.over {
            return next;
        }
        next.controller.push(says(occasion, &items));
        // Only what was wrong or left out is still to come.
        if matches!(occasion, "wrong" | "missing" | "unclear" | "no_callsign") {
            self.asked = items.iter().filter_map(|i| self.asked.get(*i).copied()).collect();
        }
        next
    }
}

impl Phraseology<'_> {
    /// What the controller says on an occasion about some of the items.
    pub fn says(self, occasion: &str, exercise: &Exercise, items: &[usize]) -> String {
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

/// On what occasion the controller speaks again, and about which items; `None` if all is well.
fn wanting(rules: &Rules, score: &Score, against: &Exercise, said: &Said) -> Option<(&'static str, Vec<usize>)> {
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
        return Some(("wrong", conditions(rules, against, items)));
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
    let unclear: Vec<usize> = score.items.iter().filter(|i| i.verdict == Verdict::Unclear).map(|i| i.item).collect();
    if !unclear.is_empty() {
        return Some(("unclear", unclear));
    }
    match score.callsign {
        CallsignScore::Missing => Some(("no_callsign", Vec::new())),
        _ => None,
    }
}

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
