//! From one sample rate to another.

use super::AudioError;
use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{Fft, FixedSync, Resampler};

/// Lowest and highest rate we accept, Hz.
pub const RATES: std::ops::RangeInclusive<u32> = 1_000..=768_000;

/// Frames per call of the resampler: long enough for a steep filter, short enough to stay cheap for one word.
const CHUNK: u32 = 1024;

/// The whole clip at another rate, Hz.
///
/// The resampler's delay is trimmed and its tail flushed, so that sample `n` of the input is at `n * to / from` of the
/// output and the result has `ceil(len * to / from)` samples. Equal rates give a copy.
pub fn resample(samples: &[f32], from: u32, to: u32) -> Result<Vec<f32>, AudioError> {
    if !RATES.contains(&from) || !RATES.contains(&to) {
        return Err(AudioError::Rate { from, to });
    }
    if from == to || samples.is_empty() {
        return Ok(samples.to_vec());
    }
    let fault = || AudioError::Rate { from, to };
    // The delay is half a block; an even block on both sides makes it a whole number of samples.
    let pair = 2 * from / gcd(from, to);
    let chunk = CHUNK.div_ceil(pair) * pair;
    let mut engine =
        Fft::<f32>::new(from as usize, to as usize, chunk as usize, 1, FixedSync::Both).map_err(|_| fault())?;
    let input = InterleavedSlice::new(samples, 1, samples.len()).map_err(|_| fault())?;
    let output = engine.process_all(&input, samples.len(), None).map_err(|_| fault())?;
    let mut out = output.take_data();
    let whole = (samples.len() as u64 * u64::from(to)).div_ceil(u64::from(from)) as usize;
    out.resize(whole, 0.0);
    Ok(out)
}

pub(super) fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn tone(rate: u32, hz: f64, seconds: f64) -> Vec<f32> {
        let n = (f64::from(rate) * seconds) as usize;
        (0..n).map(|i| (0.5 * (i as f64 * hz * std::f64::consts::TAU / f64::from(rate)).sin()) as f32).collect()
    }

    /// RMS of the difference from the same tone made at the target rate, away from the edges, dB below the tone.
    fn error_db(from: u32, to: u32, hz: f64) -> f64 {
        let got = resample(&tone(from, hz, 1.0), from, to).unwrap();
        let want = tone(to, hz, 1.0);
        let edge = to as usize / 10;
        let (mut e, mut s) = (0.0, 0.0);
        for i in edge..want.len().min(got.len()) - edge {
            e += f64::from(got[i] - want[i]).powi(2);
            s += f64::from(want[i]).powi(2);
        }
        10.0 * (e / s).log10()
    }

    #[test]
    fn a_tone_keeps_its_pitch_place_and_level() {
        let rates = [(22_050, 16_000), (22_050, 48_000), (8_000, 16_000), (44_100, 16_000), (48_000, 16_000)];
        for (from, to) in rates.into_iter().chain([(11_025, 16_000), (16_000, 22_050), (96_000, 16_000)]) {
            let db = error_db(from, to, 1_000.0);
            assert!(db < -60.0, "{from} to {to}: {db:.1} dB");
        }
    }

    #[test]
    fn what_the_target_cannot_carry_is_filtered_out() {
        let out = resample(&tone(48_000, 11_000.0, 1.0), 48_000, 16_000).unwrap();
        let middle = &out[2_000..14_000];
        let rms = (middle.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / middle.len() as f64).sqrt();
        assert!(20.0 * rms.log10() < -70.0, "aliased at {:.1} dB", 20.0 * rms.log10());
    }

    #[test]
    fn an_impulse_stays_where_it_was() {
        for (from, to) in [(22_050u32, 16_000u32), (48_000, 16_000), (16_000, 48_000)] {
            let mut clip = vec![0.0; from as usize];
            clip[from as usize / 2] = 1.0;
            let out = resample(&clip, from, to).unwrap();
            let at = out.iter().enumerate().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap().0;
            assert!(at.abs_diff(to as usize / 2) <= 1, "{from} to {to}: {at}");
        }
    }

    #[test]
    fn odd_rates_are_refused_in_a_sentence() {
        let said = resample(&[0.0], 0, 16_000).unwrap_err().to_string();
        insta::assert_snapshot!(said, @"sound at 0 Hz cannot be brought to 16000 Hz; use a rate between 1000 and 768000 Hz");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        #[test]
        fn length_is_exact_and_values_finite(n in 0usize..5_000, from in 4_000u32..50_000, to in 4_000u32..50_000) {
            let clip: Vec<f32> = (0..n).map(|i| if i % 7 < 3 { 0.9 } else { -0.9 }).collect();
            let out = resample(&clip, from, to).unwrap();
            prop_assert_eq!(out.len(), (n as u64 * u64::from(to)).div_ceil(u64::from(from)) as usize);
            prop_assert!(out.iter().all(|s| s.is_finite()));
        }
    }
}
