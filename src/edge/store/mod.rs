//! The disk: where models and books lie.

pub mod find;

pub use find::{NotFound, Places};
