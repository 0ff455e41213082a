//! What a pilot said over the radio, heard against what could have been said.

use crate::core::gate;
use crate::core::grammar::{CallSet, WordGraph};
use crate::core::matcher::{Candidate, Thresholds};
use crate::core::radio::{Exercise, MOST_CALLS, Phrases, Words, graph};
use crate::core::time::SessionTime;
use crate::edge::ear::{EarError, Listener, NeuralEar, News, Reader};
use crate::edge::native::{Runtime, Vad};
use std::path::Path;

/// What each call after the first costs, nats. An answer is many calls, and none of them is a surprise.
const ANOTHER: f64 = 2.0;
/// Prefixes kept at each step: figures differ late in a word, and eight are too few for four of them.
const BEAM: usize = 12;
/// The most tokens in an answer.
const LONGEST: usize = 110;
/// A prefix this many nats less likely than the best whole text is given up: a long answer has a right to a long way.
const WINDOW: f64 = 40.0;
/// A value that beats the next by less than this, nats, is not taken for sure.
const SURE: f64 = 1.0;
/// A reading below this, nats, is no answer at all.
const LIKELY: f64 = 0.0;

/// The gate for a whole transmission: a pilot pauses between its items, and it is over after 0.9 s. What has been said is
/// read while he pauses.
pub fn breath() -> gate::Settings {
    let ms = |n: u64| n * u64::from(gate::RATE) / 1000;
    gate::Settings {
        ask_wait: ms(200),
        ask_tail: ms(150),
        short_wait: ms(900),
        long_wait: ms(900),
        longest: ms(28_000),
        ..gate::Settings::default()
    }
}

/// The ear for the radio.
pub struct RadioEar {
    listener: Listener,
    phrases: Phrases,
    calls: usize,
    /// Kinds of the items of the present grammar.
    kinds: Vec<String>,
    revision: u32,
    /// The end of the controller's last transmission, for how long the answer took.
    spoken: SessionTime,
    /// Whether someone is speaking.
    speaking: bool,
}

impl RadioEar {
    /// Loads the models.
    ///
    /// # Errors
    /// The library or a model is missing, damaged or not the one that was meant.
    pub fn open(models: &Path, phrases: &Phrases) -> Result<Self, EarError> {
        let runtime = Runtime::open(models)?;
        let mut ear = NeuralEar::open(&runtime, &WordGraph::default())?;
        let settings = ear.settings_mut();
        settings.calls = MOST_CALLS;
        settings.twice = true;
        settings.another = ANOTHER;
        settings.beam = BEAM;
        settings.wide = settings.wide.max(BEAM);
        settings.longest = LONGEST;
        settings.window = WINDOW;
        let mut listener = Listener::new(Vad::open(&runtime)?, ear, breath(), Thresholds::default());
        listener.one_talker();
        Ok(RadioEar {
            listener,
            phrases: phrases.clone(),
            calls: 0,
            kinds: Vec::new(),
            revision: 0,
            spoken: SessionTime::ZERO,
            speaking: false,
        })
    }

    /// How the ear searches.
    pub fn ear_mut(&mut self) -> &mut NeuralEar {
        self.listener.ear_mut()
    }

    /// From now on the answer to this is heard; the controller ended at `spoken`.
    ///
    /// # Errors
    /// One sentence if the grammar cannot be made.
    pub fn expect(&mut self, exercise: &Exercise, spoken: SessionTime) -> Result<(), String> {
        let graph = graph(&self.phrases, exercise)?;
        self.calls = graph.calls.len();
        self.kinds = exercise.items.iter().chain(&exercise.info).map(|i| i.kind.clone()).collect();
        self.listener.ear_mut().listen_to(&graph).map_err(|e| e.to_string())?;
        self.revision += 1;
        let all = CallSet::all(self.calls);
        self.listener.listen(self.revision, &all);
        // What must be read back is listened for once more before it counts as left out.
        let wanted: Vec<String> = (0..exercise.items.len()).map(|i| format!("item {i}")).collect();
        let ear = self.listener.ear_mut();
        let due = all.iter().filter(|c| ear.name(*c).is_some_and(|n| wanted.iter().any(|w| w == n))).collect();
        self.listener.answering(&due);
        self.spoken = spoken;
        Ok(())
    }

    /// Whether a transmission has begun and is not over.
    pub fn hearing(&self) -> bool {
        self.speaking
    }

    /// Forgets all sound: the next sample is the first.
    pub fn reset(&mut self) {
        self.speaking = false;
        self.listener.reset();
    }

    /// The next samples, mono at 16 kHz; every transmission that ended in them.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn feed(&mut self, samples: &[f32]) -> Result<Vec<Words>, EarError> {
        let news = self.listener.feed(samples)?;
        Ok(self.words(news))
    }

    /// The sound has come to its end.
    ///
    /// # Errors
    /// A model failed while running.
    pub fn finish(&mut self) -> Result<Vec<Words>, EarError> {
        let news = self.listener.finish()?;
        Ok(self.words(news))
    }

    fn words(&mut self, news: Vec<News>) -> Vec<Words> {
        let spoken = self.spoken;
        for n in &news {
            self.speaking = match n {
                News::Began { .. } => true,
                News::Heard { .. } => false,
                News::Dead { .. } => self.speaking,
            };
        }
        let told = news.into_iter().filter_map(|n| match n {
            News::Heard { heard, .. } => Some(heard),
            _ => None,
        });
        told.map(|heard| {
            let (from, to) = heard.speech;
            let latency_s = Some(from.secs() - spoken.secs()).filter(|s| *s >= 0.0);
            let speech_s = Some(to.secs() - from.secs());
            Words { latency_s, speech_s, ..understood(&heard.ranked, &self.kinds) }
        })
        .collect()
    }
}

/// Readings as words, with what is not sure in them.
fn understood(ranked: &[Candidate], kinds: &[String]) -> Words {
    let words = Words { by_ear: true, ..Words::default() };
    let Some(best) = ranked.first().filter(|c| c.score > LIKELY) else { return Words { unreadable: true, ..words } };
    let mut unclear: Vec<String> = Vec::new();
    for meaning in &best.meanings {
        let other = ranked[1..].iter().find(|c| {
            let same_place = c.meanings.iter().find(|m| m.call == meaning.call);
            same_place.is_some_and(|m| m.slots != meaning.slots)
        });
        // "item 2", "correct 2": the third item.
        let index = meaning.call.rsplit(' ').next().and_then(|n| n.parse::<usize>().ok());
        let Some(kind) = index.and_then(|i| kinds.get(i)) else { continue };
        if other.is_some_and(|c| best.score - c.score < SURE) && !unclear.contains(kind) {
            unclear.push(kind.clone());
        }
    }
    Words { text: best.text.clone(), unclear, ..words }
}
