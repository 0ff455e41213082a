//! Session scripts: what the pilot says and does and when, what must come of it, and what must not.
//!
//! [`parse`] reads the TOML described in `tests/sessions/README.md`; [`Performance`] acts a script out, event by event,
//! and gives a verdict. Tests and the demo's captain use the same.

mod act;
mod check;
mod deed;
mod form;
mod insist;
mod pattern;
mod pending;
mod ramp;
mod wanted;

pub use act::Performance;
pub use check::check;
pub use deed::{Deed, Event, Failure, Senses, Turn};
pub use form::{Never, Noise, Problem, Radio, Reaction, Script, Step, Trigger, World, parse};
pub use pattern::Pattern;
pub use wanted::Wanted;

#[cfg(test)]
mod tests;
