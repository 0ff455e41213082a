//! Value ↔ words: numbers, letters, levels, headings … as they are spoken.

mod slot;
pub use slot::SlotKind;
