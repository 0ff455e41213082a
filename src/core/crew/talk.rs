//! What the program says: ids, owners, the last sentence, and a watch against speech that never ends.

use super::{Crew, Deadline};
use crate::core::book::schema::{CalloutId, ChecklistId, Priority, Station};
use crate::core::crew::io::{Action, Speech};
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// Who waits for the end of a sentence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Owner {
    Nobody,
    Run(u32),
    List(ChecklistId),
    Ask(u64),
    Command(u64),
    Callout(CalloutId),
    Briefing,
    Air,
}

#[derive(Debug, Clone)]
struct Spoken {
    owner: Owner,
    station: Station,
    text: String,
    priority: Priority,
    lost_at: SessionTime,
}

/// Speech that is waited for or can be repeated.
#[derive(Debug, Clone, Default)]
pub(super) struct Talk {
    next: u64,
    pending: BTreeMap<u64, Spoken>,
    last: Option<(Station, String)>,
}

/// A sentence whose end is never reported counts as ended after this long, so that a lost voice never blocks a flow.
const LOST_AFTER_S: f64 = 30.0;

/// Later than this it is not worth saying, by urgency.
fn expires_s(priority: Priority) -> f64 {
    match priority {
        Priority::Critical => 2.0,
        Priority::Caution => 6.0,
        Priority::Routine => 20.0,
        Priority::Chat => 8.0,
    }
}

impl Crew {
    /// Speaks on the flight deck.
    pub(super) fn speak(&mut self, text: String, priority: Priority, owner: Owner) -> u64 {
        self.speak_as(Station::FlightDeck, text, priority, owner)
    }

    /// Speaks as somebody. Nothing to say ends at once: the owner is told on the next round.
    pub(super) fn speak_as(&mut self, station: Station, text: String, priority: Priority, owner: Owner) -> u64 {
        self.talk.next += 1;
        let id = self.talk.next;
        let text = if self.style.muted && priority < Priority::Critical { String::new() } else { text };
        let lost_at = self.at.plus(if text.is_empty() { 0.0 } else { LOST_AFTER_S });
        if !text.is_empty() {
            self.out.push(Action::Say(Speech {
                id,
                station,
                text: text.clone(),
                priority,
                expires_s: expires_s(priority),
            }));
        }
        self.talk.pending.insert(id, Spoken { owner, station, text, priority, lost_at });
        id
    }

    pub(super) fn speech_started(&mut self, id: u64) {
        if let Some(s) = self.talk.pending.get(&id) {
            self.talk.last = Some((s.station, s.text.clone()));
        }
    }

    pub(super) fn speech_ended(&mut self, id: u64, cut: bool) {
        let Some(s) = self.talk.pending.remove(&id) else { return };
        match s.owner {
            Owner::Nobody => {}
            Owner::Run(run) => self.run_spoken(run, id),
            Owner::List(list) => self.list_spoken(list, id, cut),
            Owner::Ask(ask) => self.ask_spoken(ask, cut),
            Owner::Command(request) => self.echo_spoken(request),
            Owner::Callout(callout) => self.callout_spoken(callout, cut),
            Owner::Briefing => self.briefing_spoken(),
            Owner::Air => self.air_spoken(cut),
        }
    }

    /// Ends what was never reported as ended.
    pub(super) fn watch_speech(&mut self) -> bool {
        let lost: Vec<u64> =
            self.talk.pending.iter().filter(|(_, s)| s.lost_at <= self.at).map(|(id, _)| *id).collect();
        for id in &lost {
            let s = &self.talk.pending[id];
            if !s.text.is_empty() {
                let what = format!("say \u{201c}{}\u{201d}", s.text);
                self.not_done(what, "the voice never reported its end".into());
            }
            self.speech_ended(*id, true);
        }
        !lost.is_empty()
    }

    pub(super) fn talk_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.talk.pending.values().map(|s| Deadline::Session(s.lost_at))
    }

    /// Whether nothing of ours is being said or about to be.
    pub(super) fn quiet(&self) -> bool {
        self.talk.pending.is_empty()
    }

    /// Stops our own talk: everything below critical, which the voice refuses to cut.
    pub(super) fn hush(&mut self) {
        if self.talk.pending.values().any(|s| s.priority < Priority::Critical) {
            self.out.push(Action::Hush { id: None });
        }
    }

    pub(super) fn hush_one(&mut self, id: u64) {
        if self.talk.pending.contains_key(&id) {
            self.out.push(Action::Hush { id: Some(id) });
        }
    }

    /// Forgets who waits for a sentence (its owner was cancelled).
    pub(super) fn disown(&mut self, owner: Owner) {
        for s in self.talk.pending.values_mut() {
            if s.owner == owner {
                s.owner = Owner::Nobody;
            }
        }
    }

    pub(super) fn repeat_last(&mut self) {
        match self.talk.last.clone() {
            Some((station, text)) => {
                self.speak_as(station, text, Priority::Routine, Owner::Nobody);
                self.postpone_answers();
            }
            None => {
                let text = self.wording("nothing_to_repeat", &[]);
                self.speak(text, Priority::Routine, Owner::Nobody);
            }
        }
    }
}
