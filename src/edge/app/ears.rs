//! How the pilot is heard: by typed words or by sound.

use super::report::Utterance;
use super::{App, AppError, Event};
use crate::core::crew::io::Input;
use crate::core::grammar::CallSet;
use crate::core::matcher::{Heard, match_text};
use crate::core::radio::{Exercise, Words};
use crate::core::time::SessionTime;

/// News from an ear.
#[derive(Debug, Clone, PartialEq)]
pub enum EarNews {
    /// The pilot has begun to speak.
    Began {
        /// First voiced moment.
        at: SessionTime,
    },
    /// An utterance is over.
    Heard {
        /// When the result counts: the endpoint and a fixed nominal latency.
        at: SessionTime,
        /// The result.
        heard: Heard,
        /// Real time from the endpoint decision to the ranked calls, ms.
        decision_ms: f64,
    },
    /// The pilot has answered the controller.
    Transmitted {
        /// When the result counts.
        at: SessionTime,
        /// What he said.
        words: Words,
        /// From when to when he spoke.
        speech: (SessionTime, SessionTime),
    },
    /// The ear cannot go on, or no sound arrives.
    Failed {
        /// One sentence.
        why: String,
    },
}

/// An ear that listens to sound in blocks of 16 kHz mono.
pub trait SoundEar {
    /// What can be said from now on.
    fn listen(&mut self, revision: u32, live: &CallSet, due: &CallSet);
    /// The next samples; everything they settle.
    fn feed(&mut self, samples: &[f32]) -> Vec<EarNews>;
    /// What we say ourselves from now on, or that we are silent.
    fn saying(&mut self, _words: Option<&str>) -> Vec<EarNews> {
        Vec::new()
    }
    /// Push-to-talk was pressed or released.
    fn push(&mut self, _held: bool) -> Vec<EarNews> {
        Vec::new()
    }
    /// The controller waits for this readback, or no longer for any.
    fn readback(&mut self, _expect: Option<&Exercise>) {}
    /// What a live microphone has heard meanwhile, for a recording; another leaves the block alone.
    fn microphone(&mut self, _block: &mut [f32]) {}
}

/// How the pilot is heard.
pub enum Ears {
    /// Words as text.
    Typed,
    /// Sound.
    Sound(Box<dyn SoundEar>),
}

impl Ears {
    pub(super) fn hears_sound(&self) -> bool {
        matches!(self, Ears::Sound(_))
    }
}

impl EarNews {
    /// The same, later by so many microseconds.
    pub(super) fn later(self, us: i64) -> EarNews {
        let move_on = |t: SessionTime| SessionTime(t.0 + us);
        match self {
            EarNews::Began { at } => EarNews::Began { at: move_on(at) },
            EarNews::Heard { at, mut heard, decision_ms } => {
                heard.speech = (move_on(heard.speech.0), move_on(heard.speech.1));
                EarNews::Heard { at: move_on(at), heard, decision_ms }
            }
            EarNews::Transmitted { at, words, speech } => {
                EarNews::Transmitted { at: move_on(at), words, speech: (move_on(speech.0), move_on(speech.1)) }
            }
            failed => failed,
        }
    }
}

impl App {
    /// What an ear tells.
    pub(super) fn ear_news(&mut self, news: Vec<EarNews>) {
        for news in news {
            match news {
                EarNews::Began { .. } => {
                    self.queue.pilot_speaks(self.now, true);
                    self.speaking();
                }
                EarNews::Heard { at, heard, decision_ms } => self.put(at, Event::Heard { heard, decision_ms }),
                EarNews::Transmitted { at, words, speech } => {
                    self.put(at, Event::Transmitted { words, began: speech.0 });
                }
                EarNews::Failed { why } => self.room_failed("ear", &why),
            }
        }
    }

    /// The ear learns what we say, so that it does not take it for the pilot's words.
    pub(super) fn tell_ear(&mut self, words: Option<&str>) {
        if let Ears::Sound(ear) = &mut self.parts.ears {
            let news = ear.saying(words);
            self.ear_news(news);
        }
    }

    /// A result of the ear: scored against what was really said where that is known, then given to the engine.
    pub(super) fn heard(&mut self, heard: Heard, decision_ms: Option<f64>) -> Result<(), AppError> {
        let said = match decision_ms {
            Some(_) => self.hands.words_in(heard.speech.0, heard.speech.1),
            None => None,
        };
        let meant = said.as_ref().map(|words| {
            let (live, _) = &self.listening;
            match_text(&self.parts.book.graph, live, words, heard.revision, heard.speech)
        });
        // The same words may answer something and command something: either is right.
        let meant = meant.map(|m| {
            let best = m.ranked.first().map_or(f64::INFINITY, |c| c.score);
            m.ranked.into_iter().filter(|c| c.score >= best).flat_map(|c| c.meanings).collect::<Vec<_>>()
        });
        self.report.utterances.push(Utterance {
            at: self.now,
            said,
            accepted: Vec::new(),
            refused: None,
            wrong: false,
            decision_ms,
        });
        self.meant = meant;
        if let Some(ms) = decision_ms {
            self.measure(&[("decision_ms", ms)])?;
        }
        self.queue.pilot_speaks(self.now, false);
        self.feed(Input::Heard { heard })
    }

    /// Words as text: at the end of the time it takes to say them.
    pub(super) fn words_said(&mut self, text: &str, began: SessionTime) -> Result<(), AppError> {
        if self.on_the_air(text) {
            let words = Words { text: text.to_string(), ..Words::default() };
            return self.transmitted(words, began);
        }
        let (live, revision) = &self.listening;
        let heard = match_text(&self.parts.book.graph, live, text, *revision, (began, self.now));
        self.tell(super::Side::Pilot, began, text);
        self.heard(heard, None)
    }
}
