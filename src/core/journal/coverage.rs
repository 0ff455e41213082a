//! What of a book journals have exercised, and what not.
//!
//! A call counts when it was accepted, a flow when it began, an item when it was settled, a callout when it was made, a
//! limit when it was exceeded, a phase when it was entered. What is never exercised was never shown to work.

use super::read::Journal;
use super::record::Line;
use crate::core::book::Book;
use crate::core::crew::io::{Action, Note};
use std::collections::BTreeSet;
use std::fmt;

/// One entry of a book: its kind and its name (of an item `list/item`).
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Part {
    /// `call`, `flow`, `item`, `callout`, `limit`, `phase`.
    pub kind: &'static str,
    /// The name.
    pub id: String,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.kind, self.id)
    }
}

/// Every entry of a book that can be exercised, in the book's order.
pub fn parts(book: &Book) -> Vec<Part> {
    let part = |kind| move |id: &String| Part { kind, id: id.clone() };
    // Calls with a stroke are the answers of items and questions.
    let calls = book.calls.iter().map(|c| &c.id).filter(|id| !id.contains('/')).map(part("call"));
    let flows = book.flows.iter().map(|f| &f.id).map(part("flow"));
    let items = book.checklists.iter().flat_map(|c| c.items.iter().map(move |i| format!("{}/{}", c.id, i.id)));
    let items = items.map(|id| Part { kind: "item", id });
    let callouts = book.callouts.iter().map(|c| &c.id).map(part("callout"));
    let limits = book.limits.iter().map(|l| &l.id).map(part("limit"));
    let phases = book.phases.iter().map(|p| &p.id).map(part("phase"));
    calls.chain(flows).chain(items).chain(callouts).chain(limits).chain(phases).collect()
}

/// The entry that a note exercises.
fn part(note: &Note) -> Option<Part> {
    let (kind, id) = match note {
        Note::Accepted { meaning, .. } => ("call", meaning.call.clone()),
        Note::Flow { flow, state } if state == "begun" => ("flow", flow.clone()),
        Note::Item { checklist, item, .. } => ("item", format!("{checklist}/{item}")),
        Note::Callout { callout, .. } => ("callout", callout.clone()),
        Note::Limit { limit, over: true } => ("limit", limit.clone()),
        Note::Phase { phase } => ("phase", phase.clone()),
        _ => return None,
    };
    Some(Part { kind, id })
}

/// What was seen so far.
#[derive(Debug, Clone, Default)]
pub struct Coverage {
    seen: BTreeSet<Part>,
    /// Seen with a book that this one extends: counts for what it takes over unchanged.
    seen_below: BTreeSet<Part>,
}

impl Coverage {
    /// Counts a journal in, if it is of the book or of one that it extends.
    pub fn add(&mut self, journal: &Journal, book: &Book) -> bool {
        let own = journal.header.book.id == book.id;
        if !own && !book.extends.contains(&journal.header.book.id) {
            return false;
        }
        for entry in &journal.entries {
            if let Line::Out { action: Action::Note(note), .. } = &entry.line
                && let Some(part) = part(note)
            {
                if own {
                    self.seen.insert(part)
                } else {
                    self.seen_below.insert(part)
                };
            }
        }
        true
    }

    fn has(&self, part: &Part, book: &Book) -> bool {
        self.seen.contains(part) || self.seen_below.contains(part) && book.inherited.contains(&part.to_string())
    }

    /// What of the book was never seen and has no reason in it (`unexercised = "…"`).
    pub fn missing(&self, book: &Book) -> Vec<Part> {
        let unseen = parts(book).into_iter().filter(|p| !self.has(p, book));
        unseen.filter(|p| !book.unexercised.contains_key(&p.to_string())).collect()
    }

    /// What the book says is not exercised, with the reason; second, whether it was seen all the same.
    pub fn explained<'b>(&self, book: &'b Book) -> Vec<(&'b str, &'b str, bool)> {
        let seen = |name: &str| self.seen.iter().any(|p| p.to_string() == name);
        book.unexercised.iter().map(|(name, why)| (name.as_str(), why.as_str(), seen(name))).collect()
    }

    /// How many entries of the book were seen, and how many there are.
    pub fn share(&self, book: &Book) -> (usize, usize) {
        let all = parts(book);
        (all.iter().filter(|p| self.has(p, book)).count(), all.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::book::{Folder, SourceFile, load};

    const BOOK: &str = "[book]\ntitle = \"x\"\n[phases.a]\nnext = [\"b\"]\n[phases.b]\nenter_when = \"true\"\n\
        [limits.l]\nwhen = \"true\"\nsay = \"l\"\nunexercised = \"cannot happen here\"\n\
        [callouts.c]\nwhen = \"true\"\nsay = \"c\"\n[calls.k]\nsay = \"k\"\ndoes = { flow = \"f\" }\n\
        [flows.f]\nsteps = [{ say = \"f\" }]\n[checklists.t]\ntitle = \"t\"\ncomplete = \"t\"\n\
        items = [{ id = \"i\", challenge = \"i\", say = \"i\" }]\n";

    #[test]
    fn what_is_not_seen_is_missing_unless_it_is_explained() {
        let file = SourceFile { name: "x.toml".into(), text: BOOK.into() };
        let book = load(&Folder { id: "x".into(), files: vec![file] }, &|_| None).book;
        let mut coverage = Coverage::default();
        let names = |c: &Coverage| c.missing(&book).iter().map(Part::to_string).collect::<Vec<_>>();
        assert_eq!(names(&coverage), ["call k", "flow f", "item t/i", "callout c", "phase a", "phase b"]);
        assert_eq!(coverage.explained(&book), [("limit l", "cannot happen here", false)]);
        for note in [
            Note::Phase { phase: "a".into() },
            Note::Flow { flow: "f".into(), state: "begun".into() },
            Note::Flow { flow: "g".into(), state: "done".into() },
            Note::Callout { callout: "c".into(), value: None, wanted: None, speech: 1 },
            Note::Limit { limit: "l".into(), over: true },
        ] {
            coverage.seen.extend(part(&note));
        }
        assert_eq!(names(&coverage), ["call k", "item t/i", "phase b"]);
        assert_eq!(coverage.explained(&book), [("limit l", "cannot happen here", true)]);
        assert_eq!(coverage.share(&book), (4, 7));
    }
}
