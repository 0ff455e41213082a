//! From what was heard to what was meant: text matching, and the one place that accepts.

mod choose;
mod heard;
mod lattice;
mod text;
mod thresholds;

pub use choose::{Choice, Reason, choose};
pub use heard::{Candidate, Heard, Unheard};
pub use lattice::Lattice;
pub use text::{AT_LIMIT, EXACT, SPLIT, match_text};
pub use thresholds::{Bar, Class, Near, Thresholds, ThresholdsError};
