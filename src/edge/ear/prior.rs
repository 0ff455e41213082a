//! What the model would like to write anyway: its odds over noise alone.

use crate::core::search::Lattice;
use crate::edge::native::{Branches, Decoder, END, Encoded, NativeError, TOKENS};
use std::collections::BTreeMap;

/// The decoder over noise alone, kept from one utterance to the next: what the model would like to write anyway depends on
/// the text before it and on nothing else. Each prefix is decoded by itself, since the model's rounding depends on what else
/// is in a batch; so what is remembered and what is computed anew are the same to the last bit.
#[derive(Debug)]
pub(super) struct Prior {
    /// One of its own: what the sound says and what noise says are computed side by side.
    decoder: Decoder,
    branches: Branches,
    /// Where a token leads from a prefix.
    index: BTreeMap<(usize, u32), usize>,
    /// What the model says after each prefix, of the tokens that the graph can write.
    odds: Vec<Box<[f32]>>,
    /// Token → place in `odds`; [`ABSENT`] for the others.
    places: Vec<u16>,
    alphabet: Vec<u32>,
}

/// No place.
const ABSENT: u16 = u16::MAX;
/// Prefixes kept: about 17 kB each, and a flight's calls need some thousands.
const MOST_PREFIXES: usize = 4_000;

impl Prior {
    pub fn new(noise: &Encoded, mut decoder: Decoder, lattice: &Lattice) -> Result<Prior, NativeError> {
        let (alphabet, places) = tables(lattice);
        let mut odds = Vec::new();
        let branches = decoder.begin(noise, &mut |logits| odds.push(narrow(logits, &alphabet)))?;
        Ok(Prior { decoder, branches, index: BTreeMap::new(), odds, places, alphabet })
    }

    /// Takes another book's graph.
    pub fn listen_to(&mut self, noise: &Encoded, lattice: &Lattice) -> Result<(), NativeError> {
        (self.alphabet, self.places) = tables(lattice);
        self.odds.clear();
        self.index.clear();
        let Prior { decoder, odds, alphabet, .. } = self;
        self.branches = decoder.begin(noise, &mut |logits| odds.push(narrow(logits, alphabet)))?;
        Ok(())
    }

    /// How many prefixes are known.
    pub fn len(&self) -> usize {
        self.branches.len()
    }

    /// Whether a token leads to a known prefix.
    pub fn knows(&self, parent: usize, token: u32) -> bool {
        self.index.contains_key(&(parent, token))
    }

    /// Forgets all when there is much, and tells whether it did.
    pub fn make_room(&mut self) -> bool {
        let much = self.branches.len() > MOST_PREFIXES;
        if much {
            self.branches.truncate(1);
            self.odds.truncate(1);
            self.index.clear();
        }
        much
    }

    /// The prefix that `token` makes of another.
    pub fn grow(&mut self, parent: usize, token: u32) -> Result<usize, NativeError> {
        if let Some(known) = self.index.get(&(parent, token)) {
            return Ok(*known);
        }
        let new = self.branches.len();
        let Prior { decoder, branches, odds, alphabet, .. } = self;
        decoder.grow(branches, &[(parent, token)], &mut |_, logits| odds.push(narrow(logits, alphabet)))?;
        self.index.insert((parent, token), new);
        Ok(new)
    }

    /// The same for each, in order.
    pub fn grow_all(&mut self, wanted: impl Iterator<Item = (usize, u32)>) -> Result<Vec<usize>, NativeError> {
        wanted.map(|(parent, token)| self.grow(parent, token)).collect()
    }

    /// How likely noise is to go on with a token after a prefix.
    pub fn log_prob(&self, prefix: usize, token: u32) -> f32 {
        let place = self.places[token as usize];
        self.odds[prefix].get(usize::from(place)).copied().unwrap_or(f32::NEG_INFINITY)
    }
}

/// The tokens that matter, and the place of each token among them.
fn tables(lattice: &Lattice) -> (Vec<u32>, Vec<u16>) {
    let mut alphabet = lattice.alphabet();
    alphabet.push(END);
    let mut places = vec![ABSENT; TOKENS];
    for (i, token) in alphabet.iter().enumerate().take(usize::from(ABSENT)) {
        places[*token as usize] = i as u16;
    }
    (alphabet, places)
}

/// The log probabilities of the tokens that matter.
fn narrow(logits: &[f32], alphabet: &[u32]) -> Box<[f32]> {
    let all = lse(logits);
    alphabet.iter().map(|t| logits[*t as usize] - all).collect()
}

/// The LSE of logits.
pub(super) fn lse(logits: &[f32]) -> f32 {
    let mut high = f32::NEG_INFINITY;
    for l in logits {
        high = if *l > high { *l } else { high };
    }
    let mut sum = 0.0f32;
    for l in logits {
        // What is this far below adds less than a rounding error.
        if *l > high - 20.0 {
            sum += (l - high).exp();
        }
    }
    high + sum.ln()
}
