//! How long the words of a reading take to say: who says "reject that offer" has not said "reject".
//!
//! Models of speech hardly mind a text that ends before the sound does. Time tells: of 400 calls of the ear's benchmark, 98 in
//! 100 took less than 0.085 s of loud sound for each letter (and three more), and all of them at least 0.038 s of voiced
//! sound: "start the APU" is not said in the time of "thank you".

use crate::core::gate::RATE;

/// Length of a frame, samples (20 ms).
pub(super) const FRAME: usize = RATE as usize / 50;
/// A frame is loud if it is at most so much below the loudest of twenty, as a ratio of energies (6 dB).
const LOUD: f32 = 0.251;
/// A pause of more frames than this (0.3 s) is none of the words'.
const PAUSE: usize = 15;
/// Seconds a letter that are usual; what each second beyond costs, nats; and the most that is asked.
const USUAL: f64 = 0.075;
const COST: f64 = 100.0;
const MOST: f64 = 8.0;
/// Voiced seconds a letter that nobody stays below, and what each second less costs, nats.
const LEAST: f64 = 0.035;
const HASTE: f64 = 400.0;
/// Letters that a spelled letter counts for, and those that are added to every text: its first and last sound last longer.
const SPELLED: usize = 3;
const ENDS: usize = 3;

/// Energies of the frames.
pub(super) fn energies(samples: &[f32]) -> Vec<f32> {
    samples.chunks_exact(FRAME).map(|f| f.iter().map(|s| s * s).sum()).collect()
}

/// Seconds from the first loud moment to the last, without long pauses.
pub(super) fn loud(samples: &[f32]) -> f64 {
    let energy = energies(samples);
    // Two frames each, so that the closure of a stop is none.
    let pairs: Vec<f32> = (0..energy.len()).map(|i| energy[i] + energy[i.saturating_sub(1)]).collect();
    let mut sorted = pairs.clone();
    sorted.sort_by(f32::total_cmp);
    let Some(top) = sorted.len().checked_sub((sorted.len() / 20).max(1)).map(|i| sorted[i]) else { return 0.0 };
    let at: Vec<usize> = (0..pairs.len()).filter(|i| pairs[*i] > top * LOUD).collect();
    let (Some(first), Some(last)) = (at.first(), at.last()) else { return 0.0 };
    let pauses: usize = at.windows(2).map(|w| w[1] - w[0] - 1).filter(|gap| *gap > PAUSE).sum();
    (last - first + 1 - pauses) as f64 * FRAME as f64 / f64::from(RATE)
}

/// What a text costs that is too short for so many seconds of loud sound, or too long for so many of voiced sound, nats.
pub(super) fn price(text: &str, loud: f64, voiced: f64) -> f64 {
    let letters = |word: &str| match word.trim_matches(',').len() {
        1 => SPELLED,
        n => n,
    };
    let all = (ENDS + text.split(' ').map(letters).sum::<usize>()) as f64;
    (COST * (loud / all - USUAL)).max(HASTE * (LEAST - voiced / all)).clamp(0.0, MOST)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A tone of these (loudness, seconds), one after another.
    fn tone(parts: &[(f32, f64)]) -> Vec<f32> {
        let part = |(level, s): &(f32, f64)| {
            let level = *level;
            (0..(s * f64::from(RATE)) as usize).map(move |i| level * (i as f32 * 0.2).sin()).collect::<Vec<_>>()
        };
        parts.iter().flat_map(part).collect()
    }

    fn check(parts: &[(f32, f64)], wanted: f64) {
        let found = loud(&tone(parts));
        assert!((found - wanted).abs() < 0.05, "{found} s instead of {wanted} s of {parts:?}");
    }

    #[test]
    fn the_loud_part_is_measured_without_long_pauses() {
        check(&[(0.001, 0.5), (0.3, 1.0), (0.001, 0.5)], 1.0);
        check(&[(0.3, 0.4), (0.001, 0.2), (0.3, 0.4)], 1.0);
        check(&[(0.3, 0.4), (0.001, 0.5), (0.3, 0.4)], 0.8);
        // Twelve decibels lower is another's voice, or the room's.
        check(&[(0.075, 0.6), (0.3, 0.5), (0.075, 0.6)], 0.5);
        assert_eq!(loud(&[]), 0.0);
        assert_eq!(loud(&[0.0; 16_000]), 0.0);
    }

    #[test]
    fn a_text_too_short_for_its_sound_costs() {
        let price = |text, loud| super::price(text, loud, loud);
        assert_eq!(price("reject", 0.65), 0.0);
        assert!(price("reject", 1.3) > 4.0 && price("reject the takeoff", 1.3) == 0.0);
        assert_eq!(price("on", 0.3), 0.0);
        assert_eq!(price("start the a p u", 1.3), 0.0);
        assert_eq!(price("on", 5.0), MOST);
    }

    #[test]
    fn a_text_too_long_for_its_sound_costs() {
        assert!(price("start the a p u", 0.3, 0.35) > 6.0);
        assert_eq!(price("thank you", 0.3, 0.42), 0.0);
        // A short word's loud part may be a moment.
        assert_eq!(price("up", 0.08, 0.25), 0.0);
    }

    proptest! {
        #[test]
        fn no_text_costs_more_than_the_most(loud in 0.0f64..9.0, voiced in 0.0f64..9.0, text in "[a-z ,]{0,20}") {
            prop_assert!((0.0..=MOST).contains(&price(&text, loud, voiced)));
        }
    }
}
