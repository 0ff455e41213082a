//! Lists and flows that the pilot should have called for: asked for once, once more at the next gate, never begun unasked.

use super::{Crew, Deadline, Slots};
use crate::core::book::Book;
use crate::core::book::schema::{ChecklistId, Expected, FlowId, PhaseId};
use crate::core::time::{Clock, SimTime};

/// The next phase has settled after this long, s; then what is still owed is asked for.
const GATE_SETTLES_S: f64 = 4.0;

/// Which it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum What {
    List(ChecklistId),
    Flow(FlowId),
}

/// Something that is to be called for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Owed {
    what: What,
    stage: Stage,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Stage {
    /// Not yet.
    Early,
    /// It should have been called for since then.
    Since(SimTime),
    /// Asked for; the next phase is the gate.
    Asked,
    /// Asked for again at this moment.
    Gate(Deadline),
    /// Nothing more is said.
    Over,
}

/// What a book wants to be called for.
pub(super) fn owed(book: &Book) -> Vec<Owed> {
    let lists = (0..book.checklists.len()).filter(|i| book.checklists[*i].expected.is_some());
    let flows = (0..book.flows.len()).filter(|i| book.flows[*i].expected.is_some());
    let all = lists.map(|i| What::List(ChecklistId(i as u16))).chain(flows.map(|i| What::Flow(FlowId(i as u16))));
    all.map(|what| Owed { what, stage: Stage::Early }).collect()
}

/// Its id, when it is expected, and where it may be called for.
fn about(book: &Book, what: What) -> (&str, Option<&Expected>, &[PhaseId]) {
    match what {
        What::List(l) => {
            let c = &book.checklists[l.0 as usize];
            (&c.id, c.expected.as_ref(), &c.phases)
        }
        What::Flow(f) => {
            let f = &book.flows[f.0 as usize];
            (&f.id, f.expected.as_ref(), &f.phases)
        }
    }
}

impl Crew {
    /// Called for, or done.
    fn served(&self, what: What) -> bool {
        let runs = match what {
            What::List(l) => self.list_runs(l),
            What::Flow(f) => self.flow_runs(f).is_some(),
        };
        runs || self.done.contains(about(&self.book, what).0)
    }

    fn may_call(&self, what: What) -> bool {
        let (_, _, phases) = about(&self.book, what);
        phases.is_empty() || phases.contains(&self.phase)
    }

    fn ask_for(&mut self, key: &str, what: What) {
        let title = match what {
            What::List(l) => self.text(&self.book.checklists[l.0 as usize].title, &Slots::new(), None),
            What::Flow(f) => self.book.flows[f.0 as usize].title.clone(),
        };
        if !key.is_empty() {
            self.tell(key, &title);
        }
        if key != "due" {
            self.not_done(title, "nobody has called for it".into());
        }
    }

    /// A phase has begun: what it re-arms is owed anew; what was asked for before is asked for again, where it can be.
    pub(super) fn gate(&mut self, rearms: &[String]) {
        for i in 0..self.dues.len() {
            let Owed { what, stage } = self.dues[i];
            let (id, ..) = about(&self.book, what);
            self.dues[i].stage = if rearms.iter().any(|r| r == id) {
                Stage::Early
            } else if !matches!(stage, Stage::Asked | Stage::Gate(_)) || self.served(what) {
                stage
            } else if self.may_call(what) {
                Stage::Gate(self.after(Clock::Session, GATE_SETTLES_S))
            } else {
                self.ask_for("", what);
                Stage::Over
            };
        }
    }

    /// Nothing else goes on, so that a word about what is owed does not come between.
    fn at_leisure(&self) -> bool {
        let sterile = self.book.phases.get(self.phase.0 as usize).is_some_and(|p| p.sterile);
        let busy = self.busy_flow().is_some() || !self.lists.is_empty() || !self.asks.is_empty();
        !sterile && !busy && self.quiet() && self.briefing.is_none() && self.surveying.is_none()
    }

    pub(super) fn move_dues(&mut self) -> bool {
        let book = self.book.clone();
        let mut moved = false;
        for i in 0..self.dues.len() {
            let Owed { what, stage } = self.dues[i];
            let (_, Some(expected), _) = about(&book, what) else { continue };
            if stage == Stage::Over || stage == Stage::Early && !self.may_call(what) {
                continue;
            }
            if self.served(what) {
                self.dues[i].stage = Stage::Early;
                continue;
            }
            let owed = || self.may_call(what) && self.truth(&expected.when, &Slots::new()) == Some(true);
            self.dues[i].stage = match stage {
                Stage::Gate(t) if self.passed(t) && self.at_leisure() => {
                    self.ask_for("still_due", what);
                    moved = true;
                    Stage::Over
                }
                Stage::Early | Stage::Since(_) if !owed() => Stage::Early,
                Stage::Early => {
                    moved = true;
                    Stage::Since(self.sim)
                }
                Stage::Since(t) if self.sim >= t.plus(expected.after_s) && self.at_leisure() => {
                    self.ask_for("due", what);
                    moved = true;
                    Stage::Asked
                }
                other => other,
            };
        }
        moved
    }

    pub(super) fn due_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.dues.iter().filter_map(|o| match o.stage {
            Stage::Gate(t) => Some(t),
            Stage::Since(t) => Some(Deadline::Sim(t.plus(about(&self.book, o.what).1?.after_s))),
            Stage::Early | Stage::Asked | Stage::Over => None,
        })
    }
}
