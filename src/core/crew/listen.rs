//! What can be said now, and which crossings to look out for: told when they change.

use super::{Crew, Who};
use crate::core::book::schema::Act;
use crate::core::crew::io::Action;
use crate::core::grammar::{CallId, CallSet};

impl Crew {
    pub(super) fn listen(&mut self) {
        let (live, due) = self.masks();
        if self.revision == 0 || live != self.live || due != self.due {
            self.revision += 1;
            self.live = live.clone();
            self.due = due.clone();
            self.out.push(Action::Listen { revision: self.revision, calls: live, due });
        }
        let crossings = self.armed_crossings();
        if crossings != self.crossings {
            self.crossings = crossings.clone();
            self.out.push(Action::Watch { crossings });
        }
    }

    fn masks(&self) -> (CallSet, CallSet) {
        if let Some(live) = self.asleep() {
            return (live, CallSet::none());
        }
        let mut due: CallSet = self.asks.iter().flat_map(|a| a.ask.replies.iter().copied()).collect();
        if let Some(call) = self.due_response() {
            due.insert(call);
        }
        let sterile = self.book.phases.get(self.phase.0 as usize).is_some_and(|p| p.sterile);
        let mut live = due.clone();
        for (i, c) in self.book.calls.iter().enumerate() {
            let id = CallId(i as u16);
            let again = |a: &Act| match a {
                Act::Checklist(l) => self.reopened.contains_key(&self.book.checklists[l.0 as usize].id),
                Act::Flow(f) => self.reopened.contains_key(&self.book.flows[f.0 as usize].id),
                _ => false,
            };
            let here = !(c.chat && sterile);
            let here = here
                && (c.phases.is_empty()
                    || c.phases.contains(&self.phase)
                    || (!self.reopened.is_empty() && c.does.iter().any(|e| again(&e.act))));
            if (c.always || (!c.answer_only && here)) && self.may_say(id) {
                live.insert(id);
            }
        }
        // The pilot's own callouts, from when they are armed: he may be a moment early.
        for (c, arming) in self.book.callouts.iter().zip(&self.callouts) {
            if let Some(call) = c.heard_as
                && arming.armed
                && self.who(c.by) == Who::Pilot
            {
                live.insert(call);
            }
        }
        (self.only_to_addressee(live), due)
    }

    /// Of what is live, the calls that a pilot can make at any time.
    pub(super) fn always_live(&self) -> CallSet {
        self.live.iter().filter(|c| self.book.calls[c.0 as usize].always).collect()
    }

    /// False only when the call's own condition is known to be false.
    pub(super) fn may_say(&self, call: CallId) -> bool {
        let c = &self.book.calls[call.0 as usize];
        c.when.as_ref().is_none_or(|e| self.truth(e, &super::Slots::new()) != Some(false))
    }
}
