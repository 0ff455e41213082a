//! The pilot's half of the radio: which of his words go out on the air.

use super::report::Side;
use super::{App, AppError, Ears, Event};
use crate::core::crew::io::Input;
use crate::core::matcher::match_text;
use crate::core::radio::{Exercise, Phrases, Reader, Words};
use crate::core::time::SessionTime;

/// What the controller waits for.
#[derive(Default)]
pub(super) struct Channel {
    reader: Option<Reader>,
    expect: Option<Exercise>,
}

impl App {
    pub(super) fn await_readback(&mut self, expect: Option<Exercise>) {
        if let Ears::Sound(ear) = &mut self.parts.ears {
            ear.readback(expect.as_ref());
        }
        if expect.is_some() && self.channel.reader.is_none() {
            self.channel.reader = Phrases::built_in().and_then(|p| Reader::new(&p)).ok();
        }
        self.channel.expect = expect;
    }

    /// The pilot has begun to speak; who waits for him is told.
    pub(super) fn speaking(&mut self) {
        if self.channel.expect.is_some() {
            self.put(self.now, Event::Input(Input::Speaking));
        }
    }

    /// Whether typed words answer the controller: he waits, they hold something of an answer, and they are no call that must
    /// always get through.
    pub(super) fn on_the_air(&self, text: &str) -> bool {
        let (Some(reader), Some(expect)) = (&self.channel.reader, &self.channel.expect) else { return false };
        let (live, revision) = &self.listening;
        let book = &self.parts.book;
        let heard = match_text(&book.graph, live, text, *revision, (self.now, self.now));
        let urgent = heard.ranked.first().is_some_and(|best| {
            let call = |id: &str| book.call(id).map(|c| &book.calls[c.0 as usize]);
            best.score >= 0.0 && best.meanings.iter().any(|m| call(&m.call).is_some_and(|c| c.always && c.critical))
        });
        !urgent && reader.answers(text, expect)
    }

    /// A transmission that the ear has heard.
    pub(super) fn said_on_air(&mut self, words: Words, began: SessionTime) -> Result<(), AppError> {
        self.queue.pilot_speaks(self.now, false);
        self.transmitted(words, began)
    }

    /// The pilot has transmitted.
    pub(super) fn transmitted(&mut self, words: Words, began: SessionTime) -> Result<(), AppError> {
        let shown = if words.unreadable { "(not understood)" } else { words.text.as_str() };
        self.tell(Side::Pilot, began, &format!("[radio] {shown}"));
        self.feed(Input::Transmitted { words })
    }
}
