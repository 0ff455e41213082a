//! `[flows]` and their steps, and questions wherever they stand.

use super::All;
use super::aircraft::{STATIONS, reader};
use super::calls::{BY, companions, one_of, refer, set, sheet};
use super::condition::Env;
use super::layers::Item;
use super::names::SlotName;
use super::reader::Reader;
use super::tree::{Node, Tree};
use crate::core::book::rules;
use crate::core::book::schema::{
    Ask, Book, ChecklistId, ControlId, Expected, Flow, FlowId, Level, PhaseId, Station, Step, StepKind, Trigger,
};
use crate::core::grammar::CallId;
use crate::core::time::Clock;

/// The levels of talk by the words that name them.
const LEVELS: &[(&str, Level)] = &[("quiet", Level::Quiet), ("line", Level::Line), ("training", Level::Training)];

const CLOCKS: &[(&str, Clock)] = &[("session", Clock::Session), ("sim", Clock::Sim)];

/// Every key of a step with the kinds of step that it goes with.
const STEP_KEYS: &[(&str, &str)] = &[
    ("to", "set"),
    ("to", "make"),
    ("confirm", "set"),
    ("within_s", "wait"),
    ("within_s", "ask"),
    ("late", "wait"),
    ("give_up", "wait"),
    ("clock", "wait"),
    ("clock", "pause_s"),
    ("reply", "ask"),
    ("calls", "ask"),
    ("patient", "ask"),
    ("repeats", "ask"),
    ("verify", "ask"),
    ("contradicted", "ask"),
    ("needed", "ask"),
    ("value", "sheet"),
    ("level", "say"),
];

const STEPS: &[&str] =
    &["set", "say", "wait", "pause_s", "ask", "run", "read", "enter", "sheet", "checked", "compute", "make"];

/// Reads `[flows]`.
pub fn flows(all: &All, book: &mut Book) {
    for (i, item) in all.sections.items("flows").iter().enumerate() {
        let slots = all.wordings.flow_slots.get(i).and_then(Option::as_deref);
        let flow = flow(all, book, item, slots);
        book.flows.push(flow);
    }
}

fn flow(all: &All, book: &Book, item: &Item, slots: Option<&[SlotName]>) -> Flow {
    let what = format!("flow `{}`", item.id);
    let r = reader(all.cx, &what, item);
    r.only(&[
        "title",
        "by",
        "station",
        "phases",
        "start",
        "repeatable",
        "pace_s",
        "steps",
        "then_phase",
        "beside",
        "expected",
        "unexercised",
        "replaces",
    ]);
    r.need("steps", "[{ say = \"…\" }]");
    let station = r.choice("station", STATIONS).unwrap_or_default();
    let env = Env { slots, ..all.env() };
    let start = r.node("start").map_or(&[][..], |n| n.each());
    let steps = r.node("steps").map_or(&[][..], |n| n.each());
    Flow {
        id: item.id.clone(),
        title: r.title(&item.id),
        by: r.choice("by", BY).unwrap_or_default(),
        station,
        phases: r.phases("phases", all.names),
        start: start.iter().filter_map(|n| trigger(all, n)).collect(),
        repeatable: r.truth("repeatable"),
        pace_s: r.seconds("pace_s").unwrap_or(1.2),
        steps: steps
            .iter()
            .enumerate()
            .filter_map(|(i, n)| step(all, book, n, &format!("{}/step{}", item.id, i + 1), &env, station))
            .collect(),
        then_phase: r.phase("then_phase", all.names),
        beside: r.truth("beside"),
        expected: expected(all, &r),
    }
}

/// From when on a flow or list is asked for.
pub fn expected(all: &All, r: &Reader) -> Option<Expected> {
    let node = r.node("expected")?;
    let r = Reader::new(all.cx, "`expected`", node.at, node);
    r.only(&["when", "after_s"]);
    r.need("when", "\"…\"");
    Some(Expected { when: r.condition("when", &all.env())?, after_s: r.seconds("after_s").unwrap_or_default() })
}

fn trigger(all: &All, node: &Node) -> Option<Trigger> {
    let r = Reader::new(all.cx, "a start", node.at, node);
    let kinds = ["when", "after_flow", "after_checklist", "on_phase"];
    r.only(&kinds);
    Some(match one_of(&r, &kinds)? {
        "when" => Trigger::When(r.condition("when", &all.env())?),
        "after_flow" => Trigger::AfterFlow(FlowId(refer(all, &r, "after_flow")?)),
        "after_checklist" => Trigger::AfterChecklist(ChecklistId(refer(all, &r, "after_checklist")?)),
        _ => Trigger::OnPhase(PhaseId(refer(all, &r, "on_phase")?)),
    })
}

/// Reads a step. `hidden` is the name of the hidden call for its replies.
fn step(all: &All, book: &Book, node: &Node, hidden: &str, env: &Env, station: Station) -> Option<Step> {
    let r = Reader::new(all.cx, "a step", node.at, node);
    let mut legal: Vec<&str> = STEPS.iter().copied().chain(["if"]).collect();
    legal.extend(STEP_KEYS.iter().map(|(k, _)| *k));
    r.only(&legal);
    let silent = STEPS.iter().all(|k| r.node(k).is_none()) && (r.node("reply").is_some() || r.node("calls").is_some());
    let kind = if silent { "ask" } else { one_of(&r, STEPS)? };
    companions(&r, kind, STEP_KEYS);
    let what = match kind {
        "set" => {
            let (control, to) = set(all, book, &r, "set", env, Station::FlightDeck)?;
            StepKind::Set { control, to, confirm: r.truth("confirm") }
        }
        "make" => {
            let (control, to): (ControlId, _) = set(all, book, &r, "make", env, station)?;
            StepKind::Make { control, to }
        }
        "say" => StepKind::Say(r.sentence("say", env)?),
        "wait" => StepKind::Wait {
            until: r.condition("wait", env)?,
            within_s: r.seconds("within_s"),
            clock: r.choice("clock", CLOCKS).unwrap_or(Clock::Sim),
            late: r.sentence("late", env),
            give_up: r.truth("give_up"),
        },
        "pause_s" => StepKind::Pause {
            seconds: r.seconds("pause_s")?,
            clock: r.choice("clock", CLOCKS).unwrap_or(Clock::Session),
        },
        "ask" => StepKind::Ask(Box::new(ask(all, &r, hidden, env)?)),
        "run" => StepKind::Run(FlowId(refer(all, &r, "run")?)),
        "read" => StepKind::Read(ChecklistId(refer(all, &r, "read")?)),
        "enter" => StepKind::Enter(PhaseId(refer(all, &r, "enter")?)),
        "checked" | "compute" => super::sheet::step(all, &r, kind),
        _ => {
            let (entry, value) = sheet(all, &r, env)?;
            StepKind::Sheet(entry, value)
        }
    };
    Some(Step { only_if: r.condition("if", env), level: r.choice("level", LEVELS).unwrap_or_default(), what })
}

/// A question: `ask`, `reply`, `calls` … in `r`. `hidden` names the hidden call of its own wordings, if it has any.
pub fn ask(all: &All, r: &Reader, hidden: &str, outer: &Env) -> Option<Ask> {
    let mut replies: Vec<CallId> = all.names.calls.find(hidden).map(CallId).into_iter().collect();
    for (_, node) in r.texts("calls") {
        replies.extend(all.cx.refer(&all.names.calls, rules::UNKNOWN_CALL, "call", node).map(CallId));
    }
    if r.node("reply").is_none() && r.node("calls").is_none() {
        let hint = "add `reply = [\"wording\"]` or `calls = [\"id\"]`".to_string();
        all.cx.raise(rules::MISSING_KEY, r.at, "A question needs an answer that is accepted.".into(), Some(hint));
        return None;
    }
    let slots = slots(all, r, &replies, outer);
    let env = Env { slots: Some(&slots), ..*outer };
    let patient = r.truth("patient");
    if patient && let Some(node) = r.node("within_s") {
        let text = "A patient question waits for ever, so `within_s` has no meaning.".to_string();
        all.cx.raise(rules::NOT_ONE_OF, node.at, text, Some("keep one of `patient` and `within_s`".into()));
    }
    Some(Ask {
        say: r.sentence("ask", outer),
        replies,
        within_s: if patient { None } else { Some(r.number("within_s", 0.5, 3_600.0).unwrap_or(8.0)) },
        repeats: r.number("repeats", 0.0, 20.0).map_or(1, |n| n as u32),
        verify: r.condition("verify", &env),
        contradicted: r.sentence("contradicted", &env),
        needed: r.truth("needed"),
    })
}

/// The slots of all replies together, and those already bound where a reply has none of that name.
fn slots(all: &All, r: &Reader, replies: &[CallId], outer: &Env) -> Vec<SlotName> {
    let mut slots: Vec<SlotName> = Vec::new();
    let of = |c: &CallId| all.names.call_slots.get(c.0 as usize).map_or(&[][..], Vec::as_slice);
    for slot in replies.iter().flat_map(of).chain(outer.slots.unwrap_or(&[])) {
        if !slots.iter().any(|(n, _)| *n == slot.0) {
            slots.push(slot.clone());
        }
    }
    let used = ["verify", "contradicted"].iter().filter_map(|k| r.node(k));
    for (node, text) in used.filter_map(|n| if let Tree::Text(t, _) = &n.tree { Some((n, t)) } else { None }) {
        for c in replies {
            let missing = slots.iter().find(|(n, _)| {
                mentions(text, n)
                    && of(c).iter().all(|(m, _)| m != n)
                    && outer.slots.is_none_or(|o| o.iter().all(|(m, _)| m != n))
            });
            if let (Some((slot, _)), Some(id)) = (missing, all.names.calls.list().get(c.0 as usize)) {
                let text = format!("The answer `{id}` has no slot `{slot}`, so this would be unknown.");
                all.cx.raise(rules::SLOT_NOT_EVERYWHERE, node.at, text, None);
            }
        }
    }
    slots
}

/// Whether a condition or sentence uses `slot.NAME`.
pub fn mentions(text: &str, slot: &str) -> bool {
    let wanted = format!("slot.{slot}");
    text.match_indices(&wanted)
        .any(|(i, _)| !text[i + wanted.len()..].starts_with(|c: char| c.is_ascii_alphanumeric() || c == '_'))
}
