//! A long answer on the radio, read in parts: over ten seconds and more a speech model loses its thread and drops the end.

use crate::core::gate::RATE;
use crate::core::grammar::Meaning;
use crate::core::matcher::Candidate;

/// Length of a frame, samples (20 ms).
const FRAME: usize = RATE as usize / 50;
/// Below this share of the loudest frames' energy it is quiet (20 dB).
const QUIET: f32 = 0.01;
/// The shortest pause between items, frames (80 ms).
const PAUSE: usize = 4;
/// Sound up to so long (5.5 s) is read at once.
const SHORT: usize = 11 * RATE as usize / 2;
/// What an item more costs, nats: as in the search over the whole answer.
const ANOTHER: f64 = 2.0;
/// Words of a short item.
const ITEM: usize = 3;
/// Readings of each part that are joined with those of the others, and the most that come of it.
const JOINED: usize = 6;
const KEPT: usize = 16;
/// An answer must score more than this, and lead the best with other meanings by this, nats, to need no closer look.
const SCORE: f64 = 12.0;
const LEAD: f64 = 1.5;

/// Where to cut: within the longest pause of the middle half, and so on in the parts, until each is short.
pub(super) fn cuts(samples: &[f32]) -> Vec<usize> {
    if samples.len() <= SHORT {
        return Vec::new();
    }
    let energy: Vec<f32> = samples.chunks_exact(FRAME).map(|f| f.iter().map(|s| s * s).sum()).collect();
    let mut sorted = energy.clone();
    sorted.sort_by(f32::total_cmp);
    let quiet = sorted[sorted.len() - 1 - sorted.len() / 20] * QUIET;
    let (from, to) = (energy.len() / 4, energy.len() * 3 / 4);
    let (mut best, mut run) = ((0, 0), 0);
    for (i, e) in energy.iter().enumerate().take(to).skip(from) {
        run = if *e <= quiet { run + 1 } else { 0 };
        if run > best.0 {
            best = (run, i + 1 - run);
        }
    }
    if best.0 < PAUSE {
        return Vec::new();
    }
    let at = (best.1 + best.0 / 2) * FRAME;
    let (before, after) = samples.split_at(at);
    let mut all = cuts(before);
    all.push(at);
    all.extend(cuts(after).into_iter().map(|c| at + c));
    all
}

/// Whether one meaning gives a value of the other again, or says the very same.
fn repeats(a: &Meaning, b: &Meaning) -> bool {
    a.call == b.call && (a == b || a.slots.keys().any(|k| b.slots.contains_key(k)))
}

/// Readings of one part followed by readings of the next, best first. No value is said twice across the seam: it would be one
/// that was cut in two.
pub(super) fn joined(first: &[Candidate], next: &[Candidate]) -> Vec<Candidate> {
    let mut all: Vec<Candidate> = Vec::new();
    for a in first.iter().take(JOINED) {
        let goes_on = |b: &&Candidate| match (a.meanings.last(), b.meanings.first()) {
            (Some(last), Some(first)) => !repeats(last, first),
            _ => true,
        };
        for b in next.iter().filter(goes_on).take(JOINED) {
            let meanings = a.meanings.iter().chain(&b.meanings).cloned().collect();
            let mut both = Candidate::new(meanings, a.score + b.score - ANOTHER, format!("{}, {}", a.text, b.text));
            both.strain = a.strain + b.strain;
            all.push(both);
        }
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all.truncate(KEPT);
    all
}

/// Of the joined readings those that say more than the best of the whole, by an item: a part easily leaves out its own
/// beginning, or makes a word up.
pub(super) fn fuller(joined: Vec<Candidate>, whole: &[Candidate]) -> Vec<Candidate> {
    let words = whole.first().map_or(0, Candidate::words);
    joined.into_iter().filter(|c| c.words() >= words + ITEM).collect()
}

/// Adds readings to others: of the same meanings the better one stays.
pub(super) fn merged(ranked: &mut Vec<Candidate>, more: Vec<Candidate>) {
    for reading in more {
        match ranked.iter_mut().find(|c| c.meanings == reading.meanings) {
            Some(known) if known.score < reading.score => *known = reading,
            Some(_) => {}
            None => ranked.push(reading),
        }
    }
    ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
}

/// Whether an answer stands out from all with other meanings.
pub(super) fn stands_out(ranked: &[Candidate]) -> bool {
    let Some(best) = ranked.first() else { return false };
    let next = ranked.iter().find(|c| c.meanings != best.meanings);
    best.score > SCORE && next.is_none_or(|next| best.score - next.score > LEAD)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::aircraft::Value;
    use proptest::prelude::*;

    /// Sound of so many seconds, silence of so many, and so on in turn.
    fn spoken(parts: &[f64]) -> Vec<f32> {
        let part = |(i, s): (usize, &f64)| {
            let level = if i % 2 == 0 { 0.3 } else { 0.001 };
            (0..(s * f64::from(RATE)) as usize).map(move |k| level * (k as f32 * 0.3).sin()).collect::<Vec<_>>()
        };
        parts.iter().enumerate().flat_map(part).collect()
    }

    fn check(parts: &[f64], wanted: &[f64]) {
        let found: Vec<f64> = cuts(&spoken(parts)).iter().map(|c| *c as f64 / f64::from(RATE)).collect();
        let near = found.len() == wanted.len() && found.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 0.05);
        assert!(near, "{found:?} instead of {wanted:?}");
    }

    #[test]
    fn long_answers_are_cut_in_their_pauses() {
        check(&[3.0, 0.2, 2.0], &[]);
        check(&[3.0, 0.2, 3.0], &[3.1]);
        check(&[3.0, 0.1, 2.0, 0.3, 3.0], &[5.25]);
        check(&[4.0, 0.2, 4.0, 0.4, 4.0, 0.2, 4.0], &[4.1, 8.4, 12.7]);
        // Without a pause, or with one at its very end only, it is read as it is.
        check(&[12.0], &[]);
        check(&[9.0, 0.3, 1.0], &[]);
        assert!(cuts(&[]).is_empty());
    }

    #[test]
    fn readings_of_parts_are_joined_and_the_better_of_two_stays() {
        let reading = |call: &str, score: f64| {
            Candidate::new(vec![Meaning { call: call.into(), slots: Default::default() }], score, call.into())
        };
        let both = joined(&[reading("a", 9.0), reading("b", 8.0)], &[reading("c", 5.0)]);
        let told: Vec<(&str, f64)> = both.iter().map(|c| (c.text.as_str(), c.score)).collect();
        assert_eq!(told, [("a, c", 12.0), ("b, c", 11.0)]);
        assert_eq!(both[0].meanings.len(), 2);
        assert!(joined(&both, &[]).is_empty());
        assert!(joined(&[reading("a", 9.0)], &[reading("a", 5.0)]).is_empty());
        // Two values of one item may stand on either side of a cut, one value may not.
        let value = |slot: &str, value: &str| {
            let mut reading = reading("a", 9.0);
            reading.meanings[0].slots.insert(slot.into(), Value::Word(value.into()));
            [reading]
        };
        assert!(joined(&value("runway", "09"), &value("runway", "27")).is_empty());
        assert_eq!(joined(&value("runway", "09"), &value("via", "lima")).len(), 1);
        let long = || [reading("a b c d", 9.0), reading("a b c", 12.0)].to_vec();
        assert_eq!(fuller(long(), &[reading("a", 20.0)]), [reading("a b c d", 9.0)]);
        assert_eq!(fuller(long(), &[]), long());
        let mut ranked = vec![reading("a", 9.0), reading("b", 3.0)];
        merged(&mut ranked, vec![reading("a", 7.0), reading("b", 10.0), reading("d", 1.0)]);
        let told: Vec<(&str, f64)> = ranked.iter().map(|c| (c.text.as_str(), c.score)).collect();
        assert_eq!(told, [("b", 10.0), ("a", 9.0), ("d", 1.0)]);
        assert!(!stands_out(&ranked) && stands_out(&[reading("a", 20.0), reading("b", 18.0)]));
        assert!(!stands_out(&[reading("a", 20.0), reading("b", 19.0)]) && !stands_out(&[]));
    }

    proptest! {
        #[test]
        fn cuts_ascend_within_the_sound(parts in proptest::collection::vec(0.05f64..6.0, 0..8)) {
            let sound = spoken(&parts);
            let found = cuts(&sound);
            prop_assert!(found.windows(2).all(|w| w[0] < w[1]));
            prop_assert!(found.iter().all(|c| (1..sound.len()).contains(c)));
        }
    }
}
