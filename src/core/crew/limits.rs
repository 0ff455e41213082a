//! Limits: watched all the time in their phases; said once per excursion, acted on where the book says so.

use super::asks::Asker;
use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::book::schema::Station;
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
                    self.forget_asks(Asker::Limit(i));
                    self.note(Note::Limit { limit: l.id.clone(), over: false });
                    moved = true;
                }
                continue;
            }
            let since = w.since.unwrap_or(self.sim);
            self.limits[i].since = Some(since);
            if w.over || self.sim < since.plus(l.for_s) || self.silenced(l.priority) {
                continue;
            }
            self.limits[i].over = true;
            moved = true;
            self.note(Note::Limit { limit: l.id.clone(), over: true });
            if self.who(l.by) == Who::Pilot {
                continue;
            }
            let text = self.text(&l.say, &none, None);
            self.speak(text.clone(), l.priority, Owner::Nobody);
            if let Some(reply) = &l.reply {
                self.ask(Asker::Limit(i), reply, Station::FlightDeck, &none, Some(text));
            }
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

    /// The pilot has answered to a limit's words, or stays silent.
    pub(super) fn limit_answered(&mut self, i: usize, answered: bool) {
        let book = self.book.clone();
        let l = &book.limits[i];
        if answered || !self.limits[i].over {
            return;
        }
        if let Some(t) = &l.unanswered {
            let text = self.text(t, &Slots::new(), None);
            self.speak(text, l.priority, Owner::Nobody);
        }
        self.not_done(format!("answer to {}", l.id), "the value stays and nothing was heard".into());
    }

    /// The link came or went: told once, and nothing that was missed is called on return.
    pub(super) fn link(&mut self, up: bool) {
        let key = if up { "link_back" } else { "link_lost" };
        let text = self.wording(key, &[]);
        self.speak(text, crate::core::book::schema::Priority::Caution, Owner::Nobody);
        self.unlived |= up;
    }
}
