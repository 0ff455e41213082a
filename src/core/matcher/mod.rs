//! From what was heard to what was meant: text matching, and the one place that accepts.

mod heard;
pub use heard::{Candidate, Heard, Unheard};
