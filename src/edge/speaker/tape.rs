//! A loudspeaker that is a file: the whole session, pilot on the left, everyone else on the right.

use super::Pcm;
use crate::core::time::SessionTime;
use crate::edge::audio::recorder::Recorder;
use crate::edge::audio::{AudioError, player::Player, resample::resample};
use std::path::Path;

/// Places utterances at their session times and writes the result as it becomes certain.
pub struct Tape {
    player: Player,
    recorder: Recorder,
    block: Vec<f32>,
}

impl Tape {
    /// Creates or replaces the file, `rate` Hz; session time 0 is its first sample.
    pub fn create(path: &Path, rate: u32) -> Result<Self, AudioError> {
        Ok(Tape { player: Player::new(rate), recorder: Recorder::create(path, rate)?, block: Vec::new() })
    }

    /// Lets an utterance begin.
    pub fn start(&mut self, id: u64, pcm: &Pcm, at: SessionTime) -> Result<(), AudioError> {
        let rate = self.player.rate();
        let samples =
            if pcm.rate == rate { pcm.samples.clone() } else { resample(&pcm.samples, pcm.rate, rate)?.into() };
        self.player.start(id, samples, self.sample(at));
        Ok(())
    }

    /// Cuts an utterance.
    pub fn cut(&mut self, id: u64, at: SessionTime) {
        self.player.cut(id, self.sample(at));
    }

    /// Writes what the pilot said (mono at the tape's rate) and, beside it, what we said meanwhile.
    pub fn write(&mut self, pilot: &[f32]) -> Result<(), AudioError> {
        self.block.resize(pilot.len(), 0.0);
        self.player.fill(&mut self.block);
        self.recorder.push(pilot, &self.block)
    }

    /// Writes up to `at` with a silent pilot; nothing if that has passed.
    pub fn write_until(&mut self, at: SessionTime) -> Result<(), AudioError> {
        let silence = [0.0; 1024];
        while self.player.position() < self.sample(at) {
            let n = (self.sample(at) - self.player.position()).min(silence.len() as u64) as usize;
            self.write(&silence[..n])?;
        }
        Ok(())
    }

    /// Seconds written.
    pub fn written_s(&self) -> f64 {
        self.recorder.frames() as f64 / f64::from(self.player.rate())
    }

    /// Lets what still sounds end, and closes the file.
    pub fn finish(mut self) -> Result<(), AudioError> {
        while self.player.busy() {
            self.write(&[0.0; 256])?;
        }
        self.recorder.finish()
    }

    fn sample(&self, at: SessionTime) -> u64 {
        // Whole numbers: the same time is the same sample on every machine.
        let n = i128::from(at.0.max(0)) * i128::from(self.player.rate()) / 1_000_000;
        n as u64
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::audio::wav::{Channel, read};

    #[test]
    fn both_sides_are_where_they_were() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("flight.wav");
        let mut tape = Tape::create(&path, 16_000).unwrap();
        let pcm = Pcm { rate: 8_000, samples: vec![0.5; 800].into(), onset: 0, offset: 800 };
        tape.start(1, &pcm, SessionTime::from_secs(0.5)).unwrap();
        tape.write_until(SessionTime::from_secs(0.25)).unwrap();
        tape.write(&[0.25; 1_600]).unwrap();
        tape.cut(1, SessionTime::from_secs(0.55));
        tape.write_until(SessionTime::from_secs(0.8)).unwrap();
        assert!((tape.written_s() - 0.8).abs() < 1e-3);
        tape.start(2, &pcm, SessionTime::from_secs(0.8)).unwrap();
        tape.finish().unwrap();
        for (side, want) in [(0u16, vec![(0.25, 0.35)]), (1, vec![(0.5, 0.55), (0.8, 0.9)])] {
            let wav = read(&path, Channel::Only(side), None).unwrap();
            // The reader takes out the mean; what was silent is that much off zero.
            let silent = wav.samples[0];
            for (i, s) in wav.samples.iter().enumerate() {
                let t = i as f64 / 16_000.0;
                let near = |edge: f64| (t - edge).abs() < 0.008;
                if want.iter().any(|(a, b)| near(*a) || near(*b)) {
                    continue;
                }
                let sounds = want.iter().any(|(a, b)| t > *a && t < *b);
                assert_eq!((s - silent).abs() > 0.1, sounds, "side {side} at {t:.3} s: {s}");
            }
        }
    }
}
