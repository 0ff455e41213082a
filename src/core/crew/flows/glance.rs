//! Flows under way, for the eye.

use super::{Run, Stage};
use crate::core::book::schema::{SheetId, Step, StepKind};
use crate::core::crew::glance::{Flow, plain};
use crate::core::crew::{Crew, Slots};

impl Crew {
    /// Every flow under way.
    pub(in crate::core::crew) fn runs_seen(&self) -> Vec<Flow> {
        self.runs.iter().map(|r| self.run_seen(r)).collect()
    }

    fn run_seen(&self, r: &Run) -> Flow {
        let f = &self.book.flows[r.flow.0 as usize];
        let present = f.steps.get(r.step).map(|s| self.step_in_words(s, &r.slots));
        let doing = match (&r.stage, present) {
            _ if r.held => "held: say resume".to_string(),
            (Stage::Queued { .. }, _) => "waits for its turn".into(),
            (Stage::Owned, Some(what)) => format!("waits for your own hand: {what}"),
            (Stage::Asking, Some(what)) => format!("waits for your answer: {what}"),
            (_, Some(what)) => what,
            (_, None) => "ends".into(),
        };
        // A step whose condition is known to be false will be passed over.
        let rest = f.steps.iter().skip(r.step + 1);
        let then = rest.filter(|s| s.only_if.as_ref().is_none_or(|e| self.truth(e, &r.slots) != Some(false)));
        Flow {
            title: f.title.clone(),
            station: f.station,
            step: (r.step + 1).min(f.steps.len()),
            steps: f.steps.len(),
            doing,
            then: then.map(|s| self.step_in_words(s, &r.slots)).next(),
            waits_for_pilot: r.held || matches!(r.stage, Stage::Owned | Stage::Asking),
        }
    }

    fn entry_titles(&self, entries: &[SheetId]) -> String {
        let titles = entries.iter().map(|e| self.book.sheet[e.0 as usize].title.as_str());
        titles.collect::<Vec<_>>().join(", ")
    }

    fn step_in_words(&self, step: &Step, slots: &Slots) -> String {
        let book = &self.book;
        match &step.what {
            StepKind::Set { control, to, .. } | StepKind::Make { control, to } => {
                let title = &book.controls[control.0 as usize].title;
                match to.eval(&self.scope(slots, None)) {
                    Some(v) => format!("{title}: {}", plain(&v)),
                    None => title.clone(),
                }
            }
            StepKind::Say(t) => format!("says \u{201c}{}\u{201d}", self.text(t, slots, None)),
            StepKind::Wait { until, .. } => format!("waits until {}", self.judged(until, slots)),
            StepKind::Pause { seconds, .. } => format!("lets {seconds} s pass"),
            StepKind::Ask(ask) => match &ask.say {
                Some(t) => format!("asks \u{201c}{}\u{201d}", self.text(t, slots, None)),
                None => "waits for your call".into(),
            },
            StepKind::Run(flow) => book.flows[flow.0 as usize].title.clone(),
            StepKind::Read(list) => self.text(&book.checklists[list.0 as usize].title, &Slots::new(), None),
            StepKind::Enter(phase) => format!("phase: {}", book.phases[phase.0 as usize].title),
            StepKind::Checked(entries) => format!("cross-checks {}", self.entry_titles(entries)),
            StepKind::Compute(entries) => format!("computes {}", self.entry_titles(entries)),
            StepKind::Sheet(entry, value) => {
                let title = &book.sheet[entry.0 as usize].title;
                match value.eval(&self.scope(slots, None)) {
                    Some(v) => format!("{title}: {}", plain(&v)),
                    None => title.clone(),
                }
            }
        }
    }
}
