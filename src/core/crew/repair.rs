//! Repair of mishearing: cancelled before the action, offered back after it, not heard the same way again.

use super::asks::Asker;
use super::calls::LastCall;
use super::talk::Owner;
use super::{Crew, Slots};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Act, Ask, ControlId, ControlKind, Intrinsic, Priority, Station};
use crate::core::grammar::{CallId, Meaning};
use crate::core::matcher::Heard;
use crate::core::time::SessionTime;

/// What was taken back is not heard again in the same way for this long, s.
const REJECTED_FOR_S: f64 = 10.0;
/// … unless it fits better by this than anything else: then he means it, nats.
const INSISTS: f64 = 8.0;
/// Two commands that contradict each other within this are asked about if the control is critical, s.
const CONTRADICTS_S: f64 = 2.0;

/// What undoes the last command.
#[derive(Debug, Clone)]
pub(super) struct Undo {
    control: ControlId,
    to: Value,
}

/// The last command for a critical control.
#[derive(Debug, Clone)]
pub(super) struct Commanded {
    control: ControlId,
    to: Value,
    name: String,
    at: SessionTime,
}

impl Crew {
    /// Cancels what the last call began, as far as it has not been done; says what has, and offers to undo it.
    pub(super) fn take_back(&mut self, key: &str, why: &str) {
        let Some(last) = self.last_call.take() else { return self.tell("nothing_to_cancel", "") };
        self.rejected = Some((last.meanings.clone(), self.at));
        let name = last.name.clone();
        let undo = self.undo_of(&last);
        let did = last.did;
        match self.drop_call(last, why) {
            Dropped::All(name) => self.tell(key, &name),
            // A question, or what was refused: nothing came of it.
            Dropped::Done(_) if !did => self.tell("nothing_to_cancel", ""),
            Dropped::Done(what) => {
                self.tell("already_done", &what.unwrap_or(name));
                self.offer(undo);
            }
        }
    }

    /// The pilot does himself what the last call began, or else what runs now.
    pub(super) fn leave_to_pilot(&mut self) {
        let why = "the pilot does it himself";
        let begun = self.last_call.take().filter(|l| {
            l.request.is_some_and(|r| self.commanded(r))
                || l.run.is_some_and(|r| self.runs.iter().any(|x| x.id == r))
                || l.list.is_some_and(|x| self.list_runs(x))
                || !l.put_off.is_empty()
        });
        if let Some(last) = begun {
            let name = last.name.clone();
            self.drop_call(last, why);
            return self.tell("yours", &name);
        }
        let run = self.runs.iter().rev().find(|r| self.flight_deck(r)).map(|r| (r.id, r.flow));
        match (self.lists.last().map(|l| l.list), run) {
            (Some(list), _) => {
                let title = self.book.checklists[list.0 as usize].title.clone();
                let title = self.text(&title, &Slots::new(), None);
                self.hush();
                self.cancel_list(list, why);
                self.tell("yours", &title);
            }
            (None, Some((id, flow))) => {
                let title = self.book.flows[flow.0 as usize].title.clone();
                self.hush();
                self.end_flow(id, false, Some(why.into()));
                self.tell("yours", &title);
            }
            (None, None) => self.tell("nothing_to_cancel", ""),
        }
    }

    fn drop_call(&mut self, last: LastCall, why: &str) -> Dropped {
        let mut cancelled = !last.sheet.is_empty();
        for kept in last.sheet {
            self.give_back(kept);
        }
        cancelled |= !last.put_off.is_empty() && self.drop_put_off(|id| last.put_off.contains(&id), why);
        if let Some(run) = last.run
            && self.runs.iter().any(|r| r.id == run)
        {
            self.hush();
            self.end_flow(run, false, Some(why.into()));
            cancelled = true;
        }
        if let Some(list) = last.list
            && self.list_runs(list)
        {
            self.hush();
            self.cancel_list(list, why);
            cancelled = true;
        }
        if let Some(request) = last.request {
            if let Some(what) = self.cancel_command(request) {
                self.not_done(what, why.into());
                cancelled = true;
            } else {
                // It has been sent: the sheet may have its old value back, the aircraft has not.
                return Dropped::Done(self.motion_name(request));
            }
        }
        if cancelled { Dropped::All(last.name) } else { Dropped::Done(None) }
    }

    /// How a command can be undone: never for what is critical, guarded or the pilot's own.
    fn undo_of(&self, last: &LastCall) -> Option<Undo> {
        let (control, to) = last.before.clone()?;
        let sent = last.request.is_some_and(|r| !self.commanded(r));
        (sent && self.safe_to_undo(control, &to)).then_some(Undo { control, to })
    }

    fn safe_to_undo(&self, control: ControlId, to: &Value) -> bool {
        let c = &self.book.controls[control.0 as usize];
        !c.critical
            && !matches!(c.kind, ControlKind::Guarded | ControlKind::Owned)
            && to.fits(&c.values)
            && self.stands_against(control, to, &Slots::new()).is_none()
    }

    fn offer(&mut self, undo: Option<Undo>) {
        let Some(undo) = undo else { return };
        let replies: Vec<CallId> = self.calls_that(Intrinsic::PutBack);
        if replies.is_empty() {
            return;
        }
        let what = self.name_of(undo.control, &undo.to, &Slots::new());
        self.undo = Some(undo);
        let text = self.wording("offer_back", &[("what", &what)]);
        self.speak(text.clone(), Priority::Routine, Owner::Nobody);
        let ask = Ask {
            say: None,
            replies,
            within_s: Some(8.0),
            repeats: 0,
            verify: None,
            contradicted: None,
            needed: false,
        };
        self.ask(Asker::Offer, &ask, Station::FlightDeck, &Slots::new(), Some(String::new()));
    }

    /// Undoes the last command by the command cycle.
    pub(super) fn put_back(&mut self) {
        let last = self.last_call.take();
        let undo = self.undo.take().or_else(|| last.as_ref().and_then(|l| self.undo_of(l)));
        match undo {
            Some(Undo { control, to }) if self.safe_to_undo(control, &to) => {
                self.command(control, to, &Slots::new());
            }
            _ => self.tell("nothing_to_cancel", ""),
        }
    }

    /// The calls with this effect.
    pub(super) fn calls_that(&self, what: Intrinsic) -> Vec<CallId> {
        let does =
            |c: &crate::core::book::schema::Call| c.does.iter().any(|e| matches!(e.act, Act::Engine(x) if x == what));
        (0..self.book.calls.len()).filter(|i| does(&self.book.calls[*i])).map(|i| CallId(i as u16)).collect()
    }

    /// The reading that was just taken back is left out, unless nothing else comes near it.
    pub(super) fn without_rejected(&self, heard: &Heard) -> Heard {
        let mut heard = heard.clone();
        let Some((meanings, at)) = &self.rejected else { return heard };
        if meanings.is_empty() || self.at.since(*at) > REJECTED_FOR_S {
            return heard;
        }
        let same = |all: &[Meaning]| all.iter().any(|m| meanings.contains(m));
        let best = heard.ranked.iter().find(|c| !same(&c.meanings)).map(|c| c.score);
        if let Some(best) = best {
            heard.ranked.retain(|c| !same(&c.meanings) || c.score > best + INSISTS);
        }
        heard
    }

    /// A critical control commanded both ways within two seconds: neither, and he is asked. The sentence, if so.
    pub(super) fn contradicts(&mut self, control: ControlId, to: &Value, name: &str) -> Option<String> {
        if !self.book.controls[control.0 as usize].critical {
            return None;
        }
        let before = self.commanded_last.take();
        let other = before.filter(|b| b.control == control && b.to != *to && self.at.since(b.at) <= CONTRADICTS_S);
        if let Some(b) = other {
            return Some(self.wording("which_one", &[("first", &b.name), ("second", name)]));
        }
        self.commanded_last = Some(Commanded { control, to: to.clone(), name: name.to_string(), at: self.at });
        None
    }
}

/// What became of a call that was to be dropped.
enum Dropped {
    /// Nothing of it was done; its name.
    All(String),
    /// It was done already; what, if it still moves.
    Done(Option<String>),
}
