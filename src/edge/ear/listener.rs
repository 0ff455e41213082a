//! Sound in, utterances out: the gate, voice activity and an ear joined, on a clock of counted samples.

use super::neural::{EarError, NeuralEar, Reading};
use super::reader::Reader;
use crate::core::gate::{Event, Gate, Opening, RATE, Settings, Span, Utterance, Why};
use crate::core::grammar::{CallSet, WordGraph};
use crate::core::matcher::{Candidate, Class, Heard, Thresholds, Unheard};
use crate::core::time::SessionTime;
use crate::edge::native::{Runtime, Vad};
use std::borrow::Cow;
use std::ops::Range;
use std::path::Path;
use std::time::{Duration, Instant};

/// What the listener tells.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// Someone began to speak.
    Began {
        /// First voiced moment.
        at: SessionTime,
    },
    /// An utterance is over.
    Heard {
        /// The endpoint: when it was decided that it is over.
        at: SessionTime,
        /// What was made of it.
        heard: Heard,
        /// Computing time from the endpoint decision to the ranked calls, on this machine.
        decision: Duration,
        /// Why it is over.
        why: Why,
    },
    /// No sound arrives.
    Dead {
        /// When that was noticed.
        at: SessionTime,
    },
}

/// A listening microphone. The same samples and the same calls at the same time give the same news, whatever the sizes of
/// the chunks.
#[derive(Debug)]
pub struct Listener<E = NeuralEar> {
    vad: Vad,
    gate: Gate,
    ear: E,
    thresholds: Thresholds,
    /// Sound not yet forgotten, and the number of its first sample.
    sound: Vec<f32>,
    from: u64,
    revision: u32,
    live: CallSet,
    /// Calls that count while we speak ourselves.
    always: CallSet,
    /// What was live when the utterance began.
    begun: CallSet,
    /// Frames without a sign of speech since the voice activity's memory began.
    quiet: u32,
    /// What the ear has made of the utterance so far.
    asked: Option<Asked>,
}

/// A decode ahead of the endpoint.
#[derive(Debug)]
struct Asked {
    window: Span,
    live: CallSet,
    reading: Reading,
    /// Samples taken in when it began.
    at: u64,
}

/// A frame less likely to be speech than this shows no sign of it.
const CALM: f32 = 0.2;
/// After so many calm frames (2 s) the voice activity starts afresh: in minutes of steady noise it grows deaf to short words.
const CALM_FRAMES: u32 = 62;

/// Speech up to so long (8 s) is decoded from its beginning even if someone louder began within it: it may have been one
/// pilot all the time. Longer speech is no call that a second look would save.
const LONG: u64 = 8 * RATE as u64;

/// A mean further from zero is a constant voltage of the sound card.
const OFFSET: f32 = 1e-3;

/// Sound without a constant voltage under it.
fn centred(samples: &[f32]) -> Cow<'_, [f32]> {
    let mean = samples.iter().sum::<f32>() / samples.len().max(1) as f32;
    match mean.abs() > OFFSET {
        true => samples.iter().map(|s| s - mean).collect::<Vec<_>>().into(),
        false => samples.into(),
    }
}

/// The moment of a sample.
fn moment(sample: u64) -> SessionTime {
    SessionTime((sample as i64 * 1_000_000) / i64::from(RATE))
}

impl Listener {
    /// Loads the models and compiles the graph.
    ///
    /// # Errors
    /// The library or a model is missing, damaged or not the one that was meant.
    pub fn open(models: &Path, graph: &WordGraph, settings: Settings) -> Result<Listener, EarError> {
        let runtime = Runtime::open(models)?;
        let ear = NeuralEar::open(&runtime, graph)?;
        Ok(Listener::new(Vad::open(&runtime)?, ear, settings, Thresholds::default()))
    }
}

impl<E: Reader> Listener<E> {
    /// Joins the parts; nothing is live yet.
    pub fn new(vad: Vad, ear: E, settings: Settings, thresholds: Thresholds) -> Listener<E> {
        Listener {
            vad,
            gate: Gate::new(settings),
            ear,
            thresholds,
            sound: Vec::new(),
            from: 0,
            revision: 0,
            live: CallSet::none(),
            always: CallSet::none(),
            begun: CallSet::none(),
            quiet: 0,
            asked: None,
        }
    }

    /// What can be said from now on. An utterance counts under what is live at its start and at its end.
    pub fn listen(&mut self, revision: u32, live: &CallSet) {
        self.revision = revision;
        self.live = live.clone();
    }

    /// The calls that count while we speak ourselves.
    pub fn always(&mut self, calls: &CallSet) {
        self.always = calls.clone();
    }

    /// The scores that tell whether a reading will do; the engine's own are what counts in the end.
    pub fn thresholds(&self) -> &Thresholds {
        &self.thresholds
    }

    /// How many samples are kept at present.
    pub fn kept(&self) -> usize {
        self.sound.len()
    }

    /// Forgets all sound: the next sample is the first.
    pub fn reset(&mut self) {
        self.vad.reset();
        self.gate = Gate::new(self.gate.settings().clone());
        self.sound.clear();
        self.from = 0;
        self.asked = None;
    }

    /// The ear, to change how it searches or which book it knows.
    pub fn ear_mut(&mut self) -> &mut E {
        &mut self.ear
    }

    /// Opens or closes the gate; not with push-to-talk or a headset.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn set_opening(&mut self, opening: Opening) -> Result<Vec<News>, EarError> {
        let event = self.gate.set_opening(opening);
        self.tell(event)
    }

    /// Push-to-talk: pressed or released.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn push(&mut self, held: bool) -> Result<Vec<News>, EarError> {
        let event = self.gate.push(held);
        self.tell(event)
    }

    /// The next samples, mono at 16 kHz from −1 to 1, in a chunk of any size.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn feed(&mut self, samples: &[f32]) -> Result<Vec<News>, EarError> {
        // A broken driver's NaN must not spread into the models' memory.
        self.sound.extend(samples.iter().map(|s| if s.is_finite() { s.clamp(-1.0, 1.0) } else { 0.0 }));
        let mut news = Vec::new();
        loop {
            let at = (self.gate.now() - self.from) as usize;
            let Some(frame) = self.sound.get(at..at + Vad::FRAME) else { break };
            let probability = self.vad.probability(frame)?;
            self.quiet = if probability < CALM { self.quiet + 1 } else { 0 };
            if self.quiet >= CALM_FRAMES {
                self.vad.forget();
                self.quiet = 0;
            }
            for event in self.gate.frame(&self.sound[at..at + Vad::FRAME], probability) {
                news.extend(self.tell(Some(event))?);
            }
        }
        let needed = self.gate.needs_from().saturating_sub(self.from) as usize;
        // Forgotten in large pieces: moving the rest costs more than keeping it.
        if needed > 4 * RATE as usize {
            self.sound.drain(..needed);
            self.from += needed as u64;
        }
        Ok(news)
    }

    /// The sound has come to its end: what is under way is over.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn finish(&mut self) -> Result<Vec<News>, EarError> {
        let event = self.gate.finish();
        self.tell(event)
    }

    fn tell(&mut self, event: Option<Event>) -> Result<Vec<News>, EarError> {
        match event {
            None => Ok(Vec::new()),
            Some(Event::Began { at }) => {
                self.begun = self.live.clone();
                self.asked = None;
                Ok(vec![News::Began { at: moment(at) }])
            }
            Some(Event::Dead) => {
                let at = moment(self.gate.now());
                Ok(vec![News::Dead { at }])
            }
            Some(Event::Ask { window }) => {
                let live = self.begun.union(&self.live);
                let reading = self.read(window, &live)?;
                // More may come after a pause, so an early end needs the stricter values.
                let sure = accepted(&reading.found.ranked, &self.thresholds.strict());
                let whole = reading.found.whole && sure;
                self.asked = Some(Asked { window, live, reading, at: self.gate.now() });
                let event = self.gate.answer(whole);
                self.tell(event)
            }
            Some(Event::Ended(utterance)) => Ok(vec![self.over(utterance)?]),
        }
    }

    fn over(&mut self, utterance: Utterance) -> Result<News, EarError> {
        let began = Instant::now();
        let live = match utterance.critical_only {
            true => self.always.clone(),
            false => self.begun.union(&self.live),
        };
        let mut ahead = Duration::ZERO;
        let mut first = None;
        let (ranked, unheard) = if utterance.speech.is_none() {
            (Vec::new(), Some(Unheard::NothingSaid))
        } else if utterance.faint {
            (Vec::new(), Some(Unheard::TooFaint))
        } else {
            let asked = self.asked.take().filter(|a| a.live == live);
            if let Some(asked) = &asked {
                // What the decode took beyond the silence that passed since it began.
                let passed = Duration::from_micros((utterance.at - asked.at) * 1_000_000 / u64::from(RATE));
                ahead = asked.reading.took.saturating_sub(passed);
            }
            let (ranked, window) = self.settle(&utterance, &live, asked)?;
            first = Some(window.from).filter(|_| window != utterance.window);
            (ranked, None)
        };
        let (from, last) = utterance.speech.map_or((utterance.window.from, utterance.at), |s| (s.from, s.to));
        let speech = (moment(first.unwrap_or(from)), moment(last));
        let heard = Heard {
            revision: self.revision,
            ranked,
            unheard,
            typed: self.ear.typed(),
            pushed: utterance.pushed,
            speech,
        };
        let decision = began.elapsed() + ahead;
        Ok(News::Heard { at: moment(utterance.at), heard, decision, why: utterance.why })
    }

    /// The readings of an utterance, and the window they come from. Where someone began to speak over others, all of it
    /// is tried first if it is short, since a call without its head may be another call; then what is left from each
    /// beginning on, by the stricter values. What none of this settles is looked at more thoroughly.
    fn settle(
        &mut self,
        utterance: &Utterance,
        live: &CallSet,
        asked: Option<Asked>,
    ) -> Result<(Vec<Candidate>, Span), EarError> {
        let (plain, strict) = (self.thresholds.clone(), self.thresholds.strict());
        let later: Vec<Span> = utterance.later.iter().flatten().copied().collect();
        let main = later.first().copied().unwrap_or(utterance.window);
        let whole = later.is_empty() || utterance.window.to - utterance.window.from <= LONG;
        let windows = Some(utterance.window).filter(|_| whole).into_iter().chain(later);
        let mut kept = Vec::new();
        for window in windows {
            let ranked = match &asked {
                Some(asked) if asked.window == window => asked.reading.found.ranked.clone(),
                _ => self.read(window, live)?.found.ranked,
            };
            if accepted(&ranked, if window == utterance.window { &plain } else { &strict }) {
                return Ok((ranked, window));
            }
            if window == main {
                kept = ranked;
            }
        }
        if main.to - main.from <= LONG
            && let Some(closer) = self.ear.read_closer(&centred(&self.sound[self.samples(main)]), live)?
        {
            let ranked = closer.found.ranked;
            if accepted(&ranked, if main == utterance.window { &plain } else { &strict }) {
                return Ok((ranked, main));
            }
        }
        Ok((self.second_thought(kept, main, live)?, main))
    }

    fn read(&mut self, window: Span, live: &CallSet) -> Result<Reading, EarError> {
        let sound = centred(&self.sound[self.samples(window)]);
        self.ear.read(&sound, live)
    }

    /// Where a window's samples are kept.
    fn samples(&self, window: Span) -> Range<usize> {
        let at = |sample: u64| (sample.saturating_sub(self.from) as usize).min(self.sound.len());
        at(window.from)..at(window.to)
    }

    /// Where no live call will do, whether another of the book's would: "not now" is another answer than "no such call".
    /// It must stand out: a live call that was nearly understood is asked for again.
    fn second_thought(
        &mut self,
        ranked: Vec<Candidate>,
        window: Span,
        live: &CallSet,
    ) -> Result<Vec<Candidate>, EarError> {
        let all = CallSet::all(self.ear.calls());
        if *live == all {
            return Ok(ranked);
        }
        let wider = self.read(window, &all)?.found.ranked;
        let near = ranked.first().filter(|c| self.thresholds.resembles(c)).map_or(f64::NEG_INFINITY, |c| c.score);
        let beyond = wider.first().is_some_and(|c| {
            let bar = self.thresholds.strict().bar(Class::Ordinary, c.words());
            c.score > bar.score.max(near + bar.margin)
                && c.meanings.iter().any(|m| !live.iter().any(|l| self.ear.name(l) == Some(m.call.as_str())))
        });
        Ok(if beyond { wider } else { ranked })
    }
}

fn accepted(ranked: &[Candidate], by: &Thresholds) -> bool {
    let Some(best) = ranked.first() else { return false };
    let bar = by.bar(Class::Ordinary, best.words());
    let margin = ranked.get(1).map_or(f64::INFINITY, |next| best.score - next.score);
    best.score > bar.score && margin > bar.margin
}
