//! The synthetic captain, for the demo and for measuring the ear: other voices, and the noise of a flight deck.

mod microphone;
pub mod noise;
#[cfg(test)]
mod understood;

pub use microphone::Microphone;

use crate::edge::audio::{EAR_RATE, level};
use crate::edge::speaker::cache::Cache;
use crate::edge::speaker::{Pcm, SpeakError, Voices};
use crate::edge::store::NotFound;

/// The voices that play a captain: programs only, so no model is needed.
pub struct Captains {
    voices: Voices,
    names: Vec<String>,
}

impl Captains {
    /// All captain voices of the table of voices.
    pub fn new(cache: Cache) -> Self {
        let voices = Voices::new(Err(NotFound::Models(Vec::new())), EAR_RATE, cache);
        let names = voices.table().captains().into_iter().map(String::from).collect();
        Captains { voices, names }
    }

    /// Their names, in order.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// One of them, chosen by a seed.
    pub fn pick(&self, seed: u64) -> &str {
        let n = self.names.len().max(1) as u64;
        self.names.get((seed % n) as usize).map_or("", String::as_str)
    }

    /// The words as sound at 16 kHz, trimmed and brought to [`crate::edge::speaker::clip::LEVEL_DB`].
    pub fn render(&mut self, voice: &str, text: &str) -> Result<Pcm, SpeakError> {
        self.voices.render_with(voice, text)
    }
}

/// Adds noise to speech so that the ratio between them is `snr_db`.
///
/// The ratio is RMS of the speech over its active frames ([`level::active_rms`]) to RMS of the noise over all of `noise`
/// that is used. Noise is repeated if it is shorter. Speech without sound comes back as it is. Sums may go beyond ±1.
pub fn mix(speech: &[f32], noise: &[f32], snr_db: f64, rate: u32) -> Vec<f32> {
    let (signal, hiss) = (level::active_rms(speech, rate), level::rms(&noise[..noise.len().min(speech.len())]));
    if signal <= 0.0 || hiss <= 0.0 {
        return speech.to_vec();
    }
    let gain = signal / hiss * level::from_db(-snr_db);
    speech.iter().zip(noise.iter().cycle()).map(|(s, n)| (f64::from(*s) + gain * f64::from(*n)) as f32).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ratio_is_what_was_asked() {
        let speech: Vec<f32> =
            (0..32_000).map(|i| if i / 8_000 % 2 == 0 { 0.1 * (i as f32 * 0.4).sin() } else { 0.0 }).collect();
        let mut noise = vec![0.0; 32_000];
        noise::Cabin::new(7).fill(&mut noise);
        for snr in [0.0, 5.0, 20.0] {
            let mixed = mix(&speech, &noise, snr, EAR_RATE);
            let rest: Vec<f32> = mixed.iter().zip(&speech).map(|(m, s)| m - s).collect();
            let got = level::to_db(level::active_rms(&speech, EAR_RATE) / level::rms(&rest));
            assert!((got - snr).abs() < 0.1, "{got} for {snr}");
        }
        assert_eq!(mix(&[0.0; 10], &noise, 5.0, EAR_RATE), [0.0; 10]);
        assert_eq!(mix(&speech, &[], 5.0, EAR_RATE), speech);
    }

    #[test]
    fn captains_speak_and_differ() {
        if !crate::edge::speaker::voices::tests::programs_are_there() {
            return;
        }
        let mut captains = Captains::new(Cache::in_memory());
        let names = captains.names().to_vec();
        let mut heard: Vec<Pcm> = Vec::new();
        for name in &names {
            let pcm = captains.render(name, "Flaps five, APU on").unwrap();
            assert!((1.0..3.5).contains(&pcm.duration_s()), "{name}: {} s", pcm.duration_s());
            assert!(heard.iter().all(|h| h.samples != pcm.samples), "{name} sounds like another");
            heard.push(pcm);
        }
        assert_eq!(captains.pick(0), names[0]);
        assert_eq!(captains.pick(names.len() as u64 + 1), names[1]);
    }
}
