//! Buttons that the pilot presses: push-to-talk goes to the ear, the others stand for words of the book.

use super::{App, AppError, Ears, Event, News};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Act, Intrinsic};
use crate::core::grammar::{CallId, sample};
use crate::core::time::SessionTime;
use crate::edge::buttons::{Does, Told};
use rand_core::SeedableRng;
use rand_pcg::Pcg32;

/// A button that is a signal of the aircraft.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lever {
    does: Does,
    signal: String,
    /// Whether it is held; `None` while the signal is not known.
    held: Option<bool>,
}

impl From<Told> for News {
    fn from(told: Told) -> News {
        let device =
            |state: &str, text: String| News::Device { device: "controller".into(), state: state.into(), text };
        match told {
            Told::Button { does, held } => News::Button { does, held },
            Told::Lost(name) => device(
                "lost",
                format!(
                    "{name} is gone, and with it your button: the microphone is open; plug it in again, and it is taken up by itself"
                ),
            ),
            Told::Back(name) => device("back", format!("{name} is there again, and your button with it")),
        }
    }
}

impl App {
    /// Signals of the aircraft that are buttons: pressed while they are true, or a number from a half up.
    #[must_use]
    pub fn with_buttons(mut self, signals: Vec<(Does, String)>) -> Self {
        let lever = |(does, signal)| Lever { does, signal, held: None };
        self.levers = signals.into_iter().map(lever).collect();
        self
    }

    /// A button went down or up, at `now`.
    pub(super) fn button(&mut self, does: Does, held: bool, now: SessionTime) {
        let act = match does {
            Does::Talk => {
                if let Ears::Sound(ear) = &mut self.parts.ears {
                    let news = ear.push(held);
                    self.ear_news(news);
                }
                return;
            }
            Does::Hold => Intrinsic::Hold,
            Does::Disregard => Intrinsic::Disregard,
        };
        let book = &self.parts.book;
        let stands_for = |c: &crate::core::book::schema::Call| {
            c.does.first().is_some_and(|e| matches!(e.act, Act::Engine(a) if a == act))
        };
        let call = book.calls.iter().position(stands_for).map(|i| CallId(i as u16));
        // The same words every time: any of the call's wordings means the call.
        let words = call.and_then(|c| sample(&book.graph, c, &mut Pcg32::seed_from_u64(1)));
        if let Some((words, _)) = words.filter(|_| held) {
            self.put(now, Event::Words { text: words.join(" "), began: now });
        }
    }

    /// The button is gone: the microphone is open again.
    pub(super) fn unplugged(&mut self) {
        if let Ears::Sound(ear) = &mut self.parts.ears {
            let news = ear.unplug();
            self.ear_news(news);
        }
    }

    /// Looks at the buttons that are signals: once a frame.
    pub(super) fn look_at_levers(&mut self) -> Result<(), AppError> {
        for i in 0..self.levers.len() {
            let Lever { does, signal, held } = self.levers[i].clone();
            let now = self.parts.link.values().get(&signal).and_then(|v| match v {
                Value::Bool(b) => Some(*b),
                other => other.number().map(|n| n >= 0.5),
            });
            if now == held {
                continue;
            }
            self.levers[i].held = now;
            match (held, now) {
                (_, Some(true)) => self.button(does, true, self.now),
                (Some(true), Some(false)) => self.button(does, false, self.now),
                (Some(true), None) if does == Does::Talk => self.unplugged(),
                _ => {}
            }
        }
        Ok(())
    }
}
