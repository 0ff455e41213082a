//! The journal: everything heard, said, done and not done, one JSON line each, and what can be made of it.
//!
//! [`record`] turns the session into lines, [`read`] turns lines back, [`replay`] runs the engine again and compares,
//! [`resume`] brings an engine to where a journal stops, [`why`] tells in words what went on around a moment, [`coverage`]
//! what of a book was never exercised.
//! `docs/journal.md` shows the line shapes.

mod canon;
mod corrections;
pub mod coverage;
pub mod debrief;
pub mod read;
pub mod record;
pub mod replay;
pub mod resume;
pub mod why;

#[cfg(test)]
mod toy;

pub use corrections::corrections;
pub use coverage::{Coverage, Part};
pub use read::{Entry, Journal, Tail, Unreadable, read};
pub use record::{BookMark, Header, Line, ModelMark, Recorder, Stamp, Unwritable, VERSION};
pub use replay::{Difference, Kind, Outcome, replay};
pub use resume::{Resumed, resume};
