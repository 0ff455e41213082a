//! Writing a session to a WAV that is complete at every moment.

use super::AudioError;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

/// A 16-bit stereo WAV, left the pilot, right everyone else.
///
/// The header is brought up to date after every half second of sound, so that a file whose writer was killed is still
/// a whole WAV.
pub struct Recorder {
    out: hound::WavWriter<BufWriter<File>>,
    path: PathBuf,
    rate: u32,
    since_flush: u32,
    frames: u64,
}

impl Recorder {
    /// Creates or replaces the file.
    pub fn create(path: &Path, rate: u32) -> Result<Self, AudioError> {
        let spec = hound::WavSpec {
            channels: 2,
            sample_rate: rate,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut out = hound::WavWriter::create(path, spec).map_err(|e| fault(path, &e))?;
        out.flush().map_err(|e| fault(path, &e))?;
        Ok(Recorder { out, path: path.into(), rate, since_flush: 0, frames: 0 })
    }

    /// Appends as many frames as the longer side has; the shorter is silent at its end. Beyond ±1 is clipped.
    pub fn push(&mut self, left: &[f32], right: &[f32]) -> Result<(), AudioError> {
        for i in 0..left.len().max(right.len()) {
            for side in [left, right] {
                let sample = to_i16(side.get(i).copied().unwrap_or(0.0));
                self.out.write_sample(sample).map_err(|e| fault(&self.path, &e))?;
            }
            self.frames += 1;
            self.since_flush += 1;
            if self.since_flush * 2 >= self.rate {
                self.flush()?;
            }
        }
        Ok(())
    }

    /// Frames written so far.
    pub fn frames(&self) -> u64 {
        self.frames
    }

    /// Makes the file complete as it stands.
    pub fn flush(&mut self) -> Result<(), AudioError> {
        self.since_flush = 0;
        self.out.flush().map_err(|e| fault(&self.path, &e))
    }

    /// Closes the file and tells whether that went well. Dropping closes too, but silently.
    pub fn finish(self) -> Result<(), AudioError> {
        let path = self.path;
        self.out.finalize().map_err(|e| fault(&path, &e))
    }
}

/// Writes a mono 16-bit WAV in one go.
pub fn write_mono(path: &Path, rate: u32, samples: &[f32]) -> Result<(), AudioError> {
    let spec =
        hound::WavSpec { channels: 1, sample_rate: rate, bits_per_sample: 16, sample_format: hound::SampleFormat::Int };
    let told = |e: hound::Error| fault(path, &e);
    let mut out = hound::WavWriter::create(path, spec).map_err(told)?;
    for sample in samples {
        out.write_sample(to_i16(*sample)).map_err(told)?;
    }
    out.finalize().map_err(told)
}

/// To 16 bits; what came from 16 bits comes out the same.
fn to_i16(sample: f32) -> i16 {
    // The cast saturates and takes NaN to 0.
    (sample * 32_768.0).round() as i16
}

fn fault(path: &Path, e: &hound::Error) -> AudioError {
    let why = match e {
        hound::Error::IoError(e) if e.kind() == std::io::ErrorKind::NotFound => "no such folder".into(),
        hound::Error::IoError(e) if e.kind() == std::io::ErrorKind::PermissionDenied => "not permitted".into(),
        other => other.to_string(),
    };
    AudioError::Write { file: path.display().to_string(), why }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::audio::wav::{Channel, read};

    #[test]
    fn both_sides_come_back() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("flight.wav");
        let mut rec = Recorder::create(&path, 16_000).unwrap();
        rec.push(&[0.5, -0.5, 0.5, -0.5], &[0.25, -0.25]).unwrap();
        rec.finish().unwrap();
        for (side, want) in [(0, [0.5, -0.5, 0.5, -0.5]), (1, [0.25, -0.25, 0.0, 0.0])] {
            let wav = read(&path, Channel::Only(side), None).unwrap();
            assert_eq!(wav.warnings, Vec::<String>::new());
            for (got, want) in wav.samples.iter().zip(want) {
                assert!((got - want).abs() < 1e-4, "{side}: {got} for {want}");
            }
        }
    }

    #[test]
    fn a_writer_that_never_closes_leaves_a_whole_file() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("flight.wav");
        let mut rec = Recorder::create(&path, 16_000).unwrap();
        for _ in 0..25 {
            rec.push(&[0.1; 1_600], &[]).unwrap();
        }
        // As a killed process would: nothing runs on the way out.
        std::mem::forget(rec);
        let wav = read(&path, Channel::Mix, None).unwrap();
        assert_eq!((wav.samples.len(), wav.warnings.len()), (40_000, 0));
    }

    #[test]
    fn a_file_with_no_folder_is_a_sentence() {
        let said = write_mono(Path::new("no-such-folder/a.wav"), 16_000, &[]).unwrap_err().to_string();
        insta::assert_snapshot!(said, @"no-such-folder/a.wav cannot be written (no such folder); check the folder and the free space");
    }
}
