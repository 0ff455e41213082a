//! Signals, their values and the typed state with staleness.
//!
//! A *signal* is a named aircraft quantity with a unit in its name (`ias_kt`, `altitude_ft`, `egt_1_c`);
//! a *control* is a signal that can be set. Names are plain strings at the edges; inside the engine they
//! are indices into the book's table ([`SignalId`]).

pub mod crossing;
pub mod place;
mod state;
mod value;

pub use state::{Delta, State};
pub use value::{Value, ValueKind};

use serde::{Deserialize, Serialize};

/// Index of a signal in the book's table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct SignalId(pub u16);
