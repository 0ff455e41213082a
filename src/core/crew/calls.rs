//! From an accepted utterance to what it sets going.

use super::sheet::Fact;
use super::talk::Owner;
use super::{Crew, Slots, Who};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Act, Call, ChecklistId, ControlId, Priority, SheetId, Source};
use crate::core::crew::io::Note;
use crate::core::grammar::{CallId, CallSet, Meaning};
use crate::core::matcher::{Choice, Heard, Reason, Thresholds, choose};

/// What the last call began: what "negative" and "disregard" are about.
#[derive(Debug, Clone, Default)]
pub(super) struct LastCall {
    /// In words.
    pub name: String,
    pub request: Option<u64>,
    pub run: Option<u32>,
    pub list: Option<ChecklistId>,
    /// Sheet entries as they were before.
    pub sheet: Vec<Kept>,
    /// What it put off.
    pub put_off: Vec<u64>,
    /// What it was heard as.
    pub meanings: Vec<Meaning>,
    /// The control that it commands, with the value it had before.
    pub before: Option<(ControlId, Value)>,
    /// Whether anything came of it, beside words.
    pub did: bool,
}

/// An entry of the sheet as it was.
#[derive(Debug, Clone)]
pub(super) struct Kept {
    pub entry: SheetId,
    pub value: Option<Value>,
    pub fact: Fact,
}

/// A sound shorter than this is no answer, s.
const ANSWER_S: f64 = 0.3;

impl Crew {
    pub(super) fn hear(&mut self, heard: &Heard) {
        let book = self.book.clone();
        self.typed = heard.typed;
        let critical = |c: CallId| book.is_critical(c);
        let thresholds = if heard.typed { Thresholds::text() } else { Thresholds::default() };
        let heard = &self.without_rejected(heard);
        let choice = if heard.over_us {
            choose(heard, &book.graph, &self.always_live(), &CallSet::none(), critical, &thresholds.strict())
        } else {
            choose(heard, &book.graph, &self.live, &self.due, critical, &thresholds)
        };
        match choice {
            Choice::Accept { meanings, not_now, score } => {
                let words = heard.ranked.first().map_or(String::new(), |c| c.text.clone());
                let later = |m: &&Meaning| self.call_of(m).is_some_and(|c| c.later.is_some());
                let put_off = meanings.iter().find(later).cloned();
                let mut waits = Vec::new();
                for meaning in meanings {
                    self.note(Note::Accepted { meaning: meaning.clone(), score });
                    if let Some(id) = book.call(&meaning.call) {
                        self.heard_at.insert(id.0, self.at);
                    }
                    match &put_off {
                        Some(by) if *by == meaning => {}
                        Some(_) if self.call_of(&meaning).is_some_and(|c| !conversation(c)) => {
                            waits.push((meaning, words.clone()));
                        }
                        _ => self.act_on(&meaning, &words),
                    }
                }
                if let Some(by) = put_off {
                    self.put_off_calls(&by, waits);
                }
                for meaning in not_now {
                    let text = self.wording("not_now", &[("what", &words)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                    self.not_done(meaning.call, "it cannot be said now".into());
                }
            }
            Choice::Refuse { reason, resembling: resembles, text } => {
                self.note(Note::Refused { reason: reason.to_string(), text: text.unwrap_or_default() });
                if !matches!(reason, Reason::NothingSaid | Reason::MicrophoneDead) {
                    // He spoke: that is no silence, whatever it was.
                    self.not_silent();
                }
                let due = !self.due.is_empty();
                let challenged = self.due_response().is_some();
                let spoke = heard.speech.1.since(heard.speech.0) >= ANSWER_S;
                // What sounded while we spoke was our own voice as like as not.
                if (self.asleep().is_some() || heard.over_us) && !heard.pushed {
                    return;
                }
                let key = match reason {
                    Reason::TooFaint if heard.pushed || due => "too_faint",
                    Reason::NothingSaid | Reason::TooFaint | Reason::MicrophoneDead if !heard.pushed => return,
                    // Speech that resembles no call does nothing, unless a button or a challenge asked for an answer.
                    _ if heard.pushed || resembles || (challenged && spoke) => "say_again",
                    _ => return,
                };
                let text = self.wording(key, &[]);
                self.speak(text, Priority::Routine, Owner::Nobody);
            }
        }
    }

    fn call_of(&self, meaning: &Meaning) -> Option<&Call> {
        self.book.call(&meaning.call).map(|id| &self.book.calls[id.0 as usize])
    }

    /// One call, to whatever it answers or sets going.
    pub(super) fn act_on(&mut self, meaning: &Meaning, heard_text: &str) {
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
        served |= self.mention(id, meaning);
        served |= book.callouts.iter().any(|c| c.heard_as == Some(id));
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
        let meanings = vec![meaning.clone()];
        let mut last = LastCall { name: heard_text.to_string(), meanings, ..LastCall::default() };
        let mut first_done = false;
        let mut conversation = false;
        for effect in &call.does {
            let wanted = if effect.also { first_done } else { !first_done };
            if !wanted || !self.holds(effect.only_if.as_ref(), &meaning.slots) {
                continue;
            }
            first_done = true;
            conversation |= matches!(effect.act, Act::Engine(_));
            let waits = effect.once.as_ref().filter(|e| self.truth(e, &meaning.slots) != Some(true));
            match waits {
                Some(until) => last.put_off.push(self.put_off_effect(heard_text, &effect.act, until, &meaning.slots)),
                None => self.effect(&effect.act, &meaning.slots, &mut last),
            }
            if let Act::Set(control, to) = &effect.act
                && last.request.is_none()
                && let Some(to) = to.eval(&self.scope(&meaning.slots, None))
                && self.stands_against(*control, &to, &meaning.slots).is_some()
            {
                self.remember_refused(meaning, &last.name);
            }
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

    pub(super) fn effect(&mut self, act: &Act, slots: &Slots, last: &mut LastCall) {
        match act {
            Act::Flow(flow) => {
                let title = self.book.flows[flow.0 as usize].title.clone();
                match self.call_flow(*flow, slots.clone()) {
                    Some(run) => {
                        last.name = title;
                        last.run = Some(run);
                        last.did = true;
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
                    last.did = true;
                } else {
                    let text = self.wording("not_now", &[("what", &title)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                }
            }
            Act::Set(control, to) => match to.eval(&self.scope(slots, None)) {
                Some(to) => {
                    last.name = self.name_of(*control, &to, slots);
                    last.before = self.stands_at(*control).map(|v| (*control, v));
                    last.request = self.command(*control, to, slots);
                    last.did |= last.request.is_some();
                }
                None => {
                    let title = self.book.controls[control.0 as usize].title.clone();
                    let text = self.wording("cannot_see", &[("what", &title)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                    self.not_done(title, format!("{} is unknown", to.text));
                }
            },
            Act::Phase(phase) => {
                last.did = true;
                self.go_to(*phase);
            }
            Act::Sheet(entry, value) => {
                last.did = true;
                last.sheet.push(self.keep(*entry));
                let value = value.eval(&self.scope(slots, None));
                let source = if self.typed { Source::Typed } else { Source::Spoken };
                self.write_sheet(*entry, value, source);
            }
            Act::Speak(t, station) => {
                let text = self.text(t, slots, None);
                self.speak_as(*station, text, Priority::Routine, Owner::Nobody);
            }
            Act::Briefing(index) => {
                if !self.begin_briefing(*index) {
                    let title = self.book.briefings[*index as usize].title.clone();
                    self.tell("not_now", &title);
                }
            }
            Act::Engine(intrinsic) => self.intrinsic(*intrinsic),
            Act::Checked(entries) => self.checked(entries, Who::Pilot),
            Act::Compute(entries) => self.compute(entries),
            Act::Survey { phase, place } => self.survey(*phase, *place),
        }
    }
}

/// Whether a call is about the conversation itself.
fn conversation(call: &Call) -> bool {
    call.does.iter().any(|e| matches!(e.act, Act::Engine(_)))
}
