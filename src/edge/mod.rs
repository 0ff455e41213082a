#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "edge is the floor that touches the world"
)]
//! The floor that touches the world.

pub mod app;
pub mod audio;
pub mod buttons;
pub mod captain;
pub mod ear;
pub mod link;
pub mod native;
pub mod radio;
pub mod server;
pub mod speaker;
pub mod store;
