//! The only loop and the only clock.
//!
//! The loop keeps one agenda: frames of the aircraft, blocks of sound, deadlines of the engine, ends of speech, the
//! scripted pilot, and what arrives from outside. It takes the earliest, gives the engine one `Input`, and carries out
//! the actions. Offline it jumps from one event to the next; live it waits for them.

mod aloud;
mod carry;
mod ears;
mod hands;
mod linked;
pub mod practice;
mod radio;
mod report;
mod sources;
pub mod stage;
mod watch;

pub use ears::{EarNews, Ears, SoundEar};
pub use report::{Line, Mark, Report, Side, Utterance};
use sources::Waited;
pub use sources::{News, Outside, Pace};
pub use watch::{Touch, Watcher};

use crate::core::aircraft::crossing::{Crossing, Detector};
use crate::core::aircraft::{Delta, Value};
use crate::core::book::Book;
use crate::core::crew::io::{self, Arrangement, Engine, Input};
use crate::core::grammar::{CallSet, Meaning};
use crate::core::matcher::Heard;
use crate::core::radio::Words;
use crate::core::script::Performance;
use crate::core::time::{SessionTime, SimTime, Wake};
use crate::core::voice::Queue;
use crate::edge::audio::player::Player;
use crate::edge::audio::recorder::Recorder;
use crate::edge::audio::{AudioError, EAR_RATE};
use crate::edge::link::Link;
use crate::edge::speaker::Speaker;
use crate::edge::store::journal::JournalFile;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Instant;

/// Samples of one block of sound, 32 ms: what the voice-activity model eats.
const BLOCK: usize = 512;
/// Every this many frames the engine gets the state: 20 Hz at 60.
const STATE_EVERY: u32 = 3;

/// Words to 16 kHz mono sound.
pub type CaptainVoice = Box<dyn FnMut(&str) -> Result<Vec<f32>, String>>;
/// Adds noise to a block of 16 kHz mono sound.
pub type Noise = Box<dyn FnMut(&mut [f32])>;

/// Everything a session is made of.
pub struct Parts {
    /// The book.
    pub book: Arc<Book>,
    /// The engine, fresh or resumed.
    pub engine: Box<dyn Engine>,
    /// The aircraft.
    pub link: Box<dyn Link>,
    /// How the pilot is heard.
    pub ears: Ears,
    /// How the crew speaks.
    pub speaker: Box<dyn Speaker>,
    /// A scripted pilot, or only his hands.
    pub pilot: Option<Performance>,
    /// His words as 16 kHz sound; needed when the ears hear sound and the script speaks.
    pub captain: Option<CaptainVoice>,
    /// What lies under his voice, added block by block.
    pub noise: Option<Noise>,
    /// A recording that is heard from the beginning on, 16 kHz.
    pub recording: Option<Arc<[f32]>>,
    /// Where both sides are recorded.
    pub recorder: Option<Recorder>,
    /// Where everything is written down.
    pub journal: JournalFile,
    /// As fast as possible, or in step with the clock on the wall.
    pub pace: Pace,
    /// What arrives from outside: typed lines, the wish to stop.
    pub outside: Outside,
    /// Told of each line as it happens.
    pub told: Box<dyn FnMut(&Line)>,
    /// Looks on.
    pub watcher: Option<Box<dyn Watcher>>,
    /// The session is over by then, whatever happens.
    pub until: Option<SessionTime>,
    /// The session is over some seconds after one of these phases has begun.
    pub ends_in: Vec<String>,
}

/// A session under way.
pub struct App {
    parts: Parts,
    now: SessionTime,
    wake: Wake,
    queue: Queue,
    crew_out: Player,
    mic: Player,
    detector: Detector,
    agenda: BTreeMap<(SessionTime, u64), Event>,
    order: u64,
    frames: u32,
    sent: BTreeMap<String, Value>,
    rests: BTreeMap<String, f64>,
    before: BTreeMap<String, f64>,
    /// Simulator's time of the last frame, and from the one before to it.
    frame_at: SimTime,
    frame_s: f64,
    linked: linked::Linked,
    /// News of the link since something was last due.
    flood: u32,
    spoken: BTreeMap<u64, carry::Sounding>,
    blocks: u64,
    hands: hands::Hands,
    channel: radio::Channel,
    report: Report,
    listening: (CallSet, u32),
    crossings: BTreeMap<String, io::Crossing>,
    /// What the words of the utterance being handled mean, where they are known.
    meant: Option<Vec<Meaning>>,
    begun: Instant,
    origin: SessionTime,
    leave_at: Option<SessionTime>,
    /// Fed right after the beginning.
    opening: Vec<Input>,
}

/// What the agenda holds beside the recurring things.
#[derive(Debug)]
enum Event {
    Input(Input),
    Heard { heard: Heard, decision_ms: f64 },
    Words { text: String, began: SessionTime },
    WordsDone { id: u64 },
    Ear(EarNews),
    Transmitted { words: Words, began: SessionTime },
}

/// Why a session ended early.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// Sound could not be written.
    #[error(transparent)]
    Audio(#[from] AudioError),
    /// The journal could not be written.
    #[error("{0}")]
    Journal(String),
}

impl App {
    /// A session that begins at `now` (zero, or where a resumed journal stops).
    pub fn new(parts: Parts, now: SessionTime, wake: Wake) -> Self {
        App {
            now,
            wake,
            queue: Queue::default(),
            crew_out: Player::new(EAR_RATE),
            mic: Player::new(EAR_RATE),
            detector: Detector::default(),
            agenda: BTreeMap::new(),
            order: 0,
            frames: 0,
            sent: BTreeMap::new(),
            rests: BTreeMap::new(),
            before: BTreeMap::new(),
            frame_at: SimTime::ZERO,
            frame_s: 1.0 / 60.0,
            linked: linked::Linked::default(),
            flood: 0,
            spoken: BTreeMap::new(),
            blocks: 0,
            hands: hands::Hands::default(),
            channel: radio::Channel::default(),
            report: Report::default(),
            listening: (CallSet::none(), 0),
            crossings: BTreeMap::new(),
            meant: None,
            begun: Instant::now(),
            origin: now,
            leave_at: None,
            opening: Vec::new(),
            parts,
        }
    }

    /// What the session is to be told right after its beginning.
    #[must_use]
    pub fn opening(mut self, inputs: Vec<Input>) -> Self {
        self.opening = inputs;
        self
    }

    fn prepare(&mut self) {
        self.learn_script();
        if let Some(samples) = self.parts.recording.take() {
            self.mic.start(0, samples, 0);
        }
    }

    /// Begins the session and runs it to its end: the script's, the file's, or the pilot's wish.
    ///
    /// # Errors
    /// When the journal or the recording cannot be written; what was written until then is complete.
    pub fn run(
        mut self,
        arrangement: Arrangement,
        phase: Option<String>,
        sheet: BTreeMap<String, Value>,
    ) -> Result<Report, AppError> {
        self.prepare();
        self.feed(Input::Begin { arrangement, phase, sheet })?;
        for input in std::mem::take(&mut self.opening) {
            self.feed(input)?;
        }
        self.send_state()?;
        self.go()
    }

    /// Goes on with a resumed engine; `owed` are inputs that settle what the interruption left open.
    ///
    /// # Errors
    /// As [`run`](Self::run).
    pub fn resume(
        mut self,
        owed: Vec<Input>,
        standing: Vec<crate::core::crew::io::Action>,
    ) -> Result<Report, AppError> {
        self.prepare();
        for action in standing {
            self.carry_out(action)?;
        }
        for input in owed {
            self.feed(input)?;
        }
        self.feed(Input::Jumped)?;
        self.send_state()?;
        self.go()
    }

    fn go(mut self) -> Result<Report, AppError> {
        while let Some((at, next)) = self.next() {
            if self.parts.until.is_some_and(|u| at > u) || self.leave_at.is_some_and(|u| at > u) {
                break;
            }
            match self.wait_until(at)? {
                Waited::Due => {}
                Waited::Changed => continue,
                Waited::Stop => break,
            }
            self.flood = 0;
            self.now = self.now.max(at);
            self.step(next)?;
            if let Some(w) = &mut self.parts.watcher {
                w.look(&*self.parts.engine);
            }
            self.parts.journal.tick(self.now).map_err(AppError::Journal)?;
        }
        self.finish()
    }

    /// What comes next, and when. At one moment: frames, then speech, then sound, then what was put down, then the engine's
    /// deadline, then the pilot.
    fn next(&self) -> Option<(SessionTime, Next)> {
        let wake_sim = self.wake.sim.map(|s| self.parts.link.session_at(s));
        let wake = [self.wake.session, wake_sim].into_iter().flatten().min();
        let block = self.parts.ears.hears_sound() || self.parts.recorder.is_some();
        let pilot = self.hands.wake;
        [
            Some((self.look_at(), Next::Frame)),
            self.queue.next_change().map(|t| (t, Next::Voice)),
            block.then(|| (self.block_end(self.blocks + 1), Next::Block)),
            self.agenda.first_key_value().map(|((t, _), _)| (*t, Next::Agenda)),
            wake.map(|t| (t, Next::Wake)),
            pilot.map(|t| (t, Next::Pilot)),
        ]
        .into_iter()
        .flatten()
        .map(|(t, n)| (t.max(self.now), n))
        .min_by_key(|(t, n)| (*t, *n))
    }

    fn step(&mut self, next: Next) -> Result<(), AppError> {
        match next {
            Next::Frame => self.frame(),
            Next::Voice => self.voice(),
            Next::Block => self.block(),
            Next::Agenda => match self.agenda.pop_first() {
                Some((_, Event::Input(input))) => self.feed(input),
                Some((_, Event::Words { text, began })) => self.words_said(&text, began),
                Some((_, Event::WordsDone { id })) => self.own_words_done(id),
                Some((_, Event::Heard { heard, decision_ms })) => self.heard(heard, Some(decision_ms)),
                Some((_, Event::Transmitted { words, began })) => self.said_on_air(words, began),
                Some((_, Event::Ear(news))) => {
                    self.ear_news(vec![news]);
                    self.voice()
                }
                None => Ok(()),
            },
            Next::Wake => {
                // A deadline counts as met at exactly its time on its own clock.
                if self.wake.session.is_some_and(|t| t <= self.now) {
                    self.wake.session = None;
                }
                if self.wake.sim.is_some_and(|t| self.parts.link.session_at(t) <= self.now) {
                    self.wake.sim = None;
                }
                self.feed(Input::Tick)
            }
            Next::Pilot => self.pilot(),
        }
    }

    fn tell(&mut self, side: Side, at: SessionTime, text: &str) {
        let line = Line { at, side, text: text.to_string() };
        (self.parts.told)(&line);
        self.report.lines.push(line);
    }

    /// Writes a measured value down; replay passes over it.
    fn measure(&mut self, values: &[(&str, f64)]) -> Result<(), AppError> {
        let sim = self.sim();
        self.parts.journal.measured(self.now, sim, values).map_err(AppError::Journal)
    }

    fn put(&mut self, at: SessionTime, event: Event) {
        self.order += 1;
        self.agenda.insert((at.max(self.now), self.order), event);
    }

    fn sim(&self) -> SimTime {
        self.parts.link.sim_at(self.now)
    }

    /// One input through the engine: written down, handled, written down, carried out.
    fn feed(&mut self, input: Input) -> Result<(), AppError> {
        let (at, sim) = (self.now, self.sim());
        self.parts.journal.input(at, sim, &input).map_err(AppError::Journal)?;
        let engine = &mut self.parts.engine;
        let step = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| engine.handle(at, sim, &input)));
        let step = match step {
            Ok(step) => step,
            Err(_) => {
                self.report.fault("the engine stopped over an input; the journal shows which");
                self.leave_at = Some(self.now);
                return Ok(());
            }
        };
        self.parts.journal.step(at, sim, &step).map_err(AppError::Journal)?;
        self.wake = step.wake;
        if let Some(w) = &mut self.parts.watcher {
            w.saw(at, &input, &step.actions);
        }
        for action in step.actions {
            self.carry_out(action)?;
        }
        self.voice()
    }

    fn frame(&mut self) -> Result<(), AppError> {
        if self.parts.link.live().is_some() {
            return self.look();
        }
        self.before = self.numbers();
        self.parts.link.frame();
        self.frames += 1;
        let at = self.parts.link.sim();
        let values = self.parts.link.values();
        let found = self.detector.frame(at, 1.0 / 60.0, |name| values.get(name));
        for Crossing { name, at, value } in found {
            let at = self.parts.link.session_at(at);
            self.put(at, Event::Input(Input::Crossed { callout: name, value }));
        }
        self.voice_news()?;
        // The pilot looks first: what he sees begins before what is made of it.
        self.pilot()?;
        if self.frames.is_multiple_of(STATE_EVERY) {
            self.send_state()?;
        }
        Ok(())
    }

    fn numbers(&self) -> BTreeMap<String, f64> {
        let watched = self.detector.signals();
        watched.filter_map(|s| Some((s.to_string(), self.parts.link.values().get(s)?.number()?))).collect()
    }

    fn send_state(&mut self) -> Result<(), AppError> {
        let delta = self.changes();
        // An empty delta still says that the link is alive; once a second is enough for that.
        if delta.is_empty() && !self.frames.is_multiple_of(60) {
            return Ok(());
        }
        self.feed(Input::State { delta })
    }

    /// What has changed since it was last sent: numbers rounded, and while they move only in steps, so that a journal
    /// stays small; where they come to rest is always sent.
    fn changes(&mut self) -> Delta {
        let mut delta = Delta::new();
        for (name, value) in self.parts.link.values() {
            let value = match value {
                Value::Number(n) => Value::Number(libm::round(n * 100.0) / 100.0),
                other => other.clone(),
            };
            let moved = match (self.sent.get(name), &value) {
                (Some(Value::Number(a)), Value::Number(b)) => {
                    let step = (0.0005 * b.abs()).max(0.02);
                    let rests = self.rests.insert(name.clone(), *b) == Some(*b);
                    (a - b).abs() >= step || (rests && a != b)
                }
                (Some(a), b) => a != b,
                (None, _) => true,
            };
            if moved {
                self.sent.insert(name.clone(), value.clone());
                delta.insert(name.clone(), Some(value));
            }
        }
        for name in self.sent.keys().filter(|n| !self.parts.link.values().contains_key(*n)) {
            delta.insert(name.clone(), None);
        }
        self.sent.retain(|name, _| delta.get(name) != Some(&None));
        delta
    }

    fn block_end(&self, blocks: u64) -> SessionTime {
        SessionTime(self.origin.0 + (blocks * BLOCK as u64) as i64 * 1_000_000 / i64::from(EAR_RATE))
    }

    fn finish(mut self) -> Result<Report, AppError> {
        let sim = self.sim();
        self.parts.journal.finish(self.now, sim).map_err(AppError::Journal)?;
        if let Some(r) = self.parts.recorder.take() {
            r.finish()?;
        }
        self.report.session_s = self.now.secs();
        self.report.wall_s = self.begun.elapsed().as_secs_f64();
        if let Some(p) = &self.parts.pilot {
            self.report.failures = p.verdict().into_iter().map(|f| f.sentence).collect();
        }
        Ok(self.report)
    }
}

/// Kinds of things that come next, in the order in which they are taken at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Next {
    Frame,
    Voice,
    Block,
    Agenda,
    Wake,
    Pilot,
}
