//! Grammar of what a pilot can say: SRGS 1.0 ABNF expansions, compiled to one word graph a book.

mod graph;
pub use graph::{Arc, CallGraph, CallId, CallSet, Label, Meaning, Node, NodeId, SlotDef, SlotId, WordGraph, WordId};
