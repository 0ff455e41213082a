//! Two ears on one microphone: one for what the pilot says on board, one for what he says on the radio.
//!
//! Only while the controller waits for a readback do both listen. What the first has made of an utterance then waits for the
//! second, which needs a longer pause to be sure that a transmission is over. What is understood as an answer goes on the air;
//! anything else stays on board.

use super::RadioEar;
use crate::core::grammar::CallSet;
use crate::core::radio::{Exercise, Words};
use crate::core::time::SessionTime;
use crate::edge::app::{EarNews, SoundEar};
use crate::edge::audio::EAR_RATE;

/// The crew's ear and the radio's.
pub struct BothEars {
    crew: Box<dyn SoundEar + Send>,
    radio: RadioEar,
    /// Samples heard so far: the clock of both.
    heard: u64,
    /// Where the radio's own clock began, if it listens.
    since: Option<u64>,
    /// What the crew's ear has made of words that may be for the radio.
    waiting: Vec<EarNews>,
}

impl BothEars {
    /// Around an ear; both take the same sound.
    pub fn new(crew: Box<dyn SoundEar + Send>, radio: RadioEar) -> Self {
        BothEars { crew, radio, heard: 0, since: None, waiting: Vec::new() }
    }

    fn at(samples: u64) -> SessionTime {
        SessionTime(samples as i64 * 1_000_000 / i64::from(EAR_RATE))
    }

    /// What both have made of one utterance: an answer to the controller, or what was said on board.
    fn decide(&mut self, words: Words, since: u64) -> Vec<EarNews> {
        let waiting = std::mem::take(&mut self.waiting);
        let at = Self::at(self.heard);
        let from = words.latency_s.map_or(at, |s| Self::at(since).plus(s));
        let to = words.speech_s.map_or(at, |s| from.plus(s));
        let on_board = waiting.iter().any(|n| matches!(n, EarNews::Heard { heard, .. } if !heard.ranked.is_empty()));
        if words.unreadable && on_board {
            return waiting.into_iter().map(|n| moved(n, at)).collect();
        }
        vec![EarNews::Transmitted { at, words, speech: (from, to) }]
    }
}

/// The same result, not earlier than now.
fn moved(news: EarNews, now: SessionTime) -> EarNews {
    match news {
        EarNews::Heard { at, heard, decision_ms } => EarNews::Heard { at: at.max(now), heard, decision_ms },
        other => other,
    }
}

impl SoundEar for BothEars {
    fn listen(&mut self, revision: u32, live: &CallSet, due: &CallSet) {
        self.crew.listen(revision, live, due);
    }

    fn feed(&mut self, samples: &[f32]) -> Vec<EarNews> {
        self.heard += samples.len() as u64;
        let news = self.crew.feed(samples);
        let Some(since) = self.since else {
            let at = Self::at(self.heard);
            let late = std::mem::take(&mut self.waiting).into_iter().map(|n| moved(n, at));
            return late.chain(news).collect();
        };
        let (held, mut now): (Vec<EarNews>, Vec<EarNews>) =
            news.into_iter().partition(|n| matches!(n, EarNews::Heard { .. }));
        self.waiting.extend(held);
        match self.radio.feed(samples) {
            Ok(all) => all.into_iter().for_each(|w| now.extend(self.decide(w, since))),
            Err(e) => now.push(EarNews::Failed { why: e.to_string() }),
        }
        // Nothing that the radio's ear takes for speech: it was said on board.
        if !self.radio.hearing() {
            let at = Self::at(self.heard);
            now.extend(std::mem::take(&mut self.waiting).into_iter().map(|n| moved(n, at)));
        }
        now
    }

    fn saying(&mut self, words: Option<&str>) -> Vec<EarNews> {
        self.crew.saying(words)
    }

    fn push(&mut self, held: bool) -> Vec<EarNews> {
        self.crew.push(held)
    }

    fn readback(&mut self, expect: Option<&Exercise>) {
        self.since = None;
        if let Some(exercise) = expect {
            self.radio.reset();
            // Its grammar is made of the phrasebook, which a test holds; without one the words stay on board.
            if self.radio.expect(exercise, SessionTime::ZERO).is_ok() {
                self.since = Some(self.heard);
            }
        }
    }

    fn microphone(&mut self, block: &mut [f32]) {
        self.crew.microphone(block);
    }
}
