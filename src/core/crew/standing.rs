//! Where everything stands, in words: for "why" and for whoever asks what the second pilot waits for.

use super::{Crew, Slots};
use crate::core::aircraft::Value;
use crate::core::book::expr::Expr;

impl Crew {
    /// What is under way, what is armed, and what each waits for: conditions with the values that they read. One fact a line.
    pub fn standing(&self) -> Vec<String> {
        let mut out = self.runs_stand();
        out.extend(self.lists_stand());
        out.extend(self.commands.iter().map(|c| {
            let title = &self.book.controls[c.control.0 as usize].title;
            format!("command {title} to {}: is being repeated aloud and can still be cancelled", c.to)
        }));
        out.extend(self.motions.iter().map(|m| {
            let title = &self.book.controls[m.control.0 as usize].title;
            format!("movement {title} to {}: its indication has not arrived", m.to)
        }));
        out.extend(self.triggers_stand());
        out.extend(self.callouts_stand());
        out.extend(self.phases_stand());
        out.extend(self.calls_stand());
        out
    }

    /// Phases that would be entered by themselves.
    fn phases_stand(&self) -> Vec<String> {
        let Some(now) = self.book.phases.get(self.phase.0 as usize) else { return Vec::new() };
        let next = now.next.iter().map(|p| &self.book.phases[p.0 as usize]);
        next.filter_map(|p| {
            Some(format!("phase {} would begin: {}", p.id, self.judged(p.enter_when.as_ref()?, &Slots::new())))
        })
        .collect()
    }

    /// Calls of this phase that cannot be said, for their own condition stands against them.
    fn calls_stand(&self) -> Vec<String> {
        let none = Slots::new();
        let here = self.book.calls.iter().filter(|c| c.phases.is_empty() || c.phases.contains(&self.phase));
        here.filter_map(|c| {
            let e = c.when.as_ref().filter(|e| self.truth(e, &none) == Some(false))?;
            Some(format!("call {} cannot be said: {}", c.id, self.judged(e, &none)))
        })
        .collect()
    }

    /// A condition, what it comes to, and the values that it reads.
    pub(super) fn judged(&self, e: &Expr, slots: &Slots) -> String {
        let verdict = match self.truth(e, slots) {
            Some(true) => "holds",
            Some(false) => "does not hold",
            None => "is unknown",
        };
        let values = e.names.iter().map(|(spelling, name)| {
            use crate::core::book::expr::Scope;
            let value = match self.scope(slots, None).value(name) {
                Some(Value::Number(n)) => (libm::round(n * 100.0) / 100.0).to_string(),
                Some(v) => v.to_string(),
                None => "unknown".into(),
            };
            format!("{spelling} = {value}")
        });
        let values: Vec<String> = values.collect();
        let values = if values.is_empty() { String::new() } else { format!(" [{}]", values.join(", ")) };
        format!("{} {verdict}{values}", e.text)
    }
}
