//! Every name of a book with its index and type.

use crate::core::aircraft::ValueKind;
use crate::core::book::problem::nearest;
use crate::core::book::schema::Book;
use crate::core::words::SlotKind;
use std::collections::BTreeMap;

/// The ids of one section, in order.
#[derive(Debug, Clone, Default)]
pub struct Ids {
    list: Vec<String>,
    index: BTreeMap<String, u16>,
}

impl Ids {
    /// Adds one; the first of a name keeps it.
    pub fn push(&mut self, id: &str) {
        let n = self.list.len().min(u16::MAX as usize) as u16;
        self.list.push(id.to_string());
        self.index.entry(id.to_string()).or_insert(n);
    }
    /// Its index.
    pub fn find(&self, id: &str) -> Option<u16> {
        self.index.get(id).copied()
    }
    /// The most similar id.
    pub fn nearest(&self, wrong: &str) -> Option<&str> {
        nearest(wrong, self.list.iter().map(String::as_str))
    }
    /// All ids in order.
    pub fn list(&self) -> &[String] {
        &self.list
    }
}

impl<S: AsRef<str>> FromIterator<S> for Ids {
    fn from_iter<T: IntoIterator<Item = S>>(iter: T) -> Self {
        let mut ids = Ids::default();
        for id in iter {
            ids.push(id.as_ref());
        }
        ids
    }
}

/// A slot's name and type.
pub type SlotName = (String, ValueKind);

/// All names; the vectors of types run parallel to the ids.
#[derive(Debug, Clone, Default)]
pub struct Names {
    /// `[signals]`.
    pub signals: Ids,
    /// Their types.
    pub signal_kinds: Vec<ValueKind>,
    /// `[controls]`.
    pub controls: Ids,
    /// The values they take.
    pub control_kinds: Vec<ValueKind>,
    /// `[sheet]`.
    pub sheet: Ids,
    /// Their types.
    pub sheet_kinds: Vec<ValueKind>,
    /// `[calls]` and the hidden ones.
    pub calls: Ids,
    /// Their slots.
    pub call_slots: Vec<Vec<SlotName>>,
    /// `[flows]`.
    pub flows: Ids,
    /// `[checklists]`.
    pub checklists: Ids,
    /// `[callouts]`.
    pub callouts: Ids,
    /// `[phases]`.
    pub phases: Ids,
    /// `[briefings]`.
    pub briefings: Ids,
    /// `[clearances]`.
    pub clearances: Ids,
}

impl Names {
    /// The names of a finished book.
    pub fn of(book: &Book) -> Names {
        Names {
            signals: book.signals.iter().map(|s| &s.id).collect(),
            signal_kinds: book.signals.iter().map(|s| s.kind.clone()).collect(),
            controls: book.controls.iter().map(|c| &c.id).collect(),
            control_kinds: book.controls.iter().map(|c| c.values.clone()).collect(),
            sheet: book.sheet.iter().map(|s| &s.id).collect(),
            sheet_kinds: book.sheet.iter().map(|s| s.kind.clone()).collect(),
            calls: book.calls.iter().map(|c| &c.id).collect(),
            call_slots: book
                .graph
                .calls
                .iter()
                .map(|c| c.slots.iter().map(|s| (s.name.clone(), kind_of(&s.kind))).collect())
                .collect(),
            flows: book.flows.iter().map(|f| &f.id).collect(),
            checklists: book.checklists.iter().map(|c| &c.id).collect(),
            callouts: book.callouts.iter().map(|c| &c.id).collect(),
            phases: book.phases.iter().map(|p| &p.id).collect(),
            briefings: book.briefings.iter().map(|b| &b.id).collect(),
            clearances: book.clearances.iter().map(|c| &c.id).collect(),
        }
    }
}

/// The type of what a slot holds.
pub fn kind_of(slot: &SlotKind) -> ValueKind {
    match slot {
        SlotKind::Heading
        | SlotKind::Altitude
        | SlotKind::Level
        | SlotKind::Speed
        | SlotKind::Frequency
        | SlotKind::Qnh
        | SlotKind::Number => ValueKind::Number,
        SlotKind::Squawk | SlotKind::Runway | SlotKind::Letter => ValueKind::Word(Vec::new()),
        SlotKind::Named { values, .. } => match values.first() {
            Some(crate::core::aircraft::Value::Number(_)) => ValueKind::Number,
            Some(crate::core::aircraft::Value::Bool(_)) => ValueKind::Bool,
            _ => ValueKind::Word(values.iter().filter_map(|v| v.word().map(str::to_string)).collect()),
        },
    }
}
