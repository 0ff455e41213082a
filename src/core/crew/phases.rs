//! Phases as a graph: entering, re-arming, moving on by themselves.

use super::{Crew, Slots};
use crate::core::book::schema::PhaseId;
use crate::core::crew::io::Note;

/// What is missing in a phase is asked for after this long.
const SETTLES_S: f64 = 2.0;

impl Crew {
    /// Enters a phase; `from` is the one that is left, absent at the beginning of a session.
    pub(super) fn enter(&mut self, phase: PhaseId, from: Option<PhaseId>) {
        if from == Some(phase) {
            return;
        }
        let book = self.book.clone();
        let Some(p) = book.phases.get(phase.0 as usize) else { return };
        self.phase = phase;
        self.note(Note::Phase { phase: p.id.clone() });
        self.asked_in = None;
        self.ask_at = self.at.plus(SETTLES_S);
        for id in &p.rearms {
            self.done.remove(id);
            self.spent.remove(id);
            self.reopened.remove(id);
        }
        self.gate(&p.rearms);
        self.arm_callouts(phase, from);
    }

    pub(super) fn go_to(&mut self, phase: PhaseId) {
        let from = self.phase;
        self.enter(phase, Some(from));
    }

    /// Moves to the first following phase whose own condition has become true.
    pub(super) fn move_phases(&mut self) -> bool {
        if self.being_placed() {
            // What is still seen is where the aircraft was.
            return false;
        }
        let book = self.book.clone();
        let Some(now) = book.phases.get(self.phase.0 as usize) else { return false };
        let next = now.next.iter().copied().find(|p| {
            book.phases
                .get(p.0 as usize)
                .and_then(|p| p.enter_when.as_ref())
                .is_some_and(|e| self.truth(e, &Slots::new()) == Some(true))
        });
        if let Some(p) = next {
            self.go_to(p);
        }
        next.is_some()
    }
}
