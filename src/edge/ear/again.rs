//! A tie heard again: the same sound somewhat slower and somewhat faster, and the mean of what is made of it.
//!
//! How a speech model scores two values that sound alike ("forty", "fourteen") hangs on accidents of the sound as much as
//! on what was said. In other copies of the sound the accidents are others, and what was said is the same.

use crate::core::matcher::Candidate;

/// Lengths of the copies against the sound's own.
pub(super) const COPIES: [f64; 4] = [0.9, 0.95, 1.06, 1.12];
/// Readings so far behind the best, nats, have no part in a tie.
const BEHIND: f64 = 8.0;
/// What a copy does not offer at all is this much below the least that it offers, nats.
const ABSENT: f64 = 2.0;

/// The sound at another pace, with its pitch: between samples by a cubic through four of them.
pub(super) fn paced(samples: &[f32], length: f64) -> Vec<f32> {
    let at = |i: isize| samples.get(i.clamp(0, samples.len() as isize - 1) as usize).copied().unwrap_or(0.0);
    let n = (samples.len() as f64 * length) as usize;
    (0..n)
        .map(|k| {
            let x = k as f64 / length;
            let (i, t) = (x.floor() as isize, (x - x.floor()) as f32);
            let [a, b, c, d] = [at(i - 1), at(i), at(i + 1), at(i + 2)];
            // Catmull and Rom 1974.
            b + 0.5 * t * (c - a + t * (2.0 * a - 5.0 * b + 4.0 * c - d + t * (3.0 * (b - c) + d - a)))
        })
        .collect()
}

/// Readings that have a part in the tie.
pub(super) fn tied(ranked: &[Candidate]) -> impl Iterator<Item = &Candidate> {
    let least = ranked.first().map_or(0.0, |c| c.score - BEHIND);
    ranked.iter().filter(move |c| c.score >= least)
}

/// The tied readings of `ranked` by their mean over the sound and its copies, best first, then the others as they were.
pub(super) fn mean(ranked: Vec<Candidate>, copies: &[Vec<Candidate>]) -> Vec<Candidate> {
    let count = tied(&ranked).count();
    let mut all = ranked;
    let others = all.split_off(count.min(all.len()));
    for reading in &mut all {
        let of = |copy: &Vec<Candidate>| {
            let least = copy.iter().map(|c| c.score).fold(f64::INFINITY, f64::min) - ABSENT;
            copy.iter().find(|c| c.meanings == reading.meanings).map_or(least, |c| c.score)
        };
        let heard: Vec<f64> = copies.iter().filter(|c| !c.is_empty()).map(of).collect();
        reading.score = (reading.score + heard.iter().sum::<f64>()) / (1 + heard.len()) as f64;
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all.extend(others);
    all
}

#[cfg(test)]
mod tests {
    use super::{mean, paced, tied};
    use crate::core::grammar::Meaning;
    use crate::core::matcher::Candidate;

    fn readings(all: &[(&str, f64)]) -> Vec<Candidate> {
        let meaning = |call: &str| vec![Meaning { call: call.into(), slots: Default::default() }];
        all.iter().map(|(call, score)| Candidate::new(meaning(call), *score, (*call).into())).collect()
    }

    #[test]
    fn a_tie_is_settled_by_the_mean_and_what_has_no_part_in_it_stays() {
        let ranked = readings(&[("forty", 9.0), ("fourteen", 8.8), ("four", -3.0)]);
        assert_eq!(tied(&ranked).count(), 2);
        let copies = [
            readings(&[("fourteen", 9.4), ("forty", 6.0)]),
            readings(&[("fourteen", 8.5), ("forty", 7.0)]),
            Vec::new(),
        ];
        let settled: Vec<(String, f64)> =
            mean(ranked, &copies).into_iter().map(|c| (c.text, (c.score * 10.0).round() / 10.0)).collect();
        let [a, b, c] = settled.as_slice() else { panic!("{settled:?}") };
        assert_eq!((a.0.as_str(), a.1), ("fourteen", 8.9));
        assert_eq!((b.0.as_str(), b.1), ("forty", 7.3));
        assert_eq!((c.0.as_str(), c.1), ("four", -3.0));
        // What a copy does not have at all is not held against nothing.
        let alone = mean(readings(&[("forty", 9.0)]), &[readings(&[("fourteen", 9.0)])]);
        assert_eq!(alone[0].score, 8.0);
    }

    #[test]
    fn another_pace_is_another_length_and_the_same_tone() {
        let tone: Vec<f32> = (0..16_000).map(|i| (i as f32 * 0.05).sin()).collect();
        for (length, pace) in [(0.94, 0.05 / 0.94), (1.06, 0.05 / 1.06)] {
            let other = paced(&tone, length);
            assert_eq!(other.len(), (16_000.0 * length) as usize);
            let off = other.iter().enumerate().skip(4).take(14_000).map(|(i, s)| (s - (i as f32 * pace).sin()).abs());
            assert!(off.fold(0.0, f32::max) < 0.01, "{length}");
        }
        assert!(paced(&[], 1.06).is_empty());
    }
}
