//! `[signals]`, `[sheet]`, `[controls]`.

use super::condition::{Env, describe};
use super::layers::{Item, Sections};
use super::names::Names;
use super::reader::Reader;
use super::{All, Cx};
use crate::core::aircraft::{SignalId, ValueKind};
use crate::core::book::rules;
use crate::core::book::schema::{Ask, Book, Control, ControlKind, Refusal, Signal, Station, Template};

/// The stations by the words that name them.
pub const STATIONS: &[(&str, Station)] = &[
    ("flight_deck", Station::FlightDeck),
    ("ground", Station::Ground),
    ("cabin", Station::Cabin),
    ("radio", Station::Radio),
];

/// A reader for an entry of a section.
pub fn reader<'c, 'a>(cx: &'c Cx, what: &'c str, item: &'a Item) -> Reader<'c, 'a> {
    Reader::new(cx, what, item.at, &item.node)
}

/// Reads `[signals]`.
pub fn signals(cx: &Cx, sections: &Sections, book: &mut Book) {
    for item in sections.items("signals") {
        let what = format!("signal `{}`", item.id);
        let r = reader(cx, &what, item);
        r.only(&["title", "kind", "stale_after_s", "replaces"]);
        r.need("kind", "\"number\"");
        book.signals.push(Signal {
            id: item.id.clone(),
            title: r.title(&item.id),
            kind: r.kind("kind").unwrap_or(ValueKind::Number),
            stale_after_s: r.number("stale_after_s", 0.05, 3_600.0).unwrap_or(2.0),
        });
    }
}

/// The type of each control, needed before any condition is read.
pub fn control_kinds(cx: &Cx, sections: &Sections, names: &mut Names) {
    for item in sections.items("controls") {
        let what = format!("control `{}`", item.id);
        let r = reader(cx, &what, item);
        let from_signal = || {
            let signal = r.node("signal").and_then(|n| n.text()).unwrap_or(&item.id);
            names.signals.find(signal).and_then(|i| names.signal_kinds.get(i as usize).cloned())
        };
        let kind = r.kind("values").or_else(from_signal).unwrap_or(ValueKind::Number);
        names.control_kinds.push(kind);
    }
}

/// Reads `[controls]`.
pub fn controls(all: &All, book: &mut Book) {
    for (i, item) in all.sections.items("controls").iter().enumerate() {
        let values = all.names.control_kinds.get(i).cloned().unwrap_or(ValueKind::Number);
        let control = control(all, item, values);
        book.controls.push(control);
    }
}

fn control(all: &All, item: &Item, values: ValueKind) -> Control {
    let what = format!("control `{}`", item.id);
    let r = reader(all.cx, &what, item);
    r.only(&[
        "title",
        "kind",
        "signal",
        "indication",
        "values",
        "travel_s",
        "critical",
        "station",
        "refuse",
        "echo",
        "report",
        "reply",
        "replaces",
    ]);
    r.need("kind", "\"momentary\"");
    let named = |key: &str| {
        let node = r.node(key)?;
        all.cx.refer(&all.names.signals, rules::UNKNOWN_SIGNAL, "signal", node).map(SignalId)
    };
    let own = all.names.signals.find(&item.id).map(SignalId);
    let signal = if r.node("signal").is_some() { named("signal") } else { own };
    if signal.is_none() && r.node("signal").is_none() {
        let text = format!("There is no signal `{}` that shows where this control stands.", item.id);
        let hint = match all.names.signals.nearest(&item.id) {
            Some(n) => format!("add `signal = \"{n}\"`"),
            None => format!("define [signals.{}], or name another with `signal = \"…\"`", item.id),
        };
        all.cx.raise(rules::UNKNOWN_SIGNAL, item.at, text, Some(hint));
    }
    let signal = signal.unwrap_or(SignalId(0));
    let indication = named("indication").unwrap_or(signal);
    let env = Env { to: Some(&values), ..all.env() };
    let mut refuse = Vec::new();
    for node in r.node("refuse").map_or(&[][..], |n| n.each()) {
        let r = Reader::new(all.cx, "a refusal", node.at, node);
        r.only(&["when", "say"]);
        r.need("when", "\"…\"");
        r.need("say", "\"…\"");
        if let (Some(when), Some(say)) = (r.condition("when", &env), r.sentence("say", &env)) {
            refuse.push(Refusal { when, say });
        }
    }
    // `shown` values of another signal than the control's own may be of another type only if the book says `values`.
    let shows = |id: SignalId| all.names.signal_kinds.get(id.0 as usize);
    for (key, id) in [("signal", signal), ("indication", indication)] {
        let same = match (shows(id), &values) {
            (Some(ValueKind::Word(_)), ValueKind::Word(_)) | (None, _) => true,
            (Some(a), b) => a == b,
        };
        if !same && let Some(node) = r.node(key) {
            let text =
                format!("The signal shows {}, but the control takes {}.", describe_or(shows(id)), describe(&values));
            all.cx.raise(rules::CONDITION_TYPE, node.at, text, Some("name a signal of the same type".into()));
        }
    }
    let sentence = |key: &str| -> Option<Template> { r.sentence(key, &env) };
    Control {
        id: item.id.clone(),
        title: r.title(&item.id),
        kind: r.choice("kind", ControlKind::NAMED).unwrap_or(ControlKind::Position),
        signal,
        indication,
        station: r.choice("station", STATIONS).unwrap_or_default(),
        travel_s: r.seconds("travel_s").unwrap_or(3.0),
        critical: r.truth("critical"),
        refuse,
        echo: sentence("echo"),
        report: sentence("report"),
        reply: cross_check(all, &r),
        values,
    }
}

/// The answer to a setting: a call of the book.
fn cross_check(all: &All, r: &Reader) -> Option<Ask> {
    let n = r.node("reply")?;
    let r = Reader::new(all.cx, "a reply", n.at, n);
    r.only(&["calls", "within_s", "repeats"]);
    super::flows::ask(all, &r, "", &all.env())
}

fn describe_or(kind: Option<&ValueKind>) -> String {
    kind.map_or_else(String::new, describe)
}
