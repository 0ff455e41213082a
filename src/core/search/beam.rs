//! The beam search itself.

use super::lattice::Lattice;
use super::spell::{Tail, Tails};
use super::tokens::Token;
use crate::core::grammar::{CallId, CallSet, Label, Meaning, NodeId, WordId};
use crate::core::matcher::Candidate;
use std::collections::BTreeMap;
use std::ops::Range;

/// The token that ends a text.
const END: Token = 2;

/// A row of the model's next batch: a prefix of the last batch, grown by a token.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Index of the row in the last batch; after `start` there is one row, 0.
    pub parent: usize,
    /// The token that follows it.
    pub token: Token,
}

/// Natural log probabilities of a next token.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Odds {
    /// Given the sound.
    pub sound: f32,
    /// Given noise alone: what the model would like to write anyway.
    pub noise: f32,
    /// Of whatever token the model holds likeliest here, given the sound.
    pub likeliest: f32,
}

/// A speech model, one token a step over a batch of prefixes.
pub trait StepModel {
    /// What can go wrong.
    type Error;
    /// Begins anew: one row, the empty prefix.
    ///
    /// # Errors
    /// The model failed.
    fn start(&mut self) -> Result<(), Self::Error>;
    /// Replaces the rows.
    ///
    /// # Errors
    /// The model failed.
    fn step(&mut self, rows: &[Row]) -> Result<(), Self::Error>;
    /// How likely `token` is to follow `row`.
    fn odds(&self, row: usize, token: Token) -> Odds;
}

/// How to search.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// Prefixes kept at each step.
    pub beam: usize,
    /// Prefixes kept at each of the first [`Settings::wide_steps`] steps: a word half heard is easily lost at its first
    /// token.
    pub wide: usize,
    /// How many steps are wide.
    pub wide_steps: usize,
    /// How much of the noise term is taken off (λ).
    pub weight: f64,
    /// The most calls in one breath.
    pub calls: u8,
    /// Whether the same call can come twice in a row, with other values: on the radio, where a pilot corrects himself. On
    /// board nobody does, and what was said twice would be taken for two answers.
    pub twice: bool,
    /// What each call after the first costs, nats: taking off the noise term favours long texts.
    pub another: f64,
    /// The most tokens in a text.
    pub longest: usize,
    /// A prefix this many nats less likely, given the sound, than the best whole text is given up.
    pub window: f64,
    /// A prefix whose score is this many nats behind the best of its step is given up: where the sound is clear, few are
    /// left, and a step is quick.
    pub behind: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            beam: 8,
            wide: 16,
            wide_steps: 2,
            weight: 0.65,
            calls: 3,
            twice: false,
            another: 7.0,
            longest: 72,
            window: 15.0,
            behind: 14.0,
        }
    }
}

impl Settings {
    /// The same with a beam about three times as wide, for what the usual one could not settle. The window stays: what the
    /// sound all but spells out is not given up for a long text that noise finds still less likely.
    #[must_use]
    pub fn thorough(&self) -> Settings {
        Settings {
            beam: self.beam * 3,
            wide: self.wide * 3,
            wide_steps: self.wide_steps + 1,
            behind: self.behind + 8.0,
            ..*self
        }
    }
}

/// What was found.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Readings, best first, merged by meaning.
    pub ranked: Vec<Candidate>,
    /// Whether the best is whole: no live call goes on from its words.
    pub whole: bool,
    /// Steps the model took.
    pub steps: usize,
}

/// No way, or no call, so far.
const NONE: u32 = u32::MAX;

/// Where a position is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum At {
    /// Between two calls, or before the first.
    Between,
    /// After the first token of every call that can begin with it: they are told apart only if the prefix is kept.
    Begun(Token),
    Within(CallId, NodeId),
}

/// A position in the lattice.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Spot {
    at: At,
    /// What the text ends with; of what has just begun, what it ended with before.
    tail: Tail,
    calls: u8,
    /// Tokens of the present spelling that are still to come.
    rest: (u32, u32),
    /// The calls before the present one, as an index into [`Walk::told`].
    told: u32,
    /// The way through the present call; not part of what makes two positions the same.
    way: u32,
}

impl Spot {
    fn same(&self, other: &Spot) -> bool {
        let key = |s: &Spot| (s.at, s.tail, s.calls, s.rest, s.told);
        key(self) == key(other)
    }
}

/// A token prefix.
struct Prefix {
    sound: f64,
    noise: f64,
    strain: f64,
    spots: Vec<Spot>,
    /// Whether the words before a full stop could go on.
    could_go_on: bool,
}

/// A whole text.
struct Text {
    sound: f64,
    noise: f64,
    strain: f64,
    told: Vec<u32>,
    whole: bool,
}

/// What can follow a prefix.
#[derive(Default)]
struct Next {
    tokens: BTreeMap<Token, Vec<Spot>>,
    ends: Vec<u32>,
    /// Whether a call that has begun can go on with another word.
    goes_on: bool,
}

/// What the live calls can begin with.
#[derive(Debug, Clone, Default)]
pub(super) struct Starts {
    /// By first token: after what it can stand, and the calls with the places of their beginnings.
    tokens: BTreeMap<Token, (Tails, Vec<(CallId, u32)>)>,
    /// Calls of which the first word may be written as nothing.
    unwritten: Vec<CallId>,
}

impl Starts {
    pub fn new(lattice: &Lattice, live: &CallSet) -> Starts {
        let mut all = Starts::default();
        for call in lattice.live(live) {
            let (starts, unwritten) = &lattice.starts[call.0 as usize];
            for (i, start) in starts.iter().enumerate() {
                let (after, calls) = all.tokens.entry(start.token).or_default();
                *after |= start.after;
                calls.push((call, i as u32));
            }
            if *unwritten != 0 {
                all.unwritten.push(call);
            }
        }
        all
    }

    /// Whether nothing can be said.
    fn is_empty(&self) -> bool {
        self.tokens.is_empty() && self.unwritten.is_empty()
    }
}

pub(super) struct Walk<'a> {
    pub lattice: &'a Lattice,
    pub starts: Starts,
    pub settings: Settings,
    /// Ways through a call: where from, and the steps from there.
    pub ways: Vec<(u32, Range<u32>)>,
    /// Calls told one after the other: what before, the last, and its words.
    pub told: Vec<Told>,
}

/// A call told, after others.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Told {
    /// What was told before it.
    before: u32,
    meaning: Meaning,
    words: Vec<WordId>,
    /// Whether one of the calls so far can be made without others in its breath.
    stands: bool,
}

/// Where every text begins.
pub(super) fn root() -> Spot {
    Spot { at: At::Between, tail: Tail::Begin, calls: 0, rest: (0, 0), told: NONE, way: NONE }
}

/// Looks for what was said among the `live` calls.
///
/// The score of a reading is LSE over its wordings of ln p(wording | sound) − λ · the mean of ln p(wording | noise) over the
/// same wordings, each weighed by its share of the sound's term, in nats. A wording that the sound does not speak for thus
/// changes nothing, whether the beam kept it or not.
///
/// # Errors
/// Those of the model.
pub fn search<M: StepModel>(
    lattice: &Lattice,
    live: &CallSet,
    settings: &Settings,
    model: &mut M,
) -> Result<Found, M::Error> {
    let (starts, settings) = (Starts::new(lattice, live), *settings);
    let mut walk = Walk { lattice, starts, settings, ways: Vec::new(), told: Vec::new() };
    let mut beam = vec![Prefix { sound: 0.0, noise: 0.0, strain: 0.0, spots: vec![root()], could_go_on: false }];
    let mut texts: Vec<Text> = Vec::new();
    let mut steps = 0;
    if walk.starts.is_empty() {
        return Ok(Found { ranked: Vec::new(), whole: false, steps });
    }
    model.start()?;
    loop {
        let mut grown: Vec<(f64, usize, Token, f64, f64, f64)> = Vec::new();
        let mut nexts = Vec::with_capacity(beam.len());
        for (row, prefix) in beam.iter().enumerate() {
            let next = walk.next(prefix);
            let add = |token| {
                let odds = model.odds(row, token);
                let strain = f64::from(odds.likeliest - odds.sound);
                (prefix.sound + f64::from(odds.sound), prefix.noise + f64::from(odds.noise), strain)
            };
            if !next.ends.is_empty() {
                let (sound, noise, strain) = add(END);
                let whole = !next.goes_on;
                texts.push(Text { sound, noise, strain: prefix.strain + strain, told: next.ends.clone(), whole });
            }
            let before = walk.further(&prefix.spots);
            for (token, spots) in &next.tokens {
                let (sound, mut noise, strain) = add(*token);
                let further = walk.further(spots);
                if further > before {
                    // In noise nothing more is ever said: that is no reason to believe that here there is.
                    noise = prefix.noise;
                }
                let price = settings.another * f64::from(further);
                grown.push((sound - settings.weight * noise - price, row, *token, sound, noise, strain));
            }
            nexts.push((next.tokens, next.goes_on));
        }
        let floor = texts.iter().map(|t| t.sound).fold(f64::NEG_INFINITY, f64::max) - settings.window;
        grown.retain(|g| g.3 >= floor);
        grown.sort_by(|a, b| b.0.total_cmp(&a.0).then_with(|| (a.1, a.2).cmp(&(b.1, b.2))));
        let behind = grown.first().map_or(0.0, |g| g.0) - settings.behind;
        grown.retain(|g| g.0 >= behind);
        grown.truncate(if steps < settings.wide_steps { settings.wide } else { settings.beam });
        if grown.is_empty() || steps == settings.longest {
            break;
        }
        let rows: Vec<Row> = grown.iter().map(|g| Row { parent: g.1, token: g.2 }).collect();
        model.step(&rows)?;
        steps += 1;
        beam = grown
            .into_iter()
            .map(|(_, row, token, sound, noise, strain)| {
                let spots = nexts[row].0.remove(&token).unwrap_or_default();
                let could_go_on = nexts[row].1 && spots.iter().any(|s| s.tail == Tail::Stop && s.at == At::Between);
                Prefix { sound, noise, strain: beam[row].strain + strain, spots, could_go_on }
            })
            .collect();
    }
    let (ranked, whole) = walk.rank(texts);
    Ok(Found { ranked, whole, steps })
}

impl Walk<'_> {
    /// The fewest calls after the first that would explain a prefix.
    fn further(&self, spots: &[Spot]) -> u8 {
        let calls = spots.iter().map(|s| s.calls + u8::from(s.at != At::Between)).min();
        calls.unwrap_or(0).saturating_sub(1)
    }

    /// The tokens that can follow a prefix, and where they lead.
    pub fn tokens(&mut self, spots: Vec<Spot>) -> BTreeMap<Token, Vec<Spot>> {
        self.next(&Prefix { sound: 0.0, noise: 0.0, strain: 0.0, spots, could_go_on: false }).tokens
    }

    /// Everything that can follow a prefix.
    fn next(&mut self, prefix: &Prefix) -> Next {
        let mut next = Next { goes_on: prefix.could_go_on, ..Next::default() };
        let mut open: Vec<Spot> = prefix.spots.iter().rev().cloned().collect();
        while let Some(spot) = open.pop() {
            let (from, to) = spot.rest;
            if from < to {
                next.goes_on |= spot.at != At::Between;
                let token = self.lattice.pool[from as usize];
                put(&mut next.tokens, token, Spot { rest: (from + 1, to), ..spot });
                continue;
            }
            // Between calls only: within one the model hardly ever writes a comma, and noise makes it look for excuses.
            if spot.tail.takes_comma() && spot.at == At::Between && spot.calls > 0 && spot.calls < self.settings.calls {
                for token in &self.lattice.comma {
                    put(&mut next.tokens, *token, Spot { tail: Tail::Comma, ..spot.clone() });
                }
            }
            match spot.at {
                At::Between => self.between(spot, &mut next, &mut open),
                At::Begun(token) => self.begun(spot, token, &mut open),
                At::Within(call, node) => self.within(spot, call, node, &mut next, &mut open),
            }
        }
        next
    }

    /// Between two calls: the text may end, or another call begin.
    fn between(&mut self, spot: Spot, next: &mut Next, open: &mut Vec<Spot>) {
        if spot.calls > 0 && spot.tail != Tail::Comma {
            if self.told[spot.told as usize].stands && !next.ends.contains(&spot.told) {
                next.ends.push(spot.told);
            }
            if spot.tail != Tail::Stop {
                for token in &self.lattice.stops {
                    put(&mut next.tokens, *token, Spot { tail: Tail::Stop, ..spot.clone() });
                }
            }
        }
        if spot.calls < self.settings.calls {
            for (token, (after, _)) in &self.starts.tokens {
                if after & spot.tail.bit() != 0 {
                    put(&mut next.tokens, *token, Spot { at: At::Begun(*token), way: NONE, ..spot.clone() });
                }
            }
            for call in self.starts.unwritten.iter().rev() {
                let (call, unwritten) = (*call, self.lattice.starts[call.0 as usize].1);
                if unwritten & spot.tail.bit() != 0 {
                    let entry = self.lattice.graph.calls[call.0 as usize].entry;
                    open.push(Spot { at: At::Within(call, entry), way: NONE, ..spot.clone() });
                }
            }
        }
    }

    /// Every call that can begin with this token, after what stood before it.
    fn begun(&mut self, spot: Spot, token: Token, open: &mut Vec<Spot>) {
        let Some((_, calls)) = self.starts.tokens.get(&token) else { return };
        for (call, i) in calls.iter().rev() {
            let start = &self.lattice.starts[call.0 as usize].0[*i as usize];
            if start.after & spot.tail.bit() != 0 {
                self.ways.push((NONE, start.steps.clone()));
                let way = self.ways.len() as u32 - 1;
                let at = At::Within(*call, start.to);
                open.push(Spot { at, tail: start.then, rest: start.rest, way, ..spot });
            }
        }
    }

    /// Within a call: another word, or the call's end.
    fn within(&mut self, spot: Spot, call: CallId, node: NodeId, next: &mut Next, open: &mut Vec<Spot>) {
        let lattice = self.lattice;
        let place = &lattice.places[node.0 as usize];
        // A call without a word would never end.
        let begun = spot.way != NONE;
        if let Some(marks) = &place.exit
            && spot.tail.settled()
            && spot.tail != Tail::Comma
            && begun
            && let Some(told) = self.tell(spot.told, call, spot.way, marks.clone())
        {
            open.push(Spot { at: At::Between, calls: spot.calls + 1, told, way: NONE, ..spot.clone() });
        }
        for edge in &place.edges {
            let mut way = NONE;
            for spelling in &lattice.spellings[edge.spell as usize] {
                if spelling.after & spot.tail.bit() == 0 {
                    continue;
                }
                if way == NONE {
                    self.ways.push((spot.way, edge.steps.clone()));
                    way = self.ways.len() as u32 - 1;
                }
                let Range { start, end } = spelling.tokens;
                let spot =
                    Spot { at: At::Within(call, edge.to), tail: spelling.then, rest: (start + 1, end), way, ..spot };
                next.goes_on |= begun;
                if start == end {
                    open.push(Spot { rest: (0, 0), ..spot });
                } else {
                    let token = lattice.pool[start as usize];
                    put(&mut next.tokens, token, spot);
                }
            }
        }
    }

    /// The calls so far with the one that ends here, or `None` if one of its slots has no value.
    fn tell(&mut self, before: u32, call: CallId, way: u32, marks: Range<u32>) -> Option<u32> {
        let mut legs = vec![&marks];
        let mut at = way;
        while let Some((from, steps)) = self.ways.get(at as usize) {
            legs.push(steps);
            at = *from;
        }
        let steps: Vec<Label> = legs
            .into_iter()
            .rev()
            .flat_map(|r| &self.lattice.steps[r.start as usize..r.end as usize])
            .copied()
            .collect();
        let meaning = self.lattice.meaning(call, &steps)?;
        // The same call twice in a row says nothing more, and a model short of sound loves to repeat itself. Where it may come
        // again with other values it may with the same, and counts once.
        match self.told.get(before as usize) {
            Some(last) if last.meaning == meaning => return self.settings.twice.then_some(before),
            Some(last) if !self.settings.twice && last.meaning.call == meaning.call => return None,
            _ => {}
        }
        let last = self.told.get(before as usize);
        let stands = last.is_some_and(|last| last.stands) || !self.lattice.graph.calls[call.0 as usize].never_alone;
        let words = steps.iter().filter_map(|s| if let Label::Word(w) = s { Some(*w) } else { None }).collect();
        let told = Told { before, meaning, words, stands };
        if let Some(i) = self.told.iter().position(|t| *t == told) {
            return Some(i as u32);
        }
        self.told.push(told);
        Some(self.told.len() as u32 - 1)
    }

    /// The calls told, first first, and the words they were told in.
    fn meanings(&self, told: u32) -> (Vec<Meaning>, String) {
        let mut all = Vec::new();
        let mut at = told;
        while let Some(Told { before, meaning, words, .. }) = self.told.get(at as usize) {
            let words: Vec<&str> = words.iter().map(|w| self.lattice.graph.words[w.0 as usize].as_str()).collect();
            all.push((meaning.clone(), words.join(" ")));
            at = *before;
        }
        all.reverse();
        let (meanings, words): (Vec<_>, Vec<_>) = all.into_iter().unzip();
        (meanings, words.join(", "))
    }

    /// Merges texts by meaning; also whether the best is whole.
    fn rank(&self, texts: Vec<Text>) -> (Vec<Candidate>, bool) {
        struct Reading {
            meanings: Vec<Meaning>,
            sound: f64,
            /// Mean over the wordings by their share of the sound.
            noise: f64,
            /// Score of the best wording so far, the wording, whether it is whole, and its strain.
            best: (f64, String, bool, f64),
        }
        let weight = self.settings.weight;
        let mut readings: Vec<Reading> = Vec::new();
        for text in &texts {
            let own = text.sound - weight * text.noise;
            let mut met: Vec<Vec<Meaning>> = Vec::new();
            for told in &text.told {
                let (meanings, words) = self.meanings(*told);
                if met.contains(&meanings) {
                    continue;
                }
                let best = (own, words, text.whole, text.strain);
                match readings.iter_mut().find(|r| r.meanings == meanings) {
                    Some(r) => {
                        let both = lse(r.sound, text.sound);
                        if both > f64::NEG_INFINITY {
                            r.noise += libm::exp(text.sound - both) * (text.noise - r.noise);
                        }
                        r.sound = both;
                        if own > r.best.0 {
                            r.best = best;
                        }
                    }
                    None => {
                        let meanings = meanings.clone();
                        readings.push(Reading { meanings, sound: text.sound, noise: text.noise, best });
                    }
                }
                met.push(meanings);
            }
        }
        let price = |r: &Reading| self.settings.another * r.meanings.len().saturating_sub(1) as f64;
        let score = |r: &Reading| r.sound - weight * r.noise - price(r);
        readings.sort_by(|a, b| score(b).total_cmp(&score(a)));
        let whole = readings.first().is_some_and(|r| r.best.2);
        let told = |r: Reading| Candidate { score: score(&r), meanings: r.meanings, text: r.best.1, strain: r.best.3 };
        (readings.into_iter().map(told).collect(), whole)
    }
}

/// Adds a position unless the same one is there.
fn put(tokens: &mut BTreeMap<Token, Vec<Spot>>, token: Token, spot: Spot) {
    let spots = tokens.entry(token).or_default();
    if !spots.iter().any(|s| s.same(&spot)) {
        spots.push(spot);
    }
}

/// ln(eᵃ + eᵇ).
fn lse(a: f64, b: f64) -> f64 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if low == f64::NEG_INFINITY { high } else { high + libm::log1p(libm::exp(low - high)) }
}
