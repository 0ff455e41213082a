//! The live grammar of one answer: the right values, what could wrongly be said for each, and everything else that a
//! pilot may do instead of reading back. An error is then heard as an error, and not bent to the right answer.
//!
//! Each item is a call of its own, and an answer is several calls in one breath: so they may come in any order, in part,
//! and with the pauses that a pilot makes between them.

use super::item::{Exercise, Item};
use super::phrases::{CALLED, CALLSIGN, Phrases, form_of, grammar_type, rename};
use super::reading::{CORRECTION, slot};
use super::slips;
use crate::core::aircraft::Value;
use crate::core::grammar::{Expansion, NamedSlots, Rules as NoRules, Shape, WordGraph, build};
use crate::core::words::{Regime, say};

/// The most calls in one answer: four items, a correction, an acknowledgement, the callsign, and one to spare.
pub const MOST_CALLS: u8 = 8;

fn at(shape: Shape) -> Expansion {
    Expansion { span: 0..0, shape }
}

fn any(all: Vec<Expansion>) -> Expansion {
    at(Shape::Choice(all))
}

fn row(all: Vec<Expansion>) -> Expansion {
    at(Shape::Sequence(all))
}

/// Every way to speak a value: by each region's rules, and the way that a phrasebook's list gives.
fn ways(phrases: &Phrases, kind: &str, value: &Value) -> Expansion {
    let listed = phrases.lists.get(grammar_type(kind)).and_then(|l| l.iter().find(|(v, _)| v.same(value)));
    if let Some((_, wording)) = listed {
        return wording.clone();
    }
    let mut all: Vec<String> = Vec::new();
    for regime in Regime::ALL {
        let said = say(form_of(kind), value, regime);
        // What stands around the value is the wording's.
        let said = said.trim_start_matches("flight level ");
        let said = said.trim_end_matches(" degrees").trim_end_matches(" hectopascals").to_string();
        if !all.contains(&said) {
            all.push(said);
        }
    }
    if kind == "altitude"
        && let Some(n) = value.number().filter(|n| n % 1000.0 == 0.0 && *n >= 10_000.0)
    {
        // Group form ("ten thousand"): S 7110-17, for restating.
        all.push(say(crate::core::words::Form::Plain, &Value::Number(n), Regime::Faa));
    }
    any(all.iter().map(|w| super::reading::said(w)).collect())
}

struct Builder<'a> {
    phrases: &'a Phrases,
    lists: NamedSlots,
}

impl Builder<'_> {
    /// The wordings of item `i`, its values held to the right one and the plausible wrong ones.
    fn item(&self, i: usize, item: &Item) -> Vec<Expansion> {
        let Some(kind) = self.phrases.items.get(&item.kind) else { return Vec::new() };
        let known = |binding: &str| item.slots.contains_key(binding);
        let all = kind.read.iter().chain(&kind.loose);
        // A wording with a value that the clearance does not have cannot be heard for it.
        all.filter_map(|wording| {
            without(wording, &|_, b| known(b)).map(|w| rename(&w, &|_, b| (list_of(i, b), b.to_string())))
        })
        .collect()
    }

    /// The value of an item alone.
    fn bare(&self, i: usize, item: &Item) -> Option<Expansion> {
        let main = self.phrases.items.get(&item.kind)?.main.as_ref()?;
        item.slots.contains_key(main).then(|| slot(&list_of(i, main), main))
    }

    /// The values of item `i`, the right one first.
    fn values(&mut self, i: usize, item: &Item, others: &[Item], before: &[Item]) {
        let Some(kind) = self.phrases.items.get(&item.kind) else { return };
        for (binding, right) in &item.slots {
            let Some(t) = kind.slots.get(binding) else { continue };
            let wrong = slips::plausible(self.phrases, item, binding, others, before);
            let mut list: Vec<(Value, Expansion)> = Vec::new();
            let mut taken: Vec<String> = Vec::new();
            for value in std::iter::once(right.clone()).chain(wrong) {
                let wording = ways(self.phrases, t, &value);
                // Words that already mean another value mean that one.
                let fresh: Vec<Expansion> = match &wording.shape {
                    Shape::Choice(all) => all.iter().filter(|w| !taken.contains(&w.to_string())).cloned().collect(),
                    _ => vec![wording.clone()],
                };
                taken.extend(fresh.iter().map(ToString::to_string));
                if !fresh.is_empty() {
                    list.push((value, any(fresh)));
                }
            }
            self.lists.insert(list_of(i, binding), list);
        }
    }
}

/// The name of the list of an item's values.
fn list_of(i: usize, binding: &str) -> String {
    format!("v{i}_{binding}")
}

/// The wording without what holds other references than `keep` wants; `None` if one of these cannot be left out.
fn without(wording: &Expansion, keep: &dyn Fn(&str, &str) -> bool) -> Option<Expansion> {
    let shape = match &wording.shape {
        Shape::Word(_) => return Some(wording.clone()),
        Shape::Sequence(all) => Shape::Sequence(all.iter().map(|e| without(e, keep)).collect::<Option<_>>()?),
        Shape::Choice(all) => {
            let left: Vec<Expansion> = all.iter().filter_map(|e| without(e, keep)).collect();
            if left.is_empty() {
                return None;
            }
            Shape::Choice(left)
        }
        Shape::Optional(e) => match without(e, keep) {
            Some(e) => Shape::Optional(Box::new(e)),
            None => Shape::Sequence(Vec::new()),
        },
        Shape::Repeat { what, min, max } => {
            Shape::Repeat { what: Box::new(without(what, keep)?), min: *min, max: *max }
        }
        Shape::Reference { name, binding } => {
            return keep(name, binding.as_deref().unwrap_or(name)).then(|| wording.clone());
        }
    };
    Some(Expansion { span: wording.span.clone(), shape })
}

/// The temporary grammar of the answer to one exercise.
///
/// The calls `item N` are the items, those that need no answer behind those that do; `correct N` is "correction" with the
/// item or its bare value; the others are the callsign and the acts of the phrasebook. [`super::Reader`] takes the heard
/// words apart.
///
/// # Errors
/// One sentence; a phrasebook that was loaded gives none.
pub fn graph(phrases: &Phrases, exercise: &Exercise) -> Result<WordGraph, String> {
    let mut builder = Builder { phrases, lists: NamedSlots::new() };
    for list in [CALLSIGN, CALLED] {
        builder.lists.insert(list.into(), phrases.lists.get(list).cloned().unwrap_or_default());
    }
    let correction = any(phrases.acts.get(CORRECTION).cloned().unwrap_or_default());
    let mut calls: Vec<(String, Vec<Expansion>)> = Vec::new();
    let all: Vec<&Item> = exercise.items.iter().chain(&exercise.info).collect();
    for (i, item) in all.iter().enumerate() {
        let others: Vec<Item> =
            all.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, other)| (*other).clone()).collect();
        let mut before = exercise.before.clone();
        if let Some((at, slots)) = &exercise.slip
            && *at == i
        {
            // The controller's own slip is the likeliest error of all.
            before.insert(0, Item { kind: item.kind.clone(), slots: slots.clone() });
        }
        builder.values(i, item, &others, &before);
        let wordings = builder.item(i, item);
        let again: Vec<Expansion> = wordings.iter().cloned().chain(builder.bare(i, item)).collect();
        calls.push((format!("item {i}"), wordings));
        calls.push((format!("correct {i}"), vec![row(vec![correction.clone(), any(again)])]));
    }
    for (act, wordings) in &phrases.acts {
        if act != CORRECTION {
            calls.push((act.clone(), wordings.iter().map(|w| rename(w, &|t, b| (t.into(), b.into()))).collect()));
        }
    }
    calls.push((CALLSIGN.into(), vec![slot(CALLSIGN, CALLSIGN)]));
    calls.retain(|c| !c.1.is_empty());
    let (graph, problems) = build(&calls, &NoRules::new(), &builder.lists);
    match problems.first() {
        None => Ok(graph),
        Some(p) => Err(format!("the grammar of this answer: {:?}: {}", p.place, p.problem.message)),
    }
}
