//! From an engine's raw samples to an utterance: trimmed, levelled, at one rate.

use crate::edge::audio::{AudioError, level, resample};
use std::sync::Arc;

/// Level that speech is brought to: active RMS, dB below full scale.
pub const LEVEL_DB: f64 = -20.0;
/// Highest sample after that.
const PEAK: f64 = 0.95;
/// Silence to be trimmed is what is this far below the loudest 5 ms, or within [`FLOOR_DB`] of the quietest 20 ms for the
/// voices that hiss all the time, but never what is nearer to the loudest than the second figure.
const SILENCE_DB: (f64, f64) = (45.0, 28.0);
const FLOOR_DB: f64 = 6.0;
/// Kept before the voice, so that a soft first consonant is whole, and after it, s.
const LEAD_S: f64 = 0.020;
const TAIL_S: f64 = 0.030;
/// Edges fade over this, s, so that a trim never clicks.
const FADE_S: f64 = 0.003;

/// One utterance: mono, full scale ±1. Cheap to clone.
#[derive(Debug, Clone, PartialEq)]
pub struct Pcm {
    /// Samples per second.
    pub rate: u32,
    /// The samples.
    pub samples: Arc<[f32]>,
    /// First sample of the voice itself.
    pub onset: usize,
    /// One past its last sample.
    pub offset: usize,
}

impl Pcm {
    /// Nothing, at a rate.
    pub fn empty(rate: u32) -> Self {
        Pcm { rate, samples: Arc::new([]), onset: 0, offset: 0 }
    }

    /// Samples that are an utterance already; finds where the voice is.
    pub fn whole(rate: u32, samples: Vec<f32>) -> Self {
        let (onset, offset) = voice_in(&samples, rate).unwrap_or((0, samples.len()));
        Pcm { rate, samples: samples.into(), onset, offset }
    }

    /// From first to last sample, s.
    pub fn duration_s(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate)
    }

    /// From the first sample to the voice, s.
    pub fn onset_s(&self) -> f64 {
        self.onset as f64 / f64::from(self.rate)
    }

    /// From the first sample to the end of the voice, s.
    pub fn offset_s(&self) -> f64 {
        self.offset as f64 / f64::from(self.rate)
    }
}

/// Makes an utterance of what an engine gave: silence around it trimmed, level made equal, brought to `to` Hz and rounded
/// to 16 bits, so that it is the same whether it comes from a file or not.
pub fn finish(rate: u32, raw: &[f32], to: u32) -> Result<Pcm, AudioError> {
    let raw: Vec<f32> = raw.iter().map(|s| if s.is_finite() { *s } else { 0.0 }).collect();
    let Some((first, last)) = voice_in(&raw, rate) else { return Ok(Pcm::empty(to)) };
    let n = |s: f64| (s * f64::from(rate)) as usize;
    let from = first.saturating_sub(n(LEAD_S));
    let mut samples = raw[from..(last + n(TAIL_S)).min(raw.len())].to_vec();
    let mean = (samples.iter().map(|s| f64::from(*s)).sum::<f64>() / samples.len() as f64) as f32;
    samples.iter_mut().for_each(|s| *s -= mean);
    fade(&mut samples, n(FADE_S));
    let mut samples = resample::resample(&samples, rate, to)?;
    let loud = level::active_rms(&samples, to);
    let peak = samples.iter().fold(0.0f64, |p, s| p.max(f64::from(s.abs())));
    let gain = (level::from_db(LEVEL_DB) / loud).min(PEAK / peak);
    samples.iter_mut().for_each(|s| *s = round16((f64::from(*s) * gain) as f32));
    Ok(Pcm::whole(to, samples))
}

/// First and one past the last sample of the voice; absent for silence.
fn voice_in(samples: &[f32], rate: u32) -> Option<(usize, usize)> {
    let loudest = samples.chunks((rate as usize / 200).max(1)).map(level::rms).fold(0.0, f64::max);
    let quietest = samples.chunks_exact((rate as usize / 50).max(1)).map(level::rms).fold(loudest, f64::min);
    let hiss = -level::to_db(quietest / loudest) - FLOOR_DB;
    let down = if hiss.is_nan() { SILENCE_DB.0 } else { hiss.clamp(SILENCE_DB.1, SILENCE_DB.0) };
    level::voiced(samples, rate, down)
}

/// To what a 16-bit file would give back.
fn round16(sample: f32) -> f32 {
    (sample * 32_768.0).round() as i16 as f32 / 32_768.0
}

fn fade(samples: &mut [f32], over: usize) {
    let over = over.min(samples.len() / 2);
    let len = samples.len();
    for i in 0..over {
        let gain = i as f32 / over as f32;
        samples[i] *= gain;
        samples[len - 1 - i] *= gain;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Silence, a soft hiss, a tone, silence; seconds at 16 kHz.
    fn word(amplitude: f32) -> Vec<f32> {
        let mut s = vec![0.0; 8_000];
        s.extend((0..800).map(|i| amplitude * if i % 3 == 0 { 0.03 } else { -0.015 }));
        s.extend((0..8_000).map(|i| amplitude * (i as f32 * 0.3).sin()));
        s.extend(vec![0.0; 12_000]);
        s
    }

    #[test]
    fn silence_goes_and_the_soft_beginning_stays() {
        let pcm = finish(16_000, &word(0.3), 16_000).unwrap();
        assert!((pcm.duration_s() - (0.02 + 0.55 + 0.03)).abs() < 0.01, "{}", pcm.duration_s());
        assert!((pcm.onset_s() - 0.02).abs() < 0.006, "{}", pcm.onset_s());
        assert!((pcm.offset_s() - 0.57).abs() < 0.006, "{}", pcm.offset_s());
        // The same from a voice that hisses 40 dB below its loudest.
        let hiss = |i: usize| if (i * 7919) % 11 < 5 { 0.0021 } else { -0.0021 };
        let noisy: Vec<f32> = word(0.3).iter().enumerate().map(|(i, s)| s + hiss(i)).collect();
        let pcm = finish(16_000, &noisy, 16_000).unwrap();
        assert!((pcm.duration_s() - 0.6).abs() < 0.06, "{}", pcm.duration_s());
    }

    #[test]
    fn loud_and_faint_become_equal() {
        for amplitude in [0.001, 0.05, 0.9] {
            let pcm = finish(16_000, &word(amplitude), 22_050).unwrap();
            let db = level::to_db(level::active_rms(&pcm.samples, pcm.rate));
            assert!((db - LEVEL_DB).abs() < 0.2, "{amplitude}: {db}");
        }
    }

    #[test]
    fn silence_is_nothing() {
        for raw in [vec![], vec![0.0; 1_000], vec![f32::NAN; 10]] {
            assert_eq!(finish(16_000, &raw, 22_050).unwrap(), Pcm::empty(22_050));
        }
    }

    proptest! {
        #[test]
        fn any_samples_are_taken(raw in prop::collection::vec(-2.0f32..2.0, 0..500), to in 8_000u32..48_000) {
            let pcm = finish(16_000, &raw, to).unwrap();
            prop_assert!(pcm.samples.iter().all(|s| s.abs() <= 1.0));
            prop_assert!(pcm.onset <= pcm.offset && pcm.offset <= pcm.samples.len());
        }
    }
}
