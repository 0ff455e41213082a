//! Callouts: armed per takeoff and approach, made at their mark, never for what was not lived through.

use super::asks::Asker;
use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::book::schema::{Ask, CalloutId, Edge, PhaseId, Station};
use crate::core::crew::io::{Crossing, Note};
use crate::core::grammar::CallId;
use crate::core::time::SimTime;

/// A callout that the pilot made at most so long before its mark counts, s.
const EARLY_S: f64 = 3.0;

/// Whether a callout can still be made.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Arming {
    pub armed: bool,
    /// Since when its condition has been true.
    since: Option<SimTime>,
    /// The aircraft has until then to make this call itself.
    own: Option<OwnCall>,
    /// When the aircraft was last heard to make it.
    heard_at: Option<SimTime>,
}

/// A mark has been passed whose call is the aircraft's own.
#[derive(Debug, Clone, Copy)]
struct OwnCall {
    until: SimTime,
    value: Option<f64>,
    wanted: Option<f64>,
}

/// The aircraft's own call counts if it came at most this long before our mark, s.
const HEARD_BEFORE_S: f64 = 2.0;

impl Crew {
    /// Arms what belongs to the new phase and did not belong to the old one; disarms what does not.
    pub(super) fn arm_callouts(&mut self, phase: PhaseId, from: Option<PhaseId>) {
        let book = self.book.clone();
        for (i, c) in book.callouts.iter().enumerate() {
            let here = c.phases.contains(&phase);
            let before = from.is_some_and(|p| c.phases.contains(&p));
            if here && !before {
                self.callouts[i] = Arming { armed: true, ..Arming::default() };
                self.done.remove(&c.id);
            } else if !here {
                self.callouts[i] = Arming::default();
                self.forget_asks(Asker::Callout(CalloutId(i as u16)));
            }
        }
    }

    /// Whether a callout is watched for: the program's own, and those of the pilot that are made for him when they stay away.
    fn calls_out(&self, i: usize) -> bool {
        let c = &self.book.callouts[i];
        let ours = c.heard_as.is_some() || self.who(c.by) != Who::Pilot;
        self.callouts[i].armed && ours && !self.theirs.contains(&c.id)
    }

    pub(super) fn move_callouts(&mut self) -> bool {
        let book = self.book.clone();
        if self.surveying.is_some() {
            // Nothing of what is about to be seen was lived through.
            return false;
        }
        let mut moved = self.move_own_voice();
        for (i, c) in book.callouts.iter().enumerate() {
            let Edge::When { expr, for_s } = &c.edge else { continue };
            let none = Slots::new();
            // What can be made again waits until it is no longer true.
            if c.repeatable && !self.callouts[i].armed && c.phases.contains(&self.phase) {
                self.callouts[i] = Arming { armed: self.truth(expr, &none) == Some(false), ..Arming::default() };
            }
            if !self.calls_out(i) {
                continue;
            }
            let fires = self.truth(expr, &none) == Some(true) && self.holds(c.only_if.as_ref(), &none);
            match (fires, self.callouts[i].since) {
                (false, _) => self.callouts[i].since = None,
                (true, None) if *for_s > 0.0 => self.callouts[i].since = Some(self.sim),
                (true, Some(t)) if self.sim < t.plus(*for_s) => {}
                (true, _) if self.silenced(c.priority) => {}
                (true, _) => {
                    self.at_mark(i, None, None);
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
        if !self.calls_out(i) || self.surveying.is_some() {
            return;
        }
        if self.silenced(c.priority) {
            self.callouts[i].armed = false;
            return self.not_done(format!("callout {}", c.id), "something more urgent speaks".into());
        }
        if let Some(guard) = &c.only_if {
            let holds = self.truth(guard, &Slots::new());
            if holds != Some(true) {
                // A repeatable one stays armed: its detector tells of each value once.
                self.callouts[i].armed = c.repeatable;
                match holds {
                    Some(_) => self.note(Note::Passed { callout: c.id.clone(), why: guard.text.clone() }),
                    None => self.not_done(format!("callout {}", c.id), format!("{} is unknown", guard.text)),
                }
                return;
            }
        }
        let Edge::Through { value: wanted, .. } = &c.edge else { return };
        let wanted = wanted.eval(&self.scope(&Slots::new(), None)).and_then(|v| v.number());
        self.at_mark(i, Some(value), wanted);
    }

    /// The mark is there: our call, or the aircraft's own.
    fn at_mark(&mut self, i: usize, value: Option<f64>, wanted: Option<f64>) {
        let book = self.book.clone();
        match &book.callouts[i].own_voice {
            Some(v) if self.holds(v.only_if.as_ref(), &Slots::new()) => {
                self.callouts[i].armed = false;
                self.callouts[i].own = Some(OwnCall { until: self.sim.plus(v.steps_in_s), value, wanted });
            }
            _ => self.call_out(i, value, wanted),
        }
    }

    /// Listens whether the aircraft makes its own calls, and steps in where it stays silent.
    fn move_own_voice(&mut self) -> bool {
        let book = self.book.clone();
        let mut moved = false;
        for (i, c) in book.callouts.iter().enumerate() {
            let Some(v) = &c.own_voice else { continue };
            if let Some(heard) = &v.heard
                && (self.callouts[i].armed || self.callouts[i].own.is_some())
                && self.truth(heard, &Slots::new()) == Some(true)
            {
                self.callouts[i].heard_at = Some(self.sim);
            }
            let Some(own) = self.callouts[i].own else { continue };
            if self.callouts[i].heard_at.is_some_and(|t| own.until.since(t) <= v.steps_in_s + HEARD_BEFORE_S) {
                self.callouts[i].own = None;
                self.done.insert(c.id.clone());
                self.note(Note::Passed { callout: c.id.clone(), why: "the aircraft made the call itself".into() });
                moved = true;
            } else if self.sim >= own.until {
                self.callouts[i].own = None;
                moved = true;
                if v.heard.is_none() {
                    self.done.insert(c.id.clone());
                    self.note(Note::Passed {
                        callout: c.id.clone(),
                        why: "the aircraft makes this call itself".into(),
                    });
                    continue;
                }
                self.not_done(format!("callout {} by the aircraft", c.id), "it stayed silent".into());
                self.call_out(i, own.value, own.wanted);
            }
        }
        moved
    }

    fn call_out(&mut self, i: usize, value: Option<f64>, wanted: Option<f64>) {
        let book = self.book.clone();
        let c = &book.callouts[i];
        self.callouts[i].armed = c.repeatable && matches!(c.edge, Edge::Through { .. });
        self.done.insert(c.id.clone());
        let text = self.text(&c.say, &Slots::new(), None);
        let id = CalloutId(i as u16);
        if let Some(call) = c.heard_as
            && self.who(c.by) == Who::Pilot
        {
            self.await_callout(id, call, text);
            if let Some(p) = c.then_phase {
                self.go_to(p);
            }
            return;
        }
        let speech = self.speak(text, c.priority, Owner::Callout(id));
        self.note(Note::Callout { callout: c.id.clone(), value, wanted, speech });
        if let Some(p) = c.then_phase {
            self.go_to(p);
        }
    }

    /// The pilot's own callout: made for him when it stays away. Made shortly before its mark, it counts.
    fn await_callout(&mut self, id: CalloutId, call: CallId, text: String) {
        let c = &self.book.callouts[id.0 as usize];
        let early = self.heard_at.get(&call.0).is_some_and(|t| self.at.since(*t) <= EARLY_S);
        if early {
            return;
        }
        let ask = Ask {
            say: None,
            replies: vec![call],
            within_s: Some(c.missing_s),
            repeats: 1,
            verify: None,
            contradicted: None,
            needed: false,
        };
        self.ask(Asker::Callout(id), &ask, Station::FlightDeck, &Slots::new(), Some(text));
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

    /// The first state after a jump or a lost link: the phase it shows is entered, and what is already true is not called.
    pub(super) fn arrive(&mut self) {
        for _ in 0..self.book.phases.len() {
            if !self.move_phases() {
                break;
            }
        }
        if std::mem::take(&mut self.anew) {
            // Another takeoff in the same phase is called out like the first.
            self.arm_callouts(self.phase, None);
        }
        self.jumped();
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
        let own = self.callouts.iter().filter_map(|a| a.own.map(|o| Deadline::Sim(o.until)));
        let waits = self.callouts.iter().zip(&self.book.callouts).filter(|(a, _)| a.armed);
        let waits = waits.filter_map(|(a, c)| match c.edge {
            Edge::When { for_s, .. } => a.since.map(|t| Deadline::Sim(t.plus(for_s))),
            Edge::Through { .. } => None,
        });
        own.chain(waits)
    }
}
