//! A voice as it comes over the air: the band of a voice channel, a little distortion, noise, and the squelch that opens
//! and closes.

use crate::edge::audio::level;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// The band, Hz. From memory, without a source.
const BAND: (f64, f64) = (300.0, 3_000.0);
/// How long the squelch stays open before and after the voice, s. Common practice, no source.
const OPEN_S: f64 = 0.12;
const TAIL_S: f64 = 0.18;
/// The noise of the open channel under the voice, dB, and of the tail, when the carrier has gone.
const NOISE_DB: f64 = -26.0;
const TAIL_DB: f64 = -14.0;

/// A second-order filter.
#[derive(Debug, Clone, Default)]
struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    z: [f64; 2],
}

impl Biquad {
    /// Low or high pass at `hz` with quality `q`, by the bilinear transform.
    fn new(high: bool, hz: f64, q: f64, rate: f64) -> Self {
        let w = std::f64::consts::TAU * hz / rate;
        let (sin, cos) = w.sin_cos();
        let alpha = sin / (2.0 * q);
        let a0 = 1.0 + alpha;
        let edge = if high { (1.0 + cos) / 2.0 } else { (1.0 - cos) / 2.0 };
        let middle = if high { -2.0 * edge } else { 2.0 * edge };
        Biquad { b: [edge / a0, middle / a0, edge / a0], a: [-2.0 * cos / a0, (1.0 - alpha) / a0], z: [0.0; 2] }
    }

    fn step(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.z[0];
        self.z[0] = self.b[1] * x - self.a[0] * y + self.z[1];
        self.z[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}

/// The chain for one channel.
#[derive(Debug, Clone)]
pub struct Chain {
    rate: u32,
    source: Pcg64Mcg,
}

impl Chain {
    /// For sound at `rate` Hz; the seed decides the noise.
    pub fn new(rate: u32, seed: u64) -> Self {
        Chain { rate, source: Pcg64Mcg::seed_from_u64(seed) }
    }

    /// A transmission as it is received; longer than the voice by the squelch's opening and tail.
    pub fn receive(&mut self, voice: &[f32]) -> Vec<f32> {
        let rate = f64::from(self.rate);
        let (open, tail) = ((OPEN_S * rate) as usize, (TAIL_S * rate) as usize);
        let loud = level::active_rms(voice, self.rate).max(1e-4);
        let under = loud * level::from_db(NOISE_DB);
        let behind = loud * level::from_db(TAIL_DB);
        let mut out = Vec::with_capacity(open + voice.len() + tail);
        for i in 0..open + voice.len() + tail {
            let voiced = i.checked_sub(open).and_then(|k| voice.get(k));
            let noise = self.white() * 1.73 * if i < open + voice.len() { under } else { behind };
            let x = f64::from(voiced.copied().unwrap_or(0.0));
            // A transmitter limits its modulation softly.
            out.push((4.0 * loud) * (x / (4.0 * loud)).tanh() + noise);
        }
        // Butterworth of fourth order on either side: two sections with these qualities.
        let mut filters: Vec<Biquad> = [0.5412, 1.3066]
            .into_iter()
            .flat_map(|q| [Biquad::new(true, BAND.0, q, rate), Biquad::new(false, BAND.1.min(0.45 * rate), q, rate)])
            .collect();
        let filtered: Vec<f64> = out.iter().map(|x| filters.iter_mut().fold(*x, |x, filter| filter.step(x))).collect();
        let now = level::active_rms(&filtered.iter().map(|x| *x as f32).collect::<Vec<_>>(), self.rate).max(1e-6);
        filtered.iter().map(|x| (x * loud / now).clamp(-1.0, 1.0) as f32).collect()
    }

    /// Uniform in ±1.
    fn white(&mut self) -> f64 {
        f64::from(self.source.next_u32()) / f64::from(u32::MAX) * 2.0 - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64) -> Vec<f32> {
        (0..32_000).map(|i| (0.1 * (f64::from(i) * hz * std::f64::consts::TAU / 16_000.0).sin()) as f32).collect()
    }

    /// Power of one frequency in the middle of the sound, dB.
    fn at(sound: &[f32], hz: f64) -> f64 {
        let (mut re, mut im) = (0.0, 0.0);
        for (i, s) in sound[8_000..24_000].iter().enumerate() {
            let w = i as f64 * hz * std::f64::consts::TAU / 16_000.0;
            re += f64::from(*s) * w.cos();
            im += f64::from(*s) * w.sin();
        }
        10.0 * ((re * re + im * im) / (8_000.0f64 * 8_000.0)).log10()
    }

    #[test]
    fn only_the_band_comes_through() {
        let both: Vec<f32> =
            tone(1_000.0).iter().zip(tone(100.0)).zip(tone(6_000.0)).map(|((a, b), c)| a + b + c).collect();
        let out = Chain::new(16_000, 1).receive(&both);
        let inside = at(&out, 1_000.0);
        for hz in [100.0, 6_000.0] {
            assert!(at(&out, hz) < inside - 20.0, "{hz} Hz: {:.1} dB of {inside:.1}", at(&out, hz));
        }
    }

    #[test]
    fn noise_and_squelch_are_there_and_the_same_for_a_seed() {
        let voice = tone(1_000.0);
        let out = Chain::new(16_000, 1).receive(&voice);
        assert_eq!(out.len(), voice.len() + (0.3 * 16_000.0) as usize);
        assert_eq!(out, Chain::new(16_000, 1).receive(&voice));
        assert_ne!(out, Chain::new(16_000, 2).receive(&voice));
        let tail = level::rms(&out[out.len() - 1_600..]);
        assert!(tail > 0.001 && tail < 0.05, "{tail}");
        assert!(Chain::new(16_000, 1).receive(&[]).iter().all(|s| s.abs() < 0.1));
    }
}
