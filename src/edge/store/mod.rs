//! The disk: where models and books lie.

mod book;
mod choices;
pub mod find;
pub mod journal;
mod own;

pub use book::{BookError, common, load_book, read_book, read_folder};
pub use choices::Choices;
pub use find::{NotFound, Places};
pub use journal::{JournalFile, load_journal};
pub use own::{own_file, read_own, write_own};
