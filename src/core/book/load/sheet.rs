//! `[sheet]` and `[figures]`: entries of the flight sheet, how they are computed, checked and compared.

use super::aircraft::reader;
use super::calls::one_of;
use super::condition::{Env, describe};
use super::layers::Sections;
use super::names::Ids;
use super::reader::{Reader, value};
use super::sentence::FORMATS;
use super::tree::{Node, Tree};
use super::{All, Cx};
use crate::core::aircraft::ValueKind;
use crate::core::book::expr::{Expr, Name};
use crate::core::book::rules;
use crate::core::book::schema::{
    Act, Book, Check, Compare, Derived, Figure, FigureId, PhaseId, SheetEntry, SheetId, StepKind,
};
use crate::core::physics::performance::figures::{Function, SURFACE};
use std::collections::BTreeSet;

const KEYS: &[&str] = &[
    "title",
    "group",
    "kind",
    "format",
    "value",
    "phases",
    "compute",
    "formula",
    "within",
    "quiet",
    "check",
    "compare",
    "needed_in",
    "ask",
    "replaces",
];

/// Reads what every condition must know first: ids, titles, types and the book's own values.
pub fn entries(cx: &Cx, sections: &Sections, book: &mut Book) {
    for item in sections.items("sheet") {
        let what = format!("flight-sheet entry `{}`", item.id);
        let r = reader(cx, &what, item);
        r.only(KEYS);
        r.need("kind", "\"number\"");
        let kind = r.kind("kind").unwrap_or(ValueKind::Number);
        let given = r.node("value").and_then(|n| {
            let v = value(n);
            match v {
                Some(v) if v.fits(&kind) => Some(v),
                _ => {
                    cx.wrong_type(n, "value", &describe(&kind));
                    None
                }
            }
        });
        book.sheet.push(SheetEntry {
            id: item.id.clone(),
            title: r.title(&item.id),
            group: r.text("group").unwrap_or_default().to_string(),
            kind,
            format: r.choice("format", FORMATS).unwrap_or_default(),
            value: given,
            within: r.number("within", 0.0, 1e6),
            quiet: r.truth("quiet"),
            ..SheetEntry::default()
        });
    }
}

/// Reads the rest of the entries, when all names are known, and the figures.
pub fn rest(all: &All, book: &mut Book) {
    let ids: Ids = all.sections.items("figures").iter().map(|i| &i.id).collect();
    for item in all.sections.items("figures") {
        let figure = figure(all, &item.id, item);
        book.figures.push(figure);
    }
    for (i, item) in all.sections.items("sheet").iter().enumerate() {
        let what = format!("flight-sheet entry `{}`", item.id);
        let r = reader(all.cx, &what, item);
        let kind = book.sheet[i].kind.clone();
        let env = all.env();
        let derived = derived(all, book, &r, &ids, &kind, &env);
        let mut depends: Vec<SheetId> = match &derived {
            Some(Derived::Formula(e)) => entries_in(e),
            Some(Derived::Figure(f, _)) => {
                book.figures.get(f.0 as usize).map_or(Vec::new(), |f| f.inputs.iter().flat_map(entries_in).collect())
            }
            None => Vec::new(),
        };
        depends.sort_unstable();
        depends.dedup();
        let checks = checks(all, &r, &env);
        let compare = r.node("compare").and_then(|n| compare(all, n, &kind, &env));
        let e = &mut book.sheet[i];
        (e.derived, e.depends, e.checks, e.compare) = (derived, depends, checks, compare);
        e.phases = r.phases("phases", all.names);
        e.needed_in = r.phases("needed_in", all.names);
        e.ask = r.sentence("ask", &env);
    }
    circles(all, book);
}

fn entries_in(e: &Expr) -> Vec<SheetId> {
    e.names.iter().filter_map(|(_, n)| if let Name::Sheet(i) = n { Some(SheetId(*i)) } else { None }).collect()
}

fn figure(all: &All, id: &str, item: &super::layers::Item) -> Figure {
    let what = format!("figure `{id}`");
    let r = reader(all.cx, &what, item);
    r.need("function", "\"takeoff\"");
    let known: Vec<(&str, &str)> = Function::names().into_iter().map(|n| (n, n)).collect();
    let function = r.choice("function", &known).and_then(Function::named);
    let Some(function) = function else {
        return Figure { id: id.to_string(), function: Function::Limits, inputs: Vec::new() };
    };
    let legal: Vec<&str> = ["function", "replaces"].into_iter().chain(function.inputs().iter().copied()).collect();
    r.only(&legal);
    let words = ValueKind::Word(SURFACE.1.iter().map(|(w, _)| (*w).to_string()).collect());
    let inputs = function.inputs().iter().map(|name| {
        let kind = if *name == SURFACE.0 { &words } else { &ValueKind::Number };
        match r.need(name, "\"…\"") {
            Some(node) => all.cx.expr(node, name, &all.env(), Some(kind)),
            None => Expr::literal(crate::core::aircraft::Value::Bool(false)),
        }
    });
    let inputs = inputs.collect();
    Figure { id: id.to_string(), function, inputs }
}

fn derived(all: &All, book: &Book, r: &Reader, ids: &Ids, kind: &ValueKind, env: &Env) -> Option<Derived> {
    if r.node("compute").is_none() && r.node("formula").is_none() {
        return None;
    }
    if one_of(r, &["compute", "formula"])? == "formula" {
        return Some(Derived::Formula(all.cx.expr(r.node("formula")?, "formula", env, Some(kind))));
    }
    let node = r.node("compute")?;
    let Some(text) = node.text() else {
        all.cx.wrong_type(node, "compute", "a figure and its output in quotes, as in \"takeoff.v1_kt\"");
        return None;
    };
    let (figure, output) = text.split_once('.').unwrap_or((text, ""));
    let Some(id) = ids.find(figure) else {
        let hint = ids.nearest(figure).map(|n| format!("did you mean \"{n}.{output}\"?"));
        all.cx.raise(rules::UNKNOWN_FIGURE, node.at, format!("There is no figure `{figure}`."), hint);
        return None;
    };
    let function = book.figures.get(id as usize)?.function;
    let Some(place) = function.outputs().iter().position(|o| *o == output) else {
        let text = format!("The function `{}` does not give `{output}`.", function.name());
        let hint = format!("it gives {}", function.outputs().join(", "));
        all.cx.raise(rules::UNKNOWN_FIGURE, node.at, text, Some(hint));
        return None;
    };
    if *kind != ValueKind::Number {
        let text = format!("A figure is a number, and this entry holds {}.", describe(kind));
        all.cx.raise(rules::CONDITION_TYPE, node.at, text, Some("write `kind = \"number\"`".into()));
    }
    Some(Derived::Figure(FigureId(id), place))
}

fn checks(all: &All, r: &Reader, env: &Env) -> Vec<Check> {
    let mut checks = Vec::new();
    for node in r.node("check").map_or(&[][..], |n| n.each()) {
        let r = Reader::new(all.cx, "a check", node.at, node);
        r.only(&["when", "say", "refuse", "doubt"]);
        r.need("when", "\"…\"");
        r.need("say", "\"…\"");
        if let (Some(when), Some(say)) = (r.condition("when", env), r.sentence("say", env)) {
            let doubt = r.node("doubt").is_none() || r.truth("doubt");
            checks.push(Check { when, say, refuse: r.truth("refuse"), doubt });
        }
    }
    checks
}

fn compare(all: &All, node: &Node, kind: &ValueKind, env: &Env) -> Option<Compare> {
    // The short form is the value alone.
    if let Tree::Text(..) = node.tree {
        let with = all.cx.expr(node, "compare", env, Some(kind));
        return Some(Compare { with, within: 0.0, for_s: COMPARED_AFTER_S, phases: Vec::new(), say: None });
    }
    let r = Reader::new(all.cx, "a comparison", node.at, node);
    r.only(&["with", "within", "for_s", "phases", "say"]);
    let with = all.cx.expr(r.need("with", "\"…\"")?, "with", env, Some(kind));
    Some(Compare {
        with,
        within: r.number("within", 0.0, 1e6).unwrap_or(0.0),
        for_s: r.seconds("for_s").unwrap_or(COMPARED_AFTER_S),
        phases: r.phases("phases", all.names),
        say: r.sentence("say", env),
    })
}

/// A hand that is still turning a knob is not yet spoken to.
const COMPARED_AFTER_S: f64 = 3.0;

/// No entry may be computed from itself.
fn circles(all: &All, book: &mut Book) {
    for i in 0..book.sheet.len() {
        let own = SheetId(i as u16);
        let (mut seen, mut open) = (BTreeSet::new(), book.sheet[i].depends.clone());
        while let Some(d) = open.pop() {
            if d == own {
                let id = &book.sheet[i].id;
                let at = all.sections.items("sheet").get(i).map(|x| x.at).unwrap_or_default();
                let text = format!("The entry `{id}` is computed from itself.");
                let hint = "take the circle apart: one of its entries must be given".to_string();
                all.cx.raise(rules::SHEET_CIRCLE, at, text, Some(hint));
                book.sheet[i].derived = None;
                book.sheet[i].depends.clear();
                break;
            }
            if seen.insert(d) {
                open.extend(book.sheet.get(d.0 as usize).iter().flat_map(|e| e.depends.iter().copied()));
            }
        }
    }
}

/// `checked` or `compute`: one id or a list of them.
pub fn listed(all: &All, r: &Reader, key: &str) -> Vec<SheetId> {
    let ids = &all.names.sheet;
    let all_of = r.texts(key).into_iter();
    all_of.filter_map(|(_, n)| all.cx.refer(ids, rules::UNKNOWN_SHEET, "flight-sheet entry", n)).map(SheetId).collect()
}

/// The same as an effect of a call.
pub fn act(all: &All, r: &Reader, key: &str) -> Act {
    let ids = listed(all, r, key);
    if key == "checked" { Act::Checked(ids) } else { Act::Compute(ids) }
}

/// The same as a step of a flow.
pub fn step(all: &All, r: &Reader, key: &str) -> StepKind {
    let ids = listed(all, r, key);
    if key == "checked" { StepKind::Checked(ids) } else { StepKind::Compute(ids) }
}

/// `expects`, `assumes` and `assumes_sheet` of a phase, into the phases that are already there.
pub fn phases(all: &All, book: &mut Book) {
    for (i, item) in all.sections.items("phases").iter().enumerate() {
        let what = format!("phase `{}`", item.id);
        let r = reader(all.cx, &what, item);
        let env = all.env();
        for node in r.node("expects").map_or(&[][..], |n| n.each()) {
            let r = Reader::new(all.cx, "what is expected", node.at, node);
            r.only(&["when", "say"]);
            r.need("when", "\"…\"");
            r.need("say", "\"…\"");
            if let (Some(when), Some(say)) = (r.condition("when", &env), r.sentence("say", &env)) {
                book.phases[i].expects.push(crate::core::book::schema::Expect { when, say });
            }
        }
        let assumes_sheet: Vec<_> = r
            .node("assumes_sheet")
            .map_or(&[][..], |n| n.entries())
            .iter()
            .filter_map(|e| {
                let Some(id) = all.names.sheet.find(&e.key) else {
                    let hint = all.names.sheet.nearest(&e.key).map(|n| format!("did you mean `{n}`?"));
                    let text = format!("There is no flight-sheet entry `{}`.", e.key);
                    all.cx.raise(rules::UNKNOWN_SHEET, e.at, text, hint);
                    return None;
                };
                let kind = all.names.sheet_kinds.get(id as usize)?;
                match value(&e.value) {
                    Some(v) if v.fits(kind) => Some((SheetId(id), v)),
                    _ => {
                        all.cx.wrong_type(&e.value, &e.key, &describe(kind));
                        None
                    }
                }
            })
            .collect();
        book.phases[i].assumes_sheet = assumes_sheet;
        debug_assert!(book.phases.get(i).is_none_or(|p| p.id == item.id), "{:?}", PhaseId(i as u16));
    }
}
