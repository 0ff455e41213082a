//! Where the pilot's words come from: the keyboard, a recording or a microphone.

use super::super::Failure;
use super::super::wiring::failure;
use super::channel::{Came, Channel};
use crate::core::radio::{Exercise, Words};
use crate::core::time::SessionTime;
use crate::edge::audio::EAR_RATE;
use crate::edge::radio::RadioEar;
use std::io::{BufRead, IsTerminal};
use std::time::Instant;

/// The pilot's side of a drill.
pub trait Pilot {
    /// His answer to what is expected; silence is an answer without words. `None` when he has left.
    ///
    /// # Errors
    /// One sentence.
    fn answer(&mut self, expected: &Exercise, channel: &mut Channel) -> Result<Option<Words>, Failure>;
}

/// The pilot at the keyboard.
pub struct Typist {
    lines: std::io::Lines<std::io::StdinLock<'static>>,
    /// Whether a person types: only then does it mean anything how long it took.
    person: bool,
}

impl Typist {
    /// From the terminal, or from what is piped in.
    pub fn new() -> Self {
        let input = std::io::stdin();
        let person = input.is_terminal();
        Typist { lines: input.lock().lines(), person }
    }
}

impl Pilot for Typist {
    fn answer(&mut self, _expected: &Exercise, _channel: &mut Channel) -> Result<Option<Words>, Failure> {
        outp!("  YOU: ");
        let began = Instant::now();
        let Some(line) = self.lines.next() else {
            outln!();
            return Ok(None);
        };
        let text = line.map_err(failure)?.trim().to_string();
        if !self.person {
            outln!("{text}");
        }
        let latency_s = self.person.then(|| began.elapsed().as_secs_f64());
        Ok(Some(Words { text, latency_s, ..Words::default() }))
    }
}

/// So much quiet is no answer, samples: eight seconds.
const SILENCE: usize = 8 * EAR_RATE as usize;

/// A pilot on a recording: his transmissions one after another, each the answer to what was last asked.
pub struct Recording {
    ear: RadioEar,
    samples: Vec<f32>,
    at: usize,
}

impl Recording {
    /// Sound at [`EAR_RATE`].
    pub fn new(ear: RadioEar, samples: Vec<f32>) -> Self {
        Recording { ear, samples, at: 0 }
    }
}

impl Pilot for Recording {
    fn answer(&mut self, expected: &Exercise, channel: &mut Channel) -> Result<Option<Words>, Failure> {
        if self.at >= self.samples.len() {
            return Ok(None);
        }
        self.ear.reset();
        self.ear.expect(expected, SessionTime::ZERO).map_err(Failure::new)?;
        let from = self.at;
        let mut words: Option<Words> = None;
        let block = EAR_RATE as usize / 10;
        while words.is_none() && self.at < self.samples.len() {
            let to = (self.at + block).min(self.samples.len());
            words = self.ear.feed(&self.samples[self.at..to]).map_err(failure)?.into_iter().next();
            self.at = to;
            if words.is_none() && self.at - from >= SILENCE && !self.ear.hearing() {
                break;
            }
        }
        if words.is_none() {
            words = self.ear.finish().map_err(failure)?.into_iter().next();
        }
        if words.is_none() && self.at >= self.samples.len() {
            // What is left of the recording is the quiet behind the last word.
            return Ok(None);
        }
        channel.pilot(&self.samples[from..self.at])?;
        // The pauses of a recording say nothing of how long he thought.
        let words = words.map(|w| Words { latency_s: None, ..w }).unwrap_or_default();
        show(&words);
        Ok(Some(words))
    }
}

/// What was made of an answer by voice.
fn show(words: &Words) {
    let told = match (words.text.is_empty(), words.unreadable) {
        (_, true) => "(not understood)",
        (true, false) => "(silence)",
        _ => words.text.as_str(),
    };
    outln!("  YOU: {told}");
}

/// The pilot at a microphone.
pub struct Live {
    ear: RadioEar,
}

impl Live {
    /// Heard by this ear.
    pub fn new(ear: RadioEar) -> Self {
        Live { ear }
    }

    /// Listens until he has spoken, or for as long as is waited for him; what he said and its sound. Nothing when the
    /// microphone vanished meanwhile: then only half of it may have been heard.
    fn listen(&mut self, expected: &Exercise, channel: &mut Channel) -> Result<Option<(Words, Vec<f32>)>, Failure> {
        let Some((early, spoken)) = channel.listen() else { return Ok(None) };
        self.ear.reset();
        self.ear.expect(expected, spoken).map_err(Failure::new)?;
        let (mut sound, mut fresh) = (Vec::new(), early);
        let patience = fresh.len() + SILENCE;
        loop {
            let words = self.ear.feed(&fresh).map_err(failure)?.into_iter().next();
            sound.append(&mut fresh);
            if let Some(words) = words {
                return Ok(Some((words, sound)));
            }
            if sound.len() >= patience && !self.ear.hearing() {
                return Ok(Some((Words::default(), sound)));
            }
            match channel.came() {
                Came::Sound(samples) => fresh = samples,
                Came::Nothing => {}
                Came::Broken => return Ok(None),
            }
        }
    }
}

impl Pilot for Live {
    fn answer(&mut self, expected: &Exercise, channel: &mut Channel) -> Result<Option<Words>, Failure> {
        loop {
            let heard = self.listen(expected, channel)?;
            if channel.left() {
                return Ok(None);
            }
            if let Some((words, sound)) = heard {
                channel.pilot(&sound)?;
                show(&words);
                return Ok(Some(words));
            }
        }
    }
}
