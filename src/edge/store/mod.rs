//! The disk: where models and books lie.

mod book;
pub mod find;
pub mod journal;

pub use book::{BookError, common, load_book, read_book, read_folder};
pub use find::{NotFound, Places};
pub use journal::{JournalFile, load_journal};
