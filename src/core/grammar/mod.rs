//! Grammar of what a pilot can say: SRGS 1.0 ABNF expansions, compiled to one word graph a book.
//!
//! [`parse`] reads one wording, [`build`] compiles all of them; [`accepts`], [`meaning`], [`sample`] and [`expand`] walk
//! the graph; [`cover`] lists few sentences with every pair of words; [`collisions`] finds sentences that mean two things,
//! [`Sounds`] those that only sound alike.

mod automaton;
mod compile;
mod cover;
mod emit;
mod expansion;
mod graph;
mod lex;
mod likeness;
mod overlap;
mod parse;
mod problem;
mod resolve;
mod walk;

pub use compile::{CompileProblem, NamedSlots, Place, Rules, build};
pub use cover::cover;
pub use expansion::{Expansion, Shape};
pub use graph::{
    Arc, CallGraph, CallId, CallSet, Label, Meaning, Node, NodeId, Range, SlotDef, SlotId, WordGraph, WordId,
};
pub use likeness::{Likeness, Sounds, sentences};
pub use overlap::collisions;
pub use parse::parse;
pub use problem::Problem;
pub use walk::{Path, accepts, expand, goes_on, meaning, sample, words};
