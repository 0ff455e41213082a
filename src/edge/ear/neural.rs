//! The neural ear: encoder, decoder and beam search, held to a book's word graph.

use super::noise;
use super::reader::Reader;
use super::vosk_worker::WorkerError;
use crate::core::grammar::{CallId, CallSet, WordGraph};
use crate::core::search::{Found, Lattice, Odds, Row, Settings, StepModel, TokenFileError, Tokens, search};
use crate::edge::native::manifest::verify;
use crate::edge::native::{Branches, Decoder, Encoder, NativeError, Runtime, TOKENS};
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
    /// The decoder over noise alone, nothing written yet.
    silence: Branches,
    silence_first: Vec<Logits>,
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
        let mut silence_first = Vec::new();
        let silence = decoder.begin(&encoded, &mut |logits| silence_first = vec![Logits::new(logits)])?;
        let lattice = Lattice::new(graph, tokens);
        Ok(NeuralEar { encoder, decoder, lattice, settings: Settings::default(), silence, silence_first })
    }

    /// How it searches.
    pub fn settings_mut(&mut self) -> &mut Settings {
        &mut self.settings
    }

    /// Takes another book's graph; the models stay loaded.
    pub fn listen_to(&mut self, graph: &WordGraph) {
        self.lattice = Lattice::new(graph, self.lattice.tokens().clone());
    }
}

impl Reader for NeuralEar {
    /// The same samples and calls give the same result.
    fn read(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError> {
        let began = Instant::now();
        let encoded = self.encoder.encode(samples)?;
        let mut first = Vec::new();
        let sound = self.decoder.begin(&encoded, &mut |logits| first = vec![Logits::new(logits)])?;
        let mut model = Both {
            decoder: &mut self.decoder,
            sound: Side { branches: sound, first, rows: Vec::new(), odds: Vec::new() },
            noise: Side {
                branches: self.silence.clone(),
                first: self.silence_first.clone(),
                rows: Vec::new(),
                odds: Vec::new(),
            },
        };
        let found = search(&self.lattice, live, &self.settings, &mut model)?;
        Ok(Reading { found, took: began.elapsed() })
    }

    fn calls(&self) -> usize {
        self.lattice.calls()
    }

    fn name(&self, call: CallId) -> Option<&str> {
        self.lattice.name(call)
    }
}

/// One of the two sounds that a text is weighed against.
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

/// The decoder over the sound and over noise alone, step by step. The two are separate batches: the model's rounding
/// depends on what else is in a batch.
struct Both<'a> {
    decoder: &'a mut Decoder,
    sound: Side,
    noise: Side,
}

impl StepModel for Both<'_> {
    type Error = NativeError;

    fn start(&mut self) -> Result<(), NativeError> {
        self.sound.start();
        self.noise.start();
        Ok(())
    }

    fn step(&mut self, rows: &[Row]) -> Result<(), NativeError> {
        self.sound.step(self.decoder, rows)?;
        self.noise.step(self.decoder, rows)
    }

    fn odds(&self, row: usize, token: u32) -> Odds {
        Odds { sound: self.sound.odds[row].log_prob(token), noise: self.noise.odds[row].log_prob(token) }
    }
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
        Logits { raw: logits.to_vec(), all: high + sum.ln() }
    }

    fn log_prob(&self, token: u32) -> f32 {
        self.raw[token as usize] - self.all
    }
}
