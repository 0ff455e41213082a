//! From an accepted utterance to what it sets going.

use super::talk::Owner;
use super::{Crew, Slots};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Act, Call, ChecklistId, Priority, SheetId};
use crate::core::crew::io::Note;
use crate::core::grammar::{CallId, Meaning};
use crate::core::matcher::{Choice, Heard, Reason, Thresholds, choose};

/// What the last call began: what "negative" and "disregard" are about.
#[derive(Debug, Clone, Default)]
pub(super) struct LastCall {
    /// In words.
    pub name: String,
    pub request: Option<u64>,
    pub run: Option<u32>,
    pub list: Option<ChecklistId>,
    /// Sheet entries with the values they had before.
    pub sheet: Vec<(SheetId, Option<Value>)>,
}

impl Crew {
    pub(super) fn hear(&mut self, heard: &Heard) {
        let book = self.book.clone();
        let critical = |c: CallId| critical(&book.calls[c.0 as usize], self);
        let thresholds = if heard.typed { Thresholds::text() } else { Thresholds::default() };
        match choose(heard, &book.graph, &self.live, &self.due, critical, &thresholds) {
            Choice::Accept { meanings, not_now, score } => {
                let words = heard.ranked.first().map_or(String::new(), |c| c.text.clone());
                for meaning in meanings {
                    self.note(Note::Accepted { meaning: meaning.clone(), score });
                    self.act_on(&meaning, &words);
                }
                for meaning in not_now {
                    let text = self.wording("not_now", &[("what", &words)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                    self.not_done(meaning.call, "it cannot be said now".into());
                }
            }
            Choice::Refuse { reason, resembling: resembles, text } => {
                self.note(Note::Refused { reason: reason.to_string(), text: text.unwrap_or_default() });
                let due = !self.due.is_empty();
                let key = match reason {
                    Reason::TooFaint if heard.pushed || due => "too_faint",
                    Reason::NothingSaid | Reason::TooFaint | Reason::MicrophoneDead if !heard.pushed => return,
                    // Speech that resembles no call does nothing, unless a button asked for an answer.
                    _ if heard.pushed || resembles => "say_again",
                    _ => return,
                };
                let text = self.wording(key, &[]);
                self.speak(text, Priority::Routine, Owner::Nobody);
            }
        }
    }

    /// One call, to whatever it answers or sets going.
    fn act_on(&mut self, meaning: &Meaning, heard_text: &str) {
        let book = self.book.clone();
        let Some(id) = book.call(&meaning.call) else { return };
        let call = &book.calls[id.0 as usize];
        let mut served = false;
        if let Some(list) = self.item_asked(id) {
            self.respond(list, meaning);
            served = true;
        } else if let Some(ask) = self.asked_for(id) {
            self.answer(ask, meaning);
            served = true;
        }
        if call.does.is_empty() {
            if !served {
                self.not_done(format!("act on \u{201c}{}\u{201d}", call.id), "nothing waits for it".into());
            }
            return;
        }
        if !served && !self.may_say(id) {
            let text = self.wording("not_now", &[("what", heard_text)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
            return self.not_done(call.id.clone(), "its condition does not hold".into());
        }
        self.run_effects(call, meaning, heard_text);
    }

    fn run_effects(&mut self, call: &Call, meaning: &Meaning, heard_text: &str) {
        let mut last = LastCall { name: heard_text.to_string(), ..LastCall::default() };
        let mut first_done = false;
        let mut conversation = false;
        for effect in &call.does {
            let wanted = if effect.also { first_done } else { !first_done };
            if !wanted || !self.holds(effect.only_if.as_ref(), &meaning.slots) {
                continue;
            }
            first_done = true;
            conversation |= matches!(effect.act, Act::Engine(_));
            self.effect(&effect.act, &meaning.slots, &mut last);
        }
        if !first_done {
            let why: Vec<&str> = call.does.iter().filter_map(|e| Some(e.only_if.as_ref()?.text.as_str())).collect();
            let text = self.wording("not_now", &[("what", heard_text)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
            self.not_done(call.id.clone(), format!("{} does not hold", why.join(" nor ")));
        }
        if !conversation {
            self.last_call = Some(last);
        }
    }

    fn effect(&mut self, act: &Act, slots: &Slots, last: &mut LastCall) {
        match act {
            Act::Flow(flow) => {
                let title = self.book.flows[flow.0 as usize].title.clone();
                match self.begin_flow(*flow, slots.clone()) {
                    Some(run) => {
                        last.name = title;
                        last.run = Some(run);
                    }
                    None => {
                        let text = self.wording("not_now", &[("what", &title)]);
                        self.speak(text, Priority::Routine, Owner::Nobody);
                    }
                }
            }
            Act::Checklist(list) => {
                let book = self.book.clone();
                let title = self.text(&book.checklists[list.0 as usize].title, slots, None);
                if self.begin_list(*list) {
                    last.name = title;
                    last.list = Some(*list);
                } else {
                    let text = self.wording("not_now", &[("what", &title)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                }
            }
            Act::Set(control, to) => match to.eval(&self.scope(slots, None)) {
                Some(to) => {
                    last.name = self.name_of(*control, &to, slots);
                    last.request = self.command(*control, to, slots);
                }
                None => {
                    let title = self.book.controls[control.0 as usize].title.clone();
                    let text = self.wording("cannot_see", &[("what", &title)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                    self.not_done(title, format!("{} is unknown", to.text));
                }
            },
            Act::Phase(phase) => self.go_to(*phase),
            Act::Sheet(entry, value) => {
                last.sheet.push((*entry, self.sheet[entry.0 as usize].clone()));
                let value = value.eval(&self.scope(slots, None));
                self.write_sheet(*entry, value);
            }
            Act::Speak(t, station) => {
                let text = self.text(t, slots, None);
                self.speak_as(*station, text, Priority::Routine, Owner::Nobody);
            }
            Act::Engine(intrinsic) => self.intrinsic(*intrinsic),
        }
    }

    /// The pilot's own hand on the sheet.
    pub(super) fn pencil(&mut self, entry: &str, value: &Value) {
        match self.book.sheet.iter().position(|e| e.id == entry) {
            Some(i) => self.write_sheet(SheetId(i as u16), Some(value.clone())),
            None => self.not_done(format!("write {entry}"), "the book has no such entry".into()),
        }
    }

    pub(super) fn write_sheet(&mut self, entry: SheetId, value: Option<Value>) {
        let book = self.book.clone();
        let e = &book.sheet[entry.0 as usize];
        match value {
            Some(v) if v.fits(&e.kind) => {
                self.sheet[entry.0 as usize] = Some(v.clone());
                self.note(Note::Sheet { entry: e.id.clone(), value: v });
            }
            Some(v) => self.not_done(format!("write {}", e.title), format!("{v} is not of its type")),
            None => self.not_done(format!("write {}", e.title), "its value is unknown".into()),
        }
    }
}

/// A call needs the stricter score if it says so itself or moves a control that does.
fn critical(call: &Call, crew: &Crew) -> bool {
    let moves = |act: &Act| matches!(act, Act::Set(c, _) if crew.book.controls[c.0 as usize].critical);
    call.critical || call.does.iter().any(|e| moves(&e.act))
}
