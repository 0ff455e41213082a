//! The flight sheet in flight: who gave a value and when, what is computed from it, what rests on it, what is wrong.

use super::calls::Kept;
use super::talk::Owner;
use super::{Crew, Slots, Who};
use crate::core::aircraft::Value;
use crate::core::book::in_words;
use crate::core::book::schema::{By, Derived, Format, Item, PhaseId, Priority, SheetId, Source};
use crate::core::crew::io::Note;
use crate::core::physics::performance::Problem;
use crate::core::physics::performance::figures::{Input as FigureInput, SURFACE};
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, BTreeSet};

/// What is known about the value of an entry.
#[derive(Debug, Clone, Default)]
pub(super) struct Fact {
    pub source: Option<Source>,
    pub at: SessionTime,
    /// Who has cross-checked it.
    by_pilot: bool,
    by_program: bool,
    /// A check says that it cannot be right, and the pilot has not confirmed it since.
    doubted: bool,
    /// Which of its checks are true now.
    wrong: Vec<bool>,
    /// It has been computed, or tried in vain, since what it comes from changed.
    tried: bool,
}

impl From<Option<Source>> for Fact {
    fn from(source: Option<Source>) -> Self {
        Fact { source, ..Fact::default() }
    }
}

/// Why there is no computed value.
enum Why {
    /// Something that it needs is not known.
    Unknown,
    /// Something that it needs is in doubt.
    Doubt(SheetId),
    /// The tables say no.
    Tables(Problem),
}

impl Crew {
    fn entry_matters(&self, i: usize) -> bool {
        let phases = &self.book.sheet[i].phases;
        phases.is_empty() || phases.contains(&self.phase)
    }

    /// A value as the engine speaks it.
    fn entry_words(&self, i: usize) -> String {
        let format = self.book.sheet[i].format;
        self.sheet[i].clone().map_or_else(String::new, |v| in_words(v, format))
    }

    /// Writes a value down; what rests on it is looked at in the next round.
    pub(super) fn write_sheet(&mut self, entry: SheetId, value: Option<Value>, source: Source) {
        let book = self.book.clone();
        let i = entry.0 as usize;
        let e = &book.sheet[i];
        match value {
            Some(v) if v.fits(&e.kind) => {
                let was = self.sheet[i].replace(v.clone());
                let fact = &mut self.facts[i];
                (fact.source, fact.at) = (Some(source), self.at);
                (fact.by_pilot, fact.by_program, fact.doubted) = (false, false, false);
                fact.wrong.clear();
                if source != self.derived_source(i) {
                    self.facts[i].tried = false;
                }
                if was.as_ref().is_none_or(|w| !w.same(&v)) {
                    self.changed.push((entry, was.clone(), source != Source::Computed));
                }
                self.note(Note::Sheet { entry: e.id.clone(), value: v, source: Some(source), was });
            }
            Some(v) => self.not_done(format!("write {}", e.title), format!("{v} is not of its type")),
            None => self.not_done(format!("write {}", e.title), "its value is unknown".into()),
        }
    }

    /// What an entry is now, to be put back.
    pub(super) fn keep(&self, entry: SheetId) -> Kept {
        let i = entry.0 as usize;
        Kept { entry, value: self.sheet[i].clone(), fact: self.facts[i].clone() }
    }

    /// Puts an entry back to what it was.
    pub(super) fn give_back(&mut self, kept: Kept) {
        let i = kept.entry.0 as usize;
        let was = std::mem::replace(&mut self.sheet[i], kept.value.clone());
        self.facts[i] = kept.fact;
        self.changed.push((kept.entry, was.clone(), true));
        let (entry, source) = (self.book.sheet[i].id.clone(), self.facts[i].source);
        match kept.value {
            Some(value) => self.note(Note::Sheet { entry, value, source, was }),
            None => self.note(Note::SheetOpen { entry, why: "it was taken back".into() }),
        }
    }

    /// Takes a value away.
    pub(super) fn open_entry(&mut self, i: usize, why: String, given: bool) {
        if let Some(was) = self.sheet[i].take() {
            self.changed.push((SheetId(i as u16), Some(was), given));
            self.facts[i].source = None;
            self.note(Note::SheetOpen { entry: self.book.sheet[i].id.clone(), why });
        }
    }

    /// Somebody has cross-checked entries.
    pub(super) fn checked(&mut self, entries: &[SheetId], by: Who) {
        for entry in entries {
            let i = entry.0 as usize;
            if self.sheet[i].is_none() {
                let title = self.book.sheet[i].title.clone();
                self.not_done(format!("cross-check {title}"), "the flight sheet has no value for it".into());
                continue;
            }
            let fact = &mut self.facts[i];
            let before = (fact.by_pilot, fact.by_program);
            fact.by_pilot |= by != Who::Program;
            fact.by_program |= by != Who::Pilot;
            if (fact.by_pilot, fact.by_program) == before && !fact.doubted {
                continue;
            }
            let by = match (fact.by_pilot, fact.by_program) {
                (true, true) => "both",
                (true, false) => "pilot",
                _ => "program",
            };
            if fact.by_pilot && fact.doubted {
                fact.doubted = false;
                // What was withheld may now be computed.
                self.changed.push((*entry, self.sheet[i].clone(), false));
            }
            self.note(Note::SheetChecked { entry: self.book.sheet[i].id.clone(), by: by.into() });
        }
    }

    /// An agreed item has compared entries with the aircraft.
    pub(super) fn item_checked(&mut self, item: &Item) {
        let entries: Vec<SheetId> = item.verify.iter().flat_map(|_| item.sheet()).collect();
        if !entries.is_empty() {
            let by = self.who(item.by);
            self.checked(&entries, by);
        }
    }

    /// Who works through a flow, for a cross-check.
    pub(super) fn who_flows(&self, by: By) -> Who {
        self.who(by)
    }

    /// Computes entries anew, with the signals of this moment.
    pub(super) fn compute(&mut self, entries: &[SheetId]) {
        for entry in entries {
            self.compute_one(entry.0 as usize, true);
        }
    }

    fn figure(&self, i: usize) -> Result<Value, Why> {
        let book = &self.book;
        let e = &book.sheet[i];
        let doubt = |d: &&SheetId| self.facts[d.0 as usize].doubted;
        if let Some(d) = e.depends.iter().find(doubt) {
            return Err(Why::Doubt(*d));
        }
        let none = Slots::new();
        let scope = self.scope(&none, None);
        match &e.derived {
            Some(Derived::Formula(x)) => x.eval(&scope).ok_or(Why::Unknown),
            Some(Derived::Figure(f, output)) => {
                let figure = &book.figures[f.0 as usize];
                let inputs: Option<Vec<FigureInput>> = figure
                    .inputs
                    .iter()
                    .map(|x| match x.eval(&scope)? {
                        Value::Number(n) => Some(FigureInput::Number(n)),
                        Value::Word(w) => {
                            let surface = SURFACE.1.iter().find(|(word, _)| *word == w);
                            surface.map(|(_, s)| FigureInput::Surface(*s))
                        }
                        Value::Bool(_) => None,
                    })
                    .collect();
                let inputs = inputs.ok_or(Why::Unknown)?;
                let tables = self.tables.as_ref().ok_or(Why::Unknown)?;
                let all = tables.figure(figure.function, &inputs).map_err(Why::Tables)?;
                all.get(*output).filter(|n| n.is_finite()).map(|n| Value::Number(*n)).ok_or(Why::Unknown)
            }
            None => Err(Why::Unknown),
        }
    }

    /// Where a computed value comes from: read off the aircraft if nothing but signals goes in.
    fn derived_source(&self, i: usize) -> Source {
        let e = &self.book.sheet[i];
        match &e.derived {
            Some(Derived::Formula(x)) if e.depends.is_empty() && !x.reads.is_empty() => Source::Aircraft,
            _ => Source::Computed,
        }
    }

    /// Whether a person gave the value that stands.
    fn given(&self, i: usize) -> bool {
        matches!(self.facts[i].source, Some(Source::File | Source::Typed | Source::Spoken))
    }

    /// Computes one entry; `asked`: what cannot be computed is told whatever there was before.
    fn compute_one(&mut self, i: usize, asked: bool) {
        match self.figure(i) {
            Ok(v) => {
                self.facts[i].tried = true;
                let source = self.derived_source(i);
                if self.sheet[i].as_ref().is_none_or(|w| !w.same(&v)) || self.facts[i].source != Some(source) {
                    self.write_sheet(SheetId(i as u16), Some(v), source);
                }
            }
            Err(why) => {
                let title = self.book.sheet[i].title.clone();
                // Unknown signals may come; the tables and a doubt will say the same again.
                self.facts[i].tried = !matches!(why, Why::Unknown);
                let (said, told) = match &why {
                    Why::Unknown => (None, "something that it is computed from is not known".to_string()),
                    Why::Doubt(d) => {
                        let what = self.book.sheet[d.0 as usize].title.clone();
                        (None, format!("{what} is in doubt"))
                    }
                    Why::Tables(p) => {
                        let text = self.no_figure(p);
                        (Some(text.clone()), text)
                    }
                };
                self.open_entry(i, told.clone(), false);
                if let Some(text) = said {
                    // Several entries of one figure are refused for one reason: it is told once.
                    let news = self.refused_figure.as_deref() != Some(&told);
                    if news || asked {
                        self.speak(text, Priority::Caution, Owner::Nobody);
                    }
                    self.refused_figure = Some(told.clone());
                    if !news && !asked {
                        return;
                    }
                    self.not_done(format!("compute {title}"), told);
                } else if asked {
                    self.not_done(format!("compute {title}"), told);
                }
            }
        }
    }

    /// What the tables say, in the book's words.
    fn no_figure(&self, problem: &Problem) -> String {
        let what = problem.what().map_or_else(String::new, |q| self.wording(q.key(), &[]));
        let (value, limit) = problem.numbers();
        let words = |n: f64| {
            let format = if n.abs() < 20.0 && n != libm::round(n) { Format::Decimal } else { Format::Number };
            in_words(Value::Number(n), format)
        };
        self.wording(problem.key(), &[("what", &what), ("value", &words(value)), ("limit", &words(limit))])
    }

    /// Recomputes, checks, and tells what a change has taken back.
    pub(super) fn move_sheet(&mut self) -> bool {
        // What cannot be right is found before anything is computed from it.
        let mut moved = self.check_sheet();
        moved |= self.compute_what_can_be();
        if !self.changed.is_empty() {
            self.follow_changes();
            moved = true;
        }
        moved |= self.differences();
        moved | self.missing()
    }

    /// Computed entries without a computed value yet: as soon as all that they need is known.
    fn compute_what_can_be(&mut self) -> bool {
        let mut moved = false;
        for n in 0..self.derived.len() {
            let i = self.derived[n];
            let stands = !matches!(self.facts[i].source, None | Some(Source::Book));
            if self.facts[i].tried || stands || !self.entry_matters(i) {
                continue;
            }
            if let Err(Why::Unknown) = self.figure(i) {
                continue;
            }
            self.compute_one(i, false);
            moved = true;
        }
        moved
    }

    /// From what was changed to everything that rests on it.
    fn follow_changes(&mut self) {
        let (mut roots, mut all): (Vec<SheetId>, Vec<SheetId>) = (Vec::new(), Vec::new());
        let mut recomputed: Vec<SheetId> = Vec::new();
        let mut guard = 0;
        while !self.changed.is_empty() && guard < 64 {
            guard += 1;
            let changed = std::mem::take(&mut self.changed);
            let direct: BTreeSet<SheetId> = changed.iter().map(|c| c.0).collect();
            let mut above: BTreeMap<SheetId, bool> = BTreeMap::new();
            for (entry, was, given) in changed {
                // A first value takes nothing back.
                let fresh = was.is_none() || was == self.sheet[entry.0 as usize];
                if !fresh && self.entry_matters(entry.0 as usize) {
                    all.push(entry);
                    if given {
                        roots.push(entry);
                    } else if !self.book.sheet[entry.0 as usize].quiet {
                        recomputed.push(entry);
                    }
                }
                for user in &self.uses[entry.0 as usize].entries {
                    *above.entry(*user).or_insert(true) &= was.is_none();
                }
            }
            for (entry, first) in above {
                let i = entry.0 as usize;
                if direct.contains(&entry) || !self.entry_matters(i) {
                    continue;
                }
                self.facts[i].tried = false;
                // What has only just become known changes nothing: a given value stands, and is compared.
                if !(first && self.given(i)) {
                    self.compute_one(i, false);
                }
            }
        }
        self.refused_figure = None;
        let title = |e: &SheetId| self.book.sheet[e.0 as usize].title.clone();
        let known: Vec<SheetId> = recomputed.into_iter().filter(|e| self.sheet[e.0 as usize].is_some()).collect();
        if !known.is_empty() {
            let said = known.iter().map(|e| format!("{} {}", title(e), self.entry_words(e.0 as usize)));
            let what = said.collect::<Vec<_>>().join(", ");
            let text = self.wording("recomputed", &[("what", &what)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
        }
        let again = self.take_back_what_rests_on(&all);
        if !again.is_empty() {
            let of = if roots.is_empty() { &all } else { &roots };
            let mut what: Vec<String> = of.iter().map(|e| self.book.sheet[e.0 as usize].title.clone()).collect();
            what.dedup();
            let (what, again) = (what.join(", "), again.join(", "));
            let text = self.wording("reopened", &[("what", &what), ("again", &again)]);
            self.speak(text, Priority::Routine, Owner::Nobody);
        }
    }

    /// Checklists and briefings that named the entries are open again; returns what they are called.
    fn take_back_what_rests_on(&mut self, entries: &[SheetId]) -> Vec<String> {
        let book = self.book.clone();
        let because: Vec<&str> = entries.iter().map(|e| book.sheet[e.0 as usize].id.as_str()).collect();
        let because = because.join(", ");
        let mut again = Vec::new();
        for entry in entries {
            let uses = self.uses[entry.0 as usize].clone();
            for (list, item) in uses.items {
                let c = &book.checklists[list.0 as usize];
                let challenge = self.text(&c.items[item].challenge, &Slots::new(), None);
                let taken = if self.done.remove(&c.id) || self.reopened.contains_key(&c.id) {
                    self.reopened.entry(c.id.clone()).or_default().insert(item)
                } else {
                    self.ask_item_again(list, item)
                };
                if taken {
                    self.note(Note::Reopened {
                        what: format!("{}/{}", c.id, c.items[item].id),
                        because: because.clone(),
                    });
                    again.push(challenge);
                }
            }
            for flow in uses.flows {
                let f = &book.flows[flow.0 as usize];
                // It may be asked for again; what starts it by itself does not start it again.
                if self.done.remove(&f.id) {
                    self.reopened.entry(f.id.clone()).or_default();
                    self.note(Note::Reopened { what: f.id.clone(), because: because.clone() });
                    again.push(f.title.clone());
                }
            }
        }
        again
    }

    /// Impossible and contradictory values.
    fn check_sheet(&mut self) -> bool {
        let book = self.book.clone();
        let none = Slots::new();
        let mut moved = false;
        for (i, e) in book.sheet.iter().enumerate() {
            if e.checks.is_empty() || !self.entry_matters(i) {
                continue;
            }
            // What is about to be computed anew is looked at afterwards.
            if !e.depends.is_empty() && self.changed.iter().any(|(c, _, _)| e.depends.contains(c)) {
                continue;
            }
            self.facts[i].wrong.resize(e.checks.len(), false);
            for (n, check) in e.checks.iter().enumerate() {
                let wrong = self.sheet[i].is_some() && self.truth(&check.when, &none) == Some(true);
                if wrong == self.facts[i].wrong[n] {
                    continue;
                }
                moved = true;
                self.facts[i].wrong[n] = wrong;
                let say = self.text(&check.say, &none, None);
                self.note(Note::SheetCheck { entry: e.id.clone(), wrong, say: say.clone() });
                if wrong {
                    self.speak(say.clone(), Priority::Caution, Owner::Nobody);
                }
                let doubted = e.checks.iter().zip(&self.facts[i].wrong).any(|(c, wrong)| c.doubt && *wrong);
                if wrong && check.refuse {
                    self.open_entry(i, say, true);
                    self.facts[i].tried = self.book.sheet[i].derived.is_some();
                    break;
                } else if doubted != self.facts[i].doubted {
                    self.facts[i].doubted = doubted;
                    // What is computed from it is withheld, or comes back.
                    self.changed.push((SheetId(i as u16), self.sheet[i].clone(), false));
                }
            }
        }
        moved
    }

    /// A value that was given although it is computed, and differs.
    fn differences(&mut self) -> bool {
        let book = self.book.clone();
        let mut moved = false;
        for n in 0..self.derived.len() {
            let i = self.derived[n];
            let e = &book.sheet[i];
            if e.within.is_none() || !self.given(i) || self.facts[i].tried || !self.entry_matters(i) {
                continue;
            }
            let Ok(computed) = self.figure(i) else { continue };
            self.facts[i].tried = true;
            moved = true;
            let far = match (&self.sheet[i], &computed) {
                (Some(Value::Number(a)), Value::Number(b)) => (a - b).abs() > e.within.unwrap_or_default(),
                (a, b) => a.as_ref() != Some(b),
            };
            if far {
                let computed = in_words(computed, e.format);
                let value = self.entry_words(i);
                let holes = [("what", e.title.as_str()), ("value", &value), ("computed", &computed)];
                let text = self.wording("sheet_differs", &holes);
                self.note(Note::SheetCheck { entry: e.id.clone(), wrong: true, say: text.clone() });
                self.speak(text, Priority::Caution, Owner::Nobody);
            }
        }
        moved
    }

    /// What is needed here and is not there: asked for once in a phase, when the aircraft has been seen.
    fn missing(&mut self) -> bool {
        if self.asked_in == Some(self.phase) || !self.passed(super::Deadline::Session(self.ask_at)) {
            return false;
        }
        if self.state.last_update().is_none() {
            return false;
        }
        self.asked_in = Some(self.phase);
        let book = self.book.clone();
        let here: PhaseId = self.phase;
        let mut titles = Vec::new();
        for (i, e) in book.sheet.iter().enumerate() {
            if self.sheet[i].is_some() || !e.needed_in.contains(&here) {
                continue;
            }
            self.not_done(format!("use {}", e.title), "the flight sheet has no value for it".into());
            match &e.ask {
                Some(t) => {
                    let text = self.text(t, &Slots::new(), None);
                    self.speak(text, Priority::Routine, Owner::Nobody);
                }
                None => titles.push(e.title.clone()),
            }
        }
        if !titles.is_empty() {
            let text = self.wording("sheet_missing", &[("what", &titles.join(", "))]);
            self.speak(text, Priority::Routine, Owner::Nobody);
        }
        true
    }
}
