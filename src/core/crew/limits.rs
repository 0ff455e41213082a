//! Limits: watched all the time in their phases; said once per excursion, acted on where the book says so.

use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::crew::io::Note;
use crate::core::time::SimTime;

/// How a limit stands.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Watching {
    since: Option<SimTime>,
    over: bool,
}

impl Crew {
    pub(super) fn move_limits(&mut self) -> bool {
        if self.surveying.is_some() {
            return false;
        }
        let book = self.book.clone();
        let mut moved = false;
        let none = Slots::new();
        for (i, l) in book.limits.iter().enumerate() {
            let here = l.phases.is_empty() || l.phases.contains(&self.phase);
            let over = here && self.truth(&l.when, &none) == Some(true);
            let w = self.limits[i];
            if !over {
                self.limits[i] = Watching::default();
                if w.over {
                    self.note(Note::Limit { limit: l.id.clone(), over: false });
                    moved = true;
                }
                continue;
            }
            let since = w.since.unwrap_or(self.sim);
            self.limits[i].since = Some(since);
            if w.over || self.sim < since.plus(l.for_s) {
                continue;
            }
            self.limits[i].over = true;
            moved = true;
            self.note(Note::Limit { limit: l.id.clone(), over: true });
            if self.who(l.by) == Who::Pilot {
                continue;
            }
            let text = self.text(&l.say, &none, None);
            self.speak(text, l.priority, Owner::Nobody);
            for (control, to) in &l.then {
                if let Some(to) = to.eval(&self.scope(&none, None)) {
                    self.set(*control, to, None);
                }
            }
            if let Some(run) = l.ends_flow.and_then(|f| self.flow_runs(f)) {
                self.end_flow(run, false, Some(format!("{} was exceeded", l.id)));
            }
        }
        moved
    }

    pub(super) fn limit_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.limits.iter().zip(&self.book.limits).filter(|(w, _)| !w.over).filter_map(|(w, l)| {
            let t = w.since?.plus(l.for_s);
            Some(Deadline::Sim(t))
        })
    }

    /// The link came or went: told once, and nothing that was missed is called on return.
    pub(super) fn link(&mut self, up: bool) {
        let key = if up { "link_back" } else { "link_lost" };
        let text = self.wording(key, &[]);
        self.speak(text, crate::core::book::schema::Priority::Caution, Owner::Nobody);
        if up {
            self.jumped();
        }
    }
}
