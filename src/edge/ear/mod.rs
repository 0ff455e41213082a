//! Ears: what turns sound, or typed words, into [`Heard`](crate::core::matcher::Heard).

mod listener;
mod neural;
mod noise;
#[cfg(test)]
mod tests;

pub use listener::{Listener, News};
pub use neural::{EarError, NeuralEar, Reading};
