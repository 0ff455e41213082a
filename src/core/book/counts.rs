//! How much is in a book, and how large its live grammar is in each phase.

use super::expr::Expr;
use super::load::contexts;
use super::schema::{Act, Ask, Book, Derived, Edge, Later, Part, StepKind, Template, Trigger};
use crate::core::grammar::{CallSet, Label, sentences};
use serde::Serialize;
use std::collections::BTreeSet;

/// What a book holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Counts {
    /// Calls of `[calls]`.
    pub calls: usize,
    /// Wordings of calls, as written.
    pub wordings: usize,
    /// Sets of answers that only items and questions wait for.
    pub answers: usize,
    /// Flows.
    pub flows: usize,
    /// Their steps.
    pub steps: usize,
    /// Checklists.
    pub checklists: usize,
    /// Their items.
    pub items: usize,
    /// Callouts.
    pub callouts: usize,
    /// Limits.
    pub limits: usize,
    /// Phases.
    pub phases: usize,
    /// Signals.
    pub signals: usize,
    /// Controls.
    pub controls: usize,
    /// Conditions and values, those within sentences included.
    pub conditions: usize,
}

/// The live grammar of a phase: what can be said there without being asked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Context {
    /// The phase.
    pub phase: String,
    /// Calls.
    pub calls: usize,
    /// Nodes of the word graph.
    pub nodes: usize,
    /// Different words.
    pub words: usize,
    /// Wordings, as written.
    pub phrases: usize,
    /// Sentences that they stand for, as ways through the graph; the largest number there is for more than that.
    pub sentences: u64,
}

impl Book {
    /// Counts everything.
    pub fn counts(&self) -> Counts {
        let answers = self.calls.iter().filter(|c| c.id.contains('/')).count();
        Counts {
            calls: self.calls.len() - answers,
            wordings: self.calls.iter().map(|c| c.say.len()).sum(),
            answers,
            flows: self.flows.len(),
            steps: self.flows.iter().map(|f| f.steps.len()).sum(),
            checklists: self.checklists.len(),
            items: self.checklists.iter().map(|c| c.items.len()).sum(),
            callouts: self.callouts.len(),
            limits: self.limits.len(),
            phases: self.phases.len(),
            signals: self.signals.len(),
            controls: self.controls.len(),
            conditions: self.exprs().len(),
        }
    }

    /// The live grammar of each phase.
    pub fn contexts(&self) -> Vec<Context> {
        let all = contexts(self);
        self.phases.iter().zip(&all).map(|(p, live)| self.context(&p.id, live)).collect()
    }

    fn context(&self, phase: &str, live: &CallSet) -> Context {
        let (mut nodes, mut words) = (0, BTreeSet::new());
        let phrases = live.iter().filter_map(|c| self.calls.get(c.0 as usize)).map(|c| c.say.len()).sum();
        let all = live.iter().map(|c| sentences(&self.graph, c)).fold(0, u64::saturating_add);
        for call in live.iter().filter_map(|c| self.graph.calls.get(c.0 as usize)) {
            // A call's nodes stand together, from its entry to its exit.
            let range = call.entry.0 as usize..=call.exit.0 as usize;
            nodes += range.clone().count();
            for node in self.graph.nodes.get(range).unwrap_or_default() {
                words
                    .extend(node.arcs.iter().filter_map(|a| if let Label::Word(w) = a.label { Some(w) } else { None }));
            }
        }
        Context { phase: phase.to_string(), calls: live.len(), nodes, words: words.len(), phrases, sentences: all }
    }

    /// Every condition and value.
    pub fn exprs(&self) -> Vec<&Expr> {
        let mut all = Exprs(Vec::new());
        for c in &self.controls {
            c.refuse.iter().for_each(|r| all.one(&r.when).sentence(&r.say));
            all.maybe_sentence(c.echo.as_ref()).maybe_sentence(c.report.as_ref());
        }
        for c in &self.calls {
            all.maybe(c.when.as_ref());
            if let Some(Later::Until(e)) = &c.later {
                all.one(e);
            }
            for e in &c.does {
                all.maybe(e.only_if.as_ref()).maybe(e.once.as_ref());
                match &e.act {
                    Act::Set(_, x) | Act::Sheet(_, x) => {
                        all.one(x);
                    }
                    Act::Speak(t, _) => all.sentence(t),
                    Act::Flow(_)
                    | Act::Checklist(_)
                    | Act::Phase(_)
                    | Act::Engine(_)
                    | Act::Briefing(_)
                    | Act::Checked(_)
                    | Act::Compute(_)
                    | Act::Survey { .. } => {}
                }
            }
        }
        for f in &self.flows {
            all.0.extend(f.start.iter().filter_map(|t| if let Trigger::When(x) = t { Some(x) } else { None }));
            all.maybe(f.expected.as_ref().map(|d| &d.when));
            for s in &f.steps {
                all.maybe(s.only_if.as_ref());
                match &s.what {
                    StepKind::Set { to, .. } | StepKind::Make { to, .. } | StepKind::Sheet(_, to) => {
                        all.one(to);
                    }
                    StepKind::Say(t) => all.sentence(t),
                    StepKind::Wait { until, late, .. } => {
                        all.one(until).maybe_sentence(late.as_ref());
                    }
                    StepKind::Ask(a) => all.ask(a),
                    StepKind::Pause { .. }
                    | StepKind::Run(_)
                    | StepKind::Read(_)
                    | StepKind::Checked(_)
                    | StepKind::Compute(_)
                    | StepKind::Enter(_) => {}
                }
            }
        }
        for c in &self.checklists {
            all.sentence(&c.title);
            all.sentence(&c.complete);
            all.maybe(c.expected.as_ref().map(|d| &d.when));
            for i in &c.items {
                all.sentence(&i.challenge);
                all.maybe(i.waits_for.as_ref()).maybe(i.verify.as_ref());
                all.maybe_sentence(i.say.as_ref()).maybe_sentence(i.shown.as_ref());
            }
        }
        for c in &self.callouts {
            match &c.edge {
                Edge::When { expr, .. } => all.one(expr),
                Edge::Through { value, .. } => all.one(value),
            };
            all.maybe(c.only_if.as_ref()).sentence(&c.say);
            if let Some(v) = &c.own_voice {
                all.maybe(v.only_if.as_ref()).maybe(v.heard.as_ref());
            }
            if let Some(a) = &c.reply {
                all.ask(a);
            }
        }
        for l in &self.limits {
            all.one(&l.when).sentence(&l.say);
            all.0.extend(l.then.iter().map(|(_, x)| x));
            all.maybe_sentence(l.unanswered.as_ref());
            if let Some(a) = &l.reply {
                all.ask(a);
            }
        }
        for t in self.briefings.iter().flat_map(|b| &b.topics) {
            all.maybe(t.verify.as_ref()).maybe_sentence(t.shown.as_ref()).sentence(&t.say);
        }
        self.briefings.iter().for_each(|b| all.sentence(&b.complete));
        all.0.extend(self.surprises.iter().map(|s| &s.when));
        for c in &self.clearances {
            all.one(&c.when);
            all.0.extend(c.with.iter().map(|(_, e)| e).chain(c.sets.iter().map(|(_, e)| e)));
        }
        let m = &self.manners;
        all.0.extend([&m.silent_when, &m.to_radio_when, &m.to_ground_when, &m.to_cabin_when].into_iter().flatten());
        for e in &self.sheet {
            if let Some(Derived::Formula(x)) = &e.derived {
                all.one(x);
            }
            e.checks.iter().for_each(|c| all.one(&c.when).sentence(&c.say));
            if let Some(c) = &e.compare {
                all.one(&c.with).maybe_sentence(c.say.as_ref());
            }
            all.maybe_sentence(e.ask.as_ref());
        }
        all.0.extend(self.figures.iter().flat_map(|f| &f.inputs));
        for p in &self.phases {
            all.maybe(p.enter_when.as_ref());
            p.expects.iter().for_each(|e| all.one(&e.when).sentence(&e.say));
        }
        self.wording.values().for_each(|t| all.sentence(t));
        all.0
    }
}

struct Exprs<'a>(Vec<&'a Expr>);

impl<'a> Exprs<'a> {
    fn one(&mut self, x: &'a Expr) -> &mut Self {
        self.0.push(x);
        self
    }
    fn maybe(&mut self, x: Option<&'a Expr>) -> &mut Self {
        self.0.extend(x);
        self
    }
    fn sentence(&mut self, t: &'a Template) {
        self.0.extend(t.parts.iter().filter_map(|p| if let Part::Value(x, _) = p { Some(x) } else { None }));
    }
    fn maybe_sentence(&mut self, t: Option<&'a Template>) -> &mut Self {
        if let Some(t) = t {
            self.sentence(t);
        }
        self
    }
    fn ask(&mut self, a: &'a Ask) {
        self.maybe_sentence(a.say.as_ref()).maybe(a.verify.as_ref()).maybe_sentence(a.contradicted.as_ref());
    }
}
