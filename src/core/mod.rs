#![cfg_attr(
    test,
    allow(
        clippy::disallowed_methods,
        clippy::disallowed_types,
        clippy::disallowed_macros,
        reason = "unit tests may read files and compare with std"
    )
)]
//! The pure floor: everything here is a function of its arguments.

pub mod aircraft;
pub mod book;
pub mod crew;
pub mod gate;
pub mod grammar;
pub mod journal;
pub mod link;
pub mod matcher;
pub mod page;
pub mod physics;
pub mod radio;
pub mod script;
pub mod search;
pub mod sim;
pub mod time;
pub mod voice;
pub mod words;
