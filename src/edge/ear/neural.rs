//! The neural ear: encoder, decoder and beam search, held to a book's word graph.

use super::noise;
use super::reader::Reader;
use super::vosk_worker::WorkerError;
use crate::core::grammar::{CallId, CallSet, WordGraph};
use crate::core::search::{Found, Lattice, Odds, Row, Settings, StepModel, TokenFileError, Tokens, search};
use crate::edge::native::manifest::verify;
use crate::edge::native::{Branches, Decoder, END, Encoded, Encoder, NativeError, Runtime, TOKENS};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::{Duration, Instant};

/// Why the ear cannot be had, or failed. One sentence each.
#[derive(Debug, thiserror::Error)]
pub enum EarError {
    /// The runtime or a model.
    #[error(transparent)]
    Native(#[from] NativeError),
    /// The token file cannot be read.
    #[error("the token file {0} cannot be read: run `make setup`")]
    NoTokens(PathBuf),
    /// The token file is damaged.
    #[error(transparent)]
    Tokens(#[from] TokenFileError),
    /// The token file belongs to another model.
    #[error("the token file has {0} tokens where the model has {TOKENS}: run `make setup`")]
    OtherTokens(usize),
    /// The Vosk worker.
    #[error(transparent)]
    Worker(#[from] WorkerError),
}

/// What the ear made of a piece of sound, and how long it took on this machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The result.
    pub found: Found,
    /// Time of the whole decode.
    pub took: Duration,
}

/// The neural ear for one word graph.
#[derive(Debug)]
pub struct NeuralEar {
    encoder: Encoder,
    decoder: Decoder,
    lattice: Lattice,
    settings: Settings,
    prior: Prior,
}

impl NeuralEar {
    /// Loads the models and compiles the graph.
    ///
    /// # Errors
    /// A file is missing, damaged, of another kind, or the library cannot be used.
    pub fn open(runtime: &Runtime, graph: &WordGraph) -> Result<NeuralEar, EarError> {
        let path = verify(runtime.models(), "moonshine-tiny-en/tokenizer.bin").map_err(NativeError::from)?;
        let bytes = std::fs::read(&path).map_err(|_| EarError::NoTokens(path))?;
        let tokens = Tokens::parse(&bytes)?;
        if tokens.len() != TOKENS {
            return Err(EarError::OtherTokens(tokens.len()));
        }
        let mut encoder = Encoder::open(runtime)?;
        let mut decoder = Decoder::open(runtime)?;
        let encoded = encoder.encode(&noise::reference())?;
        let lattice = Lattice::new(graph, tokens);
        let prior = Prior::new(&encoded, &mut decoder, &lattice)?;
        Ok(NeuralEar { encoder, decoder, lattice, settings: Settings::default(), prior })
    }

    /// How it searches.
    pub fn settings_mut(&mut self) -> &mut Settings {
        &mut self.settings
    }

    /// Takes another book's graph; the models stay loaded.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn listen_to(&mut self, graph: &WordGraph) -> Result<(), EarError> {
        self.lattice = Lattice::new(graph, self.lattice.tokens().clone());
        let encoded = self.encoder.encode(&noise::reference())?;
        self.prior = Prior::new(&encoded, &mut self.decoder, &self.lattice)?;
        Ok(())
    }

    fn decode(&mut self, samples: &[f32], live: &CallSet, settings: &Settings) -> Result<Reading, EarError> {
        let began = Instant::now();
        let encoded = self.encoder.encode(samples)?;
        let mut first = Vec::new();
        let sound = self.decoder.begin(&encoded, &mut |logits| first = vec![Logits::new(logits)])?;
        self.prior.make_room();
        let mut model = Both {
            decoder: &mut self.decoder,
            sound: Side { branches: sound, first, rows: Vec::new(), odds: Vec::new() },
            prior: &mut self.prior,
            rows: Vec::new(),
        };
        let found = search(&self.lattice, live, settings, &mut model)?;
        Ok(Reading { found, took: began.elapsed() })
    }
}

impl Reader for NeuralEar {
    /// The same samples and calls give the same result.
    fn read(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError> {
        self.decode(samples, live, &self.settings.clone())
    }

    fn read_closer(&mut self, samples: &[f32], live: &CallSet) -> Result<Option<Reading>, EarError> {
        self.decode(samples, live, &self.settings.thorough()).map(Some)
    }

    fn calls(&self) -> usize {
        self.lattice.calls()
    }

    fn name(&self, call: CallId) -> Option<&str> {
        self.lattice.name(call)
    }
}

/// The sound that a text is weighed against.
struct Side {
    branches: Branches,
    first: Vec<Logits>,
    /// Node of each row.
    rows: Vec<usize>,
    /// What the model says of each row.
    odds: Vec<Logits>,
}

impl Side {
    fn start(&mut self) {
        self.branches.truncate(1);
        self.rows = vec![0];
        self.odds = self.first.clone();
    }

    fn step(&mut self, decoder: &mut Decoder, rows: &[Row]) -> Result<(), NativeError> {
        let wanted: Vec<(usize, u32)> = rows.iter().map(|r| (self.rows[r.parent], r.token)).collect();
        let from = self.branches.len();
        let odds = &mut self.odds;
        odds.clear();
        decoder.grow(&mut self.branches, &wanted, &mut |_, logits| odds.push(Logits::new(logits)))?;
        self.rows = (from..self.branches.len()).collect();
        Ok(())
    }
}

/// The decoder over noise alone, kept from one utterance to the next: what the model would like to write anyway depends on
/// the text before it and on nothing else. Each prefix is decoded by itself, since the model's rounding depends on what else
/// is in a batch; so what is remembered and what is computed anew are the same to the last bit.
#[derive(Debug)]
struct Prior {
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
/// Prefixes kept: about 17 kB each, and a flight's calls need some hundreds.
const MOST_PREFIXES: usize = 3_000;

impl Prior {
    fn new(noise: &Encoded, decoder: &mut Decoder, lattice: &Lattice) -> Result<Prior, NativeError> {
        let mut alphabet = lattice.alphabet();
        alphabet.push(END);
        let mut places = vec![ABSENT; TOKENS];
        for (i, token) in alphabet.iter().enumerate().take(usize::from(ABSENT)) {
            places[*token as usize] = i as u16;
        }
        let mut odds = Vec::new();
        let branches = decoder.begin(noise, &mut |logits| odds.push(narrow(logits, &alphabet)))?;
        Ok(Prior { branches, index: BTreeMap::new(), odds, places, alphabet })
    }

    /// Forgets all when there is much.
    fn make_room(&mut self) {
        if self.branches.len() > MOST_PREFIXES {
            self.branches.truncate(1);
            self.odds.truncate(1);
            self.index.clear();
        }
    }

    /// The prefix that `token` makes of another.
    fn grow(&mut self, decoder: &mut Decoder, parent: usize, token: u32) -> Result<usize, NativeError> {
        if let Some(known) = self.index.get(&(parent, token)) {
            return Ok(*known);
        }
        let new = self.branches.len();
        let Prior { branches, odds, alphabet, .. } = self;
        decoder.grow(branches, &[(parent, token)], &mut |_, logits| odds.push(narrow(logits, alphabet)))?;
        self.index.insert((parent, token), new);
        Ok(new)
    }

    fn log_prob(&self, prefix: usize, token: u32) -> f32 {
        let place = self.places[token as usize];
        self.odds[prefix].get(usize::from(place)).copied().unwrap_or(f32::NEG_INFINITY)
    }
}

/// The log probabilities of the tokens that matter.
fn narrow(logits: &[f32], alphabet: &[u32]) -> Box<[f32]> {
    let all = lse(logits);
    alphabet.iter().map(|t| logits[*t as usize] - all).collect()
}

/// The decoder over the sound and over noise alone, step by step.
struct Both<'a> {
    decoder: &'a mut Decoder,
    sound: Side,
    prior: &'a mut Prior,
    /// Prefix of each row in the prior.
    rows: Vec<usize>,
}

impl StepModel for Both<'_> {
    type Error = NativeError;

    fn start(&mut self) -> Result<(), NativeError> {
        self.sound.start();
        self.rows = vec![0];
        Ok(())
    }

    fn step(&mut self, rows: &[Row]) -> Result<(), NativeError> {
        self.sound.step(self.decoder, rows)?;
        let mut grown = Vec::with_capacity(rows.len());
        for row in rows {
            grown.push(self.prior.grow(self.decoder, self.rows[row.parent], row.token)?);
        }
        self.rows = grown;
        Ok(())
    }

    fn odds(&self, row: usize, token: u32) -> Odds {
        Odds { sound: self.sound.odds[row].log_prob(token), noise: self.prior.log_prob(self.rows[row], token) }
    }
}

/// The LSE of logits.
fn lse(logits: &[f32]) -> f32 {
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

/// What a model says of the token after one prefix.
#[derive(Debug, Clone)]
struct Logits {
    raw: Vec<f32>,
    /// Their LSE: a log probability is a logit less this.
    all: f32,
}

impl Logits {
    fn new(logits: &[f32]) -> Logits {
        Logits { raw: logits.to_vec(), all: lse(logits) }
    }

    fn log_prob(&self, token: u32) -> f32 {
        self.raw[token as usize] - self.all
    }
}
