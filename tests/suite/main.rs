#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "tests of the whole"
)]
//! Tests from outside, one module a subject.

mod books;
mod departure;
mod flight;
mod hear;
mod link;
mod lives;
mod oracle;
mod sessions;
