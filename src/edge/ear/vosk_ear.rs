//! The Vosk ear: the live calls as a grammar for the worker, and its text matched back to calls.
//!
//! Vosk learns a language of word *pairs* from the sentences of a grammar: what it returns may be recombined from them. So
//! a call with many sentences is given by few that have all its pairs, and whatever comes back must be a whole call again.

use super::neural::{EarError, Reading};
use super::reader::Reader;
use super::vosk_talk::{Answer, Ask, LONGEST, check_model};
use super::vosk_worker::{Launch, Worker, WorkerError};
use crate::core::grammar::{CallId, CallSet, WordGraph, cover, expand, goes_on};
use crate::core::matcher::{AT_LIMIT, EXACT, SPLIT, match_text};
use crate::core::search::Found;
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, BTreeSet};
use std::time::{Duration, Instant};

/// A call with more sentences than this is given by its word pairs.
pub const SENTENCES: usize = 200;
/// A grammar has at most so many sentences; more is a mistake in the book.
pub const MOST_SENTENCES: usize = 20_000;
/// Words, one a line, that stand for all other speech: an optional file in the model's folder.
pub const FILLERS: &str = "fillers.txt";
/// Silence put before and behind an utterance, samples: Vosk hears words badly at the very edge (docs/vosk.md).
const REST: u32 = RATE / 5;
/// Samples a second.
const RATE: u32 = 16_000;
/// Loading takes a second for a small model on two cores, and much longer for a large one on a slow disk.
const LOAD_LIMIT: Duration = Duration::from_secs(90);
/// Everything else but hearing takes milliseconds.
const ANSWER_LIMIT: Duration = Duration::from_secs(10);
/// After so many deaths within [`DEATHS_WITHIN`] the worker is not started again.
const MOST_DEATHS: usize = 5;
const DEATHS_WITHIN: Duration = Duration::from_secs(60);

/// A word of the book that the model does not know, so that no sentence with it can be heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unknown {
    /// The word.
    pub word: String,
    /// The call that has it.
    pub call: String,
    /// A sentence of that call with the word in it.
    pub phrase: String,
    /// Whether nothing of the call is left that can be heard.
    pub deaf: bool,
}

impl std::fmt::Display for Unknown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let Unknown { word, call, phrase, deaf } = self;
        write!(
            f,
            "the Vosk model does not know the word \u{201c}{word}\u{201d} in \u{201c}{phrase}\u{201d} ({call}): "
        )?;
        if *deaf {
            write!(f, "the call cannot be heard; give it a wording in other words")
        } else {
            write!(f, "other wordings of the call are heard")
        }
    }
}

/// Whether a worker is at hand.
#[derive(Debug)]
enum State {
    /// It loads the model since then.
    Loading(Worker, Instant),
    /// It has this grammar, if any.
    Ready(Worker, Option<CallSet>),
    /// It died too often.
    GivenUp,
}

/// The Vosk ear for one word graph.
#[derive(Debug)]
pub struct VoskEar {
    launch: Launch,
    state: State,
    graph: WordGraph,
    /// For each call the sentences that the model can hear.
    phrases: Vec<Vec<String>>,
    fillers: Vec<String>,
    /// The model's word for the unknown.
    unknown: String,
    patience: Duration,
    trouble: Vec<String>,
    deaths: Vec<Instant>,
}

impl VoskEar {
    /// Starts the worker, loads the model and proves the book's words; also the words that the model does not know.
    ///
    /// # Errors
    /// The worker cannot be had, the model is none or of another kind, or it knows no sentence of the book.
    pub fn open(launch: Launch, graph: &WordGraph) -> Result<(VoskEar, Vec<Unknown>), EarError> {
        check_model(&launch.model, RATE).map_err(WorkerError::Refused)?;
        let mut worker = Worker::start(&launch)?;
        worker.ask(&load(&launch), &[]);
        let Answer::Loaded { unknown } = worker.answer(LOAD_LIMIT)? else { return Err(astray("loaded")) };
        let fillers = match std::fs::read_to_string(launch.model.join(FILLERS)) {
            Ok(text) => text.split_whitespace().map(str::to_owned).collect(),
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => Vec::new(),
            Err(e) => {
                let path = launch.model.join(FILLERS).display().to_string();
                return Err(WorkerError::Refused(format!("{path} cannot be read ({e}): mend or delete it")).into());
            }
        };
        let all: Vec<String> = graph.words.iter().chain(&fillers).cloned().collect();
        worker.ask(&Ask::Words { words: all }, &[]);
        let Answer::Missing { words } = worker.answer(ANSWER_LIMIT)? else { return Err(astray("missing")) };
        let missing: BTreeSet<String> = words.into_iter().collect();
        let mut told: Vec<String> = fillers.iter().filter(|w| missing.contains(*w)).cloned().collect();
        let fillers: Vec<String> = fillers.into_iter().filter(|w| !missing.contains(w)).collect();
        let (phrases, unknowns) = sentences(graph, &missing);
        let count: usize = phrases.iter().map(Vec::len).sum();
        if count == 0 {
            let words = missing.len();
            let why = format!(
                "the Vosk model knows no sentence of this book ({words} of its words are unknown): is it a model for the book's language?"
            );
            return Err(WorkerError::Refused(why).into());
        }
        if count > MOST_SENTENCES {
            let why = format!(
                "the book has {count} sentences and {MOST_SENTENCES} are the limit for Vosk: make its wordings simpler"
            );
            return Err(WorkerError::Refused(why).into());
        }
        told.iter_mut().for_each(|w| *w = format!("the Vosk model does not know the filler \u{201c}{w}\u{201d}"));
        let ear = VoskEar {
            launch,
            state: State::Ready(worker, None),
            graph: graph.clone(),
            phrases,
            fillers,
            unknown,
            patience: LOAD_LIMIT,
            trouble: told,
            deaths: Vec::new(),
        };
        Ok((ear, unknowns))
    }

    /// How long an utterance waits for a worker that is being started again: [`LOAD_LIMIT`] unless set. A live session
    /// does not wait: what is said meanwhile is not understood, and that is told.
    pub fn set_patience(&mut self, patience: Duration) {
        self.patience = patience;
    }

    /// The sentences of a call that can be heard.
    pub fn phrases(&self, call: CallId) -> &[String] {
        self.phrases.get(call.0 as usize).map_or(&[], Vec::as_slice)
    }

    /// What the worker makes of the sound, or why it makes nothing.
    fn text(&mut self, samples: &[f32], live: &CallSet) -> Result<String, WorkerError> {
        self.wait_until_ready()?;
        let (worker, grammar) = match &mut self.state {
            State::Ready(worker, grammar) => (worker, grammar),
            State::Loading(..) => {
                return Err(WorkerError::Refused("the Vosk worker still loads its model: say it once more".into()));
            }
            State::GivenUp => {
                let why = "no Vosk worker is left to hear with: end the session, and resume it with --engine neural";
                return Err(WorkerError::Refused(why.into()));
            }
        };
        if grammar.as_ref() != Some(live) {
            let phrases = live.iter().filter_map(|c| self.phrases.get(c.0 as usize)).flatten();
            let mut phrases: Vec<String> = phrases.cloned().collect();
            if phrases.is_empty() {
                return Ok(String::new());
            }
            phrases.push(self.unknown.clone());
            phrases.extend(self.fillers.iter().cloned());
            worker.ask(&Ask::Grammar { phrases }, &[]);
            // Whatever becomes of it, the old grammar is gone.
            *grammar = None;
            match worker.answer(ANSWER_LIMIT)? {
                Answer::Ready { .. } => *grammar = Some(live.clone()),
                _ => return Err(WorkerError::Garbled("another answer than `ready`".into())),
            }
        }
        let from = samples.len().saturating_sub((LONGEST - 2 * REST) as usize);
        let rest = || std::iter::repeat_n(0, REST as usize);
        let sound: Vec<i16> =
            rest().chain(samples[from..].iter().map(|s| (s * 32_767.0) as i16)).chain(rest()).collect();
        let limit = ANSWER_LIMIT + Duration::from_secs_f64(sound.len() as f64 / f64::from(RATE));
        worker.ask(&Ask::Hear { samples: sound.len() as u32 }, &sound);
        match worker.answer(limit)? {
            Answer::Text { text } => Ok(text),
            _ => Err(WorkerError::Garbled("another answer than `text`".into())),
        }
    }

    fn wait_until_ready(&mut self) -> Result<(), WorkerError> {
        self.watch();
        let State::Loading(worker, since) = &mut self.state else { return Ok(()) };
        let left = LOAD_LIMIT.saturating_sub(since.elapsed());
        match worker.answer(left.min(self.patience)) {
            Ok(Answer::Loaded { .. }) => {
                if let State::Loading(worker, _) = std::mem::replace(&mut self.state, State::GivenUp) {
                    self.state = State::Ready(worker, None);
                }
                Ok(())
            }
            // Not yet.
            Err(WorkerError::Slow(_)) if since.elapsed() < LOAD_LIMIT => Ok(()),
            Err(e) => Err(e),
            Ok(_) => Err(WorkerError::Garbled("another answer than `loaded`".into())),
        }
    }

    /// A worker that has ended by itself is started again before it is needed.
    fn watch(&mut self) {
        let dead = match &mut self.state {
            State::Loading(worker, _) | State::Ready(worker, _) => worker.dead(),
            State::GivenUp => None,
        };
        if let Some(why) = dead {
            self.again(&why);
        }
    }

    /// The worker is of no more use: another takes its place.
    fn again(&mut self, why: &WorkerError) {
        self.deaths.retain(|d| d.elapsed() < DEATHS_WITHIN);
        self.deaths.push(Instant::now());
        self.state = State::GivenUp;
        if self.deaths.len() > MOST_DEATHS {
            let n = self.deaths.len();
            self.trouble
                .push(format!("{why}, the {n}th time in a minute, and is not started again: use --engine neural"));
            return;
        }
        match Worker::start(&self.launch) {
            Ok(mut worker) => {
                worker.ask(&load(&self.launch), &[]);
                self.state = State::Loading(worker, Instant::now());
                self.trouble.push(format!("{why}; it is being started again"));
            }
            Err(e) => self.trouble.push(format!("{why}, and cannot be started again: {e}")),
        }
    }

    /// The calls in a text.
    fn matched(&self, text: &str, live: &CallSet) -> Found {
        let strange = |w: &&str| *w == self.unknown || self.fillers.iter().any(|f| f == w);
        let words: Vec<&str> = text.split_whitespace().filter(|w| !strange(w)).collect();
        let whole_text = words.len() == text.split_whitespace().count();
        let said = words.join(" ");
        let mut ranked = match_text(&self.graph, live, &said, 0, (SessionTime::ZERO, SessionTime::ZERO)).ranked;
        for c in &mut ranked {
            // The words come from the grammar, so a missing one is no slip of a keyboard; and where other speech was heard
            // too, a call is only resembled.
            let said_so = whole_text && c.score >= EXACT - SPLIT * c.meanings.len().saturating_sub(1) as f64 - 1e-9;
            if !said_so {
                c.score = c.score.min(AT_LIMIT);
            }
        }
        ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
        let whole = ranked.first().is_some_and(|c| c.score >= EXACT)
            && !live.iter().any(|call| goes_on(&self.graph, call, &words));
        Found { ranked, whole, steps: 0 }
    }

    /// The number of the worker's process, while there is one.
    pub fn process(&self) -> Option<u32> {
        match &self.state {
            State::Loading(worker, _) | State::Ready(worker, _) => Some(worker.process()),
            State::GivenUp => None,
        }
    }
}

impl Reader for VoskEar {
    fn read(&mut self, samples: &[f32], live: &CallSet) -> Result<Reading, EarError> {
        let began = Instant::now();
        let mut text = String::new();
        // A worker that dies over an utterance gets it a second time from those who can wait.
        for attempt in 0..2 {
            match self.text(samples, live) {
                Ok(heard) => {
                    text = heard;
                    break;
                }
                Err(WorkerError::Refused(why)) => {
                    self.trouble.push(why);
                    break;
                }
                Err(why) => self.again(&why),
            }
            if attempt > 0 || self.patience.is_zero() {
                break;
            }
        }
        Ok(Reading { found: self.matched(&text, live), took: began.elapsed() })
    }

    fn calls(&self) -> usize {
        self.graph.calls.len()
    }

    fn name(&self, call: CallId) -> Option<&str> {
        self.graph.calls.get(call.0 as usize).map(|c| c.name.as_str())
    }

    fn typed(&self) -> bool {
        true
    }

    fn trouble(&mut self) -> Vec<String> {
        self.watch();
        std::mem::take(&mut self.trouble)
    }
}

fn load(launch: &Launch) -> Ask {
    Ask::Load { model: launch.model.display().to_string(), rate: RATE }
}

fn astray(wanted: &str) -> EarError {
    WorkerError::Garbled(format!("another answer than `{wanted}`")).into()
}

/// For each call the sentences without missing words; and each missing word once, with the first sentence that has it.
fn sentences(graph: &WordGraph, missing: &BTreeSet<String>) -> (Vec<Vec<String>>, Vec<Unknown>) {
    let mut all = Vec::new();
    let mut unknowns: BTreeMap<String, Unknown> = BTreeMap::new();
    for (i, part) in graph.calls.iter().enumerate() {
        let call = CallId(i as u16);
        let list = |usable: &dyn Fn(&str) -> bool| -> Vec<Vec<String>> {
            let (said, whole) = expand(graph, call, SENTENCES);
            if !whole {
                return cover(graph, call, usable);
            }
            // A sentence that means two things comes twice.
            let mut said: Vec<Vec<String>> = said.into_iter().map(|(words, _)| words).collect();
            said.retain(|words| words.iter().all(|w| usable(w)));
            said.dedup();
            said
        };
        let usable = list(&|w| !missing.contains(w));
        for words in list(&|_| true) {
            for word in words.iter().filter(|w| missing.contains(*w)) {
                // A word that makes a call deaf is told for that call.
                let deaf = usable.is_empty();
                let unknown = || Unknown { word: word.clone(), call: part.name.clone(), phrase: words.join(" "), deaf };
                let known = unknowns.entry(word.clone()).or_insert_with(unknown);
                if deaf && !known.deaf {
                    *known = unknown();
                }
            }
        }
        all.push(usable.into_iter().map(|words| words.join(" ")).collect());
    }
    (all, unknowns.into_values().collect())
}
