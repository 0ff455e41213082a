//! (room under construction)

pub mod manifest;
