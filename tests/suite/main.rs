#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "tests of the whole"
)]
//! Tests from outside, one module a subject.

mod books;
mod browser;
mod buttons;
mod crash;
mod debrief;
mod departure;
mod drill;
mod echo;
mod flight;
mod hear;
mod link;
mod lives;
mod models;
mod oracle;
mod page;
mod pipes;
mod practice;
mod schema;
mod sessions;
mod system_voice;
mod voice;
mod vosk;
mod why;
