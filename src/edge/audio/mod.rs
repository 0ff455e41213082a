//! Sound in and out of files and the timeline that mixes what we say.
//!
//! Everything in here is mono `f32`, full scale ±1, unless it says otherwise.

pub mod device;
pub mod duplex;
pub mod echo;
pub mod level;
mod pause;
pub mod player;
pub mod recorder;
pub mod resample;
pub mod stream;
pub mod wav;

/// Rate at which every ear listens, Hz.
pub const EAR_RATE: u32 = 16_000;

/// Why sound could not be read or written: one sentence each.
#[derive(Debug, thiserror::Error)]
pub enum AudioError {
    /// The file cannot be opened or read.
    #[error("{file} cannot be read ({why}); check the path and the permissions")]
    Read {
        /// The file.
        file: String,
        /// What the system said.
        why: String,
    },
    /// The file is not sound that we read.
    #[error("{file} {what}; save it as a WAV with 8, 16, 24 or 32 bits")]
    Foreign {
        /// The file.
        file: String,
        /// What is wrong with it.
        what: String,
    },
    /// The file cannot be written.
    #[error("{file} cannot be written ({why}); check the folder and the free space")]
    Write {
        /// The file.
        file: String,
        /// What the system said.
        why: String,
    },
    /// A rate that cannot be converted.
    #[error("sound at {from} Hz cannot be brought to {to} Hz; use a rate between 1000 and 768000 Hz")]
    Rate {
        /// Given.
        from: u32,
        /// Wanted.
        to: u32,
    },
}
