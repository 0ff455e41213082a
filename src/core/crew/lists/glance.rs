//! A checklist under way, for the eye.

use super::{Reading, Stage};
use crate::core::book::expr::Name;
use crate::core::book::schema::Item;
use crate::core::crew::glance::{List, ListItem};
use crate::core::crew::{Crew, Slots};

impl Crew {
    /// The checklist that is being read.
    pub(in crate::core::crew) fn list_seen(&self) -> Option<List> {
        let l = self.lists.last()?;
        let c = &self.book.checklists[l.list.0 as usize];
        let none = Slots::new();
        let items = c.items.iter().enumerate().map(|(i, item)| self.item_seen(l, i, item)).collect();
        let due = !l.held && matches!(l.stage, Stage::Due(_));
        let waits = match (&l.stage, c.items.get(l.item)) {
            _ if l.held => "held: say resume".to_string(),
            (Stage::Queued { .. }, _) => match self.busy_flow() {
                Some(f) => format!("waits for the end of the {}", self.book.flows[f.0 as usize].title),
                None => "begins".into(),
            },
            (Stage::Open { told: true }, Some(item)) => {
                format!("holds at {} until the aircraft is ready", self.text(&item.challenge, &none, None))
            }
            (Stage::Due(_), _) => "waits for your answer".into(),
            (Stage::Objecting(_), _) => "the aircraft shows otherwise".into(),
            (Stage::Own { told: true }, _) => "the second pilot cannot agree to it yet".into(),
            (Stage::Complete(_), _) => "is complete".into(),
            _ => "is being read".into(),
        };
        Some(List {
            id: c.id.clone(),
            title: self.text(&c.title, &none, None),
            at: l.item,
            held: l.held,
            due,
            waits,
            items,
        })
    }

    /// Checklists that wait for the one that is being read.
    pub(in crate::core::crew) fn lists_waiting(&self) -> Vec<String> {
        let before = self.lists.len().saturating_sub(1);
        let title = |l: &Reading| self.text(&self.book.checklists[l.list.0 as usize].title, &Slots::new(), None);
        self.lists[..before].iter().map(title).collect()
    }

    fn item_seen(&self, l: &Reading, i: usize, item: &Item) -> ListItem {
        let none = Slots::new();
        // What was answered counts for the present item only; the others are looked at without an answer.
        let slots = if i == l.item { &l.slots } else { &none };
        let mut shown = Vec::new();
        for (_, name) in item.verify.iter().flat_map(|e| &e.names) {
            if let Name::Signal(s) = name {
                let title = &self.book.signals[s.0 as usize].title;
                if !shown.iter().any(|(t, _)| t == title) {
                    shown.push((title.clone(), self.signal(*s)));
                }
            }
        }
        ListItem {
            challenge: self.text(&item.challenge, &none, None),
            whose: self.whose(item.by),
            shown,
            agrees: item.verify.as_ref().and_then(|e| self.truth(e, slots)),
        }
    }
}
