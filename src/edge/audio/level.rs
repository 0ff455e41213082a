//! How loud something is, and where the voice in it begins and ends.

/// Frame over which loudness is taken, s.
const FRAME_S: f64 = 0.02;
/// A frame counts as active within this many dB of the loudest.
const ACTIVE_DB: f64 = 25.0;

/// Root mean square of all samples; 0 for none.
pub fn rms(samples: &[f32]) -> f64 {
    if samples.is_empty() {
        return 0.0;
    }
    (samples.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>() / samples.len() as f64).sqrt()
}

/// Root mean square over the frames of 20 ms that are within 25 dB of the loudest: the level of the speech itself,
/// whatever the pauses. 0 for silence.
pub fn active_rms(samples: &[f32], rate: u32) -> f64 {
    let frame = ((FRAME_S * f64::from(rate)) as usize).max(1);
    let levels: Vec<f64> = samples.chunks(frame).map(rms).collect();
    let floor = levels.iter().copied().fold(0.0, f64::max) * from_db(-ACTIVE_DB);
    let active: Vec<f64> = levels.into_iter().filter(|l| *l > 0.0 && *l >= floor).collect();
    if active.is_empty() { 0.0 } else { (active.iter().map(|l| l * l).sum::<f64>() / active.len() as f64).sqrt() }
}

/// Where the voice is: the first and one past the last sample of what is within `down_db` of the loudest 5 ms.
/// Absent for silence.
pub fn voiced(samples: &[f32], rate: u32, down_db: f64) -> Option<(usize, usize)> {
    let frame = (rate as usize / 200).max(1);
    let levels: Vec<f64> = samples.chunks(frame).map(rms).collect();
    let floor = levels.iter().copied().fold(0.0, f64::max) * from_db(-down_db);
    if floor <= 0.0 {
        return None;
    }
    let first = levels.iter().position(|l| *l >= floor)?;
    let last = levels.iter().rposition(|l| *l >= floor)?;
    Some((first * frame, ((last + 1) * frame).min(samples.len())))
}

/// A ratio of amplitudes from decibels.
pub fn from_db(db: f64) -> f64 {
    10f64.powf(db / 20.0)
}

/// Decibels of a ratio of amplitudes; −∞ for 0.
pub fn to_db(ratio: f64) -> f64 {
    20.0 * ratio.log10()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_do_not_count() {
        let mut clip = vec![0.0; 16_000];
        clip[4_000..8_000].iter_mut().enumerate().for_each(|(i, s)| *s = if i % 2 == 0 { 0.1 } else { -0.1 });
        assert!((active_rms(&clip, 16_000) - 0.1).abs() < 0.003);
        assert!((rms(&clip) - 0.05).abs() < 1e-3);
        let (a, b) = voiced(&clip, 16_000, 40.0).unwrap();
        assert!(a.abs_diff(4_000) <= 80 && b.abs_diff(8_000) <= 80, "{a} {b}");
        assert_eq!((active_rms(&[0.0; 100], 16_000), voiced(&[0.0; 100], 16_000, 40.0)), (0.0, None));
        assert_eq!((active_rms(&[], 16_000), voiced(&[], 16_000, 40.0)), (0.0, None));
    }
}
