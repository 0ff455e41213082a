//! What the captain's microphone picks up: words at exact samples over noise that never stops.

use super::noise::Cabin;
use crate::edge::audio::player::Player;
use crate::edge::audio::{EAR_RATE, level};
use crate::edge::speaker::{Pcm, clip};

/// A 16-kHz stream, read block by block.
pub struct Microphone {
    words: Player,
    noise: Option<(Cabin, f32)>,
}

impl Microphone {
    /// `snr_db` is the ratio of the captain's level to the noise, by the measure of [`super::mix`]; absent is no noise at
    /// all (digital silence between the words).
    pub fn new(seed: u64, snr_db: Option<f64>) -> Self {
        let noise = snr_db.map(|snr| (Cabin::new(seed), level::from_db(clip::LEVEL_DB - snr) as f32));
        Microphone { words: Player::new(EAR_RATE), noise }
    }

    /// The captain says something from sample `at` on, or from now if that has passed. `pcm` is at 16 kHz.
    pub fn say(&mut self, id: u64, pcm: &Pcm, at: u64) {
        self.words.start(id, pcm.samples.clone(), at);
    }

    /// The next sample to be read.
    pub fn position(&self) -> u64 {
        self.words.position()
    }

    /// Whether words sound or are still to sound.
    pub fn speaking(&self) -> bool {
        self.words.busy()
    }

    /// Reads the next block.
    pub fn fill(&mut self, block: &mut [f32]) {
        self.words.fill(block);
        if let Some((cabin, gain)) = &mut self.noise {
            block.iter_mut().for_each(|s| *s = (*s + *gain * cabin.sample()).clamp(-1.0, 1.0));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_over_the_noise_by_the_ratio() {
        let raw: Vec<f32> = (0..16_000).map(|i| 0.3 * (i as f32 * 0.5).sin()).collect();
        let pcm = clip::finish(EAR_RATE, &raw, EAR_RATE).unwrap();
        for (snr, tolerance) in [(5.0, 0.8), (20.0, 0.8)] {
            let mut mic = Microphone::new(5, Some(snr));
            mic.say(1, &pcm, 64_000);
            let mut out = vec![0.0; 64_000 + pcm.samples.len()];
            out.chunks_mut(160).for_each(|b| mic.fill(b));
            let noise = level::rms(&out[..64_000]);
            let both = level::rms(&out[64_000..]);
            let got = 10.0 * ((both * both - noise * noise) / (noise * noise)).log10();
            assert!((got - snr).abs() < tolerance, "{got:.2} dB for {snr}");
            assert!(!mic.speaking());
        }
    }

    #[test]
    fn without_noise_there_is_silence() {
        let mut mic = Microphone::new(5, None);
        let mut out = vec![1.0; 320];
        mic.fill(&mut out);
        assert_eq!((out, mic.position()), (vec![0.0; 320], 320));
    }
}
