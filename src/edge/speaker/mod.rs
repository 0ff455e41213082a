//! Words to sound: the voices of the second pilot, the ground, the cabin and the controller.
//!
//! [`Voices`] is what the application uses; [`Silent`] stands in for it where no sound is wanted. A voice gives raw
//! samples ([`Synth`]); [`clip`] trims and levels them, [`cache`] keeps them.

pub mod aloud;
#[cfg(test)]
mod aloud_tests;
pub mod cache;
pub mod clip;
pub mod neural;
mod played;
pub mod program;
pub mod service;
pub mod silent;
pub mod system;
pub mod tape;
pub mod voices;

pub use aloud::Aloud;
pub use clip::Pcm;
pub use played::Played;
pub use service::{Manner, Wire};
pub use silent::Silent;
pub use tape::Tape;
pub use voices::Voices;

use crate::core::book::schema::Station;
use crate::edge::audio::AudioError;
use crate::edge::native::NativeError;
use crate::edge::native::manifest::ModelProblem;
use crate::edge::store::NotFound;

/// Why nothing can be said: one sentence each.
#[derive(Debug, thiserror::Error)]
pub enum SpeakError {
    /// A program is not installed.
    #[error("the program {program} is missing; install it ({hint})")]
    NoProgram {
        /// Its name.
        program: String,
        /// How, on this system.
        hint: String,
    },
    /// A program did not do it.
    #[error("{program} cannot speak this ({why}); try other words or another voice")]
    Program {
        /// Its name.
        program: String,
        /// What it said.
        why: String,
    },
    /// A voice that is not there.
    #[error("there is no voice {name}{nearest}; the voices are {all}")]
    NoVoice {
        /// Asked for.
        name: String,
        /// `, did you mean …?` or empty.
        nearest: String,
        /// All there are.
        all: String,
    },
    /// The neural voice.
    #[error(transparent)]
    Native(#[from] NativeError),
    /// The neural voice's files.
    #[error(transparent)]
    Model(#[from] ModelProblem),
    /// The models folder.
    #[error(transparent)]
    NotFound(#[from] NotFound),
    /// The neural voice's description.
    #[error("{file} is not a voice description we can use ({why}): run the set-up again")]
    Description {
        /// The file.
        file: String,
        /// What is wrong.
        why: String,
    },
    /// Conversion of the sound.
    #[error(transparent)]
    Audio(#[from] AudioError),
}

/// What a speaker that sounds by itself tells.
#[derive(Debug, Clone, PartialEq)]
pub enum VoiceNews {
    /// Words have ended.
    Ended {
        /// As given to [`Speaker::begin`].
        id: u64,
    },
    /// Words that were begun will not sound; these samples are to sound in their place, from now on.
    Instead {
        /// As given to [`Speaker::begin`].
        id: u64,
        /// The same words by another voice.
        pcm: Pcm,
    },
    /// Something is lost, and something else takes its place.
    Trouble {
        /// What is lost.
        room: String,
        /// One sentence.
        why: String,
    },
}

/// Who turns words into sound for every station.
pub trait Speaker {
    /// The words as sound, trimmed so that the voice begins at [`Pcm::onset`]. Text without words gives no samples.
    fn render(&mut self, station: Station, text: &str) -> Result<Pcm, SpeakError>;

    /// How long the words last, s, from first to last sample.
    fn duration_s(&mut self, station: Station, text: &str) -> Result<f64, SpeakError> {
        Ok(self.render(station, text)?.duration_s())
    }

    /// Words begin now: a speaker that sounds by itself speaks them, and what it rendered for them is only the time that
    /// they may take. One that renders samples has nothing to do.
    fn begin(&mut self, _id: u64, _station: Station, _text: &str) {}

    /// Their turn is over, or they are cut.
    fn end(&mut self, _id: u64, _cut: bool) {}

    /// What a speaker that sounds by itself has to tell since it was last asked; at once.
    fn news(&mut self) -> Vec<VoiceNews> {
        Vec::new()
    }

    /// From the moment at which words begin to be played to the moment at which they are heard, s.
    fn delay_s(&self) -> f64 {
        0.0
    }

    /// Renders what will be needed, so that it is at hand; `progress` gets how many of how many are done.
    fn prepare(
        &mut self,
        phrases: &[(Station, String)],
        progress: &mut dyn FnMut(usize, usize),
    ) -> Result<(), SpeakError> {
        for (i, (station, text)) in phrases.iter().enumerate() {
            progress(i, phrases.len());
            self.render(*station, text)?;
        }
        progress(phrases.len(), phrases.len());
        Ok(())
    }

    /// Lets rendered words sound from now on, where there is a loudspeaker.
    fn start(&mut self, _id: u64, _pcm: &Pcm) {}

    /// Silences words that sound.
    fn cut(&mut self, _id: u64) {}
}

/// One voice: words in, raw sound out.
pub trait Synth {
    /// Everything that decides how it sounds, as one line: engine, settings, model. The same line means the same sound.
    fn identity(&self) -> &str;

    /// Samples per second and the samples, as they come from the engine.
    fn speak(&mut self, text: &str) -> Result<(u32, Vec<f32>), SpeakError>;
}
