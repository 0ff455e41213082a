//! Flows: item by item, at a believable pace. Interphone dialogues are flows of ground or cabin.

mod glance;
mod turn;

use super::asks::Asker;
use super::controls::Moving;
use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::book::schema::{ChecklistId, FlowId, Priority, Source, Station, StepKind, Template, Trigger};
use crate::core::crew::io::Note;
use crate::core::time::Clock;

/// A flow under way.
#[derive(Debug, Clone)]
pub(super) struct Run {
    pub id: u32,
    pub flow: FlowId,
    step: usize,
    stage: Stage,
    slots: Slots,
    pub held: bool,
}

#[derive(Debug, Clone, PartialEq)]
enum Stage {
    /// Waits until the flow before it has ended.
    Queued { told: bool },
    /// The next step begins at this moment.
    Ready(Deadline),
    /// A sentence is being spoken.
    Speaking(u64),
    /// A control is moving; `confirm` waits for its indication.
    Moving { request: u64, confirm: bool },
    /// The pilot's own hardware is asked for.
    Owned,
    /// A condition is waited for.
    Waiting { late: Option<Deadline>, told: bool },
    /// Time passes.
    Pausing(Deadline),
    /// A reply is due.
    Asking,
    /// Another flow runs.
    Child(u32),
    /// A checklist is read.
    Reading(ChecklistId),
}

impl Crew {
    fn does_flow(&self, flow: FlowId) -> bool {
        let f = &self.book.flows[flow.0 as usize];
        f.station != Station::FlightDeck || self.who(f.by) != Who::Pilot
    }

    pub(super) fn flow_runs(&self, flow: FlowId) -> Option<u32> {
        self.runs.iter().find(|r| r.flow == flow).map(|r| r.id)
    }

    /// Begins a flow; `None` if it may not run, which is noted.
    pub(super) fn begin_flow(&mut self, flow: FlowId, slots: Slots) -> Option<u32> {
        let book = self.book.clone();
        let f = &book.flows[flow.0 as usize];
        if let Some(why) = self.refused(flow) {
            self.not_done(f.title.clone(), why.into());
            return None;
        }
        self.note(Note::Flow { flow: f.id.clone(), state: "begun".into() });
        Some(self.push_run(flow, Stage::Ready(Deadline::Session(self.at)), slots))
    }

    fn push_run(&mut self, flow: FlowId, stage: Stage, slots: Slots) -> u32 {
        self.next_run += 1;
        self.runs.push(Run { id: self.next_run, flow, step: 0, stage, slots, held: false });
        self.next_run
    }

    /// Starts what its triggers ask for: once until re-armed, or at each new truth if repeatable.
    pub(super) fn start_flows(&mut self) -> bool {
        let book = self.book.clone();
        let mut moved = false;
        for (i, f) in book.flows.iter().enumerate() {
            let flow = FlowId(i as u16);
            for (t, trigger) in f.start.iter().enumerate() {
                let fires = match trigger {
                    Trigger::When(e) => self.truth(e, &Slots::new()) == Some(true),
                    Trigger::AfterFlow(x) => self.done.contains(&book.flows[x.0 as usize].id),
                    Trigger::AfterChecklist(x) => self.done.contains(&book.checklists[x.0 as usize].id),
                    Trigger::OnPhase(p) => self.phase == *p,
                };
                // While it is the pilot's own nothing is used up: after a handover it begins at once.
                let before = self.edges.insert((i as u16, t as u16), fires && self.does_flow(flow)).unwrap_or(false);
                let wanted = fires && if f.repeatable { !before } else { !self.spent.contains(&f.id) };
                let here = f.phases.is_empty() || f.phases.contains(&self.phase);
                if wanted && here && self.flow_runs(flow).is_none() && self.does_flow(flow) {
                    moved |= self.begin_flow(flow, Slots::new()).is_some();
                }
            }
        }
        moved
    }

    pub(super) fn move_flows(&mut self) -> bool {
        let mut moved = false;
        let mut i = 0;
        while i < self.runs.len() {
            let id = self.runs[i].id;
            // A step may begin or end other runs, so each run is looked up again by its id.
            while self.move_run(id) {
                moved = true;
            }
            if self.runs.get(i).is_some_and(|r| r.id == id) {
                i += 1;
            }
        }
        moved
    }

    fn run(&mut self, id: u32) -> Option<&mut Run> {
        self.runs.iter_mut().find(|r| r.id == id)
    }

    fn stage(&mut self, id: u32, stage: Stage) {
        if let Some(r) = self.run(id) {
            r.stage = stage;
        }
    }

    /// One move of one run; whether anything moved.
    fn move_run(&mut self, id: u32) -> bool {
        let book = self.book.clone();
        let Some(r) = self.runs.iter().find(|r| r.id == id).cloned() else { return false };
        if r.held {
            return false;
        }
        let f = &book.flows[r.flow.0 as usize];
        if let Stage::Queued { told } = r.stage {
            return self.move_queued(id, r.flow, told);
        }
        let Some(step) = f.steps.get(r.step) else {
            self.end_flow(id, true, None);
            return true;
        };
        match &r.stage {
            Stage::Ready(t) => {
                if !self.passed(*t) {
                    return false;
                }
                if !self.holds(step.only_if.as_ref(), &r.slots) {
                    if let Some(e) = &step.only_if
                        && self.truth(e, &r.slots).is_none()
                    {
                        let what = format!("step {} of the {}", r.step + 1, f.title);
                        self.not_done(what, format!("{} is unknown", e.text));
                    }
                    self.skip_step(id);
                    return true;
                }
                self.begin_step(id, &r, &step.what);
                true
            }
            Stage::Queued { .. } | Stage::Speaking(_) | Stage::Asking => false,
            Stage::Moving { request, confirm } => match self.moving(*request) {
                Moving::Sent => false,
                Moving::Taken if *confirm => false,
                _ => {
                    self.next_step(id);
                    true
                }
            },
            Stage::Owned => {
                let StepKind::Set { control, to, .. } = &step.what else { return false };
                let to = to.eval(&self.scope(&r.slots, None));
                if !to.is_some_and(|to| self.already(*control, &to)) {
                    return false;
                }
                self.next_step(id);
                true
            }
            Stage::Waiting { late, told } => {
                let StepKind::Wait { until, late: late_say, give_up, .. } = &step.what else { return false };
                if self.truth(until, &r.slots) == Some(true) {
                    self.next_step(id);
                    return true;
                }
                if *told || !late.is_some_and(|d| self.passed(d)) {
                    return false;
                }
                if let Some(t) = late_say {
                    let text = self.text(t, &r.slots, None);
                    self.speak_as(f.station, text, Priority::Caution, Owner::Nobody);
                }
                if *give_up {
                    self.end_flow(id, false, Some(format!("{} did not come true in time", until.text)));
                } else {
                    self.stage(id, Stage::Waiting { late: None, told: true });
                }
                true
            }
            Stage::Pausing(until) => {
                if !self.passed(*until) {
                    return false;
                }
                self.skip_step(id);
                true
            }
            Stage::Child(child) => {
                if self.runs.iter().any(|x| x.id == *child) {
                    return false;
                }
                self.next_step(id);
                true
            }
            Stage::Reading(list) => {
                if self.list_runs(*list) {
                    return false;
                }
                self.next_step(id);
                true
            }
        }
    }

    fn begin_step(&mut self, id: u32, r: &Run, what: &StepKind) {
        let book = self.book.clone();
        let f = &book.flows[r.flow.0 as usize];
        match what {
            StepKind::Set { control, to, confirm } => {
                let c = &book.controls[control.0 as usize];
                let Some(to) = to.eval(&self.scope(&r.slots, None)) else {
                    self.not_done(c.title.clone(), format!("{} is unknown", to.text));
                    return self.skip_step(id);
                };
                if self.already(*control, &to) {
                    return self.skip_step(id);
                }
                if c.kind == crate::core::book::schema::ControlKind::Owned {
                    let what = match c.echo.as_ref() {
                        Some(t) => self.text(t, &r.slots, Some(&to)),
                        None => format!("{} {to}", c.title),
                    };
                    let text = self.wording("please_confirm", &[("what", &what)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                    return self.stage(id, Stage::Owned);
                }
                let request = self.set(*control, to, None);
                self.stage(id, Stage::Moving { request, confirm: *confirm });
            }
            StepKind::Make { control, to } => {
                if let Some(to) = to.eval(&self.scope(&r.slots, None)) {
                    let request = self.set(*control, to, None);
                    self.stage(id, Stage::Moving { request, confirm: false });
                } else {
                    self.skip_step(id);
                }
            }
            StepKind::Say(_) if !self.speaks_at(f.steps[r.step].level, f.station) => self.skip_step(id),
            StepKind::Say(t) => self.say_step(id, r, f.station, t),
            StepKind::Wait { within_s, clock, .. } => {
                let late = within_s.map(|s| self.after(*clock, s));
                self.stage(id, Stage::Waiting { late, told: false });
            }
            StepKind::Pause { seconds, clock } => {
                let until = self.after(*clock, *seconds);
                self.stage(id, Stage::Pausing(until));
            }
            StepKind::Ask(ask) => {
                self.stage(id, Stage::Asking);
                self.ask(Asker::Run(id), ask, f.station, &r.slots, None);
            }
            StepKind::Run(flow) => match self.begin_flow(*flow, r.slots.clone()) {
                Some(child) => self.stage(id, Stage::Child(child)),
                None => self.skip_step(id),
            },
            StepKind::Read(list) => {
                if self.begin_list(*list) {
                    self.stage(id, Stage::Reading(*list));
                } else {
                    self.skip_step(id);
                }
            }
            StepKind::Enter(phase) => {
                self.go_to(*phase);
                self.skip_step(id);
            }
            StepKind::Checked(entries) => {
                let by = self.who_flows(f.by);
                self.checked(entries, by);
                self.skip_step(id);
            }
            StepKind::Compute(entries) => {
                self.compute(entries);
                self.skip_step(id);
            }
            StepKind::Sheet(entry, value) => {
                let value = value.eval(&self.scope(&r.slots, None));
                self.write_sheet(*entry, value, Source::Flow);
                self.skip_step(id);
            }
        }
    }

    fn say_step(&mut self, id: u32, r: &Run, station: Station, t: &Template) {
        let text = self.text(t, &r.slots, None);
        let speech = self.speak_as(station, text, Priority::Routine, Owner::Run(id));
        self.stage(id, Stage::Speaking(speech));
    }

    /// Goes on after the flow's pace.
    fn next_step(&mut self, id: u32) {
        let Some(r) = self.runs.iter().find(|r| r.id == id) else { return };
        let pace = self.book.flows[r.flow.0 as usize].pace_s * self.style.pace;
        let ready = self.after(Clock::Session, pace);
        if let Some(r) = self.run(id) {
            r.step += 1;
            r.stage = Stage::Ready(ready);
        }
    }

    /// Goes on at once.
    fn skip_step(&mut self, id: u32) {
        let now = Deadline::Session(self.at);
        if let Some(r) = self.run(id) {
            r.step += 1;
            r.stage = Stage::Ready(now);
        }
    }

    pub(super) fn run_spoken(&mut self, id: u32, speech: u64) {
        if self.run(id).is_some_and(|r| r.stage == Stage::Speaking(speech)) {
            self.next_step(id);
        }
    }

    pub(super) fn run_answered(&mut self, id: u32, goes_on: bool, slots: Slots) {
        if !goes_on {
            return self.end_flow(id, false, Some("an answer that it needs was not given".into()));
        }
        if let Some(r) = self.run(id) {
            r.slots = slots;
        }
        self.next_step(id);
    }

    /// Ends a run. `why` tells what stopped it before its end.
    pub(super) fn end_flow(&mut self, id: u32, complete: bool, why: Option<String>) {
        let Some(i) = self.runs.iter().position(|r| r.id == id) else { return };
        let r = self.runs.remove(i);
        let book = self.book.clone();
        let f = &book.flows[r.flow.0 as usize];
        self.forget_asks(Asker::Run(id));
        self.disown(Owner::Run(id));
        if let Stage::Child(child) = r.stage {
            self.end_flow(child, false, Some(format!("the {} ended", f.title)));
        }
        self.spent.insert(f.id.clone());
        let state = if complete { "done" } else { "cancelled" };
        self.note(Note::Flow { flow: f.id.clone(), state: state.into() });
        if complete {
            self.done.insert(f.id.clone());
            self.reopened.remove(&f.id);
            if let Some(p) = f.then_phase {
                self.go_to(p);
            }
        } else {
            self.not_done(f.title.clone(), why.unwrap_or_else(|| "it was cancelled".into()));
        }
    }

    /// Leaves the step that a flow is at (the explicit word).
    pub(super) fn skip_in_flow(&mut self) -> bool {
        let waits = |r: &Run| r.held || matches!(r.stage, Stage::Child(_) | Stage::Queued { .. });
        let stuck = self.runs.iter().rev().find(|r| !waits(r)).map(|r| r.id);
        let Some(id) = stuck else { return false };
        self.forget_asks(Asker::Run(id));
        self.disown(Owner::Run(id));
        let r = self.runs.iter().find(|r| r.id == id).cloned();
        if let Some(r) = r {
            let title = self.book.flows[r.flow.0 as usize].title.clone();
            self.not_done(format!("step {} of the {title}", r.step + 1), "the pilot skipped it".into());
        }
        self.skip_step(id);
        true
    }

    /// Where every flow under way stands, in words.
    pub(super) fn runs_stand(&self) -> Vec<String> {
        let told = |r: &Run| {
            let f = &self.book.flows[r.flow.0 as usize];
            let step = f.steps.get(r.step).map(|s| &s.what);
            let title = |flow: FlowId| self.book.flows[flow.0 as usize].title.clone();
            let waits = match (&r.stage, step) {
                _ if r.held => "held by the pilot".to_string(),
                (Stage::Queued { .. }, _) => match self.first_before(Some(r.id)) {
                    Some(first) => format!("waits for the end of the {}", title(first)),
                    None => "is about to begin".into(),
                },
                (Stage::Waiting { .. }, Some(StepKind::Wait { until, .. })) => {
                    format!("waits until {}", self.judged(until, &r.slots))
                }
                (Stage::Owned, Some(StepKind::Set { control, .. })) => {
                    let title = &self.book.controls[control.0 as usize].title;
                    format!("waits for the pilot's own hand on the {title}")
                }
                (Stage::Moving { .. }, Some(StepKind::Set { control, .. } | StepKind::Make { control, .. })) => {
                    format!("waits for the {}", self.book.controls[control.0 as usize].title)
                }
                (Stage::Child(child), _) => {
                    let child = self.runs.iter().find(|x| x.id == *child).map(|x| title(x.flow));
                    format!("waits for the end of the {}", child.unwrap_or_default())
                }
                (Stage::Reading(list), _) => {
                    format!("waits for the end of {}", self.book.checklists[list.0 as usize].id)
                }
                (Stage::Asking, _) => "waits for an answer".into(),
                (Stage::Speaking(_), _) => "is speaking".into(),
                (Stage::Pausing(_), _) => "lets time pass".into(),
                _ => "is about to take its next step".into(),
            };
            format!("flow {}, step {} of {}: {waits}", f.id, (r.step + 1).min(f.steps.len()), f.steps.len())
        };
        self.runs.iter().map(told).collect()
    }

    /// Flows that something starts, that could start now and have not, with what they wait for, in words.
    pub(super) fn triggers_stand(&self) -> Vec<String> {
        let none = Slots::new();
        let mut out = Vec::new();
        for (i, f) in self.book.flows.iter().enumerate() {
            let here = f.phases.is_empty() || f.phases.contains(&self.phase);
            if !here || f.start.is_empty() || self.flow_runs(FlowId(i as u16)).is_some() {
                continue;
            }
            if self.spent.contains(&f.id) && !f.repeatable {
                out.push(format!("flow {}: has run, and is not armed again", f.id));
                continue;
            }
            if !self.does_flow(FlowId(i as u16)) {
                out.push(format!("flow {}: the pilot's own", f.id));
                continue;
            }
            for trigger in &f.start {
                let on = match trigger {
                    Trigger::When(e) => self.judged(e, &none),
                    Trigger::AfterFlow(x) => format!("after the flow {}", self.book.flows[x.0 as usize].id),
                    Trigger::AfterChecklist(x) => format!("after {}", self.book.checklists[x.0 as usize].id),
                    Trigger::OnPhase(p) => format!("when the phase {} begins", self.book.phases[p.0 as usize].id),
                };
                out.push(format!("flow {} would start: {on}", f.id));
            }
        }
        out
    }

    pub(super) fn run_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.runs.iter().filter(|r| !r.held).filter_map(|r| match r.stage {
            Stage::Ready(t) | Stage::Pausing(t) => Some(t),
            Stage::Waiting { late, .. } => late,
            _ => None,
        })
    }
}
