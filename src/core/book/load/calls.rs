//! `[calls]` and what they do.

use super::All;
use super::aircraft::{STATIONS, reader};
use super::condition::Env;
use super::layers::Item;
use super::reader::Reader;
use super::tree::{Node, Tree};
use crate::core::aircraft::ValueKind;
use crate::core::book::expr::Expr;
use crate::core::book::rules;
use crate::core::book::schema::{
    Act, Book, Call, ChecklistId, ControlId, ControlKind, Effect, FlowId, Intrinsic, Later, PhaseId, SheetId, Station,
};
use crate::core::book::schema::{By, Priority};

/// The duties by the words that name them.
pub const BY: &[(&str, By)] = &[
    ("pf", By::Pf),
    ("pm", By::Pm),
    ("captain", By::Captain),
    ("first_officer", By::FirstOfficer),
    ("left", By::Left),
    ("right", By::Right),
    ("both", By::Both),
];

/// The urgencies by the words that name them.
pub const PRIORITIES: &[(&str, Priority)] = &[
    ("chat", Priority::Chat),
    ("routine", Priority::Routine),
    ("caution", Priority::Caution),
    ("critical", Priority::Critical),
];

/// What the engine does itself, by the words that name it.
pub const INTRINSICS: &[(&str, Intrinsic)] = &[
    ("hold", Intrinsic::Hold),
    ("resume", Intrinsic::Resume),
    ("disregard", Intrinsic::Disregard),
    ("negative", Intrinsic::Negative),
    ("correction", Intrinsic::Correction),
    ("say_again", Intrinsic::SayAgain),
    ("halt", Intrinsic::Halt),
    ("skip", Intrinsic::Skip),
    ("reject", Intrinsic::Reject),
    ("go_around", Intrinsic::GoAround),
    ("i_have_control", Intrinsic::IHaveControl),
    ("you_have_control", Intrinsic::YouHaveControl),
    ("put_back", Intrinsic::PutBack),
    ("leave_to_me", Intrinsic::LeaveToMe),
    ("briefing_complete", Intrinsic::BriefingComplete),
    ("suspend", Intrinsic::Suspend),
    ("attend", Intrinsic::Attend),
    ("what_is_left", Intrinsic::WhatIsLeft),
    ("what_waits", Intrinsic::WhatWaits),
    ("why_not", Intrinsic::WhyNot),
    ("what_is_put_off", Intrinsic::WhatIsPutOff),
    ("drop_put_off", Intrinsic::DropPutOff),
    ("talk_quiet", Intrinsic::TalkQuiet),
    ("talk_line", Intrinsic::TalkLine),
    ("talk_training", Intrinsic::TalkTraining),
    ("mute", Intrinsic::Mute),
    ("unmute", Intrinsic::Unmute),
    ("faster", Intrinsic::Faster),
    ("slower", Intrinsic::Slower),
];

const EFFECTS: &[&str] = &[
    "flow",
    "checklist",
    "set",
    "phase",
    "sheet",
    "speak",
    "briefing",
    "engine",
    "checked",
    "compute",
    "survey",
    "again",
];

/// Reads `[calls]` and appends the hidden ones.
pub fn calls(all: &All, book: &mut Book) {
    for (i, item) in all.sections.items("calls").iter().enumerate() {
        let call = call(all, book, i, item);
        book.calls.push(call);
    }
    for hidden in &all.wordings.hidden {
        book.calls.push(Call {
            id: hidden.name.clone(),
            say: hidden.say.clone(),
            phases: Vec::new(),
            when: None,
            to: hidden.to,
            critical: false,
            always: false,
            answer_only: true,
            chat: false,
            later: None,
            does: Vec::new(),
        });
    }
}

fn call(all: &All, book: &Book, index: usize, item: &Item) -> Call {
    let what = format!("call `{}`", item.id);
    let r = reader(all.cx, &what, item);
    r.only(&[
        "say",
        "ranges",
        "phases",
        "when",
        "to",
        "critical",
        "always",
        "answer_only",
        "chat",
        "later",
        "when_clear",
        "does",
        "unexercised",
        "replaces",
    ]);
    r.need("say", "\"…\"");
    let slots = all.names.call_slots.get(index).map_or(&[][..], Vec::as_slice);
    let env = Env { slots: Some(slots), ..all.env() };
    let does = r.node("does").map_or(&[][..], |n| n.each());
    Call {
        id: item.id.clone(),
        say: all.wordings.said.get(index).cloned().unwrap_or_default(),
        phases: r.phases("phases", all.names),
        when: r.condition("when", &all.env()),
        to: r.choice("to", STATIONS).unwrap_or_default(),
        critical: r.truth("critical"),
        always: r.truth("always"),
        answer_only: r.truth("answer_only"),
        chat: r.truth("chat"),
        later: if r.truth("when_clear") { Some(Later::Clear) } else { r.condition("later", &env).map(Later::Until) },
        does: does.iter().filter_map(|n| effect(all, book, n, &env)).collect(),
    }
}

fn effect(all: &All, book: &Book, node: &Node, env: &Env) -> Option<Effect> {
    let r = Reader::new(all.cx, "what a call does", node.at, node);
    let legal: Vec<&str> = EFFECTS.iter().copied().chain(["if", "also", "once", "to", "value", "station"]).collect();
    r.only(&legal);
    let kind = one_of(&r, EFFECTS)?;
    companions(&r, kind, &[("to", "set"), ("value", "sheet"), ("station", "speak")]);
    let act = match kind {
        "flow" => Act::Flow(FlowId(refer(all, &r, kind)?)),
        "checklist" => Act::Checklist(ChecklistId(refer(all, &r, kind)?)),
        "phase" => Act::Phase(PhaseId(refer(all, &r, kind)?)),
        "set" => {
            let (control, to) = set(all, book, &r, "set", env, Station::FlightDeck)?;
            Act::Set(control, to)
        }
        "sheet" => {
            let (entry, value) = sheet(all, &r, env)?;
            Act::Sheet(entry, value)
        }
        "briefing" => Act::Briefing(all.cx.refer(
            &all.names.briefings,
            rules::UNKNOWN_BRIEFING,
            "briefing",
            r.node("briefing")?,
        )?),
        "speak" => Act::Speak(r.sentence("speak", env)?, r.choice("station", STATIONS).unwrap_or_default()),
        "checked" | "compute" => super::sheet::act(all, &r, kind),
        "survey" | "again" => Act::Survey { phase: PhaseId(refer(all, &r, kind)?), place: kind == "again" },
        _ => Act::Engine(r.choice("engine", INTRINSICS)?),
    };
    Some(Effect { only_if: r.condition("if", env), also: r.truth("also"), once: r.condition("once", env), act })
}

/// The one key of `kinds` that is there; a problem if there is none or more than one.
pub fn one_of<'k>(r: &Reader, kinds: &[&'k str]) -> Option<&'k str> {
    let there: Vec<&'k str> = kinds.iter().copied().filter(|k| r.node(k).is_some()).collect();
    match there.as_slice() {
        [one] => Some(one),
        [] => {
            let text = format!("This must have one of the keys {}.", kinds.join(", "));
            r.cx.raise(rules::NOT_ONE_OF, r.at, text, None);
            None
        }
        [first, ..] => {
            let text = format!("This has {} together; it can have only one.", there.join(" and "));
            r.cx.raise(rules::NOT_ONE_OF, r.at, text, Some(format!("keep `{first}` here and make another entry")));
            None
        }
    }
}

/// Reports keys that belong to another kind of entry: each `(key, kind)` is legal only beside its kind.
pub fn companions(r: &Reader, kind: &str, pairs: &[(&str, &str)]) {
    for e in r.entries {
        let owners: Vec<&str> = pairs.iter().filter(|(k, _)| *k == e.key).map(|(_, o)| *o).collect();
        if !owners.is_empty() && !owners.contains(&kind) {
            let text = format!("`{}` does not belong to `{kind}`.", e.key);
            let hint = format!("take it away; it goes with {}", owners.join(" or "));
            r.cx.raise(rules::UNKNOWN_KEY, e.at, text, Some(hint));
        }
    }
}

/// The index that a key names.
pub fn refer(all: &All, r: &Reader, key: &str) -> Option<u16> {
    let node = r.node(key)?;
    let n = all.names;
    let (ids, rule, noun) = match key {
        "flow" | "run" | "after_flow" | "ends_flow" => (&n.flows, rules::UNKNOWN_FLOW, "flow"),
        "checklist" | "read" | "after_checklist" => (&n.checklists, rules::UNKNOWN_CHECKLIST, "checklist"),
        "set" | "make" => (&n.controls, rules::UNKNOWN_CONTROL, "control"),
        "sheet" => (&n.sheet, rules::UNKNOWN_SHEET, "flight-sheet entry"),
        "signal" => (&n.signals, rules::UNKNOWN_SIGNAL, "signal"),
        _ => (&n.phases, rules::UNKNOWN_PHASE, "phase"),
    };
    all.cx.refer(ids, rule, noun, node)
}

/// `set`/`make` with `to`: the control must be one that `station` may move.
pub fn set(all: &All, book: &Book, r: &Reader, key: &str, env: &Env, station: Station) -> Option<(ControlId, Expr)> {
    let node = r.node(key)?;
    let control = refer(all, r, key);
    let to = r.need("to", "\"…\"")?;
    let kind = control.and_then(|c| all.names.control_kinds.get(c as usize));
    let bare = kind
        .filter(|k| matches!(k, ValueKind::Word(_)))
        .and_then(|k| bare_word(to, k))
        .filter(|w| all.names.signals.find(w).is_none());
    if let Some(word) = bare {
        let text = format!("A condition names values, and `{word}` is a word.");
        all.cx.raise(rules::UNKNOWN_SIGNAL, to.at, text, Some(format!("write \"'{word}'\"")));
        return None;
    }
    let to = all.cx.expr(to, "to", env, kind);
    let control = control?;
    let c = book.controls.get(control as usize)?;
    if c.kind == ControlKind::Owned {
        let text = format!("The control `{}` is the pilot's own hardware and is never set.", c.id);
        all.cx.raise(rules::OWNED_CONTROL, node.at, text, Some("ask for it, and `wait` for its signal".into()));
    } else if c.station != station {
        let text = format!("The control `{}` is not moved from here.", c.id);
        let hint = match (key, c.station) {
            ("set", Station::FlightDeck) | ("make", Station::FlightDeck) => {
                "write `set` in a flow of the flight deck".to_string()
            }
            (_, s) => {
                let word = STATIONS.iter().find(|(_, x)| *x == s).map_or("", |(w, _)| w);
                format!("write `make` in a flow with `station = \"{word}\"`")
            }
        };
        all.cx.raise(rules::WRONG_STATION, node.at, text, Some(hint));
    }
    Some((ControlId(control), to))
}

/// A word that was written without its inner quotes: `to = "up"` for `to = "'up'"`.
fn bare_word<'n>(node: &'n Node, kind: &ValueKind) -> Option<&'n str> {
    match (&node.tree, kind) {
        (Tree::Text(t, _), ValueKind::Word(all)) if all.contains(t) => Some(t),
        _ => None,
    }
}

/// `sheet` with `value`.
pub fn sheet(all: &All, r: &Reader, env: &Env) -> Option<(SheetId, Expr)> {
    let entry = refer(all, r, "sheet");
    let value = r.need("value", "\"…\"")?;
    let kind = entry.and_then(|e| all.names.sheet_kinds.get(e as usize));
    let value = all.cx.expr(value, "value", env, kind);
    entry.map(|e| (SheetId(e), value))
}
