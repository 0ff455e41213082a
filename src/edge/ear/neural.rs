//! The neural ear: encoder, decoder and beam search, held to a book's word graph.

use super::noise;
use super::prior::{Prior, lse};
use super::reader::Reader;
use super::second::Opinion;
use super::vosk_worker::WorkerError;
use crate::core::grammar::{CallId, CallSet, WordGraph};
use crate::core::search::{Ahead, Found, Lattice, Odds, Row, Settings, StepModel, TokenFileError, Tokens, search};
use crate::edge::native::manifest::verify;
use crate::edge::native::{Branches, Decoder, END, Encoded, Encoder, NativeError, Runtime, TOKENS};
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

/// So many are kept at most of what was computed ahead of need.
const PREPARED: usize = 3_000;
/// The most tokens that are written freely: a name and the first words of a call.
const FREELY: usize = 24;
/// Prefixes looked at in one go until one is found that must be computed.
const LOOKED_UP: usize = 16;

/// The neural ear for one word graph.
#[derive(Debug)]
pub struct NeuralEar {
    encoder: Encoder,
    decoder: Decoder,
    lattice: Lattice,
    settings: Settings,
    prior: Prior,
    /// The sound that was decoded last, and its encoding.
    encoded: Option<(Vec<f32>, Encoded)>,
    /// What of the prior the live calls will need, and which those are.
    ahead: Ahead,
    expected: Option<CallSet>,
    opinion: Opinion,
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
        let opinion = Opinion::open(runtime)?;
        let mut encoder = Encoder::open(runtime)?;
        let decoder = Decoder::open(runtime)?;
        let encoded = encoder.encode(&noise::reference())?;
        let lattice = Lattice::new(graph, tokens);
        let prior = Prior::new(&encoded, Decoder::open(runtime)?, &lattice)?;
        let (settings, ahead) = (Settings::default(), Ahead::default());
        Ok(NeuralEar { encoder, decoder, lattice, settings, prior, encoded: None, ahead, expected: None, opinion })
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
        self.prior.listen_to(&encoded, &self.lattice)?;
        (self.ahead, self.expected) = (Ahead::default(), None);
        Ok(())
    }

    fn decode(&mut self, samples: &[f32], live: &CallSet, settings: &Settings) -> Result<Reading, EarError> {
        let began = Instant::now();
        let encoded = encoding(&mut self.encoded, &mut self.encoder, samples)?;
        let mut first = Vec::new();
        let sound = self.decoder.begin(encoded, &mut |logits| first = vec![Logits::new(logits)])?;
        if self.prior.make_room() {
            (self.ahead, self.expected) = (Ahead::default(), None);
        }
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

/// The encoding of a piece of sound. Looks at the same sound follow one another: it is encoded once.
fn encoding<'a>(
    kept: &'a mut Option<(Vec<f32>, Encoded)>,
    encoder: &mut Encoder,
    samples: &[f32],
) -> Result<&'a Encoded, NativeError> {
    let known = kept.take().filter(|(of, _)| of == samples);
    let (_, encoded) = kept.insert(match known {
        Some(known) => known,
        None => (samples.to_vec(), encoder.encode(samples)?),
    });
    Ok(encoded)
}

impl Reader for NeuralEar {
    /// The same samples and calls give the same result.
    fn read(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError> {
        self.decode(samples, live, &self.settings.clone())
    }

    fn read_closer(&mut self, samples: &[f32], live: &CallSet, calls: u8) -> Result<Option<Reading>, EarError> {
        let thorough = self.settings.thorough();
        let calls = calls.clamp(1, thorough.calls);
        self.decode(samples, live, &Settings { calls, ..thorough }).map(Some)
    }

    fn read_one(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError> {
        self.decode(samples, live, &Settings { calls: 1, ..self.settings })
    }

    fn read_freely(&mut self, samples: &[f32]) -> Result<Option<String>, EarError> {
        let encoded = encoding(&mut self.encoded, &mut self.encoder, samples)?;
        let likeliest =
            |logits: &[f32]| logits.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1)).map_or(END, |m| m.0 as u32);
        let mut next = END;
        let mut branches = self.decoder.begin(encoded, &mut |logits| next = likeliest(logits))?;
        let mut text = Vec::new();
        while next != END && text.len() < FREELY {
            text.push(next);
            let last = branches.len() - 1;
            self.decoder.grow(&mut branches, &[(last, next)], &mut |_, logits| next = likeliest(logits))?;
        }
        Ok(Some(self.lattice.tokens().text(&text)))
    }

    fn second(&mut self, samples: &[f32], texts: &[&str]) -> Result<Option<Vec<f64>>, EarError> {
        self.opinion.of(samples, texts)
    }

    fn expect(&mut self, live: &CallSet) {
        if self.expected.as_ref() != Some(live) {
            self.ahead = Ahead::new(&self.lattice, live);
            self.expected = Some(live.clone());
        }
    }

    fn prepare(&mut self) -> Result<(), EarError> {
        if self.prior.len() >= PREPARED {
            return Ok(());
        }
        for _ in 0..LOOKED_UP {
            let Some(next) = self.ahead.pop() else { break };
            let known = self.prior.knows(next.parent, next.token);
            let prefix = self.prior.grow(next.parent, next.token)?;
            self.ahead.grown(&self.lattice, &next, prefix);
            if !known {
                break;
            }
        }
        Ok(())
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
        let Both { decoder, sound, prior, rows: before } = self;
        let wanted = rows.iter().map(|row| (before[row.parent], row.token));
        let (heard, grown) = std::thread::scope(|scope| {
            let grown = scope.spawn(|| prior.grow_all(wanted));
            (sound.step(decoder, rows), grown.join())
        });
        heard?;
        self.rows = grown.map_err(|_| NativeError::Run("the thread of the noise term broke off".into()))??;
        Ok(())
    }

    fn odds(&self, row: usize, token: u32) -> Odds {
        let heard = &self.sound.odds[row];
        let (sound, likeliest) = (heard.log_prob(token), heard.high - heard.all);
        Odds { sound, noise: self.prior.log_prob(self.rows[row], token), likeliest }
    }
}

/// What a model says of the token after one prefix.
#[derive(Debug, Clone)]
struct Logits {
    raw: Vec<f32>,
    /// The highest of them, and their LSE: a log probability is a logit less this.
    high: f32,
    all: f32,
}

impl Logits {
    fn new(logits: &[f32]) -> Logits {
        let high = logits.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        Logits { raw: logits.to_vec(), high, all: lse(logits) }
    }

    fn log_prob(&self, token: u32) -> f32 {
        self.raw[token as usize] - self.all
    }
}
