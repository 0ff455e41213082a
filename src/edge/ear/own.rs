//! Our own words, as a microphone that stands near the loudspeaker hears them.

use crate::core::gate::{RATE, Span};
use std::collections::VecDeque;

/// How much longer than its order our speech may sound, in samples: on its way to the loudspeaker, through the room and
/// back. Much less than people take to answer each other (200 ms and more; docs/audio.md has the measured delays).
const TAIL: u64 = RATE as u64 / 5;

/// What we have said lately and are saying.
#[derive(Debug, Clone, Default)]
pub(super) struct Own {
    turns: VecDeque<Turn>,
}

#[derive(Debug, Clone)]
struct Turn {
    words: Vec<String>,
    from: u64,
    to: Option<u64>,
}

fn words(text: &str) -> Vec<String> {
    let plain = |w: &str| w.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect::<String>();
    text.split(|c: char| c.is_whitespace() || c == '-').map(plain).filter(|w| !w.is_empty()).collect()
}

impl Own {
    /// We begin to say something at sample `now`.
    pub fn begin(&mut self, now: u64, text: &str) {
        self.end(now);
        self.turns.push_back(Turn { words: words(text), from: now, to: None });
        // Nothing lasts longer than an utterance.
        while self.turns.len() > 8 {
            self.turns.pop_front();
        }
    }

    /// It has ended at sample `now`.
    pub fn end(&mut self, now: u64) {
        if let Some(turn) = self.turns.back_mut().filter(|t| t.to.is_none()) {
            turn.to = Some(now + TAIL);
        }
    }

    /// Whether anything of ours may sound at sample `now`.
    pub fn sounds(&self, now: u64) -> bool {
        self.turns.back().is_some_and(|t| t.to.is_none_or(|to| now < to))
    }

    /// Whether anything of ours sounded at sample `at`, which has passed; not counting the last two frames, in which a prompt
    /// answer may begin.
    pub fn sounded(&self, at: u64) -> bool {
        self.turns.iter().any(|t| t.from <= at && t.to.is_none_or(|to| at + 1_024 < to))
    }

    /// Whether `text` is words that we said ourselves, one after the other, in this stretch.
    pub fn said(&self, text: &str, span: Span) -> bool {
        let text = words(text);
        let near = |t: &&Turn| t.from < span.to && t.to.is_none_or(|to| to > span.from);
        // "Standby" and "stand by" sound the same.
        let text = text.concat();
        let runs =
            |t: &Turn| (0..t.words.len()).any(|i| (i + 1..=t.words.len()).any(|j| t.words[i..j].concat() == text));
        !text.is_empty() && self.turns.iter().filter(near).any(runs)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_we_say_is_not_taken_for_the_pilots_words() {
        let mut own = Own::default();
        own.begin(16_000, "Hold short, runway two-seven. I have control");
        let span = |from, to| Span { from, to };
        for (text, at, ours) in [
            ("hold", span(20_000, 22_000), true),
            ("Two seven", span(20_000, 22_000), true),
            ("I have control", span(20_000, 22_000), true),
            ("you have control", span(20_000, 22_000), false),
            ("hold it", span(20_000, 22_000), false),
            ("short runway", span(20_000, 22_000), true),
            ("run way", span(20_000, 22_000), true),
            ("run", span(20_000, 22_000), false),
            ("", span(20_000, 22_000), false),
            // Said before we began.
            ("hold", span(8_000, 16_000), false),
        ] {
            assert_eq!(own.said(text, at), ours, "{text} {at:?}");
        }
        own.end(40_000);
        assert!(own.sounds(40_000 + TAIL - 1) && !own.sounds(40_000 + TAIL));
        assert!(own.sounded(39_000) && !own.sounded(15_999) && !own.sounded(40_000 + TAIL));
        assert!(own.said("hold", span(40_000, 45_000)));
        assert!(!own.said("hold", span(40_000 + TAIL, 50_000)));
    }
}
