//! `[checklists]` and their items.

use super::All;
use super::aircraft::reader;
use super::calls::BY;
use super::condition::Env;
use super::layers::Item as Entry;
use super::reader::Reader;
use super::tree::Node;
use crate::core::aircraft::ValueKind;
use crate::core::book::expr::{Function, Name, Node as Expr, Op};
use crate::core::book::rules;
use crate::core::book::schema::{Book, By, Checklist, Item, Known};
use crate::core::grammar::CallId;

const KNOWN: &[(&str, Known)] =
    &[("seen", Known::Seen), ("heard_only", Known::HeardOnly), ("simulated", Known::Simulated)];

/// Reads `[checklists]`.
pub fn checklists(all: &All, book: &mut Book) {
    for item in all.sections.items("checklists") {
        let list = checklist(all, item);
        book.checklists.push(list);
    }
}

fn checklist(all: &All, entry: &Entry) -> Checklist {
    let what = format!("checklist `{}`", entry.id);
    let r = reader(all.cx, &what, entry);
    r.only(&["title", "reader", "phases", "items", "complete", "then_phase", "expected", "replaces"]);
    for (key, example) in [("title", "\"… checklist\""), ("complete", "\"… checklist complete\""), ("items", "[…]")]
    {
        r.need(key, example);
    }
    let env = all.env();
    let nodes = r.node("items").map_or(&[][..], |n| n.each());
    let mut items: Vec<Item> = Vec::new();
    for (i, node) in nodes.iter().enumerate() {
        let item = item(all, &entry.id, i, node);
        if items.iter().any(|x| x.id == item.id) {
            let text = format!("The item `{}` is already in this list.", item.id);
            let at = node.get("id").map_or(node.at, |e| e.value.at);
            all.cx.raise(rules::DUPLICATE_ID, at, text, Some("rename one of them".into()));
        }
        items.push(item);
    }
    if nodes.is_empty() && r.node("items").is_some() {
        let text = format!("The checklist `{}` has no item.", entry.id);
        all.cx.raise(rules::MISSING_KEY, entry.at, text, Some(format!("add `[[checklists.{}.items]]`", entry.id)));
    }
    Checklist {
        id: entry.id.clone(),
        title: r.sentence("title", &env).unwrap_or_default(),
        reader: r.choice("reader", BY).unwrap_or(By::Pm),
        phases: r.phases("phases", all.names),
        items,
        complete: r.sentence("complete", &env).unwrap_or_default(),
        then_phase: r.phase("then_phase", all.names),
        expected: super::flows::expected(all, &r),
    }
}

/// The id of an item: as it says, else by its place.
pub fn item_id(node: &Node, index: usize) -> String {
    node.get("id").and_then(|e| e.value.text()).map_or_else(|| format!("item{}", index + 1), str::to_string)
}

fn item(all: &All, list: &str, index: usize, node: &Node) -> Item {
    let id = item_id(node, index);
    let what = format!("item `{id}`");
    let r = Reader::new(all.cx, &what, node.at, node);
    r.only(&[
        "id",
        "challenge",
        "by",
        "waits_for",
        "respond",
        "ranges",
        "say",
        "verify",
        "shown",
        "known",
        "killer",
        "within_s",
        "unexercised",
    ]);
    r.need("id", "\"…\"");
    r.need("challenge", "\"…\"");
    let _ = r.text("id");
    if r.node("respond").is_none() && r.node("say").is_none() {
        let text = format!("The item `{id}` has neither `respond` for the pilot nor `say` for the program.");
        all.cx.raise(rules::MISSING_KEY, node.at, text, Some("add `respond = \"…\"`".into()));
    }
    let respond = all.names.calls.find(&format!("{list}/{id}")).map(CallId);
    let slots = respond.and_then(|c| all.names.call_slots.get(c.0 as usize)).map_or(&[][..], Vec::as_slice);
    let plain = all.env();
    let env = Env { slots: Some(slots), ..plain };
    let verify = r.condition("verify", &env);
    let known = r.choice("known", KNOWN);
    if let (Some(Known::Seen), None, Some(n)) = (known, &verify, r.node("known")) {
        let text = "Nothing is seen here: the item has no `verify`.".to_string();
        all.cx.raise(rules::MISSING_KEY, n.at, text, Some("add `verify`, or write \"heard_only\"".into()));
    }
    if let (Some(Known::HeardOnly | Known::Simulated), Some(_), Some(n)) = (known, &verify, r.node("known")) {
        let text = "The item is verified against the aircraft, so it is seen.".to_string();
        all.cx.raise(rules::NOT_ONE_OF, n.at, text, Some("take `known` or `verify` away".into()));
    }
    let killer = r.truth("killer");
    if killer && verify.is_none() {
        let text = format!("The killer item `{id}` is settled by a word alone.");
        all.cx.raise(rules::KILLER_NOT_SEEN, node.at, text, Some("add a `verify` that reads the aircraft".into()));
    }
    // A number that is checked must be said; a wording that holds no slot cannot say it unless the number is fixed.
    let number = verify.as_ref().is_some_and(|v| states_number(&v.root, all));
    if number && let Some(n) = r.node("respond") {
        for w in n.each().iter().filter(|w| w.text().is_some_and(|t| !says_number(t))) {
            let text = format!("The item `{id}` is checked against a number, and this response states none.");
            let hint = "give it a slot, as in \"$flap:value\", and compare `slot.value`".to_string();
            all.cx.raise(rules::RESPONSE_WITHOUT_VALUE, w.at, text, Some(hint));
        }
    }
    Item {
        challenge: r.sentence("challenge", &plain).unwrap_or_default(),
        by: r.choice("by", BY).unwrap_or(By::Pf),
        waits_for: r.condition("waits_for", &plain),
        respond,
        say: r.sentence("say", &plain),
        shown: r.sentence("shown", &env),
        known: known.unwrap_or(if verify.as_ref().is_some_and(sees) { Known::Seen } else { Known::HeardOnly }),
        verify,
        killer,
        within_s: r.number("within_s", 0.5, 3_600.0).unwrap_or(8.0),
        id,
    }
}

/// Whether a condition rests on something that the program has seen itself: a signal, or its own record.
fn sees(verify: &crate::core::book::expr::Expr) -> bool {
    let own = |n: &Name| matches!(n, Name::Done(_) | Name::Said(_) | Name::Last(_));
    !verify.reads.is_empty() || verify.names.iter().any(|(_, n)| own(n))
}

/// Whether a condition wants a number signal to be equal to something: `flap_deg == …`, `abs(trim_units - …) < …`.
fn states_number(node: &Expr, all: &All) -> bool {
    let number = |n: &Expr| match n {
        Expr::Name(Name::Signal(s)) => all.names.signal_kinds.get(s.0 as usize) == Some(&ValueKind::Number),
        Expr::Call(Function::Abs, args) => matches!(args.as_slice(), [Expr::Binary(Op::Sub, a, b)]
            if [a, b].iter().any(|x| matches!(***x, Expr::Name(Name::Signal(_))))),
        _ => false,
    };
    match node {
        Expr::Binary(Op::And | Op::Or, a, b) => states_number(a, all) || states_number(b, all),
        Expr::Binary(Op::Eq, a, b) => number(a) || number(b),
        Expr::Binary(Op::Lt | Op::Le, a, _) => matches!(**a, Expr::Call(..)) && number(a),
        _ => false,
    }
}

/// Whether a wording has a number word in it.
fn says_number(wording: &str) -> bool {
    const DIGITS: &[&str] = &[
        "zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner", "ten", "hundred",
        "thousand",
    ];
    wording
        .split(|c: char| !c.is_alphanumeric() && c != '$')
        .any(|w| w.starts_with('$') || DIGITS.contains(&w) || w.ends_with("teen") || w.ends_with("ty"))
}
