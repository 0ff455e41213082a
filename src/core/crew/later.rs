//! What has been put off: calls and effects that wait for their moment. Told on request, and dropped by a word.

use super::calls::LastCall;
use super::talk::Owner;
use super::{Crew, Slots};
use crate::core::book::expr::Expr;
use crate::core::book::schema::{Act, Later, Priority};
use crate::core::crew::io::Note;
use crate::core::grammar::Meaning;
use crate::core::time::SessionTime;

/// What waits.
#[derive(Debug, Clone)]
enum Thing {
    /// A whole call, as it was heard.
    Call(Meaning),
    /// One effect of a call (`once`).
    Effect(Act),
}

/// Something put off.
#[derive(Debug, Clone)]
pub(super) struct PutOff {
    pub id: u64,
    /// In words.
    name: String,
    thing: Thing,
    until: Later,
    /// The slots that `until` and an effect see.
    slots: Slots,
}

/// What was refused may be put off this long afterwards ("… when the speed is good"), s.
const REFUSED_FOR_S: f64 = 15.0;

impl Crew {
    /// A call that puts off: the others of its breath, or what was refused last.
    pub(super) fn put_off_calls(&mut self, by: &Meaning, others: Vec<(Meaning, String)>) {
        let book = self.book.clone();
        let Some(until) = book.call(&by.call).and_then(|c| book.calls[c.0 as usize].later.clone()) else { return };
        let recent = self.refused.take().filter(|(_, _, at)| self.at.since(*at) <= REFUSED_FOR_S);
        let calls = if others.is_empty() { recent.map(|(m, name, _)| (m, name)).into_iter().collect() } else { others };
        if calls.is_empty() {
            let text = self.wording("nothing_waits", &[]);
            self.speak(text, Priority::Routine, Owner::Nobody);
            return self.not_done(by.call.clone(), "there is nothing to put off".into());
        }
        let mut last = LastCall::default();
        for (meaning, name) in calls {
            let name = self.call_name(&meaning).unwrap_or(name);
            last.name = name.clone();
            last.put_off.push(self.put_off(name, Thing::Call(meaning), until.clone(), by.slots.clone()));
        }
        let text = self.wording("put_off", &[("what", &last.name)]);
        self.speak(text, Priority::Routine, Owner::Nobody);
        self.last_call = Some(last);
    }

    /// An effect that waits for its own moment.
    pub(super) fn put_off_effect(&mut self, name: &str, act: &Act, until: &Expr, slots: &Slots) -> u64 {
        self.put_off(name.to_string(), Thing::Effect(act.clone()), Later::Until(until.clone()), slots.clone())
    }

    fn put_off(&mut self, name: String, thing: Thing, until: Later, slots: Slots) -> u64 {
        self.next_request += 1;
        let id = self.next_request;
        self.note(Note::PutOff { what: name.clone(), state: "waits".into() });
        self.later.push(PutOff { id, name, thing, until, slots });
        id
    }

    /// What a call would set, in the words of the control.
    fn call_name(&self, meaning: &Meaning) -> Option<String> {
        let book = self.book.clone();
        let call = &book.calls[book.call(&meaning.call)?.0 as usize];
        call.does.iter().find_map(|e| match &e.act {
            Act::Set(control, to) => {
                let to = to.eval(&self.scope(&meaning.slots, None))?;
                Some(self.name_of(*control, &to, &meaning.slots))
            }
            _ => None,
        })
    }

    /// Whether a call would be done if it were made now: nothing stands against what it sets.
    fn clear(&self, meaning: &Meaning) -> bool {
        let book = self.book.clone();
        let Some(id) = book.call(&meaning.call) else { return false };
        let first = book.calls[id.0 as usize].does.iter().find(|e| self.holds(e.only_if.as_ref(), &meaning.slots));
        match first.map(|e| &e.act) {
            Some(Act::Set(control, to)) => to
                .eval(&self.scope(&meaning.slots, None))
                .is_some_and(|to| self.stands_against(*control, &to, &meaning.slots).is_none()),
            Some(Act::Speak(..)) | None => false,
            Some(_) => true,
        }
    }

    fn due(&self, p: &PutOff) -> bool {
        match (&p.until, &p.thing) {
            (Later::Until(e), _) => self.truth(e, &p.slots) == Some(true),
            (Later::Clear, Thing::Call(m)) => self.clear(m),
            (Later::Clear, Thing::Effect(_)) => true,
        }
    }

    pub(super) fn move_later(&mut self) -> bool {
        let mut moved = false;
        while let Some(i) = self.later.iter().position(|p| self.due(p)) {
            let p = self.later.remove(i);
            moved = true;
            self.note(Note::PutOff { what: p.name.clone(), state: "due".into() });
            match p.thing {
                Thing::Call(meaning) => self.act_on(&meaning, &p.name),
                Thing::Effect(act) => {
                    let mut last = LastCall { name: p.name, ..LastCall::default() };
                    self.effect(&act, &p.slots, &mut last);
                }
            }
        }
        moved
    }

    /// Drops what these ids name; whether anything was dropped.
    pub(super) fn drop_put_off(&mut self, wanted: impl Fn(u64) -> bool, why: &str) -> bool {
        let gone: Vec<PutOff> = self.later.iter().filter(|p| wanted(p.id)).cloned().collect();
        self.later.retain(|p| !wanted(p.id));
        for p in &gone {
            self.note(Note::PutOff { what: p.name.clone(), state: "dropped".into() });
            self.not_done(p.name.clone(), why.to_string());
        }
        !gone.is_empty()
    }

    /// Everything that waits, in words.
    pub(super) fn put_off_names(&self) -> Vec<String> {
        self.later.iter().map(|p| p.name.clone()).collect()
    }

    /// A command that something stood against: it may be put off by the next words.
    pub(super) fn remember_refused(&mut self, meaning: &Meaning, name: &str) {
        self.refused = Some((meaning.clone(), name.to_string(), self.at));
    }
}

/// A refused call, its words, and when.
pub(super) type Refused = (Meaning, String, SessionTime);
