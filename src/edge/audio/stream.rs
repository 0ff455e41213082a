//! From one rate to another, as sound arrives.

use super::AudioError;
use super::resample::{RATES, gcd};
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler};

/// Wanted length of a piece, s: what the conversion adds to the delay.
const PIECE_S: f64 = 0.010;

/// A running conversion of mono sound.
///
/// The resampler's own delay is trimmed: sample `n` of the input is at `n * to / from` of the output, and after
/// [`flush`](Self::flush) the output has `ceil(n * to / from)` samples, however the input was cut into pieces.
pub struct Converter {
    from: u32,
    to: u32,
    engine: Option<Fft<f32>>,
    waiting: Vec<f32>,
    piece: Vec<f32>,
    /// Samples still to be thrown away at the beginning.
    skip: usize,
    taken: u64,
    given: u64,
}

impl Converter {
    /// A conversion between two rates, Hz.
    ///
    /// # Errors
    /// A rate outside [`RATES`].
    pub fn new(from: u32, to: u32) -> Result<Self, AudioError> {
        let fault = || AudioError::Rate { from, to };
        if !RATES.contains(&from) || !RATES.contains(&to) {
            return Err(fault());
        }
        let engine = match from == to {
            true => None,
            false => {
                // Even on both sides, so that the delay to be trimmed is a whole number of samples.
                let pair = 2 * from / gcd(from, to);
                let piece = ((PIECE_S * f64::from(from)) as u32).div_ceil(pair) * pair;
                let engine = Fft::<f32>::new(from as usize, to as usize, piece as usize, 1, FixedSync::Both);
                Some(engine.map_err(|_| fault())?)
            }
        };
        let skip = engine.as_ref().map_or(0, Resampler::output_delay);
        let piece = engine.as_ref().map_or_else(Vec::new, |e| vec![0.0; e.output_frames_max()]);
        Ok(Converter { from, to, engine, waiting: Vec::new(), piece, skip, taken: 0, given: 0 })
    }

    /// What the conversion holds back at most, s.
    pub fn delay_s(&self) -> f64 {
        let e = self.engine.as_ref();
        e.map_or(0.0, |e| {
            e.input_frames_max() as f64 / f64::from(self.from) + e.output_delay() as f64 / f64::from(self.to)
        })
    }

    /// Takes samples in and appends what is ready.
    ///
    /// # Errors
    /// The conversion failed.
    pub fn push(&mut self, samples: &[f32], out: &mut Vec<f32>) -> Result<(), AudioError> {
        self.taken += samples.len() as u64;
        let Some(engine) = &mut self.engine else {
            self.given += samples.len() as u64;
            out.extend_from_slice(samples);
            return Ok(());
        };
        let fault = || AudioError::Rate { from: self.from, to: self.to };
        self.waiting.extend_from_slice(samples);
        let mut used = 0;
        // Asked every time: the size may change from call to call.
        while self.waiting.len() - used >= engine.input_frames_next() {
            let n = engine.input_frames_next();
            let input = InterleavedSlice::new(&self.waiting[used..used + n], 1, n).map_err(|_| fault())?;
            let room = self.piece.len();
            let mut output = InterleavedSlice::new_mut(&mut self.piece, 1, room).map_err(|_| fault())?;
            let (read, made) = engine.process_into_buffer(&input, &mut output, None).map_err(|_| fault())?;
            used += read;
            let skipped = self.skip.min(made);
            self.skip -= skipped;
            self.given += (made - skipped) as u64;
            out.extend_from_slice(&self.piece[skipped..made]);
        }
        self.waiting.drain(..used);
        Ok(())
    }

    /// The sound is over: appends its tail. The next sample begins anew.
    ///
    /// # Errors
    /// The conversion failed.
    pub fn flush(&mut self, out: &mut Vec<f32>) -> Result<(), AudioError> {
        let whole = (self.taken * u64::from(self.to)).div_ceil(u64::from(self.from));
        let mut tail = Vec::new();
        let before = self.given;
        while self.given < whole {
            let n = self.engine.as_ref().map_or(1, Resampler::input_frames_next);
            self.push(&vec![0.0; n], &mut tail)?;
        }
        tail.truncate((whole - before.min(whole)) as usize);
        out.extend(tail);
        *self = Converter::new(self.from, self.to)?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::audio::level;
    use crate::edge::audio::resample::resample;
    use proptest::prelude::*;

    fn tone(rate: u32, hz: f64, n: usize) -> Vec<f32> {
        (0..n).map(|i| (0.5 * (i as f64 * hz * std::f64::consts::TAU / f64::from(rate)).sin()) as f32).collect()
    }

    fn run(from: u32, to: u32, samples: &[f32], cut: usize) -> Vec<f32> {
        let mut converter = Converter::new(from, to).unwrap();
        let mut out = Vec::new();
        samples.chunks(cut).for_each(|c| converter.push(c, &mut out).unwrap());
        converter.flush(&mut out).unwrap();
        out
    }

    #[test]
    fn a_tone_comes_through_at_its_place_and_level() {
        for (from, to) in [(48_000, 16_000), (44_100, 16_000), (8_000, 16_000), (16_000, 48_000), (16_000, 16_000)] {
            let out = run(from, to, &tone(from, 440.0, from as usize), 333);
            assert_eq!(out.len(), to as usize, "{from} to {to}");
            let want = tone(to, 440.0, to as usize);
            let wrong: Vec<f32> = out.iter().zip(&want).skip(2_000).take(6_000).map(|(a, b)| a - b).collect();
            let db = level::to_db(level::rms(&wrong) / level::rms(&want));
            assert!(db < -40.0, "{from} to {to}: {db:.1} dB beside the tone");
        }
    }

    #[test]
    fn it_agrees_with_the_conversion_in_one_go() {
        let sound = tone(44_100, 1_000.0, 30_000);
        let (a, b) = (run(44_100, 16_000, &sound, 480), resample(&sound, 44_100, 16_000).unwrap());
        assert_eq!(a.len(), b.len());
        let far = a.iter().zip(&b).skip(500).take(9_000).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max);
        assert!(far < 0.01, "{far}");
    }

    #[test]
    fn a_wrong_rate_is_a_sentence() {
        assert!(Converter::new(0, 16_000).is_err() && Converter::new(16_000, 1_000_000).is_err());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn cutting_changes_nothing(cut in 1usize..3_000, n in 0usize..20_000, from in prop::sample::select(vec![8_000u32, 22_050, 44_100, 48_000])) {
            let sound = tone(from, 300.0, n);
            let out = run(from, 16_000, &sound, cut);
            prop_assert_eq!(out.len() as u64, (n as u64 * 16_000).div_ceil(u64::from(from)));
            prop_assert_eq!(out, run(from, 16_000, &sound, n.max(1)));
        }
    }
}
