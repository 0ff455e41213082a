//! The pure floor: everything here is a function of its arguments.

pub mod aircraft;
pub mod book;
pub mod crew;
pub mod gate;
pub mod grammar;
pub mod journal;
pub mod matcher;
pub mod physics;
pub mod script;
pub mod search;
pub mod sim;
pub mod time;
pub mod voice;
pub mod words;
