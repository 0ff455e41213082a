//! Callouts: armed per takeoff and approach, made at their mark, never for what was not lived through.

use super::asks::Asker;
use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::book::schema::{CalloutId, Edge, PhaseId, Station};
use crate::core::crew::io::{Crossing, Note};
use crate::core::time::SimTime;

/// Whether a callout can still be made.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Arming {
    pub armed: bool,
    /// Since when its condition has been true.
    since: Option<SimTime>,
}

impl Crew {
    /// Arms what belongs to the new phase and did not belong to the old one; disarms what does not.
    pub(super) fn arm_callouts(&mut self, phase: PhaseId, from: Option<PhaseId>) {
        let book = self.book.clone();
        for (i, c) in book.callouts.iter().enumerate() {
            let here = c.phases.contains(&phase);
            let before = from.is_some_and(|p| c.phases.contains(&p));
            if here && !before {
                self.callouts[i] = Arming { armed: true, since: None };
                self.done.remove(&c.id);
            } else if !here {
                self.callouts[i].armed = false;
                self.forget_asks(Asker::Callout(CalloutId(i as u16)));
            }
        }
    }

    fn calls_out(&self, i: usize) -> bool {
        self.callouts[i].armed && self.who(self.book.callouts[i].by) != Who::Pilot
    }

    pub(super) fn move_callouts(&mut self) -> bool {
        let book = self.book.clone();
        let mut moved = false;
        for (i, c) in book.callouts.iter().enumerate() {
            let Edge::When { expr, for_s } = &c.edge else { continue };
            if !self.calls_out(i) {
                continue;
            }
            let none = Slots::new();
            let fires = self.truth(expr, &none) == Some(true) && self.holds(c.only_if.as_ref(), &none);
            match (fires, self.callouts[i].since) {
                (false, _) => self.callouts[i].since = None,
                (true, None) if *for_s > 0.0 => self.callouts[i].since = Some(self.sim),
                (true, Some(t)) if self.sim < t.plus(*for_s) => {}
                (true, _) => {
                    self.call_out(i, None, None);
                    moved = true;
                }
            }
        }
        moved
    }

    /// The link has seen a crossing.
    pub(super) fn crossed(&mut self, callout: &str, value: f64) {
        let book = self.book.clone();
        let Some(i) = book.callouts.iter().position(|c| c.id == callout) else { return };
        let c = &book.callouts[i];
        if !self.calls_out(i) {
            return;
        }
        if let Some(guard) = &c.only_if {
            let holds = self.truth(guard, &Slots::new());
            if holds != Some(true) {
                self.callouts[i].armed = false;
                match holds {
                    Some(_) => self.note(Note::Passed { callout: c.id.clone(), why: guard.text.clone() }),
                    None => self.not_done(format!("callout {}", c.id), format!("{} is unknown", guard.text)),
                }
                return;
            }
        }
        let Edge::Through { value: wanted, .. } = &c.edge else { return };
        let wanted = wanted.eval(&self.scope(&Slots::new(), None)).and_then(|v| v.number());
        self.call_out(i, Some(value), wanted);
    }

    fn call_out(&mut self, i: usize, value: Option<f64>, wanted: Option<f64>) {
        let book = self.book.clone();
        let c = &book.callouts[i];
        self.callouts[i].armed = false;
        self.done.insert(c.id.clone());
        let text = self.text(&c.say, &Slots::new(), None);
        let id = CalloutId(i as u16);
        let speech = self.speak(text, c.priority, Owner::Callout(id));
        self.note(Note::Callout { callout: c.id.clone(), value, wanted, speech });
        if let Some(p) = c.then_phase {
            self.go_to(p);
        }
    }

    /// After the words: the reply is due from here.
    pub(super) fn callout_spoken(&mut self, callout: CalloutId, _cut: bool) {
        let book = self.book.clone();
        let c = &book.callouts[callout.0 as usize];
        if let Some(reply) = &c.reply
            && c.phases.contains(&self.phase)
        {
            let again = match &reply.say {
                Some(t) => self.text(t, &Slots::new(), None),
                None => self.text(&c.say, &Slots::new(), None),
            };
            self.ask(Asker::Callout(callout), reply, Station::FlightDeck, &Slots::new(), Some(again));
        }
    }

    /// Nothing in between was lived through: what is already true is not called.
    pub(super) fn jumped(&mut self) {
        let book = self.book.clone();
        for (i, c) in book.callouts.iter().enumerate() {
            let Edge::When { expr, .. } = &c.edge else { continue };
            if self.callouts[i].armed && self.truth(expr, &Slots::new()) == Some(true) {
                self.callouts[i].armed = false;
                self.done.insert(c.id.clone());
                self.not_done(format!("callout {}", c.id), "its moment was jumped over".into());
            }
        }
    }

    /// The crossings to look out for now.
    pub(super) fn armed_crossings(&self) -> Vec<Crossing> {
        let none = Slots::new();
        let armed = self.book.callouts.iter().enumerate().filter(|(i, _)| self.calls_out(*i));
        armed
            .filter_map(|(_, c)| {
                let Edge::Through { signal, value, rising } = &c.edge else { return None };
                Some(Crossing {
                    callout: c.id.clone(),
                    signal: self.book.signals[signal.0 as usize].id.clone(),
                    value: value.eval(&self.scope(&none, None))?.number()?,
                    rising: *rising,
                    due: c.due,
                    text: self.text(&c.say, &none, None),
                })
            })
            .collect()
    }

    /// Every callout of this phase: armed or not, and what it waits for, in words.
    pub(super) fn callouts_stand(&self) -> Vec<String> {
        let none = Slots::new();
        let here = self.book.callouts.iter().enumerate().filter(|(_, c)| c.phases.contains(&self.phase));
        here.map(|(i, c)| {
            if self.done.contains(&c.id) {
                return format!("callout {}: made, and not armed again", c.id);
            }
            if self.who(c.by) == Who::Pilot {
                return format!("callout {}: the pilot's own", c.id);
            }
            if !self.callouts[i].armed {
                return format!("callout {}: not armed, for its mark was passed or jumped over", c.id);
            }
            let mark = match &c.edge {
                Edge::When { expr, .. } => self.judged(expr, &none),
                Edge::Through { signal, value, rising } => {
                    let mark = value.eval(&self.scope(&none, None)).and_then(|v| v.number());
                    let mark = mark.map_or_else(|| format!("{}, which is unknown", value.text), |n| n.to_string());
                    let signal = &self.book.signals[signal.0 as usize].id;
                    format!("{signal} {} through {mark}", if *rising { "rising" } else { "falling" })
                }
            };
            let guard =
                c.only_if.as_ref().map_or_else(String::new, |e| format!(", and then {}", self.judged(e, &none)));
            format!("callout {}: armed for {mark}{guard}", c.id)
        })
        .collect()
    }

    pub(super) fn callout_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.callouts.iter().zip(&self.book.callouts).filter(|(a, _)| a.armed).filter_map(|(a, c)| match c.edge {
            Edge::When { for_s, .. } => a.since.map(|t| Deadline::Sim(t.plus(for_s))),
            Edge::Through { .. } => None,
        })
    }
}
