//! From what was heard to what was meant: text matching, and the one place that accepts.

mod choose;
mod heard;
mod lattice;
mod text;

pub use choose::{Choice, Reason, Thresholds, choose};
pub use heard::{Candidate, Heard, Unheard};
pub use lattice::Lattice;
pub use text::{AT_LIMIT, EXACT, SPLIT, match_text};
