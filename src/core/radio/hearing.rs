//! The live grammar of one answer: the right values, what could wrongly be said for each, and everything else that a
//! pilot may do instead of reading back. An error is then heard as an error, and not bent to the right answer.

use super::item::{Exercise, Item};
use super::phrases::{CALLED, CALLSIGN, Phrases, form_of, grammar_type, rename};
use super::reading::{CORRECTION, slot};
use super::slips;
use crate::core::aircraft::Value;
use crate::core::grammar::{Expansion, NamedSlots, Rules as NoRules, Shape, WordGraph, build};
use crate::core::words::{Regime, say};

/// Items in one answer, at most: every order of them is in the grammar.
const MOST_ITEMS: usize = 4;

fn at(shape: Shape) -> Expansion {
    Expansion { span: 0..0, shape }
}

fn maybe(e: Expansion) -> Expansion {
    at(Shape::Optional(Box::new(e)))
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
    exercise: &'a Exercise,
    lists: NamedSlots,
}

impl Builder<'_> {
    /// The wordings of an item, its values held to the right one and the plausible wrong ones. Values said after a
    /// correction have another name, so that both are known.
    fn item(&mut self, i: usize, again: bool) -> Expansion {
        let item = &self.exercise.items[i];
        let Some(kind) = self.phrases.items.get(&item.kind) else { return row(Vec::new()) };
        let names = |binding: &str| (format!("v{i}_{binding}"), name(i, binding, again));
        let known = |binding: &str| item.slots.contains_key(binding);
        let all = kind.read.iter().chain(&kind.loose);
        let mut wordings: Vec<Expansion> = all
            .filter_map(|wording| {
                // A wording with a value that the clearance does not have cannot be heard for it.
                without(wording, &|_, b| known(b)).map(|w| rename(&w, &|_, binding| names(binding)))
            })
            .collect();
        if again && let Some(main) = kind.main.as_ref().filter(|m| known(m)) {
            let (list, binding) = names(main);
            wordings.push(slot(&list, &binding));
        }
        any(wordings)
    }

    fn values(&mut self, i: usize) {
        let item: &Item = &self.exercise.items[i];
        let others: Vec<Item> =
            self.exercise.items.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, i)| i.clone()).collect();
        let Some(kind) = self.phrases.items.get(&item.kind) else { return };
        for (binding, right) in &item.slots {
            let Some(t) = kind.slots.get(binding) else { continue };
            let mut before = self.exercise.before.clone();
            if let Some((at, slots)) = &self.exercise.slip
                && *at == i
            {
                // The controller's own slip is the likeliest error of all.
                before.insert(0, Item { kind: item.kind.clone(), slots: slots.clone() });
            }
            let wrong = slips::plausible(self.phrases, item, binding, &others, &before);
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
            self.lists.insert(format!("v{i}_{binding}"), list);
        }
    }

    /// Every order of some of the items, each perhaps corrected at once.
    fn orders(&mut self, left: &[usize]) -> Expansion {
        let all = left.iter().map(|i| {
            let rest: Vec<usize> = left.iter().copied().filter(|k| k != i).collect();
            let corrected = row(vec![self.correction(), self.item(*i, true)]);
            let mut words = vec![self.item(*i, false), maybe(corrected)];
            if !rest.is_empty() {
                words.push(maybe(self.orders(&rest)));
            }
            row(words)
        });
        let all = all.collect();
        any(all)
    }

    fn correction(&self) -> Expansion {
        any(self.phrases.acts.get(CORRECTION).cloned().unwrap_or_default())
    }
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

/// The binding of an item's value in the grammar of an answer.
fn name(i: usize, binding: &str, again: bool) -> String {
    format!("{i}_{binding}{}", if again { "_again" } else { "" })
}

/// The temporary grammar of the answer to one exercise.
///
/// The call `readback` holds the items in any order, all or some, corrected or not, with a callsign in front or behind;
/// the other calls are the acts of the phrasebook. [`super::Reader`] takes the heard words apart.
///
/// # Errors
/// One sentence; a phrasebook that was loaded gives none.
pub fn graph(phrases: &Phrases, exercise: &Exercise) -> Result<WordGraph, String> {
    let mut builder = Builder { phrases, exercise, lists: NamedSlots::new() };
    for list in [CALLSIGN, CALLED] {
        builder.lists.insert(list.into(), phrases.lists.get(list).cloned().unwrap_or_default());
    }
    let count = exercise.items.len().min(MOST_ITEMS);
    (0..count).for_each(|i| builder.values(i));
    let callsign = || slot(CALLSIGN, CALLSIGN);
    let acks: Vec<Expansion> =
        ["roger", "wilco", "affirm"].iter().filter_map(|a| phrases.acts.get(*a)).flatten().cloned().collect();
    let mut calls: Vec<(String, Vec<Expansion>)> = Vec::new();
    if count > 0 {
        let indices: Vec<usize> = (0..count).collect();
        let orders = builder.orders(&indices);
        let behind = row(vec![maybe(any(acks.clone())), orders.clone(), maybe(callsign())]);
        calls.push(("readback".into(), vec![behind, row(vec![callsign(), maybe(any(acks)), orders])]));
    }
    for (act, wordings) in &phrases.acts {
        if act == CORRECTION {
            continue;
        }
        let all = wordings.iter().map(|w| rename(w, &|t, b| (t.into(), b.into())));
        let all = any(all.collect());
        let both = vec![row(vec![all.clone(), maybe(callsign())]), row(vec![callsign(), all])];
        calls.push((act.clone(), both));
    }
    calls.push((CALLSIGN.into(), vec![callsign()]));
    let (graph, problems) = build(&calls, &NoRules::new(), &builder.lists);
    match problems.first() {
        None => Ok(graph),
        Some(p) => Err(format!("the grammar of this answer: {:?}: {}", p.place, p.problem.message)),
    }
}
