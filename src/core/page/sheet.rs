//! The flight sheet with who set each value and what it was checked by.

use super::view::Entry;
use crate::core::aircraft::{Value, ValueKind};
use crate::core::book::Book;
use crate::core::book::expr::Name;
use crate::core::crew::io::Input;
use std::collections::BTreeMap;

/// Where the values come from.
#[derive(Debug, Default)]
pub(super) struct Sources {
    by: BTreeMap<String, String>,
    checked: BTreeMap<String, String>,
}

impl Sources {
    pub fn new(book: &Book) -> Self {
        let from = |v: &Option<Value>| if v.is_some() { "the book" } else { "" }.to_string();
        Sources { by: book.sheet.iter().map(|e| (e.id.clone(), from(&e.value))).collect(), checked: BTreeMap::new() }
    }

    /// Entries that the session began with.
    pub fn given<'a>(&mut self, entries: impl Iterator<Item = &'a String>) {
        self.by.extend(entries.map(|e| (e.clone(), "given at the start".to_string())));
    }

    /// The pilot writes by touch.
    pub fn touched(&mut self, entry: &str) {
        self.checked.remove(entry);
    }

    /// A new value, because of `input`.
    pub fn wrote(&mut self, entry: &str, input: &Input, clock: &str) {
        let who = match input {
            Input::Heard { heard } if heard.typed => "you, by words",
            Input::Heard { .. } => "you, by voice",
            Input::Sheet { .. } => "you, on the page",
            _ => "the second pilot",
        };
        self.by.insert(entry.to_string(), format!("{who}, {clock}"));
        self.checked.remove(entry);
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
                self.checked.insert(e.id.clone(), by);
            }
        }
    }

    /// The sheet as it stands.
    pub fn entries(&self, book: &Book, values: &[Option<Value>]) -> Vec<Entry> {
        let entry = |(e, value): (&crate::core::book::schema::SheetEntry, &Option<Value>)| {
            let (kind, among) = match &e.kind {
                ValueKind::Bool => ("bool", Vec::new()),
                ValueKind::Number => ("number", Vec::new()),
                ValueKind::Word(all) => ("word", all.clone()),
            };
            Entry {
                id: e.id.clone(),
                title: e.title.clone(),
                kind,
                among,
                value: match value {
                    None => String::new(),
                    Some(Value::Word(w)) => w.clone(),
                    Some(v) => v.to_string(),
                },
                by: self.by.get(&e.id).cloned().unwrap_or_default(),
                checked: self.checked.get(&e.id).cloned().unwrap_or_default(),
            }
        };
        book.sheet.iter().zip(values).map(entry).collect()
    }
}
