//! The controller's transmissions as sound, and both sides of the channel on a recording.

use super::chain::Chain;
use crate::core::book::schema::Station;
use crate::edge::audio::recorder::Recorder;
use crate::edge::audio::{AudioError, EAR_RATE};
use crate::edge::speaker::{SpeakError, Speaker, Voices};
use std::path::Path;

/// Between two transmissions, s.
const GAP_S: f64 = 0.6;

/// Why a transmission cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum AirError {
    /// The voice.
    #[error(transparent)]
    Speak(#[from] SpeakError),
    /// The file.
    #[error(transparent)]
    Audio(#[from] AudioError),
}

/// One channel: who transmits is recorded, left the pilot, right the controller.
pub struct Air {
    voices: Voices,
    chain: Chain,
    record: Option<Recorder>,
}

impl Air {
    /// `voices` at [`EAR_RATE`]; `wpm` is the controller's pace, and `seed` decides the noise.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn new(mut voices: Voices, wpm: u32, seed: u64, record: Option<&Path>) -> Result<Self, AirError> {
        voices.pace(Station::Radio, wpm);
        let record = record.map(|r| Recorder::create(r, EAR_RATE)).transpose()?;
        Ok(Air { voices, chain: Chain::new(EAR_RATE, seed), record })
    }

    /// The controller transmits; the sound as it is received, at [`EAR_RATE`].
    ///
    /// # Errors
    /// The voice cannot speak, or the file cannot be written.
    pub fn controller(&mut self, text: &str) -> Result<Vec<f32>, AirError> {
        let voice = self.voices.render(Station::Radio, text)?;
        let sound = self.chain.receive(&voice.samples);
        self.keep(&[], &sound)?;
        Ok(sound)
    }

    /// The pilot transmitted this.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn pilot(&mut self, sound: &[f32]) -> Result<(), AirError> {
        self.keep(sound, &[])
    }

    fn keep(&mut self, left: &[f32], right: &[f32]) -> Result<(), AirError> {
        if let Some(record) = &mut self.record {
            record.push(left, right)?;
            let gap = vec![0.0; (GAP_S * f64::from(EAR_RATE)) as usize];
            record.push(&gap, &gap)?;
        }
        Ok(())
    }

    /// Closes the recording.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn finish(self) -> Result<(), AirError> {
        Ok(self.record.map_or(Ok(()), |r| r.finish().map(drop))?)
    }
}
