//! What can only be seen when the whole book is read.

use super::All;
use super::calls::INTRINSICS;
use super::layers::Item;
use crate::core::book::rules;
use crate::core::book::schema::{Act, Book, Intrinsic, PhaseId, StepKind};
use crate::core::grammar::CallId;

/// Runs them all.
pub fn check(all: &All, book: &Book) {
    phases(all, book);
    starts(all, book);
    answers(all, book);
    intrinsics(all, book);
    shared_names(all);
    super::guidance::check(all, book);
    super::roles::check(all, book);
    super::wordings::collisions(all.cx, all.sections, book);
}

/// Flows, checklists and callouts share `done.`, `said.` and `rearms`, so their ids must differ from each other.
fn shared_names(all: &All) {
    let sections = ["flows", "checklists", "callouts", "briefings", "clearances"];
    for (i, section) in sections.iter().enumerate().skip(1) {
        for x in all.sections.items(section) {
            let Some(other) = sections[..i].iter().find(|s| all.sections.items(s).iter().any(|o| o.id == x.id)) else {
                continue;
            };
            let text = format!("`{}` is already in {other}, and {section} and {other} share their names.", x.id);
            all.cx.raise(rules::DUPLICATE_ID, x.at, text, Some(format!("rename it, perhaps to `{}_list`", x.id)));
        }
    }
}

fn item<'a>(all: &All<'a>, section: &str, index: usize) -> Option<&'a Item> {
    all.sections.items(section).get(index)
}

/// Every phase must be reachable from the first.
fn phases(all: &All, book: &Book) {
    let Some(first) = book.first_phase else {
        if all.sections.items("phases").is_empty() {
            let hint = "add `[phases.parked]` with a `title`".to_string();
            all.cx.raise_whole(rules::NO_PHASE, "The book has no phase.".into(), Some(hint));
        }
        return;
    };
    // Entered by something said, done or called out: from wherever that happens, so it counts as reachable.
    let mut reached: Vec<PhaseId> = vec![first];
    for c in &book.calls {
        reached.extend(c.does.iter().filter_map(|e| match e.act {
            Act::Phase(p) | Act::Survey { phase: p, .. } => Some(p),
            _ => None,
        }));
    }
    for f in &book.flows {
        reached.extend(f.then_phase);
        reached.extend(f.steps.iter().filter_map(|s| if let StepKind::Enter(p) = s.what { Some(p) } else { None }));
    }
    reached.extend(book.checklists.iter().filter_map(|c| c.then_phase));
    reached.extend(book.callouts.iter().filter_map(|c| c.then_phase));
    let mut seen = vec![false; book.phases.len()];
    while let Some(p) = reached.pop() {
        let Some(s) = seen.get_mut(p.0 as usize).filter(|s| !**s) else { continue };
        *s = true;
        if let Some(phase) = book.phases.get(p.0 as usize) {
            reached.extend(phase.next.iter().copied());
        }
    }
    // Listed in `next` but without anything that enters it is as good as unreachable.
    for (i, phase) in book.phases.iter().enumerate() {
        let id = PhaseId(i as u16);
        let at = item(all, "phases", i).map(|x| x.at).unwrap_or_default();
        if !seen[i] {
            let text = format!("No way leads from `{}` to the phase `{}`.", book.phases[first.0 as usize].id, phase.id);
            let hint = format!("add \"{}\" to the `next` of the phase before it", phase.id);
            all.cx.raise(rules::UNREACHABLE_PHASE, at, text, Some(hint));
        } else if id != first && phase.enter_when.is_none() && !entered(book, id) {
            let text = format!("Nothing ever enters the phase `{}`.", phase.id);
            let hint = "add `enter_when`, or name it in a call, step, checklist or callout".to_string();
            all.cx.raise(rules::UNREACHABLE_PHASE, at, text, Some(hint));
        }
        let said = item(all, "phases", i).is_some_and(|x| x.node.get("next").is_some());
        if !said && book.phases.len() > 1 && seen[i] {
            let text = format!("The phase `{}` does not say what follows it.", phase.id);
            let hint = "add `next = [\"…\"]`, or `next = []` where the book ends".to_string();
            all.cx.raise(rules::PHASE_DEAD_END, at, text, Some(hint));
        }
    }
}

/// Whether a call, flow, list or callout enters the phase.
fn entered(book: &Book, p: PhaseId) -> bool {
    book.calls
        .iter()
        .any(|c| c.does.iter().any(|e| matches!(e.act, Act::Phase(x) | Act::Survey { phase: x, .. } if x == p)))
        || book
            .flows
            .iter()
            .any(|f| f.then_phase == Some(p) || f.steps.iter().any(|s| matches!(s.what, StepKind::Enter(x) if x == p)))
        || book.checklists.iter().any(|c| c.then_phase == Some(p))
        || book.callouts.iter().any(|c| c.then_phase == Some(p))
}

/// Flows that nothing starts, checklists that nothing reads.
fn starts(all: &All, book: &Book) {
    let acts = || book.calls.iter().flat_map(|c| &c.does).map(|e| &e.act);
    let steps = || book.flows.iter().flat_map(|f| &f.steps).map(|s| &s.what);
    for (i, f) in book.flows.iter().enumerate() {
        let started = !f.start.is_empty();
        let called = acts().any(|a| matches!(a, Act::Flow(x) if x.0 as usize == i));
        let run = steps().any(|s| matches!(s, StepKind::Run(x) if x.0 as usize == i));
        let surprise = book.surprises.iter().any(|s| s.flow.0 as usize == i);
        let cleared = book.clearances.iter().any(|c| c.flow.is_some_and(|f| f.0 as usize == i));
        if !(started || called || run || surprise || cleared)
            && let Some(x) = item(all, "flows", i)
        {
            let hint = format!("add a call with `does = {{ flow = \"{}\" }}`", f.id);
            all.cx.raise(rules::FLOW_NEVER_STARTS, x.at, format!("Nothing starts the flow `{}`.", f.id), Some(hint));
        }
    }
    for (i, c) in book.checklists.iter().enumerate() {
        let called = acts().any(|a| matches!(a, Act::Checklist(x) if x.0 as usize == i));
        let read = steps().any(|s| matches!(s, StepKind::Read(x) if x.0 as usize == i));
        if !(called || read)
            && let Some(x) = item(all, "checklists", i)
        {
            let hint = format!("add a call with `does = {{ checklist = \"{}\" }}`", c.id);
            let text = format!("Nothing starts the checklist `{}`.", c.id);
            all.cx.raise(rules::CHECKLIST_NEVER_READ, x.at, text, Some(hint));
        }
    }
}

/// Calls that lead nowhere.
fn answers(all: &All, book: &Book) {
    let awaited = |call: CallId| {
        let steps = book.flows.iter().flat_map(|f| &f.steps);
        steps
            .filter_map(|s| if let StepKind::Ask(a) = &s.what { Some(&**a) } else { None })
            .chain(book.callouts.iter().filter_map(|c| c.reply.as_ref()))
            .chain(book.limits.iter().filter_map(|l| l.reply.as_ref()))
            .chain(book.controls.iter().filter_map(|c| c.reply.as_ref()))
            .any(|a| a.replies.contains(&call))
            || book.callouts.iter().any(|c| c.heard_as == Some(call))
    };
    for (i, x) in all.sections.items("calls").iter().enumerate() {
        let Some(c) = book.calls.get(i) else { continue };
        if awaited(CallId(i as u16)) {
            continue;
        }
        let own = c.does.iter().any(|e| matches!(e.act, Act::Engine(_)));
        if c.answer_only && own {
            // Live when the engine itself waits for it: after a briefing, after speaking to somebody else.
        } else if c.answer_only {
            let text = format!("Nothing ever waits for the answer `{}`.", c.id);
            all.cx.raise(
                rules::ANSWER_NEVER_DUE,
                x.at,
                text,
                Some("name it in the `calls` of a step that asks".into()),
            );
        } else if c.does.is_empty() && c.later.is_none() && x.node.get("does").is_none() {
            let text = format!("The call `{}` does nothing.", c.id);
            all.cx.raise(rules::CALL_DOES_NOTHING, x.at, text, Some("give it `does = { … }`".into()));
        }
    }
}

/// What must be sayable at every moment.
const ALWAYS: &[Intrinsic] = &[
    Intrinsic::Reject,
    Intrinsic::GoAround,
    Intrinsic::Hold,
    Intrinsic::Disregard,
    Intrinsic::Negative,
    Intrinsic::Correction,
    Intrinsic::SayAgain,
];

fn intrinsics(all: &All, book: &Book) {
    let does = |c: &crate::core::book::schema::Call, i: Intrinsic| {
        c.does.iter().any(|e| matches!(e.act, Act::Engine(x) if x == i))
    };
    let mut missing = Vec::new();
    for (word, i) in INTRINSICS.iter().filter(|(_, i)| ALWAYS.contains(i)) {
        let calls: Vec<usize> = (0..book.calls.len()).filter(|n| does(&book.calls[*n], *i)).collect();
        if calls.is_empty() {
            missing.push(*word);
        }
        // Reject and go around belong to a part of the flight, and a book may say to which.
        let everywhere = !matches!(i, Intrinsic::Reject | Intrinsic::GoAround);
        // One that is always live is enough: others may be special cases.
        let enough = calls.iter().any(|n| book.calls[*n].always);
        for n in calls.into_iter().filter(|_| everywhere && !enough) {
            if let Some(x) = item(all, "calls", n) {
                let text = format!("The call `{}` must be heard at every moment.", book.calls[n].id);
                all.cx.raise(rules::INTRINSIC_NOT_ALWAYS, x.at, text, Some("add `always = true`".into()));
            }
        }
    }
    if !missing.is_empty() {
        let text = format!("The book has no call for {}.", missing.join(", "));
        let hint = "add `use = [\"common\"]` to `[book]`".to_string();
        all.cx.raise_whole(rules::MISSING_CALL, text, Some(hint));
    }
}
