//! Advice on checklists: the design guidance of Degani & Wiener 1990 (NASA CR-177549, appendix A), as far as it can be seen
//! in a book. Numbers in brackets are those of its guidelines.

use super::All;
use crate::core::book::rules;
use crate::core::book::schema::{Book, Checklist, ControlKind, Item, Station};

/// The most items of one list: longer ones are better split (7). The number is ours.
const MOST_ITEMS: usize = 10;
/// The least time to answer, s: room for what interrupts (12). The number is ours.
const LEAST_S: f64 = 4.0;

/// Raises what a list does against the guidance.
pub fn check(all: &All, book: &Book) {
    for (entry, list) in all.sections.items("checklists").iter().zip(&book.checklists) {
        if list.items.len() > MOST_ITEMS {
            let text = format!("The checklist `{}` has {} items.", list.id, list.items.len());
            let hint = format!("split it into lists of {MOST_ITEMS} items or fewer, each about one thing");
            all.cx.raise(rules::LONG_CHECKLIST, entry.at, text, Some(hint));
        }
        let nodes = entry.node.get("items").map_or(&[][..], |e| e.value.each());
        for (node, (k, item)) in nodes.iter().zip(list.items.iter().enumerate()) {
            if item.within_s < LEAST_S {
                let text = format!("The item `{}` is asked again after {} s.", item.id, item.within_s);
                let hint = format!("give `within_s` {LEAST_S} or more, or leave it out");
                all.cx.raise(rules::HURRIED_ITEM, node.at, text, Some(hint));
            }
            if !item.killer {
                continue;
            }
            if let Some(before) = late(list, k) {
                let text = format!("The killer item `{}` comes after `{}`.", item.id, before.id);
                all.cx.raise(rules::KILLER_LATE, node.at, text, Some("move it to the top of the list".into()));
            }
            if let Some(control) = once(book, item) {
                let text = format!("The killer item `{}` reads {control}, which no other list does.", item.id);
                let hint =
                    "let it stand in a second list, after the moment at which it may have been changed".to_string();
                all.cx.raise(rules::KILLER_ONCE, node.at, text, Some(hint));
            }
        }
    }
}

/// The item that stands before a killer without being one. What has to wait for somebody else may stand where it can be
/// answered.
fn late(list: &Checklist, k: usize) -> Option<&Item> {
    if list.items[k].waits_for.is_some() {
        return None;
    }
    list.items[..k].iter().find(|i| !i.killer && i.waits_for.is_none())
}

/// The lever of ours that the item reads, if only one list reads it.
fn once<'b>(book: &'b Book, item: &Item) -> Option<&'b str> {
    let reads = |i: &Item, c: &crate::core::book::schema::Control| {
        i.verify.as_ref().is_some_and(|v| v.reads(c.indication) || v.reads(c.signal))
    };
    let levers = book
        .controls
        .iter()
        .filter(|c| c.station == Station::FlightDeck && matches!(c.kind, ControlKind::Detent | ControlKind::Position));
    let lists = |c| book.checklists.iter().filter(|l| l.items.iter().any(|i| reads(i, c))).count();
    levers.filter(|c| reads(item, c)).find(|c| lists(*c) < 2).map(|c| c.title.as_str())
}
