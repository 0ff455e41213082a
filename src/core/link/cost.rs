//! What a link does not give, and what that costs.

use crate::core::aircraft::SignalId;
use crate::core::book::Book;
use crate::core::book::expr::Expr;
use crate::core::book::schema::{Act, ControlKind, Edge, StepKind, Trigger};
use std::collections::{BTreeMap, BTreeSet};

/// Something that the book uses and the link does not give.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cost {
    /// The signal or control.
    pub name: String,
    /// What is lost by it, a phrase each; never empty.
    pub costs: Vec<String>,
}

/// Signals that the book uses and `given` does not hold, in the book's order.
pub fn signals(book: &Book, given: &BTreeSet<&str>) -> Vec<Cost> {
    let mut lost: BTreeMap<SignalId, Vec<String>> = BTreeMap::new();
    let mut put = |id: SignalId, text: &str| {
        let all = lost.entry(id).or_default();
        if all.iter().all(|t| t != text) {
            all.push(text.to_string());
        }
    };
    each_use(book, &mut put);
    let missing = lost.into_iter().filter_map(|(id, costs)| {
        let name = &book.signals.get(usize::from(id.0))?.id;
        (!given.contains(name.as_str())).then(|| Cost { name: name.clone(), costs })
    });
    missing.collect()
}

/// Controls that the book moves and `offered` does not hold, in the book's order.
pub fn controls(book: &Book, offered: &BTreeSet<&str>) -> Vec<Cost> {
    let mut out = Vec::new();
    for (i, c) in book.controls.iter().enumerate() {
        if c.kind == ControlKind::Owned || offered.contains(c.id.as_str()) {
            continue;
        }
        let mut costs = Vec::new();
        for call in &book.calls {
            if call.does.iter().any(|e| matches!(&e.act, Act::Set(id, _) if usize::from(id.0) == i)) {
                costs.push(format!("call {} moves nothing", call.id));
            }
        }
        for flow in &book.flows {
            let moves = flow.steps.iter().any(|s| match &s.what {
                StepKind::Set { control, .. } | StepKind::Make { control, .. } => usize::from(control.0) == i,
                _ => false,
            });
            if moves {
                costs.push(format!("flow {} cannot move it", flow.id));
            }
        }
        if !costs.is_empty() {
            out.push(Cost { name: c.id.clone(), costs });
        }
    }
    out
}

fn each_use(book: &Book, put: &mut impl FnMut(SignalId, &str)) {
    let mut of = |x: &Expr, text: &str| x.reads.iter().for_each(|id| put(*id, text));
    for c in &book.callouts {
        let text = format!("callout {} is not made", c.id);
        match &c.edge {
            Edge::When { expr, .. } => of(expr, &text),
            Edge::Through { value, .. } => of(value, &text),
        }
        c.only_if.iter().for_each(|x| of(x, &text));
    }
    for l in &book.limits {
        of(&l.when, &format!("limit {} is not watched", l.id));
    }
    for p in &book.phases {
        p.enter_when.iter().for_each(|x| of(x, &format!("phase {} is not entered by itself", p.id)));
    }
    for f in &book.flows {
        for t in &f.start {
            if let Trigger::When(x) = t {
                of(x, &format!("flow {} does not begin by itself", f.id));
            }
        }
        for s in &f.steps {
            s.only_if.iter().for_each(|x| of(x, &format!("flow {} leaves a step out", f.id)));
            match &s.what {
                StepKind::Wait { until, .. } => of(until, &format!("flow {} waits in vain", f.id)),
                StepKind::Ask(a) => {
                    a.verify.iter().for_each(|x| of(x, &format!("flow {}: an answer is not verified", f.id)));
                }
                _ => {}
            }
        }
    }
    for l in &book.checklists {
        for i in &l.items {
            i.verify.iter().for_each(|x| of(x, &format!("{}/{} is heard only", l.id, i.id)));
            i.waits_for.iter().for_each(|x| of(x, &format!("{}/{} waits in vain", l.id, i.id)));
        }
    }
    for c in &book.controls {
        c.refuse.iter().for_each(|r| of(&r.when, &format!("a condition against moving {} is not seen", c.id)));
    }
    for c in &book.callouts {
        if let Edge::Through { signal, .. } = &c.edge {
            put(*signal, &format!("callout {} is not made", c.id));
        }
    }
    for c in &book.controls {
        put(c.signal, &format!("where {} stands is not seen", c.id));
        put(c.indication, &format!("that {} has moved is not seen", c.id));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::book::{Folder, SourceFile, load};

    const TEXT: &str = r#"
[book]
title = "x"
first_phase = "a"
[phases.a]
title = "a"
next = []
[signals.ias_kt]
title = "airspeed"
kind = "number"
[signals.gear_position]
title = "gear"
kind = ["up", "down"]
[signals.gear_lever]
title = "gear lever"
kind = ["up", "down"]
[signals.unused]
title = "unused"
kind = "number"
[controls.gear_lever]
title = "gear"
kind = "detent"
indication = "gear_position"
values = ["up", "down"]
[calls.gear_up]
say = ["gear up"]
does = { set = "gear_lever", to = "'up'" }
[callouts.eighty]
signal = "ias_kt"
rises_through = "80"
say = "Eighty"
"#;

    fn book() -> Book {
        let files = vec![SourceFile { name: "book.toml".into(), text: TEXT.into() }];
        load(&Folder { id: "x".into(), files }, &|_| None).book
    }

    #[test]
    fn what_is_missing_is_told_with_its_cost() {
        let book = book();
        let all = signals(&book, &BTreeSet::new());
        let names: Vec<&str> = all.iter().map(|c| c.name.as_str()).collect();
        assert!(
            names.contains(&"ias_kt") && names.contains(&"gear_position") && !names.contains(&"unused"),
            "{names:?}"
        );
        let eighty = all.iter().find(|c| c.name == "ias_kt").expect("missing");
        assert_eq!(eighty.costs, ["callout eighty is not made"]);
        let rest = signals(&book, &["ias_kt"].into());
        assert!(rest.iter().all(|c| c.name != "ias_kt"));
    }

    #[test]
    fn what_cannot_be_moved_is_told_with_its_cost() {
        let book = book();
        let all = controls(&book, &BTreeSet::new());
        assert_eq!(all, [Cost { name: "gear_lever".into(), costs: vec!["call gear_up moves nothing".into()] }]);
        assert!(controls(&book, &["gear_lever"].into()).is_empty());
    }
}
