//! Entered anywhere: the aircraft is looked at, what disagrees is told, the rest is taken for granted and recorded so.

use super::talk::Owner;
use super::{Crew, Deadline, Slots};
use crate::core::book::schema::{PhaseId, Priority, Source, Trigger};
use crate::core::crew::io::{Action, Note};
use crate::core::time::SessionTime;
use std::collections::{BTreeSet, VecDeque};

/// A survey that waits for the aircraft's state.
#[derive(Debug, Clone)]
pub(super) struct Surveying {
    phase: PhaseId,
    /// State that came before this does not count.
    from: SessionTime,
    /// Then without it.
    due: SessionTime,
    assumed: Vec<String>,
}

/// Without any state after this long, the survey says that it cannot see.
const BLIND_AFTER_S: f64 = 5.0;
/// An aircraft that is put somewhere shows it after this long.
const PLACED_AFTER_S: f64 = 0.5;

impl Crew {
    /// The flight is in `phase`, entered from outside; `place` asks the link to put the aircraft there.
    pub(super) fn survey(&mut self, phase: PhaseId, place: bool) {
        let book = self.book.clone();
        let Some(p) = book.phases.get(phase.0 as usize) else { return };
        if self.begun_flying {
            self.drop_all("the flight went on elsewhere");
        }
        let assumed = self.assume(phase);
        self.enter(phase, None);
        for (entry, value) in &p.assumes_sheet {
            self.write_sheet(*entry, Some(value.clone()), Source::Assumed);
        }
        // What is set then was not changed by anybody.
        self.changed.retain(|(e, _, _)| p.assumes_sheet.iter().all(|(x, _)| x != e));
        for what in &assumed {
            self.note(Note::Assumed { what: what.clone() });
        }
        let mut from = self.at;
        if place {
            match &p.place {
                Some(name) => {
                    self.out.push(Action::Place { place: name.clone() });
                    from = self.at.plus(PLACED_AFTER_S);
                }
                None => self.not_done(format!("put the aircraft to {}", p.title), "the book names no place".into()),
            }
        }
        self.surveying = Some(Surveying { phase, from, due: self.at.plus(BLIND_AFTER_S), assumed });
    }

    /// Everything before the phase counts as done; returns the ids.
    fn assume(&mut self, phase: PhaseId) -> Vec<String> {
        let book = self.book.clone();
        let p = &book.phases[phase.0 as usize];
        let assumed: Vec<String> = match &p.assumes {
            // What the controller has cleared on the way is no list of the crew's.
            Some(ids) => {
                let cleared = |id: &String| book.clearances.iter().any(|c| c.id == *id);
                ids.iter().cloned().chain(self.lived_through(phase).into_iter().filter(cleared)).collect()
            }
            None => self.lived_through(phase),
        };
        for id in &assumed {
            self.done.insert(id.clone());
            self.spent.insert(id.clone());
            self.reopened.remove(id);
        }
        assumed
    }

    /// What would have been done on the shortest way from the first phase: the lists and flows of the phases before,
    /// less what a phase on the way re-arms.
    fn lived_through(&self, phase: PhaseId) -> Vec<String> {
        let book = &self.book;
        let way = self.way_to(phase);
        let mut done: BTreeSet<&str> = BTreeSet::new();
        for (n, here) in way.iter().enumerate() {
            for id in book.phases.get(here.0 as usize).iter().flat_map(|p| &p.rearms) {
                done.remove(id.as_str());
            }
            if n + 1 == way.len() {
                break;
            }
            for c in &book.checklists {
                if c.phases.contains(here) && !c.phases.contains(&phase) {
                    done.insert(&c.id);
                }
            }
            for c in &book.clearances {
                if c.phases.contains(here) && !c.phases.contains(&phase) {
                    done.insert(&c.id);
                }
            }
            for f in &book.flows {
                let begins_here = f.phases.contains(here) && !f.phases.contains(&phase);
                let on_the_way = |t: &Trigger| !matches!(t, Trigger::OnPhase(q) if !way.contains(q));
                if begins_here && f.start.iter().all(on_the_way) {
                    done.insert(&f.id);
                }
            }
        }
        done.into_iter().map(str::to_string).collect()
    }

    /// The shortest way from the first phase, both ends included; the phase alone if none leads there.
    fn way_to(&self, phase: PhaseId) -> Vec<PhaseId> {
        let book = &self.book;
        let first = book.first_phase.unwrap_or(PhaseId(0));
        let mut from: Vec<Option<PhaseId>> = vec![None; book.phases.len()];
        let (mut open, mut seen) = (VecDeque::from([first]), BTreeSet::from([first]));
        while let Some(here) = open.pop_front() {
            for next in book.phases.get(here.0 as usize).iter().flat_map(|p| &p.next) {
                if seen.insert(*next) {
                    from[next.0 as usize] = Some(here);
                    open.push_back(*next);
                }
            }
        }
        let mut way = vec![phase];
        while let Some(before) = way.last().and_then(|p| from.get(p.0 as usize).copied().flatten()) {
            way.push(before);
        }
        way.reverse();
        way
    }

    /// Looks at the aircraft as soon as it can be seen.
    pub(super) fn move_survey(&mut self) -> bool {
        let Some(s) = self.surveying.clone() else { return false };
        let seen = self.state.last_update().is_some_and(|t| t >= s.from) && self.at >= s.from && self.seen_since_begin;
        if !seen && self.at < s.due {
            return false;
        }
        self.surveying = None;
        self.jumped();
        let book = self.book.clone();
        let none = Slots::new();
        let p = &book.phases[s.phase.0 as usize];
        let (mut disagrees, mut unseen) = (Vec::new(), Vec::new());
        for e in &p.expects {
            match self.truth(&e.when, &none) {
                Some(true) => {}
                Some(false) => {
                    let text = self.text(&e.say, &none, None);
                    self.speak(text.clone(), Priority::Caution, Owner::Nobody);
                    disagrees.push(text);
                }
                None => unseen.push(e.when.text.clone()),
            }
        }
        if !unseen.is_empty() || !seen {
            let text = self.wording("survey_unseen", &[]);
            self.speak(text, Priority::Caution, Owner::Nobody);
        }
        let lists = book.checklists.iter().filter(|c| s.assumed.contains(&c.id));
        let titles: Vec<String> = lists.map(|c| self.text(&c.title, &none, None)).collect();
        if !titles.is_empty() {
            let text = self.wording("survey_assumed", &[("what", &titles.join(", "))]);
            self.speak(text, Priority::Routine, Owner::Nobody);
        }
        let text = self.wording("survey_ready", &[("phase", &p.title)]);
        self.speak(text, Priority::Routine, Owner::Nobody);
        self.note(Note::Survey { phase: p.id.clone(), disagrees, unseen, assumed: s.assumed });
        true
    }

    pub(super) fn survey_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.surveying.iter().map(|s| Deadline::Session(if self.at < s.from { s.from } else { s.due }))
    }
}
