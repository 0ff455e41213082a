//! What the pilot set on the aircraft against the flight sheet.

use super::talk::Owner;
use super::{Crew, Deadline, Slots};
use crate::core::aircraft::Value;
use crate::core::book::in_words;
use crate::core::book::schema::Priority;
use crate::core::crew::io::Note;
use crate::core::time::SimTime;

/// How a comparison stands.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Comparing {
    since: Option<SimTime>,
    told: bool,
}

impl Crew {
    /// Says once when something on the aircraft is not as the sheet has it; again only after it has agreed.
    pub(super) fn move_comparisons(&mut self) -> bool {
        let book = self.book.clone();
        let mut moved = false;
        for n in 0..self.compared.len() {
            let i = self.compared[n];
            let e = &book.sheet[i];
            let Some(c) = &e.compare else { continue };
            let phases = if c.phases.is_empty() { &e.phases } else { &c.phases };
            let here = phases.is_empty() || phases.contains(&self.phase);
            let shown = if here { c.with.eval(&self.scope(&Slots::new(), None)) } else { None };
            let agrees = match (&self.sheet[i], &shown) {
                (Some(Value::Number(a)), Some(Value::Number(b))) => Some((a - b).abs() <= c.within.max(1e-9)),
                (Some(a), Some(b)) => Some(a.same(b)),
                _ => None,
            };
            let w = self.comparing[n];
            match agrees {
                // Unknown is not different.
                Some(false) => {}
                Some(true) if w.told => {
                    self.comparing[n] = Comparing::default();
                    self.note(Note::SheetCompare { entry: e.id.clone(), agrees: true });
                    moved = true;
                    continue;
                }
                _ => {
                    self.comparing[n].since = None;
                    continue;
                }
            }
            let since = w.since.unwrap_or(self.sim);
            self.comparing[n].since = Some(since);
            if w.told || self.sim < since.plus(c.for_s) {
                continue;
            }
            self.comparing[n].told = true;
            moved = true;
            self.note(Note::SheetCompare { entry: e.id.clone(), agrees: false });
            let text = match &c.say {
                Some(t) => self.text(t, &Slots::new(), None),
                None => {
                    let words = |v: &Option<Value>| v.clone().map_or_else(String::new, |v| in_words(v, e.format));
                    let (value, shown) = (words(&self.sheet[i]), words(&shown));
                    self.wording("sheet_shown", &[("what", &e.title), ("value", &value), ("shown", &shown)])
                }
            };
            self.speak(text, Priority::Caution, Owner::Nobody);
        }
        moved
    }

    pub(super) fn comparison_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.compared.iter().zip(&self.comparing).filter(|(_, w)| !w.told).filter_map(|(i, w)| {
            let for_s = self.book.sheet[*i].compare.as_ref()?.for_s;
            Some(Deadline::Sim(w.since?.plus(for_s)))
        })
    }
}
