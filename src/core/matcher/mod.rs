//! From what was heard to what was meant: text matching, and the one place that accepts.

mod before;
mod beyond;
mod choose;
mod heard;
mod lattice;
mod own;
mod text;
mod thresholds;

pub use before::begins_with_others;
pub use beyond::goes_on_beyond;
pub use choose::{Choice, Reason, choose};
pub use heard::{Candidate, Heard, Unheard};
pub use lattice::Lattice;
pub use own::{Own, Sample};
pub use text::{AT_LIMIT, EXACT, SPLIT, match_text};
pub use thresholds::{Bar, Class, Near, Thresholds, ThresholdsError};
