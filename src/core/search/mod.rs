//! From sound to meaning, held to the word graph: a beam search over the tokens of a speech model.
//!
//! [`Tokens`] knows the model's tokens, [`spell`] the ways a spoken word can be written, [`Lattice`] joins them with the
//! word graph, and [`search`] walks it with a [`StepModel`]: one row of the model for each distinct token prefix, however
//! many ways through the graph share it.

mod ahead;
mod beam;
mod lattice;
pub mod spell;
#[cfg(test)]
mod tests;
pub mod tokens;

pub use ahead::{Ahead, Longer};
pub use beam::{Found, Odds, Row, Settings, StepModel, search};
pub use lattice::Lattice;
pub use tokens::{Token, TokenFileError, Tokens};
