//! What a step expects.

use super::form::{Faults, Texts};
use super::pattern::Pattern;
use crate::core::aircraft::Value;
use crate::core::book::schema::Station;
use crate::core::crew::io::{Action, Note};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt;

/// Something that must come.
#[derive(Debug, Clone, PartialEq)]
pub enum Wanted {
    /// A line that begins to be spoken.
    Spoken {
        /// Any of these.
        any: Vec<Pattern>,
        /// By this station.
        from: Option<Station>,
    },
    /// The program sets a control.
    Set {
        /// Which.
        control: String,
        /// To this.
        to: Option<Value>,
    },
    /// A call is accepted.
    Call {
        /// Which.
        call: String,
        /// With these slots, and maybe others.
        slots: BTreeMap<String, Value>,
    },
    /// A note.
    Note {
        /// Its kind, as the journal writes it.
        kind: String,
        /// Fields that must be so, by the journal's names.
        fields: Vec<(&'static str, Value)>,
        /// Some text in it has this, case aside.
        contains: Option<String>,
        /// Its `value` lies within so much of its `wanted`.
        near: Option<f64>,
    },
    /// The phase begins, or is there already.
    Phase(String),
    /// The condition holds at some moment.
    When(String),
}

/// How an action compares with what is wanted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Match {
    /// It is what was wanted.
    Yes,
    /// Nearly; what it was instead.
    Almost(String),
    /// Nothing to do with it.
    No,
}

impl Wanted {
    /// Compares an action of the engine.
    pub(super) fn compare(&self, action: &Action) -> Match {
        match (self, action) {
            (Wanted::Set { control, to }, Action::Set { control: c, to: t, .. }) if control == c => match to {
                Some(to) if !to.same(t) => Match::Almost(format!("it was set to {t}")),
                _ => Match::Yes,
            },
            (Wanted::Call { call, slots }, Action::Note(Note::Accepted { meaning, .. })) if *call == meaning.call => {
                let wrong = slots.iter().find(|(k, v)| !meaning.slots.get(*k).is_some_and(|x| x.same(v)));
                match wrong {
                    None => Match::Yes,
                    Some((k, _)) => Match::Almost(match meaning.slots.get(k) {
                        Some(x) => format!("it was accepted with {k} = {x}"),
                        None => format!("it was accepted without {k}"),
                    }),
                }
            }
            (Wanted::Phase(p), Action::Note(Note::Phase { phase })) if p == phase => Match::Yes,
            (Wanted::Note { kind, fields, contains, near }, Action::Note(note)) => {
                let Ok(json) = serde_json::to_value(note) else { return Match::No };
                if json.get("note").and_then(|k| k.as_str()) != Some(kind) {
                    return Match::No;
                }
                compare_note(&json, fields, contains.as_deref(), *near)
            }
            _ => Match::No,
        }
    }

    /// Compares a line that begins to be spoken.
    pub(super) fn hears(&self, station: Station, text: &str) -> Match {
        let Wanted::Spoken { any, from } = self else { return Match::No };
        if !any.iter().any(|p| p.matches(text)) {
            return Match::No;
        }
        match from {
            Some(s) if *s != station => Match::Almost(format!("{} said it", name_of(station))),
            _ => Match::Yes,
        }
    }
}

/// The first field names the thing (`flow = "…"`): another thing is nothing to do with it.
fn compare_note(
    json: &serde_json::Value,
    fields: &[(&'static str, Value)],
    contains: Option<&str>,
    near: Option<f64>,
) -> Match {
    for (i, (key, want)) in fields.iter().enumerate() {
        let is = json.get(*key).and_then(|v| serde_json::from_value::<Value>(v.clone()).ok());
        if is.as_ref() != Some(want) {
            let names_the_thing = (i == 0 && *key != "reason") || *key == "item";
            return match is {
                Some(is) if !names_the_thing => Match::Almost(format!("{key} was {is}")),
                _ => Match::No,
            };
        }
    }
    if let Some(part) = contains
        && !has_text(json, &part.to_lowercase())
    {
        return Match::Almost(format!("it was {json}"));
    }
    if let Some(near) = near {
        let number = |k: &str| json.get(k).and_then(serde_json::Value::as_f64);
        return match (number("value"), number("wanted")) {
            (Some(v), Some(w)) if (v - w).abs() <= near => Match::Yes,
            (Some(v), Some(w)) => Match::Almost(format!("it came at {v} instead of {w}")),
            _ => Match::Almost("it came without a value to compare".into()),
        };
    }
    Match::Yes
}

fn has_text(json: &serde_json::Value, part: &str) -> bool {
    match json {
        serde_json::Value::String(s) => s.to_lowercase().contains(part),
        serde_json::Value::Array(all) => all.iter().any(|v| has_text(v, part)),
        serde_json::Value::Object(map) => map.values().any(|v| has_text(v, part)),
        _ => false,
    }
}

/// A station as people call it.
pub(super) fn name_of(station: Station) -> &'static str {
    match station {
        Station::FlightDeck => "the flight deck",
        Station::Ground => "ground",
        Station::Cabin => "the cabin",
        Station::Radio => "the radio",
    }
}

/// A list of patterns as people read it.
pub(super) fn any_of(patterns: &[Pattern], from: Option<Station>) -> String {
    let mut text = patterns.iter().map(Pattern::to_string).collect::<Vec<_>>().join(" or ");
    if let Some(s) = from {
        text += &format!(" from {}", name_of(s));
    }
    text
}

/// "not …": completes "step 3: ".
impl fmt::Display for Wanted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Wanted::Spoken { any, from } => write!(f, "spoken: {}", any_of(any, *from)),
            Wanted::Set { control, to: Some(to) } => write!(f, "set: {control} to {to}"),
            Wanted::Set { control, to: None } => write!(f, "set: {control}"),
            Wanted::Call { call, slots } => {
                write!(f, "accepted: the call {call}")?;
                slots.iter().try_for_each(|(k, v)| write!(f, ", {k} = {v}"))
            }
            Wanted::Note { kind, fields, contains, near } => {
                write!(f, "noted: {kind}")?;
                fields.iter().try_for_each(|(k, v)| write!(f, ", {k} = {v}"))?;
                contains.iter().try_for_each(|c| write!(f, ", containing \"{c}\""))?;
                near.iter().try_for_each(|n| write!(f, ", within {n} of the value"))
            }
            Wanted::Phase(p) => write!(f, "reached: the phase {p}"),
            Wanted::When(c) => write!(f, "true: {c}"),
        }
    }
}

/// One entry of `expect`, as written.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawWanted {
    pub(super) within_s: Option<f64>,
    spoken: Option<Texts>,
    from: Option<Station>,
    set: Option<String>,
    to: Option<Value>,
    call: Option<String>,
    #[serde(default)]
    slots: BTreeMap<String, Value>,
    refused: Option<String>,
    item: Option<String>,
    state: Option<String>,
    known: Option<String>,
    checklist: Option<String>,
    flow: Option<String>,
    callout: Option<String>,
    near: Option<f64>,
    phase: Option<String>,
    limit: Option<String>,
    over: Option<bool>,
    note: Option<String>,
    contains: Option<String>,
    when: Option<String>,
}

/// What each expectation may carry beside its own key and `within_s`.
const MAY_CARRY: &[(&str, &[&str])] = &[
    ("spoken", &["from"]),
    ("set", &["to"]),
    ("call", &["slots"]),
    ("refused", &[]),
    ("item", &["state", "known"]),
    ("checklist", &["state"]),
    ("flow", &["state"]),
    ("callout", &["near"]),
    ("phase", &[]),
    ("limit", &["over"]),
    ("note", &["contains"]),
    ("when", &[]),
];

impl RawWanted {
    /// Proves that it is one expectation, whole.
    pub(super) fn prove(self, faults: &mut Faults) -> Option<Wanted> {
        let heads = [
            self.spoken.is_some(),
            self.set.is_some(),
            self.call.is_some(),
            self.refused.is_some(),
            self.item.is_some(),
            self.checklist.is_some(),
            self.flow.is_some(),
            self.callout.is_some(),
            self.phase.is_some(),
            self.limit.is_some(),
            self.note.is_some(),
            self.when.is_some(),
        ];
        let mut there = MAY_CARRY.iter().zip(heads).filter(|(_, h)| *h).map(|(m, _)| m);
        let Some((head, may)) = there.next() else {
            let all: Vec<&str> = MAY_CARRY.iter().map(|(h, _)| *h).collect();
            faults.add(format!("an entry of `expect` says nothing to expect: give one of {}.", all.join(", ")));
            return None;
        };
        if let Some((second, _)) = there.next() {
            faults.add(format!("an entry of `expect` has both `{head}` and `{second}`: make it two entries."));
            return None;
        }
        let extras = [
            ("from", self.from.is_some()),
            ("to", self.to.is_some()),
            ("slots", !self.slots.is_empty()),
            ("state", self.state.is_some()),
            ("known", self.known.is_some()),
            ("near", self.near.is_some()),
            ("over", self.over.is_some()),
            ("contains", self.contains.is_some()),
        ];
        for (key, _) in extras.iter().filter(|(key, there)| *there && !may.contains(key)) {
            faults.add(format!("in `expect`, `{key}` does not go with `{head}`: take it away."));
        }
        self.build(faults)
    }

    fn build(self, faults: &mut Faults) -> Option<Wanted> {
        let word = |w: Option<String>| w.map(Value::Word);
        let note = |kind: &str, fields: Vec<(&'static str, Option<Value>)>| Wanted::Note {
            kind: kind.into(),
            fields: fields.into_iter().filter_map(|(k, v)| Some((k, v?))).collect(),
            contains: None,
            near: None,
        };
        if self.near.is_some_and(|n| !n.is_finite() || n < 0.0) {
            faults.add("`near` must be a number from 0: correct it.");
        }
        Some(if self.spoken.is_some() {
            Wanted::Spoken { any: faults.patterns("spoken", self.spoken), from: self.from }
        } else if let Some(control) = self.set {
            Wanted::Set { control, to: self.to }
        } else if let Some(call) = self.call {
            Wanted::Call { call, slots: self.slots }
        } else if let Some(reason) = self.refused {
            note("refused", vec![("reason", word((!reason.is_empty()).then_some(reason)))])
        } else if let Some(item) = self.item {
            let Some((list, item)) = item.split_once('/') else {
                faults.add(format!("`item = \"{item}\"` names no list: write \"LIST/{item}\"."));
                return None;
            };
            let fields = vec![
                ("checklist", word(Some(list.into()))),
                ("item", word(Some(item.into()))),
                ("state", word(self.state)),
                ("known", word(self.known)),
            ];
            note("item", fields)
        } else if self.checklist.is_some() {
            note("checklist", vec![("checklist", word(self.checklist)), ("state", word(self.state))])
        } else if self.flow.is_some() {
            note("flow", vec![("flow", word(self.flow)), ("state", word(self.state))])
        } else if self.callout.is_some() {
            let fields = vec![("callout", Value::Word(self.callout?))];
            Wanted::Note { kind: "callout".into(), fields, contains: None, near: self.near }
        } else if let Some(phase) = self.phase {
            Wanted::Phase(phase)
        } else if self.limit.is_some() {
            note("limit", vec![("limit", word(self.limit)), ("over", self.over.map(Value::Bool))])
        } else if let Some(kind) = self.note {
            Wanted::Note { kind, fields: Vec::new(), contains: self.contains, near: None }
        } else {
            Wanted::When(self.when?)
        })
    }
}
