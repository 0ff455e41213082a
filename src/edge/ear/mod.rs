//! Ears: what turns sound, or typed words, into [`Heard`](crate::core::matcher::Heard).

mod neural;
mod noise;

pub use neural::{EarError, NeuralEar, Reading};
