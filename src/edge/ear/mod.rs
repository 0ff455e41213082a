//! Ears: what turns sound, or typed words, into [`Heard`](crate::core::matcher::Heard).

mod answer;
pub mod enrolled;
mod listener;
pub mod live;
mod neural;
mod noise;
mod own;
mod pace;
mod prior;
mod reader;
mod second;
#[cfg(test)]
mod tests;
mod told;
mod vosk_ear;
pub mod vosk_talk;
#[cfg(test)]
mod vosk_tests;
mod vosk_worker;
mod wired;

pub use listener::Listener;
pub use neural::{EarError, NeuralEar, Reading};
pub use reader::Reader;
pub use told::News;
pub use vosk_ear::{Unknown, VoskEar};
pub use vosk_worker::{Launch, PROGRAM, Worker, WorkerError};
pub use wired::NOMINAL_LATENCY_S;
