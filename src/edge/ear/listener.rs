//! Sound in, utterances out: the gate, voice activity and an ear joined, on a clock of counted samples.

use super::answer::Pieces;
use super::neural::{EarError, NeuralEar, Reading};
use super::own::Own;
use super::pace;
use super::reader::Reader;
use super::second;
use super::told::News;
use crate::core::gate::{Event, Gate, Opening, RATE, Settings, Span, Utterance};
use crate::core::grammar::{CallId, CallSet, Meaning, WordGraph};
use crate::core::matcher::{Candidate, Class, Heard, Thresholds, Unheard, begins_with_others, goes_on_beyond};
use crate::core::time::SessionTime;
use crate::edge::native::{Runtime, Vad};
use std::borrow::Cow;
use std::ops::Range;
use std::path::Path;
use std::time::{Duration, Instant};

/// A listening microphone. The same samples and the same calls at the same time give the same news, whatever the sizes of
/// the chunks.
#[derive(Debug)]
pub struct Listener<E = NeuralEar> {
    vad: Vad,
    pub(super) gate: Gate,
    pub(super) ear: E,
    thresholds: Thresholds,
    /// Sound not yet forgotten, and the number of its first sample.
    pub(super) sound: Vec<f32>,
    from: u64,
    revision: u32,
    pub(super) live: CallSet,
    /// Of the live calls, those that answer something.
    pub(super) due: CallSet,
    /// Calls that count while we speak ourselves, and what we say; absent if the microphone cannot hear us.
    always: CallSet,
    own: Option<Own>,
    /// What was live when the utterance began.
    pub(super) begun: CallSet,
    /// Frames without a sign of speech since the voice activity's memory began.
    quiet: u32,
    /// What the ear has made of the utterance so far.
    asked: Option<Asked>,
    /// Where the last utterance's window ended.
    told: u64,
    /// An utterance is one pilot's from its beginning, however long, and meant for us.
    pub(super) one_talker: bool,
    /// What has been read of such an answer.
    pub(super) pieces: Pieces,
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

/// A reading that is not above its bar and ahead of others by so much more, nats, is looked at again: the right one may have been given up too early.
const SURE: f64 = 3.0;
/// What is taken off readings of an utterance without its beginning, nats: the head of a call may be missing.
const HEADLESS: f64 = 2.0;
/// A reading whose words strain the model more than this, nats, may not be all that was said.
const STRAINED: f64 = 9.0;
/// A reading whose words strain the model more than this, nats, may have an end that is not said yet: it is waited for.
const HURRIED: f64 = 10.0;
/// Readings of fewer words are not asked about: they gain little by what they leave out, and what is always live is short.
const LENGTHY: usize = 4;
/// A reading with so many nats speaks for itself, whatever was said after it: …
const CERTAIN: f64 = 12.0;
/// … and one whose words strain the model less than this, nats, is nearly what it would write anyway.
const UNEASY: f64 = 5.0;
/// How far below zero a call to someone else comes, nats: it resembles none.
const NOT_OURS: f64 = 6.0;
/// Sound up to so long (1.2 s, with what is kept before and after a word) holds a word or two.
const BRIEF: u64 = 12 * RATE as u64 / 10;
/// So much more of the sound on both sides (0.4 s) is looked at closer with it.
const AROUND: u64 = 4 * RATE as u64 / 10;
/// A mean further from zero is a constant voltage of the sound card.
const OFFSET: f32 = 1e-3;

/// Sound without a constant voltage under it.
pub(super) fn centred(samples: &[f32]) -> Cow<'_, [f32]> {
    let mean = samples.iter().sum::<f32>() / samples.len().max(1) as f32;
    match mean.abs() > OFFSET {
        true => samples.iter().map(|s| s - mean).collect::<Vec<_>>().into(),
        false => samples.into(),
    }
}

/// Nobody says a word in less (0.1 s): a scrap of our own voice may resemble a longer call.
const WORD: u64 = RATE as u64 / 10;

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
            due: CallSet::none(),
            told: 0,
            always: CallSet::none(),
            own: None,
            begun: CallSet::none(),
            quiet: 0,
            asked: None,
            one_talker: false,
            pieces: Pieces::default(),
        }
    }

    /// An utterance is one pilot's from its beginning, however long: a voice that rises again after a pause within it is no
    /// other talker's. So it is with an answer on the radio, whose items are spoken with pauses between them.
    pub fn one_talker(&mut self) {
        self.one_talker = true;
    }

    /// What can be said from now on. An utterance counts under what is live at its start and at its end.
    pub fn listen(&mut self, revision: u32, live: &CallSet) {
        self.revision = revision;
        self.live = live.clone();
        self.pieces.forget();
        self.ear.expect(live);
    }

    /// Which of the live calls answer something that is due.
    pub fn answering(&mut self, due: &CallSet) {
        self.due = due.clone();
    }

    /// The microphone hears what we say: while we speak, nothing but these calls counts, by the stricter scores, and none
    /// whose words we are saying.
    pub fn hears_us(&mut self, always: &CallSet) {
        self.always = always.clone();
        self.own = Some(Own::default());
    }

    /// What we say from now on; `None`: we are silent.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn saying(&mut self, words: Option<&str>) -> Result<Vec<News>, EarError> {
        let now = self.gate.now();
        match (&mut self.own, words) {
            (None, _) => Ok(Vec::new()),
            (Some(own), Some(words)) => {
                own.begin(now, words);
                self.set_opening(Opening::Critical)
            }
            (Some(own), None) => {
                own.end(now);
                Ok(Vec::new())
            }
        }
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
        (self.asked, self.told) = (None, 0);
        if let Some(own) = &mut self.own {
            *own = Own::default();
        }
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

    /// The button is gone: it is released, and the microphone is open.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn unplug(&mut self) -> Result<Vec<News>, EarError> {
        let event = self.gate.unplug();
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
            if self.own.as_ref().is_some_and(|o| !o.sounds(self.gate.now())) {
                let event = self.gate.set_opening(Opening::Open);
                news.extend(self.tell(event)?);
            }
            for event in self.gate.frame(&self.sound[at..at + Vad::FRAME], probability) {
                news.extend(self.tell(Some(event))?);
            }
            match self.gate.is_talking() {
                true => self.read_ahead()?,
                false if probability < CALM => self.ear.prepare()?,
                false => {}
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
                self.pieces.forget();
                Ok(vec![News::Began { at: moment(at) }])
            }
            Some(Event::Dead) => {
                let at = moment(self.gate.now());
                Ok(vec![News::Dead { at }])
            }
            Some(Event::Ask { window }) => {
                let live = match self.gate.critical_only() {
                    true => self.always.clone(),
                    false => self.begun.union(&self.live),
                };
                if self.one_talker {
                    // It is never over before its time, and what is read now need not be read then.
                    self.answer_so_far(window, &live, false)?;
                    return Ok(Vec::new());
                }
                let mut reading = self.read(window, &live)?;
                let began = Instant::now();
                self.doubt(&mut reading.found.ranked, window)?;
                reading.took += began.elapsed();
                // More may come after a pause, so an early end needs the stricter values, and words that the sound holds:
                // a value that is not said yet is easily made up.
                let heard = reading.found.ranked.first().is_some_and(|c| c.strain <= HURRIED);
                let sure = heard && self.accepts(&reading.found.ranked, &self.thresholds.strict());
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
        // What was found late may have begun while we still spoke.
        let found = utterance.speech.filter(|_| !utterance.pushed);
        let over_us =
            utterance.critical_only || found.is_some_and(|s| self.own.as_ref().is_some_and(|o| o.sounded(s.from)));
        let live = match over_us {
            true => self.always.clone(),
            false => self.begun.union(&self.live),
        };
        let mut ahead = Duration::ZERO;
        let mut first = None;
        let (mut ranked, unheard) = if utterance.speech.is_none() {
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
            let (mut ranked, window) = self.settle(&utterance, &live, asked, over_us)?;
            if !self.one_talker {
                self.not_for_us(&mut ranked, window)?;
            }
            first = Some(window.from).filter(|_| window != utterance.window);
            if let Some(own) = self.own.as_ref().filter(|_| over_us) {
                let voiced = utterance.speech.map_or(0, |s| s.to - s.from);
                ranked.retain(|c| !own.said(&c.text, utterance.window) && voiced >= c.words() as u64 * WORD);
            }
            (ranked, None)
        };
        ranked.iter_mut().for_each(|c| c.strain = 0.0);
        self.told = utterance.window.to;
        let (from, last) = utterance.speech.map_or((utterance.window.from, utterance.at), |s| (s.from, s.to));
        let speech = (moment(first.unwrap_or(from)), moment(last));
        let heard = Heard {
            revision: self.revision,
            ranked,
            unheard,
            typed: self.ear.typed(),
            pushed: utterance.pushed,
            over_us,
            speech,
        };
        let decision = began.elapsed() + ahead;
        Ok(News::Heard { at: moment(utterance.at), heard, decision, why: utterance.why })
    }

    /// The readings of an utterance, and the window they come from. Where someone began to speak over others, all of it
    /// is tried first if it is short, since a call without its head may be another call; then what is left from each
    /// beginning on, at a price ([`HEADLESS`]). What none of this settles is looked at more thoroughly.
    fn settle(
        &mut self,
        utterance: &Utterance,
        live: &CallSet,
        asked: Option<Asked>,
        over_us: bool,
    ) -> Result<(Vec<Candidate>, Span), EarError> {
        if self.one_talker {
            return Ok((self.answer(utterance.window, live)?, utterance.window));
        }
        let mut sure = self.thresholds.shifted(SURE);
        for bar in sure.ordinary.iter_mut().chain(&mut sure.due) {
            bar.margin += SURE;
        }
        let later: Vec<Span> = utterance.later.iter().flatten().copied().collect();
        let whole = later.is_empty() || utterance.window.to - utterance.window.from <= LONG;
        let mut main = later.first().copied().unwrap_or(utterance.window);
        let windows = Some(utterance.window).filter(|_| whole).into_iter().chain(later);
        let mut kept: Vec<Candidate> = Vec::new();
        for (n, window) in windows.enumerate() {
            let mut ranked = match &asked {
                Some(asked) if asked.window == window => asked.reading.found.ranked.clone(),
                _ => {
                    let mut ranked = self.read(window, live)?.found.ranked;
                    self.doubt(&mut ranked, window)?;
                    ranked
                }
            };
            self.price(&mut ranked, window, utterance);
            if self.accepts(&ranked, &sure) {
                return Ok((ranked, window));
            }
            // All of it or, where that says less, what is left from the first beginning on.
            let better = ranked.first().is_some_and(|c| kept.first().is_none_or(|k| c.score > k.score));
            if n == 0 || (window == main && better) {
                (kept, main) = (ranked, window);
            }
        }
        let wide = self.widened(main, utterance);
        if main.to - main.from <= LONG
            && let Some(closer) =
                self.ear.read_closer(&centred(&self.sound[self.samples(wide)]), live, most_calls(&kept))?
        {
            let mut ranked = closer.found.ranked;
            self.doubt(&mut ranked, wide)?;
            self.price(&mut ranked, main, utterance);
            kept = ranked;
        }
        self.weigh(&mut kept, wide)?;
        if self.accepts(&kept, &self.thresholds) {
            return Ok((kept, main));
        }
        // What sounded while we spoke is never told to be out of place.
        match over_us {
            true => Ok((kept, main)),
            false => Ok((self.second_thought(kept, wide, live)?, main)),
        }
    }

    /// A short word with more of what is around it: in a scrap of sound the model hears little.
    fn widened(&self, window: Span, utterance: &Utterance) -> Span {
        if window.to - window.from > BRIEF || window.from < utterance.window.from {
            return window;
        }
        let from = window.from.saturating_sub(AROUND).max(self.gate.open_since()).max(self.told).min(window.from);
        Span { from, to: (window.to + AROUND).min(utterance.at).max(window.to) }
    }

    /// A value without a rival may only be the one that the beam has kept: where the sound says little of it, all other
    /// values are as likely. Before it is believed, the call's other values are weighed too.
    fn doubt(&mut self, ranked: &mut Vec<Candidate>, window: Span) -> Result<(), EarError> {
        let Some((best, rest)) = ranked.split_first() else { return Ok(()) };
        let valued = best.meanings.iter().any(|m| !m.slots.is_empty());
        if !valued || !self.accepts(ranked, &self.thresholds) || rest.iter().any(|c| c.same_calls(best)) {
            return Ok(());
        }
        let all = CallSet::all(self.ear.calls());
        let named = |id: &CallId| best.meanings.iter().any(|m| self.ear.name(*id) == Some(m.call.as_str()));
        let calls: CallSet = all.iter().filter(named).collect();
        let breath = most_calls(&ranked[..1]);
        let Some(closer) = self.ear.read_closer(&centred(&self.sound[self.samples(window)]), &calls, breath)? else {
            return Ok(());
        };
        for reading in closer.found.ranked {
            match ranked.iter_mut().find(|c| c.meanings == reading.meanings) {
                Some(known) => known.score = known.score.max(reading.score),
                None => ranked.push(reading),
            }
        }
        ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
        Ok(())
    }

    /// Takes off what readings cost that are of less than the whole utterance ([`HEADLESS`]) or whose words are too few or
    /// too many for the sound.
    fn price(&self, ranked: &mut [Candidate], window: Span, utterance: &Utterance) {
        let headless = if window == utterance.window { 0.0 } else { HEADLESS };
        let loud = pace::loud(&self.sound[self.samples(window)]);
        let speech = utterance.speech.unwrap_or(window);
        let voiced = speech.to.saturating_sub(speech.from.max(window.from)) as f64 / f64::from(RATE);
        for c in ranked.iter_mut() {
            c.score -= headless + pace::price(&c.text, loud, voiced);
        }
        ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
    }

    /// Asks another model about readings that are in doubt.
    pub(super) fn weigh(&mut self, ranked: &mut [Candidate], window: Span) -> Result<(), EarError> {
        let texts = second::texts(ranked);
        if texts.is_empty() {
            return Ok(());
        }
        let sound = centred(&self.sound[self.samples(window)]);
        if let Some(strains) = self.ear.second(&sound, &texts)? {
            let asked: Vec<(String, f64)> = texts.into_iter().map(String::from).zip(strains).collect();
            second::weighed(ranked, &asked);
        }
        Ok(())
    }

    /// A call that was only a part of what was said: one to someone else, by his name ("heron nine zero four, turn left …"),
    /// and the beginning of another sentence ("continue shopping"). Where the model would rather write other words than the
    /// call's, it is asked which.
    fn not_for_us(&mut self, ranked: &mut [Candidate], window: Span) -> Result<(), EarError> {
        let Some(best) = ranked.first() else { return Ok(()) };
        let to_others = best.strain >= STRAINED && best.words() >= LENGTHY;
        let begun = best.strain >= UNEASY && best.score < CERTAIN;
        if !(to_others || begun) || !self.accepts(ranked, &self.thresholds) {
            return Ok(());
        }
        let (text, score) = (best.text.clone(), best.score.max(0.0));
        let Some(free) = self.ear.read_freely(&centred(&self.sound[self.samples(window)]))? else { return Ok(()) };
        if to_others && begins_with_others(&free, &text) {
            ranked.iter_mut().for_each(|c| c.score -= score + NOT_OURS);
        } else if begun && goes_on_beyond(&free, &text) {
            // It may have been meant after all: near enough to ask.
            ranked.iter_mut().for_each(|c| c.score -= score);
        }
        Ok(())
    }

    /// Whether a reading will do; what is critical is known to the engine alone. Other meanings of the same words are no
    /// rivals: no ear tells them apart, the engine does.
    fn accepts(&self, ranked: &[Candidate], by: &Thresholds) -> bool {
        let Some(best) = ranked.first() else { return false };
        let answers = |m: &Meaning| self.due.iter().any(|d| self.ear.name(d) == Some(m.call.as_str()));
        let mut same = ranked.iter().filter(|c| best.sounds_as(c));
        let class = if same.any(|c| c.meanings.iter().any(answers)) { Class::Due } else { Class::Ordinary };
        let bar = by.bar(class, best.words());
        let next = ranked.iter().find(|c| !best.sounds_as(c));
        let margin = next.map_or(f64::INFINITY, |next| best.score - next.score);
        best.score > bar.score && margin > bar.margin
    }

    fn read(&mut self, window: Span, live: &CallSet) -> Result<Reading, EarError> {
        let sound = centred(&self.sound[self.samples(window)]);
        self.ear.read(&sound, live)
    }

    /// Where a window's samples are kept.
    pub(super) fn samples(&self, window: Span) -> Range<usize> {
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
        let wider = self.ear.read_one(&centred(&self.sound[self.samples(window)]), &all)?.found.ranked;
        let near = ranked.first().filter(|c| self.thresholds.resembles(c)).map_or(f64::NEG_INFINITY, |c| c.score);
        let beyond = wider.first().is_some_and(|c| {
            let bar = self.thresholds.strict().bar(Class::Ordinary, c.words());
            c.score > bar.score.max(near + bar.margin)
                && c.meanings.iter().any(|m| !live.iter().any(|l| self.ear.name(l) == Some(m.call.as_str())))
        });
        Ok(if beyond { wider } else { ranked })
    }
}

/// The most calls of the three best readings: more are not looked for in a closer look.
fn most_calls(ranked: &[Candidate]) -> u8 {
    ranked.iter().take(3).map(|c| c.meanings.len()).max().map_or(1, |n| n as u8)
}
