//! When something is said, and how it is worded for a voice.

pub mod queue;

pub use queue::{Dropped, Pacing, Queue, VoiceEvent};
