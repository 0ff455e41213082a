//! The disk: where models and books lie.

pub mod find;
pub mod journal;

pub use find::{NotFound, Places};
pub use journal::{JournalFile, load_journal};
