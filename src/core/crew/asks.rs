//! Replies that are due from the pilot: asked, repeated once, given up — and never taken for incapacity.

use super::talk::Owner;
use super::{Crew, Deadline, Slots};
use crate::core::book::schema::{Ask, CalloutId, ControlId, Priority, Station};
use crate::core::grammar::{CallId, Meaning};
use crate::core::time::SessionTime;

/// Who asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asker {
    Run(u32),
    Callout(CalloutId),
    /// The limit of this index.
    Limit(usize),
    /// An offer to undo.
    Offer,
    /// What was set is to be cross-checked.
    Control(ControlId),
}

/// A question that waits for its answer.
#[derive(Debug, Clone)]
pub(super) struct Asking {
    pub id: u64,
    pub asker: Asker,
    pub ask: Ask,
    pub station: Station,
    slots: Slots,
    /// What is said when nobody answers; empty says nothing.
    again: String,
    priority: Priority,
    /// The question is being spoken.
    speaking: bool,
    deadline: Option<SessionTime>,
    left: u32,
}

impl Asking {
    /// The question, empty if there is none.
    pub fn question(&self) -> &str {
        &self.again
    }
}

impl Crew {
    /// Asks. `spoken` is the text if it has been (or is being) said by the caller already.
    pub(super) fn ask(&mut self, asker: Asker, ask: &Ask, station: Station, slots: &Slots, spoken: Option<String>) {
        self.next_request += 1;
        let id = self.next_request;
        let priority =
            if matches!(asker, Asker::Callout(_) | Asker::Limit(_)) { Priority::Critical } else { Priority::Routine };
        let already = spoken.is_some();
        let again = spoken.or_else(|| ask.say.as_ref().map(|t| self.text(t, slots, None))).unwrap_or_default();
        let mut asking = Asking {
            id,
            asker,
            ask: ask.clone(),
            station,
            slots: slots.clone(),
            again: again.clone(),
            priority,
            speaking: false,
            deadline: None,
            left: ask.repeats,
        };
        if already || again.is_empty() {
            asking.deadline = ask.within_s.map(|s| self.at.plus(s));
        } else {
            self.speak_as(station, again, priority, Owner::Ask(id));
            asking.speaking = true;
        }
        self.asks.push(asking);
    }

    pub(super) fn ask_spoken(&mut self, id: u64, _cut: bool) {
        let now = self.at;
        if let Some(a) = self.asks.iter_mut().find(|a| a.id == id) {
            a.speaking = false;
            a.deadline = a.ask.within_s.map(|s| now.plus(s));
        }
    }

    /// The question that a call would answer, if one waits.
    pub(super) fn asked_for(&self, call: CallId) -> Option<u64> {
        self.asks.iter().find(|a| a.ask.replies.contains(&call)).map(|a| a.id)
    }

    /// Gives the pilot's answer to a question.
    pub(super) fn answer(&mut self, id: u64, meaning: &Meaning) {
        let Some(i) = self.asks.iter().position(|a| a.id == id) else { return };
        let a = self.asks[i].clone();
        let mut slots = a.slots.clone();
        slots.extend(meaning.slots.clone());
        let agreed = a.ask.verify.as_ref().map(|e| self.truth(e, &slots));
        if agreed == Some(Some(false)) {
            let text = match &a.ask.contradicted {
                Some(t) => self.text(t, &slots, None),
                None => self.wording("asked_again", &[("what", &a.again)]),
            };
            self.not_done(format!("accept \u{201c}{}\u{201d}", meaning.call), "the aircraft shows otherwise".into());
            self.speak_as(a.station, text, a.priority, Owner::Ask(id));
            self.asks[i].speaking = true;
            self.asks[i].deadline = None;
            return;
        }
        if agreed == Some(None) {
            self.not_done(format!("verify \u{201c}{}\u{201d}", meaning.call), "no signal shows it".into());
        }
        self.asks.remove(i);
        self.asked(a.asker, true, slots);
    }

    /// Tells the asker how it ended.
    fn asked(&mut self, asker: Asker, answered: bool, slots: Slots) {
        match asker {
            Asker::Run(run) => self.run_answered(run, answered, slots),
            Asker::Limit(limit) => self.limit_answered(limit, answered),
            Asker::Callout(_) | Asker::Offer | Asker::Control(_) => {}
        }
    }

    pub(super) fn move_asks(&mut self) -> bool {
        let mut moved = false;
        while let Some(i) = self.asks.iter().position(|a| !a.speaking && a.deadline.is_some_and(|d| d <= self.at)) {
            moved = true;
            let a = self.asks[i].clone();
            if self.deaf && matches!(a.asker, Asker::Limit(_)) {
                // Nobody can be heard: that is no silence of the pilot.
                self.asks.remove(i);
                self.not_done(format!("answer to \u{201c}{}\u{201d}", a.again), "the microphone is dead".into());
                continue;
            }
            if a.left > 0 {
                self.asks[i].left -= 1;
                self.asks[i].deadline = a.ask.within_s.map(|s| self.at.plus(s));
                if !a.again.is_empty() {
                    self.asks[i].speaking = true;
                    self.speak_as(a.station, a.again, a.priority, Owner::Ask(a.id));
                }
                continue;
            }
            self.asks.remove(i);
            if a.asker == Asker::Offer {
                self.undo = None;
                continue;
            }
            let what = if a.again.is_empty() { "the expected call".to_string() } else { a.again };
            self.not_done(format!("answer to \u{201c}{what}\u{201d}"), "nothing was heard".into());
            let answered = !a.ask.needed && !matches!(a.asker, Asker::Limit(_));
            self.asked(a.asker, answered, a.slots);
        }
        moved
    }

    /// After a repeat of our last words the pilot has the full time again.
    pub(super) fn postpone_answers(&mut self) {
        let now = self.at;
        for a in &mut self.asks {
            if let (Some(d), Some(s)) = (&mut a.deadline, a.ask.within_s) {
                *d = now.plus(s);
            }
        }
        self.postpone_items();
    }

    /// He has spoken, though nothing was understood: a deviation is not told again as if he were silent.
    pub(super) fn not_silent(&mut self) {
        let now = self.at;
        for a in self.asks.iter_mut().filter(|a| matches!(a.asker, Asker::Limit(_))) {
            if let (Some(d), Some(s)) = (&mut a.deadline, a.ask.within_s) {
                *d = now.plus(s);
            }
        }
    }

    pub(super) fn forget_asks(&mut self, asker: Asker) {
        let gone: Vec<u64> = self.asks.iter().filter(|a| a.asker == asker).map(|a| a.id).collect();
        self.asks.retain(|a| a.asker != asker);
        for id in gone {
            self.disown(Owner::Ask(id));
        }
    }

    pub(super) fn ask_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.asks.iter().filter(|a| !a.speaking).filter_map(|a| a.deadline).map(Deadline::Session)
    }
}
