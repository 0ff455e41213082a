//! What in a book rests on an entry of the flight sheet.

use super::expr::{Expr, Name};
use super::schema::{Book, ChecklistId, FlowId, Item, Part, SheetId, StepKind, Template};
use std::collections::BTreeSet;

/// What rests on one entry.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Uses {
    /// Items of checklists that name it.
    pub items: Vec<(ChecklistId, usize)>,
    /// Flows that speak it.
    pub flows: Vec<FlowId>,
    /// Entries that are computed from it, directly.
    pub entries: Vec<SheetId>,
}

impl Book {
    /// For each entry of the flight sheet, what rests on it.
    pub fn sheet_uses(&self) -> Vec<Uses> {
        let mut uses = vec![Uses::default(); self.sheet.len()];
        for (l, list) in self.checklists.iter().enumerate() {
            for (i, item) in list.items.iter().enumerate() {
                for e in item.sheet() {
                    uses[e.0 as usize].items.push((ChecklistId(l as u16), i));
                }
            }
        }
        for (f, flow) in self.flows.iter().enumerate() {
            let mut named = BTreeSet::new();
            for step in &flow.steps {
                match &step.what {
                    StepKind::Say(t) => sentence(t, &mut named),
                    StepKind::Ask(a) => a.say.iter().for_each(|t| sentence(t, &mut named)),
                    _ => {}
                }
            }
            for e in named {
                uses[e.0 as usize].flows.push(FlowId(f as u16));
            }
        }
        for (i, entry) in self.sheet.iter().enumerate() {
            for d in &entry.depends {
                uses[d.0 as usize].entries.push(SheetId(i as u16));
            }
        }
        uses
    }
}

impl Item {
    /// The entries of the sheet that it names.
    pub fn sheet(&self) -> BTreeSet<SheetId> {
        let mut named = BTreeSet::new();
        self.verify.iter().for_each(|e| expr(e, &mut named));
        let said = [Some(&self.challenge), self.say.as_ref(), self.shown.as_ref()];
        said.into_iter().flatten().for_each(|t| sentence(t, &mut named));
        named
    }
}

fn expr(e: &Expr, named: &mut BTreeSet<SheetId>) {
    named.extend(e.names.iter().filter_map(|(_, n)| if let Name::Sheet(i) = n { Some(SheetId(*i)) } else { None }));
}

fn sentence(t: &Template, named: &mut BTreeSet<SheetId>) {
    t.parts.iter().for_each(|p| {
        if let Part::Value(e, _) = p {
            expr(e, named);
        }
    });
}
