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
mod oracle;
mod schema;
mod sessions;
mod vosk;
mod why;
