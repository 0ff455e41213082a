//! The flight sheet with who set each value and what it was checked by.

use super::clock;
use super::view::Entry;
use crate::core::aircraft::{Value, ValueKind};
use crate::core::book::Book;
use crate::core::book::expr::Name;
use crate::core::book::schema::Source;
use crate::core::crew::glance::{Entered, Glance};
use crate::core::crew::io::Input;
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// What the engine's own account of the sheet does not say: by which way the pilot wrote, and what item cross-checked.
#[derive(Debug, Default)]
pub(super) struct Sources {
    ways: BTreeMap<String, &'static str>,
    items: BTreeMap<String, String>,
}

impl Sources {
    /// A new value, because of `input`.
    pub fn wrote(&mut self, entry: &str, input: &Input) {
        let way = match input {
            Input::Heard { heard } if heard.typed => "you, by words",
            Input::Heard { .. } => "you, by voice",
            _ => "you, on the page",
        };
        self.ways.insert(entry.to_string(), way);
        self.items.remove(entry);
    }

    /// An item was settled: what it compares with is cross-checked if the aircraft agreed.
    pub fn item(&mut self, book: &Book, list: &str, item: &str, state: &str, known: &str) {
        let found = book.checklists.iter().find(|c| c.id == list).and_then(|c| c.items.iter().find(|i| i.id == item));
        if state != "agreed" || known != "seen" {
            return;
        }
        for (_, name) in found.and_then(|i| i.verify.as_ref()).iter().flat_map(|e| &e.names) {
            if let Name::Sheet(i) = name
                && let Some(e) = book.sheet.get(*i as usize)
            {
                let by = format!("item {} of {}", item.replace('_', " "), list.replace('_', " "));
                self.items.insert(e.id.clone(), by);
            }
        }
    }

    /// Who set a value.
    fn by(&self, entry: &str, known: Entered) -> String {
        let way = || self.ways.get(entry).copied();
        match known.source {
            None => "",
            Some(Source::Book) => "the book",
            Some(Source::File) => "given at the start",
            Some(Source::Typed) => way().unwrap_or("you, by words"),
            Some(Source::Spoken) => way().unwrap_or("you, by voice"),
            Some(Source::Computed) => "computed",
            Some(Source::Aircraft) => "read off the aircraft",
            Some(Source::Flow) => "the second pilot",
            Some(Source::Radio) => "the controller, read back",
            Some(Source::Assumed) => "taken for granted",
        }
        .to_string()
    }

    fn checked(&self, entry: &str, known: Entered) -> String {
        let who = match (known.by_pilot, known.by_program) {
            (false, false) => return String::new(),
            (true, true) => "both of you",
            (true, false) => "you",
            (false, true) => "the second pilot",
        };
        self.items.get(entry).map_or_else(|| who.to_string(), |item| format!("{who}, {item}"))
    }

    /// The sheet as it stands.
    pub fn entries(&self, book: &Book, now: &Glance) -> Vec<Entry> {
        let entry = |((e, value), known): ((&crate::core::book::schema::SheetEntry, &Option<Value>), &Entered)| {
            let (kind, among) = match &e.kind {
                ValueKind::Bool => ("bool", Vec::new()),
                ValueKind::Number => ("number", Vec::new()),
                ValueKind::Word(all) => ("word", all.clone()),
            };
            let there = known.source.is_some();
            Entry {
                id: e.id.clone(),
                title: e.title.clone(),
                kind,
                among,
                value: match (value, known.source) {
                    (None, _) => String::new(),
                    (Some(Value::Word(w)), _) => w.clone(),
                    (Some(Value::Number(n)), Some(Source::Computed | Source::Aircraft)) => rounded(*n),
                    (Some(v), _) => v.to_string(),
                },
                by: self.by(&e.id, *known),
                at: if there && known.at > SessionTime::ZERO { clock(known.at) } else { String::new() },
                checked: if there { self.checked(&e.id, *known) } else { String::new() },
                doubted: there && known.doubted,
                part: match known.source {
                    None => "open",
                    _ if known.by_pilot || known.by_program || known.doubted => "flight",
                    Some(Source::Book | Source::Computed | Source::Aircraft | Source::Assumed) => "given",
                    Some(Source::File | Source::Typed | Source::Spoken | Source::Flow | Source::Radio) => "flight",
                },
            }
        };
        book.sheet.iter().zip(&now.sheet).zip(&now.known).map(entry).collect()
    }
}

/// A figure that nobody spoke, as it is read: a decimal where it matters.
fn rounded(n: f64) -> String {
    let places = if n.abs() < 10.0 { 100.0 } else { 10.0 };
    // Adding nought makes no figure a negative nought.
    Value::Number(libm::round(n * places) / places + 0.0).to_string()
}
