//! The flight sheet in flight.

use super::Crew;
use crate::core::book::schema::SheetId;

impl Crew {
    /// Entries that somebody has cross-checked.
    pub(super) fn checked(&mut self, entries: &[SheetId]) {
        for e in entries {
            let title = self.book.sheet[e.0 as usize].title.clone();
            self.not_done(format!("cross-check {title}"), "the engine does not keep this yet".into());
        }
    }

    /// Entries that are to be computed anew.
    pub(super) fn compute(&mut self, entries: &[SheetId]) {
        for e in entries {
            let title = self.book.sheet[e.0 as usize].title.clone();
            self.not_done(format!("compute {title}"), "the engine does not do this yet".into());
        }
    }
}
