//! A thing that a clearance says, and an exercise made of such things.

use super::callsign::Callsign;
use super::phrases::{Phrases, form_of};
use super::rules::Rules;
use crate::core::aircraft::Value;
use crate::core::words::say;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// One item of a clearance, with its values by binding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Item {
    /// Kind, as in the phrasebook.
    pub kind: String,
    /// Values.
    pub slots: BTreeMap<String, Value>,
}

/// What is drilled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mode {
    /// Clearances read back.
    Readback,
    /// Letters and numbers spoken by the rules.
    Numbers,
    /// Standard words.
    Words,
    /// Radio checks.
    Check,
    /// Position and departure reports.
    Position,
}

impl Mode {
    /// All, by the name on the command line.
    pub const ALL: [(&'static str, Mode); 5] = [
        ("readback", Mode::Readback),
        ("numbers", Mode::Numbers),
        ("words", Mode::Words),
        ("check", Mode::Check),
        ("position", Mode::Position),
    ];
}

/// One thing to answer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Exercise {
    /// What is drilled.
    pub mode: Mode,
    /// Phase of flight, or the card's name.
    pub phase: String,
    /// The pilot's own callsign.
    pub own: Callsign,
    /// Who is spoken to; another than `own` is to be left alone.
    pub to: Callsign,
    /// Who speaks, or who is called.
    pub station: String,
    /// What the pilot is shown, for the modes in which he begins.
    pub card: Option<String>,
    /// The items in the order spoken.
    pub items: Vec<Item>,
    /// Items that need no answer, in front of them.
    pub info: Vec<Item>,
    /// An item that the controller first says with these values and then corrects: index and values.
    pub slip: Option<(usize, BTreeMap<String, Value>)>,
    /// Items of the clearance before, whose values are easily said again.
    pub before: Vec<Item>,
}

/// `template` with `{name}` filled in.
pub(super) fn fill(template: &str, with: &dyn Fn(&str) -> Option<String>) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some((head, tail)) = rest.split_once('{') {
        out.push_str(head);
        match tail.split_once('}') {
            Some((name, tail)) => {
                let value = with(name).unwrap_or_default();
                out.push_str(&value);
                // A unit that the value brings along is not said twice.
                let next = tail.split_whitespace().next().filter(|n| value.split(' ').next_back() == Some(*n));
                rest = next.map_or(tail, |n| &tail[tail.find(n).unwrap_or(0) + n.len()..]);
            }
            None => {
                rest = tail;
            }
        }
    }
    out.push_str(rest);
    out.split_whitespace().collect::<Vec<_>>().join(" ")
}

impl Item {
    /// A value in the words of the rules.
    pub fn spoken(&self, phrases: &Phrases, rules: &Rules, binding: &str) -> Option<String> {
        let value = self.slots.get(binding)?;
        let kind = phrases.items.get(&self.kind)?.slots.get(binding)?;
        if let Value::Word(w) = value
            && let Some(words) = rules.spoken.get(kind).and_then(|list| list.get(w))
        {
            return Some(words.clone());
        }
        Some(say(form_of(kind), value, rules.regime))
    }

    fn worded(&self, phrases: &Phrases, rules: &Rules, template: &str) -> String {
        fill(template, &|name| self.spoken(phrases, rules, name))
    }

    /// The wording for one of its values, else for its kind.
    fn template<'r>(&self, all: &'r BTreeMap<String, String>) -> &'r str {
        let own = self.slots.iter().find_map(|(b, v)| all.get(&format!("{} {b}={v}", self.kind)));
        own.or_else(|| all.get(&self.kind)).map_or("", String::as_str)
    }

    /// As the controller says it. `{callsign}` in the wording is `callsign`.
    pub fn said(&self, phrases: &Phrases, rules: &Rules, callsign: &str) -> String {
        let template = self.template(&rules.say);
        self.worded(phrases, rules, &template.replace("{callsign}", callsign))
    }

    /// As a pilot reads it back.
    pub fn back(&self, phrases: &Phrases, rules: &Rules) -> String {
        self.worded(phrases, rules, self.template(&rules.back))
    }

    /// A value as it is written for the reader of a summary: "heading 270".
    pub fn told(&self, phrases: &Phrases) -> String {
        let called = phrases.items.get(&self.kind).map_or(self.kind.as_str(), |k| k.called.as_str());
        let values = self.slots.values().map(written).collect::<Vec<_>>().join(" ");
        format!("{called} {values}").trim().to_string()
    }
}

/// A value in figures, words with spaces.
pub fn written(value: &Value) -> String {
    match value {
        Value::Word(w) => w.replace('_', " "),
        other => other.to_string(),
    }
}

impl Exercise {
    /// What the controller says after the callsign: information, items, and what closes a condition.
    pub fn clearance(&self, phrases: &Phrases, rules: &Rules) -> String {
        self.part(phrases, rules, 0..self.items.len(), true)
    }

    /// Some of the items again; `whole` with the information and the controller's own slip.
    pub(super) fn part(
        &self,
        phrases: &Phrases,
        rules: &Rules,
        items: impl Iterator<Item = usize>,
        whole: bool,
    ) -> String {
        let callsign = self.to.spoken(rules);
        let mut parts: Vec<String> = Vec::new();
        if whole {
            parts.extend(self.info.iter().map(|i| i.said(phrases, rules, &callsign)));
        }
        // What closes a condition stands behind the item after it.
        let mut after: Option<&String> = None;
        for i in items {
            let Some(item) = self.items.get(i) else { continue };
            let mut words = item.said(phrases, rules, &callsign);
            if let Some((at, slots)) = &self.slip
                && *at == i
                && whole
            {
                let slip = Item { kind: item.kind.clone(), slots: slots.clone() };
                let first = slip.said(phrases, rules, &callsign);
                words = format!("{first}, {}, {words}", rules.react("self_correction"));
            }
            if let Some(closing) = after.take() {
                words = format!("{words} {closing}");
            }
            after = rules.say_after.get(&item.kind).filter(|w| !w.is_empty());
            parts.push(words);
        }
        parts.join(", ")
    }

    /// The whole transmission of the controller; empty where the pilot begins.
    pub fn transmission(&self, phrases: &Phrases, rules: &Rules) -> String {
        if self.card.is_some() {
            return String::new();
        }
        format!("{}, {}", self.to.spoken(rules), self.clearance(phrases, rules))
    }

    /// A right answer; empty where silence is.
    pub fn model(&self, phrases: &Phrases, rules: &Rules) -> String {
        if !self.is_mine() {
            return String::new();
        }
        let callsign = self.own.spoken(rules);
        let mut parts: Vec<String> = Vec::new();
        let mut after: Option<&String> = None;
        for item in &self.items {
            let mut words = item.back(phrases, rules);
            if let Some(closing) = after.take() {
                words = format!("{words} {closing}");
            }
            after = rules.back_after.get(&item.kind).filter(|w| !w.is_empty());
            parts.push(words);
        }
        match self.mode {
            Mode::Readback => parts.push(callsign),
            // Who is called comes first, then who calls.
            Mode::Check | Mode::Position => {
                let called = self.items.first().is_some_and(|i| i.slots.contains_key("called"));
                parts.insert(usize::from(called), callsign);
            }
            Mode::Numbers | Mode::Words => {}
        }
        parts.join(", ")
    }

    /// Whether the pilot is meant at all.
    pub fn is_mine(&self) -> bool {
        self.to == self.own
    }
}
