//! Whose turn it is: one pair of hands does one flow after the other.

use super::{Run, Stage};
use crate::core::book::schema::{FlowId, Station};
use crate::core::crew::io::Note;
use crate::core::crew::{Crew, Deadline, Slots};

impl Crew {
    /// Begins a flow that the pilot called for, after the one that keeps the hands busy; `None` if it may not run.
    pub(in crate::core::crew) fn call_flow(&mut self, flow: FlowId, slots: Slots) -> Option<u32> {
        let f = &self.book.flows[flow.0 as usize];
        let waits = !f.beside && f.station == Station::FlightDeck && self.first_before(None).is_some();
        if !waits || self.refused(flow).is_some() {
            return self.begin_flow(flow, slots);
        }
        Some(self.push_run(flow, Stage::Queued { told: false }, slots))
    }

    /// The flow that has to end before a waiting one, or before one that is called for now.
    pub(super) fn first_before(&self, waiting: Option<u32>) -> Option<FlowId> {
        let earlier = |r: &&Run| waiting.is_none_or(|id| r.id < id) && (self.in_turn(r) || self.busy(r));
        let first = self.runs.iter().filter(earlier).find(|r| !self.book.flows[r.flow.0 as usize].beside);
        first.map(|r| r.flow)
    }

    /// A waiting flow, when its turn has come.
    pub(super) fn move_queued(&mut self, id: u32, flow: FlowId, told: bool) -> bool {
        if let Some(first) = self.first_before(Some(id)) {
            if !told {
                let first = self.book.flows[first.0 as usize].title.clone();
                self.tell("flow_after", &first);
                self.stage(id, Stage::Queued { told: true });
            }
            return !told;
        }
        if !self.flow_here(flow) {
            self.end_flow(id, false, Some("it does not belong to this phase any more".into()));
            return true;
        }
        self.note(Note::Flow { flow: self.book.flows[flow.0 as usize].id.clone(), state: "begun".into() });
        self.stage(id, Stage::Ready(Deadline::Session(self.at)));
        true
    }

    fn flow_here(&self, flow: FlowId) -> bool {
        let f = &self.book.flows[flow.0 as usize];
        f.phases.is_empty() || f.phases.contains(&self.phase) || self.reopened.contains_key(&f.id)
    }

    /// Why a flow cannot begin.
    pub(super) fn refused(&self, flow: FlowId) -> Option<&'static str> {
        if self.flow_runs(flow).is_some() {
            Some("it is under way already")
        } else if !self.flow_here(flow) {
            Some("it does not belong to this phase")
        } else if !self.does_flow(flow) {
            Some("it is the pilot's own")
        } else {
            None
        }
    }

    /// The flow on the flight deck that keeps the hands busy, so that a list must wait.
    pub(in crate::core::crew) fn busy_flow(&self) -> Option<FlowId> {
        self.runs.iter().find(|r| self.busy(r)).map(|r| r.flow)
    }

    fn busy(&self, r: &Run) -> bool {
        let f = &self.book.flows[r.flow.0 as usize];
        let reads = matches!(r.stage, Stage::Reading(_) | Stage::Child(_) | Stage::Waiting { told: true, .. });
        f.station == Station::FlightDeck && !r.held && !reads && !self.in_turn(r)
    }

    /// Whether it waits for its turn.
    pub(in crate::core::crew) fn in_turn(&self, r: &Run) -> bool {
        matches!(r.stage, Stage::Queued { .. })
    }
}
