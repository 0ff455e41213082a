//! Value ↔ words: numbers, letters, levels, headings … as they are spoken.
//!
//! [`say`] follows one rule set ([`Regime`]); [`value`] understands all of them. [`FORMS`] is the same knowledge as
//! grammar text, from which the word graph's typed slots are made.

mod forms;
mod phones;
mod regime;
mod say;
mod slot;
mod spelling;
mod typed;
mod value;
mod written;

#[cfg(test)]
mod tests;

pub use forms::{BUILT_IN, FORMS};
pub use phones::{Phone, WHOLE, distance, phones, syllables};
pub use regime::Regime;
pub use say::{Form, say};
pub use slot::SlotKind;
pub use spelling::{ALPHABET, SPELLED_TWO_WAYS, digit, is_number_word, letter, variants};
pub use typed::{readings, spell};
pub use value::value;
pub use written::written;
