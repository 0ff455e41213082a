//! An answer, item by item, against what was cleared and what the rules want back.

use super::forms;
use super::item::{Exercise, Item, Mode};
use super::phrases::{Phrases, TIME};
use super::reading::{CORRECTION, Manner, Piece, RESTART, Style, What};
use super::rules::{Need, NeedRule, Place, Rules};
use crate::core::aircraft::Value;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Fastest speech that is standard, words a minute. Annex 10 Volume II 5.2.1.5.3, C DOC9432N.
pub const FASTEST_WPM: f64 = 100.0;

/// What the pilot did, as words.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Words {
    /// The words, as typed or as the ear wrote them down; empty for silence.
    pub text: String,
    /// Whether an ear heard them. Figures then tell nothing of the form in which they were spoken.
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

/// What arrived from the pilot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Said {
    /// The pieces, in order.
    pub pieces: Vec<Piece>,
    /// What they were read from.
    pub words: Words,
}

/// A remark with its source.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Note {
    /// One sentence or less.
    pub text: String,
    /// Where it stands, and how that was seen.
    pub source: String,
}

/// What became of one item.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// Read back as cleared.
    Correct,
    /// With another value: what was said, by binding.
    Wrong(BTreeMap<String, Value>),
    /// Read back without these values.
    Incomplete(Vec<String>),
    /// Said, but not to be told from another value: nothing is held against the pilot, the controller asks.
    Unclear,
    /// Not read back, though the rules want it.
    Missing,
    /// Not read back, but acknowledged, which is enough.
    Acknowledged,
    /// Not read back, and needs not be.
    LeftOut,
}

/// The score of one item.
#[derive(Debug, Clone, PartialEq)]
pub struct ItemScore {
    /// Index among the exercise's items.
    pub item: usize,
    /// What became of it.
    pub verdict: Verdict,
    /// The rule for it.
    pub rule: Option<NeedRule>,
    /// Remarks on its form.
    pub notes: Vec<Note>,
}

impl ItemScore {
    /// How much it must come back.
    pub fn need(&self) -> Need {
        self.rule.as_ref().map_or(Need::None, |r| r.need)
    }

    /// Whether it is a fault.
    pub fn is_fault(&self) -> bool {
        match self.verdict {
            Verdict::Wrong(_) => true,
            Verdict::Missing => matches!(self.need(), Need::Must | Need::Acknowledge),
            Verdict::Incomplete(_) => self.need() == Need::Must,
            Verdict::Unclear | Verdict::Correct | Verdict::Acknowledged | Verdict::LeftOut => false,
        }
    }
}

/// What became of the callsign.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum CallsignScore {
    /// Right.
    Right,
    /// Not said.
    Missing,
    /// Another: which.
    Wrong(String),
    /// Shortened where it may not be.
    Shortened,
    /// Not asked for in this exercise.
    NotAsked,
}

/// What the pilot did.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// Read something back, or acknowledged.
    Readback,
    /// Nothing.
    Silence,
    /// Something that cannot be understood.
    Unreadable,
    /// Asked to hear these items again.
    SayAgain(Vec<usize>),
    /// Asked to wait.
    Standby,
    /// Cannot comply.
    Unable,
}

/// The whole score.
#[derive(Debug, Clone, PartialEq)]
pub struct Score {
    /// What the pilot did.
    pub answer: Answer,
    /// Whether the clearance was for someone else.
    pub not_mine: bool,
    /// Each item.
    pub items: Vec<ItemScore>,
    /// Items that nobody cleared.
    pub extra: Vec<Item>,
    /// The callsign.
    pub callsign: CallsignScore,
    /// Faults beside the items: ROGER for a readback …
    pub faults: Vec<Note>,
    /// Remarks that are no faults.
    pub notes: Vec<Note>,
    /// From the end of the controller's words, s.
    pub latency_s: Option<f64>,
    /// Words a minute.
    pub wpm: Option<f64>,
}

impl Score {
    /// Whether the answer was right: no item wrong or missing, the callsign right, no other fault.
    pub fn is_right(&self) -> bool {
        if self.not_mine {
            return self.answer == Answer::Silence;
        }
        self.answer == Answer::Readback
            && self.items.iter().all(|i| !i.is_fault() && i.verdict != Verdict::Unclear)
            && matches!(self.callsign, CallsignScore::Right | CallsignScore::NotAsked)
            && self.faults.is_empty()
    }
}

/// An item as it was said, the last value counting.
struct SaidItem {
    kind: String,
    slots: BTreeMap<String, Value>,
    words: BTreeMap<String, Vec<String>>,
    /// All its words, with those around the values.
    all: Vec<String>,
    manner: Manner,
    used: bool,
}

/// Scores an answer.
pub fn judge(phrases: &Phrases, rules: &Rules, exercise: &Exercise, said: &Said) -> Score {
    let pieces = after_restart(&said.pieces);
    let mut notes = Vec::new();
    let answer = answer(phrases, exercise, pieces, said);
    let mut items = collect(phrases, pieces, &mut notes);
    let mut score = Score {
        answer,
        not_mine: !exercise.is_mine(),
        items: Vec::new(),
        extra: Vec::new(),
        callsign: CallsignScore::NotAsked,
        faults: Vec::new(),
        notes,
        latency_s: said.words.latency_s,
        wpm: words_a_minute(said),
    };
    if score.answer != Answer::Readback || score.not_mine {
        return score;
    }
    score.callsign = callsign(rules, exercise, pieces, said, &mut score.notes);
    let acts: Vec<&str> = pieces
        .iter()
        .filter_map(|p| if let What::Act { name, .. } = &p.what { Some(name.as_str()) } else { None })
        .collect();
    let acknowledged = !items.is_empty() || !acts.is_empty() || score.callsign == CallsignScore::Right;
    let mut order = Vec::new();
    for (i, item) in exercise.items.iter().enumerate() {
        let found = find(phrases, item, &items);
        let rule = rules.need(&item.kind).cloned();
        let need = rule.as_ref().map_or(Need::None, |r| r.need);
        let mut notes = Vec::new();
        let verdict = match found {
            Some(k) => {
                items[k].used = true;
                order.push(k);
                let heard = &items[k];
                notes.extend(forms::unit(phrases, rules, item, &heard.all, said));
                let unclear = said.words.unclear.contains(&heard.kind);
                notes.extend(forms::remarks(phrases, rules, item, &heard.slots, &heard.words, heard.manner, said));
                if unclear { Verdict::Unclear } else { compare(phrases, item, heard) }
            }
            None => match need {
                Need::None => Verdict::LeftOut,
                Need::Acknowledge if acknowledged => Verdict::Acknowledged,
                _ => Verdict::Missing,
            },
        };
        score.items.push(ItemScore { item: i, verdict, rule, notes });
    }
    if let Some(rule) = rules.order.as_ref().filter(|_| order.windows(2).any(|w| w[0] > w[1])) {
        score.notes.push(Note {
            text: "not in the order of the clearance".into(),
            source: cited(&rule.paragraph, &rule.source),
        });
    }
    extras(phrases, rules, exercise, &items, &mut score);
    if exercise.mode != Mode::Words {
        misuse(&acts, &mut score);
        score.notes.extend(forms::avoided(phrases, rules, said));
    }
    if let Some(wpm) = score.wpm.filter(|w| *w > FASTEST_WPM) {
        let text = format!("{wpm:.0} words a minute, more than {FASTEST_WPM:.0}");
        score.notes.push(Note { text, source: "Annex 10 Volume II 5.2.1.5.3, C DOC9432N".into() });
    }
    score
}

pub(super) fn cited(paragraph: &str, source: &str) -> String {
    format!("{paragraph} [{source}]")
}

/// "Correction, I say again" takes back everything before it: SERA.14075 (c), S.
fn after_restart(pieces: &[Piece]) -> &[Piece] {
    let last = pieces.iter().rposition(|p| matches!(&p.what, What::Act { name, .. } if name == RESTART));
    last.map_or(pieces, |i| &pieces[i + 1..])
}

fn answer(phrases: &Phrases, exercise: &Exercise, pieces: &[Piece], said: &Said) -> Answer {
    if said.words.unreadable {
        return Answer::Unreadable;
    }
    if pieces.is_empty() {
        return if said.words.text.trim().is_empty() { Answer::Silence } else { Answer::Unreadable };
    }
    if pieces.iter().all(|p| p.what == What::Unknown) {
        return Answer::Unreadable;
    }
    // In the word drill these are words like any other.
    if exercise.mode == Mode::Words {
        return Answer::Readback;
    }
    for piece in pieces {
        let What::Act { name, about } = &piece.what else { continue };
        let at = |called: Option<&String>| {
            let of = |i: &Item| phrases.items.get(&i.kind).map(|k| &k.called);
            called.and_then(|c| exercise.items.iter().position(|i| of(i) == Some(c)))
        };
        let count = exercise.items.len();
        let range = match name.as_str() {
            "say_again" => 0..count,
            "say_again_item" => at(about.get("item")).map_or(0..count, |i| i..i + 1),
            "say_again_after" => at(about.get("after")).map_or(0..count, |i| i + 1..count),
            "say_again_before" => at(about.get("before")).map_or(0..count, |i| 0..i),
            "say_again_between" => match (at(about.get("first")), at(about.get("second"))) {
                (Some(a), Some(b)) => a.min(b)..a.max(b) + 1,
                _ => 0..count,
            },
            "standby" => return Answer::Standby,
            "unable" => return Answer::Unable,
            _ => continue,
        };
        return Answer::SayAgain(if range.is_empty() { (0..count).collect() } else { range.collect() });
    }
    Answer::Readback
}

/// The items in the order said; what was corrected counts as it was said last (SERA.14075 (c), S).
fn collect(phrases: &Phrases, pieces: &[Piece], notes: &mut Vec<Note>) -> Vec<SaidItem> {
    let mut all: Vec<SaidItem> = Vec::new();
    let mut correcting = false;
    let main_type = |kind: &str| {
        let kind = phrases.items.get(kind)?;
        kind.slots.get(kind.main.as_ref()?).cloned()
    };
    for piece in pieces {
        match &piece.what {
            What::Act { name, .. } if name == CORRECTION => correcting = true,
            What::Item { kind, slots, words, manner } => {
                let same = |s: &SaidItem| {
                    s.kind == *kind
                        || called(phrases, &s.kind) == called(phrases, kind)
                        || (vertical(phrases, &s.kind) && vertical(phrases, kind))
                        || (*manner == Manner::Bare && main_type(&s.kind) == main_type(kind))
                };
                let earlier = all.iter().rposition(same);
                match earlier {
                    Some(i) if correcting => {
                        let old = &mut all[i];
                        let bare = *manner == Manner::Bare;
                        // A level corrected to an altitude has nothing left of the level.
                        if !bare && old.kind != *kind {
                            (old.kind, old.manner) = (kind.clone(), *manner);
                            old.slots.clear();
                            old.words.clear();
                        }
                        let main = phrases.items.get(&old.kind).and_then(|k| k.main.clone());
                        for (binding, value) in slots {
                            let to = if bare { main.clone().unwrap_or(binding.clone()) } else { binding.clone() };
                            old.slots.insert(to.clone(), value.clone());
                            old.words.insert(to, words.get(binding).cloned().unwrap_or_default());
                        }
                    }
                    Some(i) if all[i].kind == *kind && all[i].slots != *slots && *manner != Manner::Bare => {
                        notes.push(Note {
                            text: format!("{} said twice, differently, without \"correction\"", called(phrases, kind)),
                            source: "SERA.14075 (c) [S SERA14075]".into(),
                        });
                        let old = &mut all[i];
                        (old.slots, old.words, old.manner) = (slots.clone(), words.clone(), *manner);
                    }
                    _ => all.push(SaidItem {
                        kind: kind.clone(),
                        slots: slots.clone(),
                        words: words.clone(),
                        all: piece.words.clone(),
                        manner: *manner,
                        used: false,
                    }),
                }
                correcting = false;
            }
            _ => {}
        }
    }
    all
}

fn called<'p>(phrases: &'p Phrases, kind: &str) -> &'p str {
    phrases.items.get(kind).map_or("", |k| k.called.as_str())
}

/// Whether a kind climbs or descends.
fn vertical(phrases: &Phrases, kind: &str) -> bool {
    phrases.items.get(kind).and_then(|k| k.slots.get("way")).is_some_and(|t| t == "way")
}

/// The item that was said for one that was cleared: the same kind, else one of the same name, else one that changes the
/// same thing (a level for an altitude).
fn find(phrases: &Phrases, item: &Item, said: &[SaidItem]) -> Option<usize> {
    let free = |test: &dyn Fn(&SaidItem) -> bool| said.iter().position(|s| !s.used && test(s));
    free(&|s| s.kind == item.kind)
        .or_else(|| free(&|s| called(phrases, &s.kind) == called(phrases, &item.kind)))
        .or_else(|| {
            let way = item.slots.get("way")?;
            free(&|s| vertical(phrases, &s.kind) && vertical(phrases, &item.kind) && s.slots.get("way") == Some(way))
        })
}

fn compare(phrases: &Phrases, item: &Item, said: &SaidItem) -> Verdict {
    let Some(kind) = phrases.items.get(&item.kind) else { return Verdict::Correct };
    let mut missing = Vec::new();
    let mut wrong = false;
    for (binding, right) in &item.slots {
        match said.slots.get(binding) {
            Some(value) => wrong |= !same(kind.slots.get(binding).map_or("", String::as_str), right, value),
            None if kind.may.contains(binding) => {}
            None => missing.push(binding.clone()),
        }
    }
    // Of another kind, with nothing in common: another value of the same thing.
    let other = said.kind != item.kind && item.slots.keys().all(|b| b == "way" || !said.slots.contains_key(b));
    if wrong || (other && !item.slots.is_empty()) {
        Verdict::Wrong(said.slots.clone())
    } else if missing.is_empty() {
        Verdict::Correct
    } else {
        Verdict::Incomplete(missing)
    }
}

/// Whether two values are the same; of a time the minutes will do (SERA.14045, Doc 9432 2.5; M).
fn same(kind: &str, right: &Value, said: &Value) -> bool {
    let minutes = kind == TIME && said.to_string().len() == 2 && right.to_string().ends_with(&said.to_string());
    right.same(said) || minutes
}

fn callsign(rules: &Rules, exercise: &Exercise, pieces: &[Piece], said: &Said, notes: &mut Vec<Note>) -> CallsignScore {
    if matches!(exercise.mode, Mode::Numbers | Mode::Words) {
        return CallsignScore::NotAsked;
    }
    let own = format!("{} {}", exercise.own.operator, exercise.own.number);
    let rule = &rules.callsign;
    let all: Vec<(usize, &String, Style)> = pieces
        .iter()
        .enumerate()
        .filter_map(
            |(i, p)| if let What::Callsign { value, style } = &p.what { Some((i, value, *style)) } else { None },
        )
        .collect();
    let whole = all.iter().find(|c| c.2 == Style::Whole && *c.1 == own);
    if let Some((i, _, _)) = whole {
        let first = pieces.iter().position(|p| p.what != What::Unknown) == Some(*i);
        let last = pieces.iter().rposition(|p| p.what != What::Unknown) == Some(*i);
        let placed = last || (rule.place == Place::Either && first) || exercise.mode != Mode::Readback;
        if !placed {
            notes.push(Note {
                text: "the callsign belongs at the end".into(),
                source: cited(&rule.paragraph, &rule.source),
            });
        }
        notes.extend(forms::callsign(rules, &exercise.own, &pieces[*i], said));
        return CallsignScore::Right;
    }
    if let Some((_, value, _)) = all.iter().find(|c| c.2 == Style::Whole) {
        return CallsignScore::Wrong((*value).clone());
    }
    match all.first() {
        Some((_, value, _)) if **value != exercise.own.operator && !value.is_empty() => {
            CallsignScore::Wrong((*value).clone())
        }
        Some(_) if rule.shorten => CallsignScore::Right,
        Some(_) => CallsignScore::Shortened,
        None => CallsignScore::Missing,
    }
}

/// Items that nobody cleared. What needs no answer may be repeated, if it is repeated right.
fn extras(phrases: &Phrases, rules: &Rules, exercise: &Exercise, said: &[SaidItem], score: &mut Score) {
    for s in said.iter().filter(|s| !s.used) {
        let item = Item { kind: s.kind.clone(), slots: s.slots.clone() };
        if let Some(info) = exercise.info.iter().find(|i| i.kind == s.kind) {
            if !matches!(compare(phrases, info, s), Verdict::Correct) {
                let text = format!("{} was {}", item.told(phrases), info.told(phrases));
                score.notes.push(Note { text, source: "needs no readback; C RB9432".into() });
            }
            continue;
        }
        let needed = rules.need(&s.kind).is_some_and(|n| n.need >= Need::Should);
        if needed && s.manner != Manner::Bare {
            let text = format!("nobody cleared {}", item.told(phrases));
            score.faults.push(Note { text, source: "common practice, no source".into() });
        }
        score.extra.push(item);
    }
}

/// ROGER, WILCO and the like never stand for a readback.
fn misuse(acts: &[&str], score: &mut Score) {
    let wanted =
        |i: &ItemScore| matches!(i.verdict, Verdict::Missing | Verdict::Incomplete(_)) && i.need() >= Need::Should;
    if !score.items.iter().any(wanted) {
        return;
    }
    let must = score.items.iter().any(|i| wanted(i) && i.need() == Need::Must);
    for act in ["roger", "wilco", "affirm", "acknowledge"] {
        if acts.contains(&act) {
            let text = format!("{} is no readback", act.to_uppercase());
            let source = "Annex 10 Volume II 5.2.1.5.8, S/C ATPLQ-SW";
            let note = Note { text, source: source.into() };
            if must { score.faults.push(note) } else { score.notes.push(note) }
        }
    }
}

fn words_a_minute(said: &Said) -> Option<f64> {
    let seconds = said.words.speech_s.filter(|s| *s > 0.0)?;
    let words: usize = said.pieces.iter().map(|p| p.words.len()).sum();
    Some(words as f64 * 60.0 / seconds)
}
