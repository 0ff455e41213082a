//! The book: an operator's procedures as data. Schema, loader, typed conditions, checks, diagnostics.
//!
//! [`schema`] is what the loader produces and the crew engine reads. `docs/phrasebook.md` describes the TOML.

mod confusions;
mod counts;
pub mod expr;
pub mod load;
mod plan;
mod problem;
pub mod rules;
pub mod schema;
mod template;
mod uses;

pub use confusions::Confusion;
pub use counts::{Context, Counts};
pub use load::{Folder, Loaded, SourceFile, contexts, load};
pub use problem::{Place, Problem, Severity, nearest};
pub use schema::Book;
pub use template::in_words;
pub use uses::Uses;
