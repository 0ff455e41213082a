//! A pilot who gets no reaction says it again, as a person would.

use crate::core::book::schema::Station;
use crate::core::time::SessionTime;

/// So often at most.
const TIMES: u32 = 2;

/// The words of the step that spoke last, until something shows that they were heard.
#[derive(Debug, Clone)]
pub(super) struct Unheard {
    /// Of this step.
    pub step: usize,
    pub text: String,
    /// The line that they answer.
    line: Option<(Station, String)>,
    /// When he said them last; `None` until he has.
    said: Option<SessionTime>,
    times: u32,
}

impl Unheard {
    pub fn new(step: usize, text: String, line: Option<(Station, String)>) -> Unheard {
        Unheard { step, text, line, said: None, times: 0 }
    }

    pub fn said(&mut self, at: SessionTime) {
        self.said = Some(at);
    }

    /// When he loses patience.
    pub fn due(&self, patience_s: f64) -> Option<SessionTime> {
        (self.times < TIMES).then_some(self.said?).map(|t| t.plus(patience_s))
    }

    /// Whether this is the line that he has answered already, told once more.
    pub fn asked_again(&self, station: Station, text: &str) -> bool {
        let line = self.line.as_ref().map(|(s, t)| (*s, t.as_str()));
        self.times < TIMES && self.said.is_some() && line == Some((station, text))
    }

    /// He is about to say them again.
    pub fn again(&mut self) -> String {
        self.times += 1;
        self.said = None;
        self.text.clone()
    }
}
