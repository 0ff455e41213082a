//! Everything that the pilot can say → one word graph.

use super::Cx;
use super::aircraft::STATIONS;
use super::flows::mentions;
use super::layers::{Item, Sections};
use super::lists::item_id;
use super::names::{Names, SlotName, kind_of};
use super::reader::{Reader, value};
use super::tree::{Node, Tree};
use super::watch::string_of;
use crate::core::aircraft::Value;
use crate::core::book::rules::{self, Rule};
use crate::core::book::schema::{Book, Station};
use crate::core::grammar::{self, CallId, CallSet, Expansion, Place, Shape};
use crate::core::words::SlotKind;
use std::collections::{BTreeMap, BTreeSet};

/// A call that stands in no `[calls]`: the responses of an item, the replies of a question.
pub struct Hidden {
    /// `LIST/ITEM`, `FLOW/stepN` or `CALLOUT/reply`.
    pub name: String,
    /// Its wordings.
    pub say: Vec<String>,
    /// To whom.
    pub to: Station,
}

/// What the other readers need of it.
pub struct Wordings {
    /// The wordings of each of `[calls]`, as written.
    pub said: Vec<Vec<String>>,
    /// Hidden calls, in the order in which they follow `[calls]`.
    pub hidden: Vec<Hidden>,
    /// For each flow the slots of the calls that start it; `None` if none does.
    pub flow_slots: Vec<Option<Vec<SlotName>>>,
}

/// One call with the nodes of its wordings.
struct Source<'a> {
    name: String,
    say: Vec<(&'a str, &'a Node)>,
    to: Station,
    /// The table that holds them.
    node: &'a Node,
}

/// Compiles the graph into `book` and the calls with their slots into `names`.
pub fn compile(cx: &Cx, sections: &Sections, names: &mut Names, book: &mut Book) -> Wordings {
    let mut parsed = Parsed { cx, used: BTreeSet::new() };
    let (mut rule_nodes, mut rule_table) = (BTreeMap::new(), grammar::Rules::new());
    for item in sections.items("rules") {
        if let Some(node) = string_of(cx, item)
            && let Some(text) = node.text()
        {
            rule_table.insert(item.id.clone(), parsed.parse(text, node));
            rule_nodes.insert(item.id.clone(), node);
        }
    }
    let (named, slot_nodes) = slots(sections, &mut parsed);
    let calls = sources(cx, sections, &["calls"]);
    let hidden = sources(cx, sections, &["checklists", "flows", "callouts", "limits", "briefings"]);
    let all: Vec<&Source> = calls.iter().chain(&hidden).collect();
    let expansions: Vec<(String, Vec<Expansion>)> =
        all.iter().map(|s| (s.name.clone(), s.say.iter().map(|(t, n)| parsed.parse(t, n)).collect())).collect();
    let (graph, problems) = grammar::build(&expansions, &rule_table, &named);
    for p in problems {
        let node = match &p.place {
            Place::Call { call, wording } => all.get(*call).and_then(|s| s.say.get(*wording)).map(|(_, n)| *n),
            Place::Rule(name) => rule_nodes.get(name).copied(),
            Place::Slot { slot, value } => slot_nodes.get(slot).and_then(|v| v.get(*value)).copied(),
        };
        raise(cx, node, p.problem);
    }
    let mut graph = graph;
    for (source, call) in all.iter().zip(&mut graph.calls) {
        ranges(cx, source, call);
    }
    names.calls = all.iter().map(|s| s.name.as_str()).collect();
    let slots_of = |c: &grammar::CallGraph| c.slots.iter().map(|s| (s.name.clone(), kind_of(&s.kind))).collect();
    names.call_slots = graph.calls.iter().map(slots_of).collect();
    names.call_slots.resize(all.len(), Vec::new());
    book.graph = graph;
    unused(cx, sections, &parsed.used);
    let flow_slots = flow_slots(cx, sections, names);
    let written = |s: &Source| -> Vec<String> { s.say.iter().map(|(t, _)| (*t).to_string()).collect() };
    let said = calls.iter().map(written).collect();
    let hidden = hidden.into_iter().map(|s| Hidden { say: written(&s), name: s.name, to: s.to }).collect();
    Wordings { said, hidden, flow_slots }
}

/// Parses wordings and remembers what they refer to.
struct Parsed<'a> {
    cx: &'a Cx,
    used: BTreeSet<String>,
}

impl Parsed<'_> {
    fn parse(&mut self, text: &str, node: &Node) -> Expansion {
        let (expansion, problems) = grammar::parse(text);
        for p in problems {
            raise(self.cx, Some(node), p);
        }
        self.refer(&expansion);
        expansion
    }

    fn refer(&mut self, e: &Expansion) {
        match &e.shape {
            Shape::Word(_) => {}
            Shape::Sequence(all) | Shape::Choice(all) => all.iter().for_each(|x| self.refer(x)),
            Shape::Optional(x) => self.refer(x),
            Shape::Repeat { what, .. } => self.refer(what),
            Shape::Reference { name, .. } => {
                self.used.insert(name.clone());
            }
        }
    }
}

/// A grammar's problem becomes one of the book's.
fn raise(cx: &Cx, node: Option<&Node>, p: grammar::Problem) {
    let rule = rule_of(p.id);
    match node {
        Some(n) => {
            let inner = if let Tree::Text(_, inner) = &n.tree { *inner } else { None };
            cx.raise(rule, n.at.within(inner, p.span.start, p.span.end), p.message, p.hint);
        }
        None => cx.raise_whole(rule, p.message, p.hint),
    }
}

fn rule_of(id: &str) -> &'static Rule {
    match id {
        "grammar-says-nothing" | "grammar-empty" => rules::EMPTY_WORDING,
        "grammar-unknown-rule" => rules::UNKNOWN_RULE,
        "grammar-endless" => rules::LEFT_RECURSION,
        "grammar-two-values" => rules::SAME_WORDING,
        "grammar-name-taken" => rules::DUPLICATE_ID,
        "grammar-slot-twice" | "grammar-slot-types" | "grammar-slot-in-slot" | "grammar-slot-no-values" => {
            rules::SLOT_MISUSE
        }
        "grammar-too-large" | "grammar-too-deep" => rules::TOO_MANY,
        _ => rules::WORDING_SYNTAX,
    }
}

type SlotNodes<'a> = BTreeMap<String, Vec<&'a Node>>;

fn slots<'a>(sections: &'a Sections, parsed: &mut Parsed) -> (grammar::NamedSlots, SlotNodes<'a>) {
    let cx = parsed.cx;
    let (mut named, mut nodes) = (grammar::NamedSlots::new(), SlotNodes::new());
    for item in sections.items("slots") {
        let what = format!("slot `{}`", item.id);
        let r = Reader::new(cx, &what, item.at, &item.node);
        r.only(&["values", "title", "replaces"]);
        r.need("values", "[{ value = 5, say = \"five\" }]");
        let (mut table, mut places): (Vec<(Value, Expansion)>, Vec<&Node>) = (Vec::new(), Vec::new());
        for node in r.node("values").map_or(&[][..], |n| n.each()) {
            let r = Reader::new(cx, "a slot's value", node.at, node);
            r.only(&["value", "say"]);
            let (Some(v), Some(say)) = (r.need("value", "5"), r.need("say", "\"five\"")) else { continue };
            let (Some(given), Some(text)) = (value(v), r.text("say")) else {
                if value(v).is_none() {
                    cx.wrong_type(v, "value", "a number, a truth or a word");
                }
                continue;
            };
            let same = |o: &Value| std::mem::discriminant(o) == std::mem::discriminant(&given);
            if table.first().is_some_and(|(o, _)| !same(o)) {
                let text = "All values of a slot must be of one type.".to_string();
                cx.raise(rules::WRONG_TYPE, v.at, text, Some("make them all numbers, or all words".into()));
                continue;
            }
            if table.iter().any(|(o, _)| o.same(&given)) {
                let hint = "put all its wordings into one: `say = \"(this | that)\"`".to_string();
                cx.raise(rules::DUPLICATE_ID, v.at, format!("The value {given} is written twice."), Some(hint));
                continue;
            }
            table.push((given, parsed.parse(text, say)));
            places.push(say);
        }
        named.insert(item.id.clone(), table);
        nodes.insert(item.id.clone(), places);
    }
    (named, nodes)
}

/// The calls that stand in these sections.
fn sources<'a>(cx: &Cx, sections: &'a Sections, which: &[&str]) -> Vec<Source<'a>> {
    let mut all = Vec::new();
    for item in which.iter().flat_map(|s| sections.items(s).iter().map(move |i| (*s, i))) {
        match item {
            ("calls", item) => {
                let r = Reader { cx, what: "say", at: item.at, entries: item.node.entries() };
                let to = station(&item.node, "to");
                all.push(Source { name: item.id.clone(), say: r.texts("say"), to, node: &item.node });
            }
            ("checklists", item) => {
                for (i, node) in item.node.get("items").map_or(&[][..], |e| e.value.each()).iter().enumerate() {
                    let name = format!("{}/{}", item.id, item_id(node, i));
                    // An item whose id is there twice is reported where the list is read.
                    if !all.iter().any(|s: &Source| s.name == name) {
                        hidden(cx, &mut all, name, node, "respond", Station::FlightDeck);
                    }
                }
            }
            ("briefings", item) => {
                for (i, node) in item.node.get("topics").map_or(&[][..], |e| e.value.each()).iter().enumerate() {
                    let name = format!("{}/{}", item.id, item_id(node, i));
                    if !all.iter().any(|s: &Source| s.name == name) {
                        hidden(cx, &mut all, name, node, "mention", Station::FlightDeck);
                    }
                }
            }
            ("flows", item) => {
                let to = station(&item.node, "station");
                for (i, node) in item.node.get("steps").map_or(&[][..], |e| e.value.each()).iter().enumerate() {
                    hidden(cx, &mut all, format!("{}/step{}", item.id, i + 1), node, "reply", to);
                }
            }
            (_, item) => {
                if let Some(e) = item.node.get("reply") {
                    hidden(cx, &mut all, format!("{}/reply", item.id), &e.value, "reply", Station::FlightDeck);
                }
            }
        }
    }
    all
}

fn hidden<'a>(cx: &Cx, all: &mut Vec<Source<'a>>, name: String, node: &'a Node, key: &str, to: Station) {
    let r = Reader { cx, what: "an answer", at: node.at, entries: node.entries() };
    if r.node(key).is_some() {
        all.push(Source { name, say: r.texts(key), to, node });
    }
}

/// `ranges = { kg = [500, 25000, 10] }`: from, to and, if given, the step.
fn ranges(cx: &Cx, source: &Source, call: &mut grammar::CallGraph) {
    let Some(entry) = source.node.get("ranges") else { return };
    for given in entry.value.entries() {
        let name = &given.key;
        let number = |n: &Node| if let Some(Value::Number(n)) = value(n) { Some(n) } else { None };
        let numbers: Vec<f64> = given.value.each().iter().filter_map(number).collect();
        let range = match numbers.as_slice() {
            [from, to] => grammar::Range { from: *from, to: *to, step: 1.0 },
            [from, to, step] if *step > 0.0 => grammar::Range { from: *from, to: *to, step: *step },
            _ => {
                cx.wrong_type(&given.value, name, "[from, to] or [from, to, step], numbers, with a step above 0");
                continue;
            }
        };
        let numeric = |s: &&mut grammar::SlotDef| s.name == *name && !matches!(s.kind, SlotKind::Named { .. });
        match call.slots.iter_mut().find(numeric) {
            Some(slot) if range.from <= range.to => slot.range = Some(range),
            Some(_) => {
                let text = format!("The range of `{name}` ends before it begins.");
                cx.raise(rules::SLOT_MISUSE, given.value.at, text, Some("write the least first".into()));
            }
            None => {
                let text = format!("`ranges` names `{name}`, and no wording has a slot of numbers with this name.");
                let hint = "name a slot of the wordings, as `ft` in `$number:ft`".to_string();
                cx.raise(rules::SLOT_MISUSE, given.value.at, text, Some(hint));
            }
        }
    }
}

fn station(node: &Node, key: &str) -> Station {
    let word = node.get(key).and_then(|e| e.value.text());
    STATIONS.iter().find(|(w, _)| Some(*w) == word).map(|(_, s)| *s).unwrap_or_default()
}

fn unused(cx: &Cx, sections: &Sections, used: &BTreeSet<String>) {
    for section in ["rules", "slots"] {
        for item in sections.items(section).iter().filter(|i| !used.contains(&i.id)) {
            let text = format!("No wording uses `${}`.", item.id);
            cx.raise(rules::UNUSED_PHRASE, item.at, text, Some("use it or take it away".into()));
        }
    }
}

/// Which slots a flow can count on.
fn flow_slots(cx: &Cx, sections: &Sections, names: &Names) -> Vec<Option<Vec<SlotName>>> {
    sections.items("flows").iter().map(|flow| flow_slot(cx, sections, names, flow)).collect()
}

fn flow_slot(cx: &Cx, sections: &Sections, names: &Names, flow: &Item) -> Option<Vec<SlotName>> {
    let starts = |call: &&Item| {
        call.node.get("does").is_some_and(|e| {
            e.value.each().iter().any(|n| n.get("flow").and_then(|f| f.value.text()) == Some(flow.id.as_str()))
        })
    };
    let starters: Vec<&Item> = sections.items("calls").iter().filter(starts).collect();
    let of = |call: &Item| {
        names.calls.find(&call.id).and_then(|c| names.call_slots.get(c as usize)).map_or(&[][..], Vec::as_slice)
    };
    let mut slots: Vec<SlotName> = Vec::new();
    for slot in starters.iter().flat_map(|c| of(c)) {
        if !slots.iter().any(|(n, _)| *n == slot.0) {
            slots.push(slot.clone());
        }
    }
    // A slot that one way into the flow does not bring is unknown on that way.
    let mut strings = Vec::new();
    collect(flow.node.get("steps").map(|e| &e.value), &mut strings);
    for (text, node) in strings {
        for (slot, _) in slots.iter().filter(|(n, _)| mentions(text, n)) {
            for call in starters.iter().filter(|c| of(c).iter().all(|(n, _)| n != slot)) {
                let text = format!("The call `{}` starts this flow too, and it has no slot `{slot}`.", call.id);
                cx.raise(rules::SLOT_NOT_EVERYWHERE, node.at, text, None);
            }
            if flow.node.get("start").is_some() {
                let text = format!("This flow also starts by itself, and then there is no slot `{slot}`.");
                cx.raise(rules::SLOT_NOT_EVERYWHERE, node.at, text, None);
            }
        }
    }
    if starters.is_empty() { None } else { Some(slots) }
}

fn collect<'a>(node: Option<&'a Node>, out: &mut Vec<(&'a str, &'a Node)>) {
    let Some(node) = node else { return };
    match &node.tree {
        Tree::Text(t, _) => out.push((t, node)),
        Tree::List(all) => all.iter().for_each(|n| collect(Some(n), out)),
        // What judges an answer has that answer's slots: [`super::flows`] looks at it.
        Tree::Table(all) => all
            .iter()
            .filter(|e| !["verify", "contradicted"].contains(&e.key.as_str()))
            .for_each(|e| collect(Some(&e.value), out)),
        _ => {}
    }
}

/// The calls that can be live in each phase, answers left out: an answer is due first, so it may sound like anything.
pub fn contexts(book: &Book) -> Vec<CallSet> {
    let live = |phase: Option<u16>| -> CallSet {
        let open = |c: &crate::core::book::schema::Call| {
            let asleep = c.chat && phase.is_some_and(|p| book.phases[p as usize].sterile);
            !(c.answer_only || asleep)
                && (c.always || c.phases.is_empty() || phase.is_some_and(|p| c.phases.iter().any(|x| x.0 == p)))
        };
        (0..book.calls.len()).filter(|i| open(&book.calls[*i])).map(|i| CallId(i as u16)).collect()
    };
    if book.phases.is_empty() {
        vec![live(None)]
    } else {
        (0..book.phases.len()).map(|p| live(Some(p as u16))).collect()
    }
}

/// Reports every sentence that means two things in one phase.
pub fn collisions(cx: &Cx, sections: &Sections, book: &Book) {
    let items = sections.items("calls");
    for (a, b, words) in grammar::collisions(&book.graph, &contexts(book)) {
        let sentence = words.join(" ");
        let (first, second) = (&book.calls[a.0 as usize].id, &book.calls[b.0 as usize].id);
        let at = |c: CallId| items.get(c.0 as usize).map(|i| i.node.get("say").map_or(i.at, |e| e.value.at));
        let Some(at) = at(b).or(at(a)) else { continue };
        if a == b {
            let text = format!("\"{sentence}\" fills the slots of `{first}` in two ways.");
            let hint = "put a word between the slots that tells them apart".to_string();
            cx.raise(rules::SAME_WORDING, at, text, Some(hint));
        } else {
            let text = format!("\"{sentence}\" means both `{first}` and `{second}` while both are live.");
            let hint = format!("change it in `{second}`, or give the two `phases` that do not overlap");
            cx.raise(rules::SAME_WORDING, at, text, Some(hint));
        }
    }
}
