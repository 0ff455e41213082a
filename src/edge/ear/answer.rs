//! A long answer on the radio, read in parts while it is given: over ten seconds and more a speech model loses its thread and
//! drops the end.

use super::listener::{Listener, centred};
use super::neural::EarError;
use super::pace::{self, FRAME, energies};
use super::reader::Reader;
use crate::core::gate::{RATE, Span};
use crate::core::grammar::{CallSet, Meaning};
use crate::core::matcher::Candidate;
use crate::core::radio::MOST_CALLS;
use std::ops::Range;

/// Below this share of the loudest frames' energy it is quiet (20 dB).
const QUIET: f32 = 0.01;
/// The shortest pause between items, frames (120 ms): the closure of a stop is shorter.
const PAUSE: usize = 6;
/// So much of a pause a part has at least at its ends, samples (250 ms): without any a model misses the first word.
const AROUND: usize = RATE as usize / 4;
/// Sound up to so many frames (6 s) is read at once.
const SHORT: usize = 300;
/// A part has at least so many frames (2 s), and so many at least are left after it (1 s).
const LEAST: usize = 100;
const LEFT: usize = 50;
/// In a closer look a part is cut once more: half of it has at least so many frames (0.6 s) before a pause of at least so many
/// (80 ms).
const CLOSER: usize = 30;
const BRIEF: usize = 4;
/// What an item more costs, nats: as in the search over the whole answer.
const ANOTHER: f64 = 2.0;
/// What it costs to say an item again without a correction, nats: short of sound a speech model loves to repeat itself, and
/// who really says it again is heard far more clearly than this.
const AGAIN: f64 = 12.0;
/// Readings of each part that are joined with those of the others, and the most that come of it.
const JOINED: usize = 6;
const KEPT: usize = 16;
/// A part whose words cost more than this for the time they leave unfilled, nats, was cut where no item ends.
const THIN: f64 = 1.0;
/// Where something that was due is missing it is looked for in parts whose words cost more than this for that.
const SPARE: f64 = 0.2;
/// An answer must score more than this, and lead the best with other meanings by this, nats, to need no closer look.
const SCORE: f64 = 12.0;
const LEAD: f64 = 4.0;

/// Where to cut, in samples: once there are more than six seconds, in the longest pause from the second second to the fifth; and so
/// on with what is left. What comes later moves no cut.
fn cuts(samples: &[f32]) -> Vec<Cut> {
    let energy = energies(samples);
    let (mut all, mut from, mut seen) = (Vec::new(), 0, SHORT);
    while from + seen < energy.len() {
        let part = &energy[from..from + seen];
        match pause(part, LEAST, PAUSE) {
            Some(Range { start, end }) => {
                all.push(Cut { at: (from + (start + end) / 2) * FRAME, half: (end - start) / 2 * FRAME });
                from += (start + end) / 2;
                seen = SHORT;
            }
            None => seen += LEFT,
        }
    }
    all
}

/// Where an answer is cut: in the middle of a pause of twice `half`, samples.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Cut {
    at: usize,
    half: usize,
}

/// More of a pause, told from its edge with the speech outwards: there and back again, as often as it takes.
fn more(pause: impl DoubleEndedIterator<Item = f32> + ExactSizeIterator + Clone) -> Vec<f32> {
    let lacking = AROUND.saturating_sub(pause.len());
    pause.clone().rev().chain(pause).cycle().take(lacking).collect()
}

/// The longest pause of at least so many frames from the frame `from` on, but for the end.
fn pause(energy: &[f32], from: usize, least: usize) -> Option<Range<usize>> {
    let mut sorted = energy.to_vec();
    sorted.sort_by(f32::total_cmp);
    let quiet = sorted[sorted.len() - 1 - sorted.len() / 20] * QUIET;
    let (mut best, mut run) = ((0, 0), 0);
    for (i, e) in energy.iter().enumerate().take(energy.len() - LEFT).skip(from) {
        run = if *e <= quiet { run + 1 } else { 0 };
        if run > best.0 {
            best = (run, i + 1 - run);
        }
    }
    (best.0 >= least).then(|| best.1..best.1 + best.0)
}

/// Readings with what they cost for saying items again taken off.
fn priced(mut ranked: Vec<Candidate>) -> Vec<Candidate> {
    ranked.iter_mut().for_each(|c| c.score -= again(&c.meanings));
    ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
    ranked
}

/// Readings of one part followed by readings of the next, best first.
fn joined(first: &[Candidate], next: &[Candidate]) -> Vec<Candidate> {
    let mut all: Vec<Candidate> = Vec::new();
    for a in first.iter().take(JOINED) {
        for b in next.iter().take(JOINED) {
            let meanings: Vec<Meaning> = a.meanings.iter().chain(&b.meanings).cloned().collect();
            // What each says again by itself has been priced.
            let price = ANOTHER + again(&meanings) - again(&a.meanings) - again(&b.meanings);
            let mut both = Candidate::new(meanings, a.score + b.score - price, format!("{}, {}", a.text, b.text));
            both.strain = a.strain + b.strain;
            all.push(both);
        }
    }
    all.sort_by(|a, b| b.score.total_cmp(&a.score));
    all.truncate(KEPT);
    all
}

/// What a reading costs that says items again.
fn again(meanings: &[Meaning]) -> f64 {
    let said_before = |(i, m): (usize, &Meaning)| meanings[..i].iter().any(|before| before.call == m.call);
    AGAIN * meanings.iter().enumerate().filter(|m| said_before(*m)).count() as f64
}

/// Adds readings to others: of the same meanings the better one stays.
fn merged(ranked: &mut Vec<Candidate>, more: Vec<Candidate>) {
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
fn stands_out(ranked: &[Candidate]) -> bool {
    let Some(best) = ranked.first() else { return false };
    let next = ranked.iter().find(|c| c.meanings != best.meanings);
    best.score > SCORE && again(&best.meanings) == 0.0 && next.is_none_or(|next| best.score - next.score > LEAD)
}

/// The best score.
fn score(ranked: &[Candidate]) -> f64 {
    ranked.first().map_or(f64::NEG_INFINITY, |c| c.score)
}

/// Whether the best readings of two parts have an item in common.
fn clash(first: &[Candidate], next: &[Candidate]) -> bool {
    let (Some(first), Some(next)) = (first.first(), next.first()) else { return false };
    first.meanings.iter().any(|a| next.meanings.iter().any(|b| a.call == b.call))
}

/// The pieces of an answer that have been read, each with its readings, and how many cuts there were when it was last read
/// ahead.
#[derive(Debug, Default)]
pub(super) struct Pieces {
    known: Vec<(Piece, Vec<Candidate>)>,
    cuts: usize,
}

impl Pieces {
    /// Another answer begins.
    pub fn forget(&mut self) {
        *self = Pieces::default();
    }
}

/// A piece of an answer, how much of it at its ends is half a pause, samples, and whether it is looked at closer.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Piece {
    span: Span,
    before: usize,
    after: usize,
    closer: bool,
}

impl Piece {
    fn new(span: Span) -> Piece {
        Piece { span, before: 0, after: 0, closer: false }
    }
}

impl<E: Reader> Listener<E> {
    /// The readings of an answer on the radio: of its parts one after another and, where these leave a doubt or something that
    /// was due is missing, of the whole.
    pub(super) fn answer(&mut self, window: Span, live: &CallSet) -> Result<Vec<Candidate>, EarError> {
        let (mut ranked, mut filled) = self.answer_so_far(window, live, false)?;
        if !self.has_all(&ranked) {
            (ranked, filled) = self.answer_so_far(window, live, true)?;
        }
        let cut = self.pieces.cuts > 0;
        self.weigh_values(&mut ranked, window)?;
        if filled && stands_out(&ranked) && self.has_all(&ranked) {
            return Ok(ranked);
        }
        let whole = Piece::new(window);
        if cut {
            merged(&mut ranked, self.piece(whole, live)?);
        } else if !stands_out(&ranked) {
            ranked = self.piece(Piece { closer: true, ..whole }, live)?;
        }
        self.weigh_values(&mut ranked, window)?;
        Ok(ranked)
    }

    /// The readings of the parts so far one after another, and whether their words fill the time. Of an answer that goes on
    /// only what is new is read.
    pub(super) fn answer_so_far(
        &mut self,
        window: Span,
        live: &CallSet,
        closer: bool,
    ) -> Result<(Vec<Candidate>, bool), EarError> {
        let mut ends = self.ends(window);
        self.pieces.cuts = ends.len();
        ends.push((window.to, 0));
        self.parts(window.from, &ends, live, closer)
    }

    /// Whether the best reading has every call that is due.
    fn has_all(&self, ranked: &[Candidate]) -> bool {
        let said = |name: &str| ranked.first().is_some_and(|best| best.meanings.iter().any(|m| m.call == name));
        self.due.iter().all(|due| self.ear.name(due).is_some_and(said))
    }

    /// Where the parts of an answer end that has more parts, and half the pauses there, samples.
    fn ends(&self, window: Span) -> Vec<(u64, usize)> {
        let cuts = cuts(&self.sound[self.samples(window)]);
        cuts.into_iter().map(|c| (window.from + c.at as u64, c.half)).collect()
    }

    /// The readings of the parts with these ends one after another, and whether their words fill the time.
    /// `closer`: each that may hold more is looked at closer.
    fn parts(
        &mut self,
        from: u64,
        ends: &[(u64, usize)],
        live: &CallSet,
        closer: bool,
    ) -> Result<(Vec<Candidate>, bool), EarError> {
        let mut parts: Vec<(Piece, Vec<Candidate>)> = Vec::new();
        let (mut from, mut before) = (from, 0);
        for &(to, after) in ends {
            let piece = Piece { before, after, ..Piece::new(Span { from, to }) };
            let mut part = (piece, self.piece(piece, live)?);
            if self.unfilled(&part) > if closer { SPARE } else { THIN } {
                self.look_closer(&mut part, closer, live)?;
            }
            // Words that do not fill their time, or an item on both sides: the cut may have gone through an item.
            if let Some(last) = parts.last()
                && (self.is_thin(last) || self.is_thin(&part) || parts.iter().any(|p| clash(&p.1, &part.1)))
            {
                let both = Piece { span: Span { from: last.0.span.from, to }, after, ..last.0 };
                let ranked = self.piece(both, live)?;
                if score(&ranked) > score(&joined(&last.1, &part.1)) {
                    part = (both, ranked);
                    parts.pop();
                }
            }
            parts.push(part);
            (from, before) = (to, after);
        }
        let filled = !parts.iter().any(|p| self.is_thin(p));
        let all = parts.into_iter().map(|p| p.1).filter(|p| !p.is_empty()).reduce(|a, b| joined(&a, &b));
        Ok((all.unwrap_or_default(), filled))
    }

    /// Reads a part in halves, cut in its longest pause: what it says so counts if it scores more. `twice`: halves that
    /// say an item more are then looked at with a wider beam.
    fn look_closer(
        &mut self,
        (piece, ranked): &mut (Piece, Vec<Candidate>),
        twice: bool,
        live: &CallSet,
    ) -> Result<(), EarError> {
        let energy = energies(&self.sound[self.samples(piece.span)]);
        let Some(Range { start, end }) =
            (energy.len() > CLOSER + LEFT).then(|| pause(&energy, CLOSER, BRIEF)).flatten()
        else {
            return Ok(());
        };
        let (at, half) = (piece.span.from + ((start + end) / 2 * FRAME) as u64, (end - start) / 2 * FRAME);
        let first = Piece { span: Span { to: at, ..piece.span }, after: half, ..*piece };
        let next = Piece { span: Span { from: at, ..piece.span }, before: half, ..*piece };
        let both = joined(&self.piece(first, live)?, &self.piece(next, live)?);
        if score(&both) <= score(ranked) {
            return Ok(());
        }
        let calls = |ranked: &[Candidate]| ranked.first().map_or(0, |c| c.meanings.len());
        let more = calls(&both) > calls(ranked);
        *ranked = both;
        if twice && more {
            let [first, next] = [first, next].map(|half| Piece { closer: true, ..half });
            *ranked = joined(&self.piece(first, live)?, &self.piece(next, live)?);
        }
        Ok(())
    }

    /// Reads the parts that are over while the answer goes on.
    pub(super) fn read_ahead(&mut self) -> Result<(), EarError> {
        let Some(from) = self.gate.talk_from().filter(|_| self.one_talker) else { return Ok(()) };
        let ends = self.ends(Span { from, to: self.gate.now() });
        if ends.len() > self.pieces.cuts {
            self.pieces.cuts = ends.len();
            let live = self.begun.union(&self.live);
            self.parts(from, &ends, &live, false)?;
        }
        Ok(())
    }

    /// What the best reading of a part costs for the time that its words leave unfilled, nats.
    fn unfilled(&self, (piece, ranked): &(Piece, Vec<Candidate>)) -> f64 {
        let loud = pace::loud(&self.sound[self.samples(piece.span)]);
        ranked.first().map_or(f64::INFINITY, |best| pace::price(&best.text, loud, f64::INFINITY))
    }

    fn is_thin(&self, part: &(Piece, Vec<Candidate>)) -> bool {
        self.unfilled(part) > THIN
    }

    /// The readings of a piece, which is read once.
    fn piece(&mut self, piece: Piece, live: &CallSet) -> Result<Vec<Candidate>, EarError> {
        if let Some((_, known)) = self.pieces.known.iter().find(|p| p.0 == piece) {
            return Ok(known.clone());
        }
        let sound = self.sound_of(piece);
        let reading = match piece.closer {
            true => self.ear.read_closer(&sound, live, MOST_CALLS)?,
            false => None,
        };
        let reading = reading.map_or_else(|| self.ear.read(&sound, live), Ok)?;
        let ranked = priced(reading.found.ranked);
        self.pieces.known.push((piece, ranked.clone()));
        Ok(ranked)
    }

    /// The sound of a piece, with longer pauses at its ends.
    fn sound_of(&self, piece: Piece) -> Vec<f32> {
        let part = &self.sound[self.samples(piece.span)];
        let (before, after) = (piece.before.min(part.len()), piece.after.min(part.len()));
        let mut sound = more(part[..before].iter().copied().rev());
        sound.reverse();
        sound.extend(part);
        sound.extend(more(part[part.len() - after..].iter().copied()));
        centred(&sound).into_owned()
    }

    /// Asks another model which values were said, and nothing else: it minds "via lima mike" more than to leave it out.
    fn weigh_values(&mut self, ranked: &mut Vec<Candidate>, window: Span) -> Result<(), EarError> {
        let Some(best) = ranked.first().cloned() else { return Ok(()) };
        let (mut same, others): (Vec<_>, Vec<_>) =
            std::mem::take(ranked).into_iter().partition(|c| c.same_calls(&best));
        self.weigh(&mut same, window)?;
        let moved = best.score - same.first().map_or(best.score, |c| c.score);
        same.iter_mut().for_each(|c| c.score += moved);
        merged(&mut same, others);
        *ranked = same;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Sound of so many seconds, silence of so many, and so on in turn.
    fn spoken(parts: &[f64]) -> Vec<f32> {
        let part = |(i, s): (usize, &f64)| {
            let level = if i % 2 == 0 { 0.3 } else { 0.001 };
            (0..(s * f64::from(RATE)) as usize).map(move |k| level * (k as f32 * 0.3).sin()).collect::<Vec<_>>()
        };
        parts.iter().enumerate().flat_map(part).collect()
    }

    fn seconds(cuts: &[Cut]) -> Vec<f64> {
        cuts.iter().map(|c| c.at as f64 / f64::from(RATE)).collect()
    }

    fn check(parts: &[f64], wanted: &[f64]) {
        let found = seconds(&cuts(&spoken(parts)));
        let near = found.len() == wanted.len() && found.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 0.05);
        assert!(near, "{found:?} instead of {wanted:?}");
    }

    #[test]
    fn long_answers_are_cut_in_their_pauses() {
        check(&[3.0, 0.2, 2.7], &[]);
        check(&[3.0, 0.2, 3.0], &[3.1]);
        // The longest from the second second to the fifth, and none that the closure of a consonant could be.
        check(&[1.0, 0.4, 2.0, 0.2, 1.0, 0.3, 3.0], &[4.75]);
        check(&[3.0, 0.08, 4.0], &[]);
        check(&[4.0, 0.2, 4.0, 0.4, 4.0, 0.2, 4.0], &[4.1, 8.4, 12.7]);
        // Where there is none it is looked for further on.
        check(&[7.0, 0.3, 3.0], &[7.15]);
        check(&[12.0], &[]);
        assert!(cuts(&[]).is_empty());
        assert_eq!(cuts(&spoken(&[3.0, 0.2, 3.0]))[0].half, RATE as usize / 10);
    }

    #[test]
    fn a_part_has_more_of_the_pauses_at_its_ends() {
        let ramp: Vec<f32> = (0..3).map(|i| i as f32).collect();
        let longer = more(ramp.iter().copied());
        assert_eq!(longer.len(), AROUND - 3);
        assert_eq!(longer[..7], [2.0, 1.0, 0.0, 0.0, 1.0, 2.0, 2.0], "from the edge out, without a jump");
        assert!(more([].into_iter()).is_empty() && more(spoken(&[0.5]).into_iter()).is_empty());
    }

    fn reading(calls: &str, score: f64) -> Candidate {
        let meaning = |call: &str| Meaning { call: call.into(), slots: Default::default() };
        Candidate::new(calls.split(' ').map(meaning).collect(), score, calls.into())
    }

    fn told(ranked: &[Candidate]) -> Vec<(&str, f64)> {
        ranked.iter().map(|c| (c.text.as_str(), c.score)).collect()
    }

    #[test]
    fn readings_of_parts_are_joined() {
        let both = joined(&[reading("a", 9.0), reading("b", 8.0)], &[reading("c", 5.0)]);
        assert_eq!(told(&both), [("a, c", 12.0), ("b, c", 11.0)]);
        assert_eq!(both[0].meanings.len(), 2);
        assert!(joined(&both, &[]).is_empty());
        // What is said again costs, once.
        let again = priced(vec![reading("a b a", 20.0), reading("a b", 10.0)]);
        assert_eq!(told(&again), [("a b", 10.0), ("a b a", 8.0)]);
        assert_eq!(told(&joined(&again[1..], &[reading("c", 9.0)])), [("a b a, c", 15.0)]);
        assert_eq!(told(&joined(&again[1..], &[reading("b", 9.0)])), [("a b a, b", 3.0)]);
        assert!(clash(&again, &[reading("c b", 1.0)]) && !clash(&again, &[reading("c", 1.0), reading("a", 0.0)]));
        assert!(!clash(&[], &again) && !clash(&again, &[]));
    }

    #[test]
    fn the_better_of_two_stays_and_a_doubt_is_seen() {
        let mut ranked = vec![reading("a", 9.0), reading("b", 3.0)];
        merged(&mut ranked, vec![reading("a", 7.0), reading("b", 10.0), reading("d", 1.0)]);
        assert_eq!(told(&ranked), [("b", 10.0), ("a", 9.0), ("d", 1.0)]);
        assert!(!stands_out(&ranked) && !stands_out(&[]));
        assert!(stands_out(&[reading("a", 20.0), reading("b", 15.0)]));
        assert!(!stands_out(&[reading("a", 20.0), reading("b", 17.0)]));
        assert!(!stands_out(&[reading("a b a", 40.0), reading("b", 15.0)]), "said again");
    }

    proptest! {
        #[test]
        fn cuts_ascend_within_the_sound_and_stay(parts in proptest::collection::vec(0.05f64..6.0, 0..8)) {
            let sound = spoken(&parts);
            let found = cuts(&sound);
            prop_assert!(found.windows(2).all(|w| w[0].at < w[1].at));
            prop_assert!(found.iter().all(|c| (1..sound.len()).contains(&c.at)));
            for share in [3, 2] {
                let so_far = cuts(&sound[..sound.len() / share]);
                prop_assert_eq!(&found[..so_far.len()], &so_far[..]);
            }
        }
    }
}
