//! The book: an operator's procedures as data. Schema, loader, typed conditions, checks, diagnostics.
//!
//! [`schema`] is what the loader produces and the crew engine reads. `docs/phrasebook.md` describes the TOML.

pub mod expr;
pub mod schema;

pub use schema::Book;
