//! The procedure engine: one function of state, time and input.

pub mod io;
