//! Ears: what turns sound, or typed words, into [`Heard`](crate::core::matcher::Heard).

mod listener;
pub mod live;
mod neural;
mod noise;
#[cfg(test)]
mod tests;
mod wired;

pub use listener::{Listener, News};
pub use neural::{EarError, NeuralEar, Reading};
pub use wired::NOMINAL_LATENCY_S;
