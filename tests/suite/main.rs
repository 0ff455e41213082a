#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "tests of the whole"
)]
//! Tests from outside, one module a subject.

mod books;
mod browser;
mod debrief;
mod departure;
mod drill;
mod flight;
mod hear;
mod link;
mod lives;
mod oracle;
mod page;
mod schema;
mod sessions;
mod system_voice;
mod voice;
mod vosk;
mod why;
