//! Whether what a script names is in the book: a wrong name in what must *never* be would always be kept.

use super::form::{Never, Problem, Script};
use super::wanted::Wanted;
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::grammar::CallId;

/// Holds a script's names against the book; `condition` says what is wrong with the text of a condition.
///
/// What the hands move and what is put into the world is left to the aircraft, which may know more than the book.
pub fn check(script: &Script, book: &Book, condition: &dyn Fn(&str) -> Result<(), String>) -> Vec<Problem> {
    let mut c = Check { book, condition, line: script.line, all: Vec::new() };
    if let Some(phase) = &script.phase {
        c.name("phase", phase, book.phases.iter().map(|p| p.id.as_str()));
    }
    for (entry, value) in &script.sheet {
        if c.name("sheet entry", entry, book.sheet.iter().map(|e| e.id.as_str())) {
            let kind = book.sheet.iter().find(|e| e.id == *entry).map(|e| &e.kind);
            if kind.is_some_and(|k| !value.fits(k)) {
                c.add(format!("the sheet entry {entry} cannot be {value}: give a value of its type."));
            }
        }
    }
    c.never(&script.never);
    for step in &script.steps {
        c.line = step.line;
        if let Some(phase) = &step.trigger.on_phase {
            c.name("phase", phase, book.phases.iter().map(|p| p.id.as_str()));
        }
        if let Some(when) = &step.trigger.when {
            c.condition(when);
        }
        for (wanted, _) in &step.expect {
            c.wanted(wanted);
        }
        c.never(&step.never);
    }
    c.all
}

struct Check<'a> {
    book: &'a Book,
    condition: &'a dyn Fn(&str) -> Result<(), String>,
    line: usize,
    all: Vec<Problem>,
}

impl<'a> Check<'a> {
    fn add(&mut self, sentence: String) {
        self.all.push(Problem { line: self.line, sentence });
    }

    /// Whether the name is there; a missing one is told with the nearest.
    fn name(&mut self, what: &str, name: &str, all: impl Iterator<Item = &'a str>) -> bool {
        let mut nearest: Option<(usize, &str)> = None;
        for known in all {
            let far = strsim::damerau_levenshtein(known, name);
            if far == 0 {
                return true;
            }
            if nearest.is_none_or(|(n, _)| far < n) {
                nearest = Some((far, known));
            }
        }
        let remedy = match nearest {
            Some((far, known)) if far <= 3 => format!("write {known}"),
            _ => "see the book for what there is".into(),
        };
        self.add(format!("the book has no {what} {name}: {remedy}."));
        false
    }

    fn condition(&mut self, text: &str) {
        if let Err(why) = (self.condition)(text) {
            self.add(format!("the condition \"{text}\" does not hold up: {}.", why.trim_end_matches('.')));
        }
    }

    fn call(&mut self, call: &str) -> Option<CallId> {
        self.name("call", call, self.book.calls.iter().map(|c| c.id.as_str()));
        self.book.call(call)
    }

    fn control(&mut self, control: &str) {
        self.name("control", control, self.book.controls.iter().map(|c| c.id.as_str()));
    }

    fn never(&mut self, never: &Never) {
        for control in &never.set {
            self.control(control);
        }
        for call in &never.called {
            self.call(call);
        }
    }

    fn wanted(&mut self, wanted: &Wanted) {
        match wanted {
            Wanted::Spoken { .. } => {}
            Wanted::Set { control, to } => {
                self.control(control);
                let values = self.book.controls.iter().find(|c| c.id == *control).map(|c| &c.values);
                if let (Some(kind), Some(to)) = (values, to)
                    && !to.fits(kind)
                {
                    self.add(format!("the control {control} cannot be {to}: give one of its values."));
                }
            }
            Wanted::Call { call, slots } => {
                let graph = self.call(call).and_then(|id| self.book.graph.calls.get(id.0 as usize));
                for slot in slots.keys() {
                    if let Some(g) = graph {
                        self.name(&format!("slot of {call} called"), slot, g.slots.iter().map(|s| s.name.as_str()));
                    }
                }
            }
            Wanted::Phase(phase) => {
                self.name("phase", phase, self.book.phases.iter().map(|p| p.id.as_str()));
            }
            Wanted::When(text) => self.condition(text),
            Wanted::Note { kind, fields, .. } => self.note(kind, fields),
        }
    }

    fn note(&mut self, kind: &str, fields: &[(&'static str, Value)]) {
        let word = |key: &str| fields.iter().find(|(k, _)| *k == key).and_then(|(_, v)| v.word());
        let book = self.book;
        match kind {
            "item" | "checklist" => {
                let Some(list) = word("checklist") else { return };
                self.name("checklist", list, book.checklists.iter().map(|c| c.id.as_str()));
                let of = book.checklists.iter().find(|c| c.id == list);
                if let (Some(item), Some(of)) = (word("item"), of) {
                    self.name(&format!("item of {list} called"), item, of.items.iter().map(|i| i.id.as_str()));
                }
            }
            "flow" => word("flow").into_iter().for_each(|f| {
                self.name("flow", f, book.flows.iter().map(|x| x.id.as_str()));
            }),
            "callout" => word("callout").into_iter().for_each(|f| {
                self.name("callout", f, book.callouts.iter().map(|x| x.id.as_str()));
            }),
            "limit" => word("limit").into_iter().for_each(|f| {
                self.name("limit", f, book.limits.iter().map(|x| x.id.as_str()));
            }),
            _ => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::parse;
    use super::*;
    use crate::core::aircraft::{SignalId, ValueKind};
    use crate::core::book::schema::{Call, Control, ControlKind, Phase, SheetEntry, Station};
    use crate::core::grammar::{CallGraph, NodeId, SlotDef};
    use crate::core::words::SlotKind;

    fn book() -> Book {
        let control = Control {
            id: "gear_lever".into(),
            title: "gear".into(),
            kind: ControlKind::Detent,
            station: Station::FlightDeck,
            signal: SignalId(0),
            indication: SignalId(0),
            values: ValueKind::Word(vec!["up".into(), "down".into()]),
            travel_s: 3.0,
            critical: true,
            refuse: vec![],
            echo: None,
            report: None,
            reply: None,
        };
        let call = Call {
            id: "gear_up".into(),
            say: vec!["gear up".into()],
            phases: vec![],
            when: None,
            to: Station::FlightDeck,
            critical: false,
            always: false,
            answer_only: false,
            chat: false,
            later: None,
            does: vec![],
        };
        let phase = |id: &str| Phase { id: id.into(), title: id.into(), ..Phase::default() };
        let v1 = SheetEntry { id: "v1_kt".into(), title: "V1".into(), ..SheetEntry::default() };
        let mut book = Book {
            controls: vec![control],
            calls: vec![call],
            phases: vec![phase("climb")],
            sheet: vec![v1],
            ..Book::default()
        };
        let slots = vec![SlotDef { name: "to".into(), kind: SlotKind::Number, range: None }];
        book.graph.calls.push(CallGraph {
            name: "gear_up".into(),
            entry: NodeId(0),
            exit: NodeId(0),
            slots,
            never_alone: false,
        });
        book
    }

    fn told(text: &str) -> String {
        let script = parse(text).unwrap();
        let condition =
            |t: &str| if t.contains("knots") { Err("there is no signal knots".to_string()) } else { Ok(()) };
        check(&script, &book(), &condition).iter().map(|p| p.to_string()).collect::<Vec<_>>().join("\n")
    }

    #[test]
    fn names_are_held_against_the_book() {
        let good = r#"
[script]
title = "t"
book = "b"
phase = "climb"
sheet = { v1_kt = 131 }
[[steps]]
on_phase = "climb"
when = "ias_kt > 60.0"
say = "x"
expect = [{ set = "gear_lever", to = "up" }, { call = "gear_up", slots = { to = 1 } }, { phase = "climb" }, { note = "not_done" }]
never_set = ["gear_lever"]
never_called = ["gear_up"]
"#;
        assert_eq!(told(good), "");
        let bad = r#"
[script]
title = "t"
book = "b"
phase = "climm"
sheet = { v1_kt = "fast", v9_kt = 3, tea = true }
[[steps]]
on_phase = "cruising"
when = "knots > 60.0"
say = "x"

[[steps]]
say = "x"
expect = [
  { set = "gear_lever", to = "half" }, { set = "gear" }, { call = "gear_up", slots = { too = 1 } }, { call = "gearup" },
  { phase = "descent" }, { when = "knots > 1.0" }, { flow = "f" }, { checklist = "c" }, { item = "c/i" },
  { callout = "v1" }, { limit = "egt" },
]
never_set = ["gaer_lever"]
never_called = ["gaer_up"]
[never]
set = ["flaps"]
called = ["x"]
"#;
        insta::assert_snapshot!(told(bad), @r#"
        line 2: the book has no phase climm: write climb.
        line 2: the book has no sheet entry tea: see the book for what there is.
        line 2: the sheet entry v1_kt cannot be fast: give a value of its type.
        line 2: the book has no sheet entry v9_kt: write v1_kt.
        line 2: the book has no control flaps: see the book for what there is.
        line 2: the book has no call x: see the book for what there is.
        line 7: the book has no phase cruising: see the book for what there is.
        line 7: the condition "knots > 60.0" does not hold up: there is no signal knots.
        line 12: the control gear_lever cannot be half: give one of its values.
        line 12: the book has no control gear: see the book for what there is.
        line 12: the book has no slot of gear_up called too: write to.
        line 12: the book has no call gearup: write gear_up.
        line 12: the book has no phase descent: see the book for what there is.
        line 12: the condition "knots > 1.0" does not hold up: there is no signal knots.
        line 12: the book has no flow f: see the book for what there is.
        line 12: the book has no checklist c: see the book for what there is.
        line 12: the book has no checklist c: see the book for what there is.
        line 12: the book has no callout v1: see the book for what there is.
        line 12: the book has no limit egt: see the book for what there is.
        line 12: the book has no control gaer_lever: write gear_lever.
        line 12: the book has no call gaer_up: write gear_up.
        "#);
    }
}
