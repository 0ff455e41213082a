//! The property-tree adapter, the pure half: link files, the text that goes over the wire, reaching a wanted state.
//!
//! The other side is any simulator that keeps its state in a tree of named numbers and speaks lines of text:
//! `get PATH` and `set PATH VALUE` over TCP, and rows of comma-separated numbers over UDP. `docs/links.md` tells how a
//! link file maps the tree to signals.

mod file;
#[cfg(test)]
mod file_tests;
mod map;
mod reach;
pub mod rules;
pub mod wire;

pub use file::{Control, Derived, LinkFile, Reading, Source, failed, load};
pub use map::Map;
pub use reach::{Do, Reach};
