//! `[phases]`, `[callouts]`, `[limits]`, and what stands once in a book: `[book]`, `[roles]`, `[wording]`.

use super::All;
use super::aircraft::reader;
use super::calls::{BY, PRIORITIES, companions, one_of, refer, set};
use super::condition::Env;
use super::flows::ask;
use super::layers::Item;
use super::reader::Reader;
use super::tree::{Node, Tree};
use crate::core::aircraft::place::{PLACES, wrong_place};
use crate::core::aircraft::{SignalId, Value, ValueKind};
use crate::core::book::expr::Expr;
use crate::core::book::problem::nearest;
use crate::core::book::rules;
use crate::core::book::schema::{
    Ask, Book, Callout, Due, Edge, FlowId, Limit, OwnVoice, Phase, PhaseId, Priority, Roles, Station, WORDINGS,
};
use crate::core::grammar::CallId;
use crate::core::physics::performance::AIRCRAFT;

/// Reads `[phases]`.
pub fn phases(all: &All, book: &mut Book) {
    for item in all.sections.items("phases") {
        let what = format!("phase `{}`", item.id);
        let r = reader(all.cx, &what, item);
        r.only(&[
            "title",
            "sterile",
            "next",
            "enter_when",
            "rearms",
            "place",
            "expects",
            "assumes",
            "assumes_sheet",
            "unexercised",
            "replaces",
        ]);
        let rearms = things(all, &r, "rearms");
        let assumes = r.node("assumes").map(|_| things(all, &r, "assumes"));
        book.phases.push(Phase {
            id: item.id.clone(),
            title: r.title(&item.id),
            sterile: r.truth("sterile"),
            next: r.phases("next", all.names),
            enter_when: r.condition("enter_when", &all.env()),
            rearms,
            place: place(all, &r),
            assumes,
            ..Phase::default()
        });
    }
}

/// Where the built-in aircraft begins.
fn place(all: &All, r: &Reader) -> Option<String> {
    let node = r.node("place")?;
    let text = r.text("place")?;
    let Some(wrong) = wrong_place(text) else { return Some(text.to_string()) };
    let first = text.split_whitespace().next().unwrap_or_default();
    let names = || PLACES.iter().map(|(name, _)| *name);
    let known = names().any(|n| n == first);
    let hint = match nearest(first, names()) {
        Some(name) if !known => format!("did you mean \"{name}\"?"),
        _ => format!("use one of {}", names().collect::<Vec<_>>().join(", ")),
    };
    all.cx.raise(rules::UNKNOWN_PLACE, node.at, wrong, Some(hint));
    None
}

/// A list of ids of flows, checklists, callouts, briefings and clearances.
fn things(all: &All, r: &Reader, key: &str) -> Vec<String> {
    let ids =
        [&all.names.flows, &all.names.checklists, &all.names.callouts, &all.names.briefings, &all.names.clearances];
    let mut found = Vec::new();
    for (id, node) in r.texts(key) {
        if ids.iter().any(|i| i.find(id).is_some()) {
            found.push(id.to_string());
            continue;
        }
        let known = ids.iter().flat_map(|i| i.list().iter().map(String::as_str));
        let hint = nearest(id, known).map(|n| format!("did you mean \"{n}\"?"));
        let text = format!("There is no flow, checklist or callout `{id}`.");
        all.cx.raise(rules::UNKNOWN_FLOW, node.at, text, hint);
    }
    found
}

/// Reads `[callouts]`.
pub fn callouts(all: &All, book: &mut Book) {
    for item in all.sections.items("callouts") {
        if let Some(callout) = callout(all, item) {
            book.callouts.push(callout);
        } else {
            // Its problem is raised; its index must stay taken.
            book.callouts.push(Callout {
                id: item.id.clone(),
                by: Default::default(),
                phases: Vec::new(),
                edge: Edge::When { expr: Expr::literal(Value::Bool(false)), for_s: 0.0 },
                only_if: None,
                say: Default::default(),
                due: Due::Onset,
                priority: Priority::Routine,
                reply: None,
                heard_as: None,
                missing_s: 2.0,
                then_phase: None,
                repeatable: false,
                own_voice: None,
            });
        }
    }
}

fn reply(all: &All, r: &Reader, id: &str, env: &Env) -> Option<Ask> {
    let n = r.node("reply")?;
    let r = Reader::new(all.cx, "a reply", n.at, n);
    r.only(&["ask", "reply", "calls", "within_s", "patient", "repeats", "verify", "contradicted", "needed"]);
    ask(all, &r, &format!("{id}/reply"), env)
}

fn callout(all: &All, item: &Item) -> Option<Callout> {
    let what = format!("callout `{}`", item.id);
    let r = reader(all.cx, &what, item);
    r.only(&[
        "by",
        "phases",
        "when",
        "for_s",
        "signal",
        "rises_through",
        "falls_through",
        "if",
        "say",
        "due",
        "priority",
        "reply",
        "heard_as",
        "missing_s",
        "then_phase",
        "repeatable",
        "unexercised",
        "own_voice",
        "replaces",
    ]);
    r.need("say", "\"…\"");
    let env = all.env();
    let own_voice = r.node("own_voice").map(|n| {
        let r = Reader::new(all.cx, "an own voice", n.at, n);
        r.only(&["if", "heard", "steps_in_s"]);
        OwnVoice {
            only_if: r.condition("if", &env),
            heard: r.condition("heard", &env),
            steps_in_s: r.number("steps_in_s", 0.0, 60.0).unwrap_or(1.5),
        }
    });
    let say = r.sentence("say", &env);
    let only_if = r.condition("if", &env);
    let reply = reply(all, &r, &item.id, &env);
    let kind = one_of(&r, &["when", "signal"])?;
    companions(
        &r,
        kind,
        &[("for_s", "when"), ("rises_through", "signal"), ("falls_through", "signal"), ("due", "signal")],
    );
    let edge = if kind == "when" {
        Edge::When { expr: r.condition("when", &env)?, for_s: r.seconds("for_s").unwrap_or(0.0) }
    } else {
        let signal = refer(all, &r, "signal");
        let way = one_of(&r, &["rises_through", "falls_through"])?;
        if let (Some(kind), Some(node)) =
            (signal.and_then(|s| all.names.signal_kinds.get(s as usize)), r.node("signal"))
            && *kind != ValueKind::Number
        {
            let text = "Only a number can be crossed.".to_string();
            all.cx.raise(rules::CONDITION_TYPE, node.at, text, Some("use `when` with a condition instead".into()));
        }
        let value = all.cx.expr(r.node(way)?, way, &env, Some(&ValueKind::Number));
        Edge::Through { signal: SignalId(signal?), value, rising: way == "rises_through" }
    };
    Some(Callout {
        id: item.id.clone(),
        by: r.choice("by", BY).unwrap_or_default(),
        phases: r.phases("phases", all.names),
        edge,
        only_if,
        say: say?,
        due: r.choice("due", &[("onset", Due::Onset), ("end", Due::End)]).unwrap_or_default(),
        priority: r.choice("priority", PRIORITIES).unwrap_or_default(),
        reply,
        heard_as: r
            .node("heard_as")
            .and_then(|n| all.cx.refer(&all.names.calls, rules::UNKNOWN_CALL, "call", n))
            .map(CallId),
        missing_s: r.seconds("missing_s").unwrap_or(2.0),
        then_phase: r.phase("then_phase", all.names),
        repeatable: r.truth("repeatable"),
        own_voice,
    })
}

/// Reads `[limits]`.
pub fn limits(all: &All, book: &mut Book) {
    for item in all.sections.items("limits") {
        let what = format!("limit `{}`", item.id);
        let r = reader(all.cx, &what, item);
        r.only(&[
            "phases",
            "by",
            "when",
            "for_s",
            "say",
            "priority",
            "then",
            "reply",
            "unanswered",
            "ends_flow",
            "unexercised",
            "replaces",
        ]);
        r.need("when", "\"…\"");
        r.need("say", "\"…\"");
        let env = all.env();
        let then = r.node("then").map_or(&[][..], |n| n.each());
        let then = then.iter().filter_map(|n| {
            let r = Reader::new(all.cx, "what a limit does", n.at, n);
            r.only(&["set", "to"]);
            r.need("set", "\"…\"");
            set(all, book, &r, "set", &env, Station::FlightDeck)
        });
        let then = then.collect();
        let limit = (r.condition("when", &env), r.sentence("say", &env));
        let (Some(when), Some(say)) = limit else { continue };
        book.limits.push(Limit {
            id: item.id.clone(),
            phases: r.phases("phases", all.names),
            by: r.choice("by", BY).unwrap_or_default(),
            when,
            for_s: r.seconds("for_s").unwrap_or(0.0),
            say,
            priority: r.choice("priority", PRIORITIES).unwrap_or(Priority::Caution),
            then,
            reply: reply(all, &r, &item.id, &env),
            unanswered: r.sentence("unanswered", &env),
            ends_flow: refer(all, &r, "ends_flow").map(FlowId),
        });
    }
}

/// What the book takes over unchanged, and from which books.
pub fn inherited(all: &All, book: &mut Book) {
    let sections =
        [("calls", "call"), ("flows", "flow"), ("callouts", "callout"), ("limits", "limit"), ("phases", "phase")];
    for (section, kind) in sections {
        let here = all.sections.items(section).iter().filter(|i| all.sections.inherited(i));
        book.inherited.extend(here.map(|i| format!("{kind} {}", i.id)));
    }
    for list in all.sections.items("checklists").iter().filter(|i| all.sections.inherited(i)) {
        let items = list.node.get("items").map_or(&[][..], |e| e.value.each());
        let names = items.iter().enumerate().map(|(i, n)| format!("item {}/{}", list.id, super::lists::item_id(n, i)));
        book.inherited.extend(names);
    }
    let heads = all.sections.items("book").iter().rev();
    book.extends = heads.filter_map(|h| h.node.get("extends")?.value.text().map(str::to_string)).collect();
}

/// Reads why something is never exercised.
pub fn unexercised(all: &All, book: &mut Book) {
    let sections =
        [("calls", "call"), ("flows", "flow"), ("callouts", "callout"), ("limits", "limit"), ("phases", "phase")];
    for (section, kind) in sections {
        for item in all.sections.items(section) {
            let r = Reader { cx: all.cx, what: kind, at: item.at, entries: item.node.entries() };
            if let Some(why) = r.text("unexercised") {
                book.unexercised.insert(format!("{kind} {}", item.id), why.to_string());
            }
        }
    }
    for list in all.sections.items("checklists") {
        let items = list.node.get("items").map_or(&[][..], |e| e.value.each());
        for (i, node) in items.iter().enumerate() {
            let r = Reader { cx: all.cx, what: "item", at: node.at, entries: node.entries() };
            if let Some(why) = r.text("unexercised") {
                let id = super::lists::item_id(node, i);
                book.unexercised.insert(format!("item {}/{id}", list.id), why.to_string());
            }
        }
    }
}

/// Reads `[book]` and `[roles]`.
pub fn head(all: &All, book: &mut Book) {
    let heads = all.sections.items("book");
    for item in heads {
        let r = reader(all.cx, "the head of the book", item);
        r.only(&["id", "title", "first_phase", "aircraft", "extends", "use"]);
        if let Some(t) = r.text("title") {
            book.title = t.to_string();
        }
        let types: Vec<(&str, &str)> = AIRCRAFT.iter().map(|(name, _)| (*name, *name)).collect();
        if let Some(name) = r.choice("aircraft", &types) {
            book.aircraft = name.to_string();
        }
        if let Some(p) = r.phase("first_phase", all.names) {
            book.first_phase = Some(p);
        }
    }
    if let Some(item) = heads.last() {
        let r = reader(all.cx, "the head of the book", item);
        r.need("title", "\"…\"");
        if let (Some(id), Some(node)) = (r.text("id"), r.node("id"))
            && id != book.id
        {
            let text = format!("The id of a book is the name of its folder, `{}`.", book.id);
            all.cx.raise(rules::WRONG_TYPE, node.at, text, Some("take `id` away".into()));
        }
    }
    if book.aircraft.is_empty() {
        book.aircraft = AIRCRAFT.first().map_or_else(String::new, |(name, _)| (*name).to_string());
    }
    if book.first_phase.is_none() && !book.phases.is_empty() {
        book.first_phase = Some(PhaseId(0));
    }
    if let Some(item) = all.sections.single("roles") {
        let r = reader(all.cx, "the roles", item);
        r.only(&["flight_roles_in", "replaces"]);
        book.roles = Roles { flight_roles_in: r.phases("flight_roles_in", all.names) };
    }
}

/// The string of an entry of `[rules]` or `[wording]`, in its short or long form.
pub fn string_of<'n>(all: &super::Cx, item: &'n Item) -> Option<&'n Node> {
    match &item.node.tree {
        Tree::Text(..) => Some(&item.node),
        Tree::Table(_) => {
            let what = format!("`{}`", item.id);
            let r = Reader::new(all, &what, item.at, &item.node);
            r.only(&["say", "replaces"]);
            r.need("say", "\"…\"");
            item.node.get("say").map(|e| &e.value)
        }
        _ => {
            all.wrong_type(&item.node, &item.id, "a string");
            None
        }
    }
}

/// Reads `[wording]`.
pub fn wording(all: &All, book: &mut Book) {
    let env: Env = all.env();
    for item in all.sections.items("wording") {
        let Some((_, holes)) = WORDINGS.iter().find(|(k, _)| *k == item.id) else {
            let hint = match nearest(&item.id, WORDINGS.iter().map(|(k, _)| *k)) {
                Some(n) => format!("did you mean `{n}`?"),
                None => "docs/phrasebook.md lists them".to_string(),
            };
            let text = format!("The engine has no sentence `{}`.", item.id);
            all.cx.raise(rules::UNKNOWN_KEY, item.at, text, Some(hint));
            continue;
        };
        let holes: Vec<&str> = holes.split_whitespace().collect();
        if let Some(node) = string_of(all.cx, item) {
            let t = all.cx.sentence(node, &item.id, &env, Some(&holes));
            book.wording.insert(item.id.clone(), t);
        }
    }
    let missing: Vec<&str> =
        WORDINGS.iter().map(|(k, _)| *k).filter(|k| all.sections.items("wording").iter().all(|i| i.id != *k)).collect();
    if !missing.is_empty() {
        let text = format!("The engine's own sentences {} are missing.", missing.join(", "));
        let hint = "add `use = [\"common\"]` to `[book]`, or write them in `[wording]`".to_string();
        all.cx.raise_whole(rules::MISSING_WORDING, text, Some(hint));
    }
}
