//! Briefings: ordinary calls sleep, topics are ticked as they come up, what was left out is asked for.

use super::talk::Owner;
use super::{Crew, Slots, Who, glance};
use crate::core::book::schema::{Intrinsic, Priority, Topic};
use crate::core::crew::io::Note;
use crate::core::grammar::{CallId, CallSet, Meaning};
use std::collections::BTreeSet;

/// A briefing under way.
#[derive(Debug, Clone)]
pub(super) struct Briefed {
    index: u16,
    ticked: BTreeSet<usize>,
    /// The topic that the program itself is at; `None` when the pilot briefs.
    own: Option<usize>,
    /// What was left out has been asked for.
    asked: bool,
}

impl Crew {
    /// The briefing that goes on, to be shown.
    pub(super) fn briefing_seen(&self) -> Option<glance::Briefing> {
        let now = self.briefing.as_ref()?;
        let b = self.book.briefings.get(now.index as usize)?;
        let topic = |(i, t): (usize, &Topic)| (t.title.clone(), now.ticked.contains(&i));
        Some(glance::Briefing { title: b.title.clone(), topics: b.topics.iter().enumerate().map(topic).collect() })
    }

    /// Begins a briefing; false if it may not begin, which is noted.
    pub(super) fn begin_briefing(&mut self, index: u16) -> bool {
        let book = self.book.clone();
        let b = &book.briefings[index as usize];
        if !b.phases.is_empty() && !b.phases.contains(&self.phase) {
            self.not_done(b.title.clone(), "it does not belong to this phase".into());
            return false;
        }
        let own = self.who(b.by) == Who::Program;
        self.note(Note::Briefing { briefing: b.id.clone(), topic: String::new(), state: "begun".into() });
        self.briefing =
            Some(Briefed { index, ticked: BTreeSet::new(), own: if own { Some(0) } else { None }, asked: false });
        if own {
            self.brief_topic();
        } else {
            self.tell("briefing_begun", &b.title);
        }
        true
    }

    /// The program's own next topic, or the end.
    fn brief_topic(&mut self) {
        let book = self.book.clone();
        let Some(now) = self.briefing.as_mut() else { return };
        let b = &book.briefings[now.index as usize];
        let Some(i) = now.own else { return };
        let Some(topic) = b.topics.get(i) else { return self.end_briefing(true) };
        now.ticked.insert(i);
        let text = self.text(&topic.say, &Slots::new(), None);
        self.note(Note::Briefing { briefing: b.id.clone(), topic: topic.id.clone(), state: "briefed".into() });
        self.speak(text, Priority::Routine, Owner::Briefing);
    }

    pub(super) fn briefing_spoken(&mut self) {
        if let Some(i) = self.briefing.as_mut().and_then(|b| b.own.as_mut()) {
            *i += 1;
            self.brief_topic();
        }
    }

    /// Whether a call belongs to the briefing that runs; then it is ticked or objected to.
    pub(super) fn mention(&mut self, call: CallId, meaning: &Meaning) -> bool {
        let book = self.book.clone();
        let Some(now) = &self.briefing else { return false };
        let b = &book.briefings[now.index as usize];
        let Some((i, topic)) = b.topics.iter().enumerate().find(|(_, t)| t.mention == Some(call)) else {
            return false;
        };
        let agrees = topic.verify.as_ref().map(|e| self.truth(e, &meaning.slots));
        let state = match agrees {
            Some(Some(false)) => {
                let text = match &topic.shown {
                    Some(t) => self.text(t, &meaning.slots, None),
                    None => self.wording("asked_again", &[("what", &topic.title)]),
                };
                self.speak(text, Priority::Caution, Owner::Nobody);
                "contradicted"
            }
            Some(None) => "cannot_see",
            _ => "agreed",
        };
        if state != "contradicted"
            && let Some(now) = self.briefing.as_mut()
        {
            now.ticked.insert(i);
        }
        self.note(Note::Briefing { briefing: b.id.clone(), topic: topic.id.clone(), state: state.into() });
        true
    }

    /// "Briefing complete": what was left out is asked for once.
    pub(super) fn briefing_complete(&mut self) {
        let book = self.book.clone();
        let Some(now) = self.briefing.as_mut() else { return self.tell("nothing_waits", "") };
        let b = &book.briefings[now.index as usize];
        let left: Vec<&str> = b
            .topics
            .iter()
            .enumerate()
            .filter(|(i, _)| !now.ticked.contains(i))
            .map(|(_, t)| t.title.as_str())
            .collect();
        if left.is_empty() {
            return self.end_briefing(true);
        }
        if !now.asked {
            now.asked = true;
            let left = left.join(", ");
            return self.tell("briefing_left_out", &left);
        }
        for title in left {
            self.not_done(format!("brief {title}"), "it was not mentioned".into());
        }
        self.end_briefing(true);
    }

    /// Ends the briefing that runs, if one does.
    pub(super) fn end_briefing(&mut self, complete: bool) {
        let book = self.book.clone();
        let Some(now) = self.briefing.take() else { return };
        let b = &book.briefings[now.index as usize];
        self.disown(Owner::Briefing);
        let state = if complete { "complete" } else { "cancelled" };
        self.note(Note::Briefing { briefing: b.id.clone(), topic: String::new(), state: state.into() });
        if complete {
            self.done.insert(b.id.clone());
            let text = self.text(&b.complete, &Slots::new(), None);
            self.speak(text, Priority::Routine, Owner::Nobody);
        }
    }

    /// What can be said while a briefing runs or the pilot speaks to somebody else: `None` in ordinary times.
    pub(super) fn asleep(&self) -> Option<CallSet> {
        let book = &self.book;
        let always =
            |critical: bool| book.calls.iter().enumerate().filter(move |(_, c)| c.always && (c.critical || !critical));
        if self.suspended {
            let mut live: CallSet = always(true).map(|(i, _)| CallId(i as u16)).collect();
            self.calls_that(Intrinsic::Attend).into_iter().for_each(|c| live.insert(c));
            return Some(live);
        }
        let now = self.briefing.as_ref().filter(|b| b.own.is_none())?;
        let mut live: CallSet = always(false).map(|(i, _)| CallId(i as u16)).collect();
        let topics = &book.briefings[now.index as usize].topics;
        topics.iter().filter_map(|t| t.mention).for_each(|c| live.insert(c));
        self.calls_that(Intrinsic::BriefingComplete).into_iter().for_each(|c| live.insert(c));
        Some(live)
    }
}
