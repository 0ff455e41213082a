//! Checklists: challenge and response, each answer verified against the aircraft.

mod glance;

use super::talk::Owner;
use super::{Crew, Deadline, Slots, Who};
use crate::core::book::expr::Expr;
use crate::core::book::schema::{ChecklistId, Item, Known, Priority};
use crate::core::crew::io::Note;
use crate::core::grammar::{CallId, Meaning};
use crate::core::time::SessionTime;
use std::collections::BTreeSet;

/// A checklist under way. Only the last of [`Crew::lists`] is read; those before it wait.
#[derive(Debug, Clone)]
pub(super) struct Reading {
    pub list: ChecklistId,
    item: usize,
    stage: Stage,
    pub held: bool,
    /// The pilot has answered the present item; with `by = both` the program answers next.
    pilot_done: bool,
    /// The answer of the present item was contradicted or could not be checked.
    state: &'static str,
    slots: Slots,
    /// When the present challenge ended.
    asked_at: SessionTime,
    repeats: u32,
    /// Only these are read: a change of the sheet has opened them again.
    only: Option<BTreeSet<usize>>,
    /// Settled already, and to be read once more.
    again: BTreeSet<usize>,
    /// Where the reading goes on after such a one.
    back: Option<usize>,
    /// The last item that was agreed.
    agreed: Option<usize>,
}

#[derive(Debug, Clone, PartialEq)]
enum Stage {
    /// Waits until the hands are free.
    Queued { told: bool },
    /// The title is being spoken.
    Title(u64),
    /// The item may begin.
    Open { told: bool },
    /// The challenge is being spoken.
    Challenge(u64),
    /// The pilot's answer is due.
    Due(SessionTime),
    /// A contradiction is being spoken.
    Objecting(u64),
    /// The program cannot agree to its own item yet.
    Own { told: bool },
    /// The program's answer is being spoken.
    Answering(u64),
    /// The completion call is being spoken.
    Complete(u64),
}

impl Crew {
    pub(super) fn list_runs(&self, list: ChecklistId) -> bool {
        self.lists.iter().any(|l| l.list == list)
    }

    /// Begins a checklist, or says why not.
    pub(super) fn begin_list(&mut self, list: ChecklistId) -> bool {
        let book = self.book.clone();
        let c = &book.checklists[list.0 as usize];
        let refused = if self.list_runs(list) {
            Some("it is being read already")
        } else if !c.phases.is_empty() && !c.phases.contains(&self.phase) && !self.reopened.contains_key(&c.id) {
            Some("it does not belong to this phase")
        } else {
            None
        };
        let title = self.text(&c.title, &Slots::new(), None);
        if let Some(why) = refused {
            self.not_done(title, why.into());
            return false;
        }
        self.note(Note::Checklist { checklist: c.id.clone(), state: "begun".into() });
        if self.who(c.reader) == Who::Pilot {
            self.not_done(format!("leave the reading of {title} to the pilot"), "he called for it".into());
        }
        let only = self.reopened.get(&c.id).cloned().filter(|items| !items.is_empty());
        self.lists.push(Reading {
            list,
            item: 0,
            stage: Stage::Queued { told: false },
            held: false,
            pilot_done: false,
            state: "agreed",
            slots: Slots::new(),
            asked_at: self.at,
            repeats: 0,
            only,
            again: BTreeSet::new(),
            back: None,
            agreed: None,
        });
        true
    }

    fn item(&self, i: usize) -> Option<&Item> {
        let l = self.lists.get(i)?;
        self.book.checklists[l.list.0 as usize].items.get(l.item)
    }

    /// The challenges from the present item on.
    pub(super) fn items_left(&self) -> Vec<String> {
        let Some(l) = self.lists.last() else { return Vec::new() };
        let items = &self.book.checklists[l.list.0 as usize].items;
        items.iter().skip(l.item).map(|i| self.text(&i.challenge, &Slots::new(), None)).collect()
    }

    fn say_in_list(&mut self, i: usize, text: String, stage: fn(u64) -> Stage) {
        let owner = Owner::List(self.lists[i].list);
        let id = self.speak(text, Priority::Routine, owner);
        self.lists[i].stage = stage(id);
    }

    pub(super) fn move_lists(&mut self) -> bool {
        let mut moved = false;
        while !self.lists.is_empty() && self.move_list(self.lists.len() - 1) {
            moved = true;
        }
        moved
    }

    fn move_list(&mut self, i: usize) -> bool {
        let l = self.lists[i].clone();
        if l.held {
            return false;
        }
        let book = self.book.clone();
        let c = &book.checklists[l.list.0 as usize];
        match l.stage {
            Stage::Queued { told } => {
                if let Some(flow) = self.busy_flow() {
                    if told {
                        return false;
                    }
                    let what = book.flows[flow.0 as usize].title.clone();
                    let text = self.wording("flow_waits", &[("what", &what)]);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                    self.lists[i].stage = Stage::Queued { told: true };
                    return true;
                }
                let title = self.text(&c.title, &Slots::new(), None);
                self.say_in_list(i, title, Stage::Title);
                true
            }
            Stage::Open { told } => self.open_item(i, told),
            Stage::Due(deadline) if deadline <= self.at => {
                let Some(item) = self.item(i).cloned() else { return false };
                let challenge = self.text(&item.challenge, &Slots::new(), None);
                if l.repeats == 0 {
                    self.lists[i].repeats = 1;
                    self.say_in_list(i, challenge, Stage::Challenge);
                } else {
                    // Asked once more already: it waits in silence, and the record says so.
                    self.not_done(format!("item \u{201c}{challenge}\u{201d}"), "no answer yet".into());
                    self.lists[i].stage = Stage::Due(SessionTime(i64::MAX));
                }
                true
            }
            Stage::Own { told } => self.own_item(i, told),
            _ => false,
        }
    }

    fn open_item(&mut self, i: usize, told: bool) -> bool {
        let book = self.book.clone();
        let l = self.lists[i].clone();
        let c = &book.checklists[l.list.0 as usize];
        if l.back.is_none()
            && let Some(first) = self.lists[i].again.pop_first()
        {
            (self.lists[i].back, self.lists[i].item) = (Some(l.item), first);
            return true;
        }
        let left_out = l.back.is_none() && l.only.as_ref().is_some_and(|only| !only.contains(&l.item));
        if left_out && l.item < c.items.len() {
            self.lists[i].item += 1;
            return true;
        }
        let Some(item) = c.items.get(l.item) else {
            let text = self.text(&c.complete, &Slots::new(), None);
            self.say_in_list(i, text, Stage::Complete);
            return true;
        };
        if !self.holds(item.waits_for.as_ref(), &Slots::new()) {
            if told {
                return false;
            }
            let challenge = self.text(&item.challenge, &Slots::new(), None);
            let text = self.wording("checklist_hold", &[("item", &challenge)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
            self.lists[i].stage = Stage::Open { told: true };
            return true;
        }
        let text = self.text(&item.challenge, &Slots::new(), None);
        self.lists[i].pilot_done = false;
        self.lists[i].state = "agreed";
        self.lists[i].repeats = 0;
        self.lists[i].slots = Slots::new();
        self.say_in_list(i, text, Stage::Challenge);
        true
    }

    /// After a sentence of a list.
    pub(super) fn list_spoken(&mut self, list: ChecklistId, id: u64, cut: bool) {
        let Some(list) = self.lists.iter().position(|l| l.list == list) else { return };
        let l = self.lists[list].clone();
        let book = self.book.clone();
        let c = &book.checklists[l.list.0 as usize];
        match l.stage {
            Stage::Title(x) if x == id => self.lists[list].stage = Stage::Open { told: false },
            Stage::Challenge(x) if x == id => {
                if cut && l.repeats < 3 {
                    // Something more urgent cut it: asked again as soon as the voice is free.
                    self.lists[list].repeats += 1;
                    let text = self.item(list).map(|it| it.challenge.clone());
                    let text = text.map(|t| self.text(&t, &Slots::new(), None)).unwrap_or_default();
                    return self.say_in_list(list, text, Stage::Challenge);
                }
                self.lists[list].asked_at = self.at;
                self.ask_item(list);
            }
            Stage::Objecting(x) if x == id => {
                if let Some(item) = c.items.get(l.item) {
                    self.lists[list].stage = Stage::Due(self.at.plus(item.within_s));
                }
            }
            Stage::Answering(x) if x == id => self.settle_item(list),
            Stage::Complete(x) if x == id => {
                self.lists.remove(list);
                self.done.insert(c.id.clone());
                self.reopened.remove(&c.id);
                self.note(Note::Checklist { checklist: c.id.clone(), state: "complete".into() });
                if let Some(p) = c.then_phase {
                    self.go_to(p);
                }
                self.reopen();
            }
            _ => {}
        }
    }

    /// A list that waited for another asks its item again.
    fn reopen(&mut self) {
        if let Some(l) = self.lists.last_mut()
            && matches!(l.stage, Stage::Due(_) | Stage::Challenge(_))
        {
            l.stage = Stage::Open { told: false };
        }
    }

    /// The challenge has been spoken: whose answer is it?
    fn ask_item(&mut self, i: usize) {
        let Some(item) = self.item(i).cloned() else { return };
        let who = self.who(item.by);
        let pilot = item.respond.is_some() && who != Who::Program;
        self.lists[i].stage = if pilot && !self.lists[i].pilot_done {
            Stage::Due(self.at.plus(item.within_s))
        } else {
            Stage::Own { told: false }
        };
    }

    /// The program's own item: it says only what the aircraft shows.
    fn own_item(&mut self, i: usize, told: bool) -> bool {
        let Some(item) = self.item(i).cloned() else { return false };
        let slots = self.lists[i].slots.clone();
        // Without an answer of the pilot there is no value of his to hold against the aircraft's.
        let alone = !self.lists[i].pilot_done;
        let agrees = |e: &Expr| if alone { e.without_slots(&self.scope(&slots, None)) } else { self.truth(e, &slots) };
        match item.verify.as_ref().map(agrees) {
            Some(Some(false)) => {
                if told {
                    return false;
                }
                self.lists[i].state = "contradicted";
                let text = self.objection(&item, &slots);
                self.speak(text, Priority::Caution, Owner::Nobody);
                self.lists[i].stage = Stage::Own { told: true };
                true
            }
            Some(None) => {
                let challenge = self.text(&item.challenge, &slots, None);
                let text = self.wording("cannot_see", &[("what", &challenge)]);
                self.lists[i].state = "cannot_see";
                // What cannot be seen is asked of the pilot, if the book has words for his answer.
                let asks = item.respond.is_some() && !self.lists[i].pilot_done;
                self.say_in_list(i, text, if asks { Stage::Objecting } else { Stage::Answering });
                true
            }
            _ => {
                let text = item.say.as_ref().map(|t| self.text(t, &slots, None)).unwrap_or_default();
                self.say_in_list(i, text, Stage::Answering);
                true
            }
        }
    }

    fn objection(&self, item: &Item, slots: &Slots) -> String {
        let challenge = self.text(&item.challenge, slots, None);
        let shown = item.shown.as_ref().map(|t| self.text(t, slots, None)).unwrap_or_default();
        self.wording("contradicted", &[("item", &challenge), ("shown", &shown)])
    }

    /// The list whose present item a call would answer.
    pub(super) fn item_asked(&self, call: CallId) -> Option<usize> {
        let i = self.lists.len().checked_sub(1)?;
        let l = &self.lists[i];
        let waits = matches!(l.stage, Stage::Challenge(_) | Stage::Due(_) | Stage::Objecting(_));
        (waits && !l.held && !l.pilot_done && self.item(i)?.respond == Some(call)).then_some(i)
    }

    /// The call that would answer now, if one would.
    pub(super) fn due_response(&self) -> Option<CallId> {
        let i = self.lists.len().checked_sub(1)?;
        let call = self.item(i)?.respond?;
        self.item_asked(call).map(|_| call)
    }

    /// The pilot's response to the present item.
    pub(super) fn respond(&mut self, i: usize, meaning: &Meaning) {
        let Some(item) = self.item(i).cloned() else { return };
        if let Stage::Challenge(id) = self.lists[i].stage {
            // Answered before the challenge was out: the answer counts, the rest of the challenge is not needed.
            self.disown(Owner::List(self.lists[i].list));
            self.hush_one(id);
            self.lists[i].asked_at = self.at;
        }
        let slots = meaning.slots.clone();
        match item.verify.as_ref().map(|e| self.truth(e, &slots)) {
            Some(Some(false)) => {
                self.note_item(i, &item, "contradicted");
                self.lists[i].state = "contradicted";
                let text = self.objection(&item, &slots);
                let owner = Owner::List(self.lists[i].list);
                let id = self.speak(text, Priority::Caution, owner);
                self.lists[i].stage = Stage::Objecting(id);
                return;
            }
            Some(None) => {
                self.lists[i].state = "cannot_see";
                let challenge = self.text(&item.challenge, &slots, None);
                let text = self.wording("cannot_see", &[("what", &challenge)]);
                self.speak(text, Priority::Routine, Owner::Nobody);
            }
            _ => self.lists[i].state = "agreed",
        }
        self.lists[i].slots = slots;
        self.lists[i].pilot_done = true;
        if self.who(item.by) == Who::Both && item.say.is_some() {
            self.lists[i].stage = Stage::Own { told: false };
        } else {
            self.settle_item(i);
        }
    }

    fn note_item(&mut self, i: usize, item: &Item, state: &str) {
        let l = &self.lists[i];
        let known = if state == "cannot_see" { Known::HeardOnly } else { item.known };
        let known = match known {
            Known::Seen => "seen",
            Known::HeardOnly => "heard_only",
            Known::Simulated => "simulated",
        };
        let note = Note::Item {
            checklist: self.book.checklists[l.list.0 as usize].id.clone(),
            item: item.id.clone(),
            state: state.into(),
            known: known.into(),
            after_s: self.at.since(l.asked_at),
        };
        self.note(note);
    }

    fn settle_item(&mut self, i: usize) {
        let Some(item) = self.item(i).cloned() else { return };
        // An own item that was contradicted first has been put right before it is answered.
        let state = match self.lists[i].state {
            "cannot_see" => "cannot_see",
            _ => "agreed",
        };
        self.note_item(i, &item, state);
        if state == "agreed" {
            self.lists[i].agreed = Some(self.lists[i].item);
            self.item_checked(&item);
        }
        self.next_item(i);
    }

    /// An item of the list that is being read and was settled already is read once more; false if it was not.
    pub(super) fn ask_item_again(&mut self, list: ChecklistId, item: usize) -> bool {
        let Some(l) = self.lists.iter_mut().find(|l| l.list == list) else { return false };
        let settled = item < l.back.unwrap_or(l.item) && l.only.as_ref().is_none_or(|only| only.contains(&item));
        settled && l.item != item && l.again.insert(item)
    }

    fn next_item(&mut self, i: usize) {
        let l = &mut self.lists[i];
        l.item = l.back.take().unwrap_or(l.item + 1);
        self.lists[i].stage = Stage::Open { told: false };
    }

    /// Leaves the present item (the explicit word); recorded as skipped.
    pub(super) fn skip_item(&mut self) -> bool {
        let Some(i) = self.lists.len().checked_sub(1) else { return false };
        let Some(item) = self.item(i).cloned() else { return false };
        self.disown(Owner::List(self.lists[i].list));
        self.lists[i].agreed = None;
        self.note_item(i, &item, "skipped");
        let challenge = self.text(&item.challenge, &Slots::new(), None);
        self.not_done(format!("item \u{201c}{challenge}\u{201d}"), "the pilot skipped it".into());
        self.next_item(i);
        true
    }

    /// Holds the list that is being read; returns the item it stands at.
    pub(super) fn hold_list(&mut self) -> Option<String> {
        let i = self.lists.len().checked_sub(1)?;
        if self.lists[i].held {
            return None;
        }
        let challenge = self.item(i).map(|it| it.challenge.clone())?;
        self.disown(Owner::List(self.lists[i].list));
        self.lists[i].held = true;
        let checklist = self.book.checklists[self.lists[i].list.0 as usize].id.clone();
        self.note(Note::Checklist { checklist, state: "held".into() });
        Some(self.text(&challenge, &Slots::new(), None))
    }

    /// Goes on with a held list: the last completed item is repeated. Returns the item it resumes at.
    pub(super) fn resume_list(&mut self) -> Option<String> {
        let i = self.lists.len().checked_sub(1)?;
        if !self.lists[i].held {
            return None;
        }
        let l = &mut self.lists[i];
        l.held = false;
        // The last completed item is repeated; one that the pilot left out is not.
        if l.back.is_none() {
            l.item = l.agreed.unwrap_or(l.item);
        }
        l.stage = Stage::Open { told: false };
        let checklist = self.book.checklists[self.lists[i].list.0 as usize].id.clone();
        self.note(Note::Checklist { checklist, state: "resumed".into() });
        let challenge = self.item(i).map(|it| it.challenge.clone())?;
        Some(self.text(&challenge, &Slots::new(), None))
    }

    /// Ends the list that is being read before its end.
    pub(super) fn cancel_list(&mut self, list: ChecklistId, why: &str) {
        let Some(i) = self.lists.iter().position(|l| l.list == list) else { return };
        let book = self.book.clone();
        let c = &book.checklists[list.0 as usize];
        self.disown(Owner::List(self.lists[i].list));
        self.lists.remove(i);
        self.note(Note::Checklist { checklist: c.id.clone(), state: "cancelled".into() });
        let title = self.text(&c.title, &Slots::new(), None);
        self.not_done(title, why.into());
        self.reopen();
    }

    pub(super) fn postpone_items(&mut self) {
        let now = self.at;
        let Some(i) = self.lists.len().checked_sub(1) else { return };
        let within = self.item(i).map(|it| it.within_s);
        if let (Stage::Due(d), Some(s)) = (&mut self.lists[i].stage, within) {
            *d = now.plus(s);
        }
    }

    /// Where every checklist under way stands, in words.
    pub(super) fn lists_stand(&self) -> Vec<String> {
        let told = |(i, l): (usize, &Reading)| {
            let item = self.item(i);
            let waits = match (&l.stage, item) {
                _ if l.held => "held by the pilot".to_string(),
                _ if i + 1 < self.lists.len() => "waits for another list".into(),
                (Stage::Queued { .. }, _) => match self.busy_flow() {
                    Some(f) => format!("waits for the flow {}", self.book.flows[f.0 as usize].id),
                    None => "is about to begin".into(),
                },
                (Stage::Open { .. }, Some(Item { waits_for: Some(e), .. })) => {
                    format!("waits until {}", self.judged(e, &Slots::new()))
                }
                (Stage::Due(_) | Stage::Challenge(_), _) => "waits for the pilot's answer".into(),
                (Stage::Objecting(_), _) => "the aircraft contradicts the answer".into(),
                (Stage::Own { .. }, Some(Item { verify: Some(e), .. })) => {
                    format!("its own answer needs {}", self.judged(e, &l.slots))
                }
                _ => "is speaking".into(),
            };
            let at = item.map_or(String::new(), |it| format!(" at {}", it.id));
            format!("checklist {}{at}: {waits}", self.book.checklists[l.list.0 as usize].id)
        };
        self.lists.iter().enumerate().map(told).collect()
    }

    pub(super) fn list_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.lists.last().into_iter().filter(|l| !l.held).filter_map(|l| match l.stage {
            Stage::Due(t) if t.0 < i64::MAX => Some(Deadline::Session(t)),
            _ => None,
        })
    }
}
