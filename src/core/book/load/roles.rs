//! Whether somebody can fill each role that a book names, in every arrangement of the two pilots.

use super::All;
use super::tree::Node;
use crate::core::book::rules;
use crate::core::book::schema::{Book, Station};

/// Sections with duties that one pilot has, and the key that names him.
const DUTIES: &[(&str, &str)] = &[
    ("flows", "by"),
    ("checklists", "reader"),
    ("callouts", "by"),
    ("limits", "by"),
    ("briefings", "by"),
    ("clearances", "by"),
];

/// Raises what nobody could do.
pub fn check(all: &All, book: &Book) {
    let mut flying: Vec<&Node> = Vec::new();
    for (section, key) in DUTIES {
        for item in all.sections.items(section) {
            let Some(node) = item.node.get(key).map(|e| &e.value) else { continue };
            if node.text() == Some("both") {
                let text =
                    format!("`{}` is one pilot's duty: only an item of a checklist is answered by both.", item.id);
                all.cx.raise(rules::UNFILLED_ROLE, node.at, text, Some("name one of them, as in \"pm\"".into()));
            }
            flying.push(node);
        }
    }
    for (item, flow) in all.sections.items("flows").iter().zip(&book.flows) {
        let Some(node) = item.node.get("by").map(|e| &e.value).filter(|_| flow.station != Station::FlightDeck) else {
            continue;
        };
        let text = format!("No pilot does the flow `{}`: it belongs to somebody outside the flight deck.", flow.id);
        let hint = "take `by` away, or `station`".to_string();
        all.cx.raise(rules::UNFILLED_ROLE, node.at, text, Some(hint));
    }
    for entry in all.sections.items("checklists") {
        for node in entry.node.get("items").map_or(&[][..], |e| e.value.each()) {
            flying.extend(node.get("by").map(|e| &e.value));
            words(all, node);
        }
    }
    let flying = flying.into_iter().filter(|n| matches!(n.text(), Some("pf" | "pm")));
    if book.roles.flight_roles_in.is_empty() {
        let mut told = Vec::new();
        for node in flying {
            if told.contains(&node.at.file) {
                continue;
            }
            told.push(node.at.file);
            let text = "Nobody ever flies in this book: `[roles]` names no phase for the flight roles.".to_string();
            let hint =
                "add `[roles]` with `flight_roles_in = [\"…\"]`, or write \"captain\" or \"first_officer\"".into();
            all.cx.raise(rules::NO_FLIGHT_ROLES, node.at, text, Some(hint));
        }
    }
}

/// Whoever has to answer an item needs words for it: the pilot `respond`, the program `say`.
fn words(all: &All, item: &Node) {
    let has = |key: &str| item.get(key).is_some();
    let missing = match (has("respond"), has("say")) {
        (true, false) => ("say", "second pilot", "say = \"…\""),
        (false, true) => ("respond", "pilot", "respond = [\"…\"]"),
        _ => return,
    };
    let (key, who, example) = missing;
    let hint = Some(format!("add `{example}`"));
    match item.get("by").map(|e| &e.value) {
        Some(node) if node.text() == Some("both") => {
            let text = format!("Both answer this item, and it has no `{key}` for the {who}.");
            all.cx.raise(rules::UNFILLED_ROLE, node.at, text, hint);
        }
        by => {
            let text = format!("Where the {who} has this role there are no words for the answer: there is no `{key}`.");
            all.cx.raise(rules::SILENT_ROLE, by.map_or(item.at, |n| n.at), text, hint);
        }
    }
}
