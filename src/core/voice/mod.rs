//! When something is said, and how it is worded for a voice.

pub mod pronounce;
pub mod queue;

pub use pronounce::Lexicon;
pub use queue::{Dropped, Pacing, Queue, VoiceEvent};
