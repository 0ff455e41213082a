//! The command cycle: checked, repeated aloud, moved, reported when the *indication* has arrived.

use super::asks::Asker;
use super::talk::Owner;
use super::{Crew, Deadline, Slots};
use crate::core::aircraft::Value;
use crate::core::book::schema::{ControlId, ControlKind, Priority, Station};
use crate::core::crew::io::Action;
use crate::core::time::SimTime;

/// A pilot's command that is still being repeated aloud: it can be cancelled.
#[derive(Debug, Clone)]
pub(super) struct Command {
    pub request: u64,
    pub control: ControlId,
    pub to: Value,
    pub echo: u64,
    spoken: bool,
}

/// A movement under way.
#[derive(Debug, Clone)]
pub(super) struct Motion {
    pub request: u64,
    pub control: ControlId,
    pub to: Value,
    /// The indication is late after this.
    late_at: SimTime,
    /// Said when it has arrived.
    report: Option<String>,
    acknowledged: bool,
}

/// How a movement stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moving {
    /// Sent, not yet taken.
    Sent,
    /// Taken by the link, indication not yet there.
    Taken,
    /// Not under way (any more): arrived, failed, or never begun.
    Over,
}

/// Beyond the book's travel time: the link's own delay.
const GRACE_S: f64 = 1.0;

impl Crew {
    /// How a control's wanted state is called: its echo, else its title and the value.
    pub(super) fn name_of(&self, control: ControlId, to: &Value, slots: &Slots) -> String {
        let book = self.book.clone();
        let c = &book.controls[control.0 as usize];
        match c.echo.as_ref().or(c.report.as_ref()) {
            Some(t) => self.text(t, slots, Some(to)),
            None => format!("{} {to}", c.title),
        }
    }

    fn shows(&self, control: ControlId, to: &Value) -> Option<bool> {
        let c = &self.book.controls[control.0 as usize];
        let stale = self.book.signals[c.indication.0 as usize].stale_after_s;
        let shown = self.state.fresh(c.indication, self.at, stale)?;
        let lever = self.state.fresh(c.signal, self.at, stale)?;
        let close = |shown| close(c.kind, shown, to);
        Some(close(shown) && close(lever))
    }

    /// Where a control stands now, if a signal shows it.
    pub(super) fn stands_at(&self, control: ControlId) -> Option<Value> {
        let c = &self.book.controls[control.0 as usize];
        let stale = self.book.signals[c.signal.0 as usize].stale_after_s;
        self.state.fresh(c.signal, self.at, stale).cloned()
    }

    /// Whether a command is still being repeated aloud.
    pub(super) fn commanded(&self, request: u64) -> bool {
        self.commands.iter().any(|c| c.request == request)
    }

    /// A pilot's command. Returns the request if something will move.
    pub(super) fn command(&mut self, control: ControlId, to: Value, slots: &Slots) -> Option<u64> {
        let book = self.book.clone();
        let c = &book.controls[control.0 as usize];
        let what = self.name_of(control, &to, slots);
        if !to.fits(&c.values) {
            let text = self.wording("not_now", &[("what", &what)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
            self.not_done(what, format!("{} has no position {to}", c.title));
            return None;
        }
        if let Some(r) = self.stands_against(control, &to, slots) {
            self.speak(r, Priority::Caution, Owner::Nobody);
            self.not_done(what, "its condition stands against it".into());
            return None;
        }
        if c.kind == ControlKind::Owned {
            let text = self.wording("please_confirm", &[("what", &what)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
            self.not_done(what, "the pilot's own hardware moves it".into());
            return None;
        }
        if self.shows(control, &to) == Some(true) {
            let text = match &c.report {
                Some(t) => self.text(t, slots, Some(&to)),
                None => self.wording("already_done", &[("what", &what)]),
            };
            self.speak(text, Priority::Routine, Owner::Nobody);
            return None;
        }
        // A newer command for the same control replaces the older one; of a critical one he is asked which.
        let asked = self.contradicts(control, &to, &what);
        self.drop_commands(|cmd| cmd.control == control);
        if let Some(text) = asked {
            self.hush();
            self.speak(text, Priority::Caution, Owner::Nobody);
            self.not_done(what, "two commands within two seconds contradict each other".into());
            return None;
        }
        self.next_request += 1;
        let request = self.next_request;
        let echo = c.echo.as_ref().map(|t| self.text(t, slots, Some(&to))).unwrap_or_default();
        let echo = self.speak(echo, Priority::Caution, Owner::Command(request));
        self.commands.push(Command { request, control, to, echo, spoken: false });
        Some(request)
    }

    pub(super) fn stands_against(&self, control: ControlId, to: &Value, slots: &Slots) -> Option<String> {
        let c = &self.book.controls[control.0 as usize];
        let against = c
            .refuse
            .iter()
            .find(|r| r.when.eval(&self.scope(slots, Some(to))).and_then(|v| v.truth()) == Some(true))?;
        Some(self.text(&against.say, slots, Some(to)))
    }

    fn drop_commands(&mut self, unwanted: impl Fn(&Command) -> bool) {
        let gone: Vec<Command> = self.commands.iter().filter(|c| unwanted(c)).cloned().collect();
        self.commands.retain(|c| !unwanted(c));
        for c in gone {
            self.disown(Owner::Command(c.request));
        }
    }

    /// Cancels a command that has not moved anything yet.
    pub(super) fn cancel_command(&mut self, request: u64) -> Option<String> {
        let c = self.commands.iter().find(|c| c.request == request)?.clone();
        self.hush_one(c.echo);
        self.drop_commands(|x| x.request == request);
        Some(self.name_of(c.control, &c.to, &Slots::new()))
    }

    /// What a request moved or is moving, in words.
    pub(super) fn motion_name(&self, request: u64) -> Option<String> {
        let m = self.motions.iter().find(|m| m.request == request)?;
        Some(self.name_of(m.control, &m.to, &Slots::new()))
    }

    pub(super) fn echo_spoken(&mut self, request: u64) {
        if let Some(c) = self.commands.iter_mut().find(|c| c.request == request) {
            c.spoken = true;
        }
    }

    /// Moves a control at once (flow steps, limits, ground and cabin). The pilot's own hardware is never set.
    pub(super) fn set(&mut self, control: ControlId, to: Value, report: Option<String>) -> u64 {
        self.next_request += 1;
        let request = self.next_request;
        self.send(request, control, to, report);
        request
    }

    fn send(&mut self, request: u64, control: ControlId, to: Value, report: Option<String>) {
        let book = self.book.clone();
        let c = &book.controls[control.0 as usize];
        self.motions.retain(|m| m.control != control);
        self.last_set.insert(c.id.clone(), to.clone());
        self.out.push(Action::Set { request, control: c.id.clone(), to: to.clone() });
        let late_at = self.sim.plus(c.travel_s + GRACE_S);
        self.motions.push(Motion { request, control, to, late_at, report, acknowledged: false });
    }

    pub(super) fn set_result(&mut self, request: u64, failed: Option<&str>) {
        let Some(i) = self.motions.iter().position(|m| m.request == request) else { return };
        match failed {
            None => self.motions[i].acknowledged = true,
            Some(why) => {
                let m = self.motions.remove(i);
                self.tell_stuck(&m, why);
            }
        }
    }

    fn tell_stuck(&mut self, m: &Motion, why: &str) {
        let title = self.book.controls[m.control.0 as usize].title.clone();
        let text = self.wording("not_moving", &[("what", &title)]);
        self.speak(text, Priority::Caution, Owner::Nobody);
        let what = self.name_of(m.control, &m.to, &Slots::new());
        self.not_done(what, why.to_string());
    }

    /// Sends commands whose echo has been spoken; reports arrivals; tells what does not move.
    pub(super) fn move_commands(&mut self) -> bool {
        let mut moved = false;
        while let Some(i) = self.commands.iter().position(|c| c.spoken) {
            let c = self.commands.remove(i);
            moved = true;
            // The state may have changed while the command was repeated.
            match self.stands_against(c.control, &c.to, &Slots::new()) {
                Some(text) => {
                    let what = self.name_of(c.control, &c.to, &Slots::new());
                    self.speak(text, Priority::Caution, Owner::Nobody);
                    self.not_done(what, "its condition stands against it".into());
                }
                None => {
                    let book = self.book.clone();
                    let t = book.controls[c.control.0 as usize].report.as_ref();
                    let report = t.map(|t| self.text(t, &Slots::new(), Some(&c.to)));
                    self.send(c.request, c.control, c.to, report);
                }
            }
        }
        let mut i = 0;
        while i < self.motions.len() {
            let m = self.motions[i].clone();
            let shown = self.shows(m.control, &m.to);
            if m.acknowledged && shown == Some(true) {
                self.motions.remove(i);
                moved = true;
                if let Some(text) = m.report {
                    self.speak(text, Priority::Routine, Owner::Nobody);
                }
                self.cross_check(m.control, &m.to);
            } else if m.late_at <= self.sim {
                self.motions.remove(i);
                moved = true;
                let title = self.book.controls[m.control.0 as usize].title.clone();
                match shown {
                    _ if self.sprang_back(&m) => {}
                    Some(_) => self.tell_stuck(&m, "the indication did not follow in time"),
                    None => {
                        if m.report.is_some() {
                            let text = self.wording("cannot_see", &[("what", &title)]);
                            self.speak(text, Priority::Caution, Owner::Nobody);
                        }
                        self.not_done(format!("see {title}"), "no signal shows it".into());
                    }
                }
            } else {
                i += 1;
            }
        }
        moved
    }

    /// What is set now is the other pilot's to confirm, if the book wants it; of several settings the last counts.
    fn cross_check(&mut self, control: ControlId, to: &Value) {
        let book = self.book.clone();
        let Some(ask) = &book.controls[control.0 as usize].reply else { return };
        let what = self.name_of(control, to, &Slots::new());
        self.forget_asks(Asker::Control(control));
        self.ask(Asker::Control(control), ask, Station::FlightDeck, &Slots::new(), Some(what));
    }

    /// A momentary control that was taken and has sprung back has done its work.
    fn sprang_back(&self, m: &Motion) -> bool {
        m.acknowledged && self.book.controls[m.control.0 as usize].kind == ControlKind::Momentary
    }

    pub(super) fn moving(&self, request: u64) -> Moving {
        match self.motions.iter().find(|m| m.request == request) {
            Some(m) if m.acknowledged => Moving::Taken,
            Some(_) => Moving::Sent,
            None => Moving::Over,
        }
    }

    pub(super) fn already(&self, control: ControlId, to: &Value) -> bool {
        self.shows(control, to) == Some(true)
    }

    pub(super) fn motion_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.motions.iter().map(|m| Deadline::Sim(m.late_at))
    }
}

/// Whether an indication shows a wanted value: numbers to 0.05, on a control without detents to half of one per cent.
fn close(kind: ControlKind, shown: &Value, to: &Value) -> bool {
    let part = if kind == ControlKind::Position { 0.005 } else { 0.0 };
    match (shown, to) {
        (Value::Number(a), Value::Number(b)) => (a - b).abs() <= (part * b.abs()).max(0.05),
        (a, b) => a == b,
    }
}
