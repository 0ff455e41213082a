//! What arrives from outside the agenda, and how fast time goes.

use std::sync::mpsc::{Receiver, RecvTimeoutError, TryRecvError};
use std::time::Duration;

use super::{App, AppError, EarNews, Event, Touch};
use crate::core::aircraft::Value;
use crate::core::book::schema::Source;
use crate::core::crew::io::Input;
use crate::core::time::SessionTime;
use crate::edge::buttons::Does;
use crate::edge::ear::live::Anchor;
use crate::edge::link::LinkNews;

/// How time goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pace {
    /// From event to event as fast as the machine can.
    Fast,
    /// In step with the clock on the wall.
    Live,
    /// In step with a clock in another's hand, which [`News::Clock`] moves on: what happens when is then no race.
    Told,
}

/// What can come from outside.
#[derive(Debug, Clone, PartialEq)]
pub enum News {
    /// The pilot typed a line.
    Typed(String),
    /// Of an ear with a clock of its own.
    Ear {
        /// What it tells, on that clock.
        news: EarNews,
        /// How that clock stands to the wall.
        anchor: Anchor,
    },
    /// Of a sound device or a controller.
    Device {
        /// Which: `microphone`, `speaker`, `controller`.
        device: String,
        /// What has become of it, as in [`Input::Device`].
        state: String,
        /// For the terminal.
        text: String,
    },
    /// A button of the pilot's went down or up.
    Button {
        /// What it is for.
        does: Does,
        /// Down or up.
        held: bool,
    },
    /// Of a live link.
    Link(LinkNews),
    /// The pilot touched the page.
    Touched(Touch),
    /// It is as late as this; only [`Pace::Told`] listens.
    Clock(SessionTime),
    /// The pilot wants to stop: the journal and the recording are completed.
    Stop,
}

/// How waiting ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Waited {
    /// The moment has come.
    Due,
    /// Something else may now come first.
    Changed,
    /// The session is to stop.
    Stop,
}

/// So much news of a link in a row lets what is due come first.
const FLOOD: u32 = 64;

/// Where it comes from; threads only send.
pub struct Outside(pub Option<Receiver<News>>);

impl App {
    /// Waits until `at` comes, taking news in.
    pub(super) fn wait_until(&mut self, at: SessionTime) -> Result<Waited, AppError> {
        loop {
            let wait = match self.parts.pace {
                Pace::Fast => Duration::ZERO,
                Pace::Told if at <= self.clock => return Ok(Waited::Due),
                Pace::Told => Duration::MAX,
                Pace::Live => {
                    let due = Duration::from_micros((at.0 - self.origin.0).max(0) as u64);
                    due.saturating_sub(self.begun.elapsed())
                }
            };
            let news = match &self.parts.outside.0 {
                // Nobody is left to move the clock on.
                None if self.parts.pace == Pace::Told => return Ok(Waited::Stop),
                None => {
                    std::thread::sleep(wait);
                    return Ok(Waited::Due);
                }
                Some(r) if wait.is_zero() => match r.try_recv() {
                    Ok(news) => news,
                    Err(TryRecvError::Empty) => return Ok(Waited::Due),
                    Err(TryRecvError::Disconnected) => {
                        self.parts.outside.0 = None;
                        return Ok(Waited::Due);
                    }
                },
                Some(r) => match r.recv_timeout(wait) {
                    Ok(news) => news,
                    Err(RecvTimeoutError::Timeout) => return Ok(Waited::Due),
                    Err(RecvTimeoutError::Disconnected) => {
                        self.parts.outside.0 = None;
                        continue;
                    }
                },
            };
            match news {
                News::Stop => return Ok(Waited::Stop),
                News::Clock(now) => self.clock = self.clock.max(now),
                News::Link(news) => {
                    self.linked(news)?;
                    self.flood += 1;
                    // What is due is not put off for ever by what arrives.
                    if self.flood < FLOOD {
                        return Ok(Waited::Changed);
                    }
                }
                News::Touched(touch) => {
                    let now = self.arrival();
                    self.touched(touch, now)?;
                    return Ok(Waited::Changed);
                }
                News::Button { does, held } => {
                    let now = self.arrival();
                    self.button(does, held, now);
                    return Ok(Waited::Changed);
                }
                News::Typed(text) if text.contains('=') => self.hand(&text),
                News::Typed(text) => {
                    let now = self.arrival();
                    self.put(now, Event::Words { text, began: now });
                    return Ok(Waited::Changed);
                }
                News::Ear { news, anchor } => {
                    let now = self.arrival();
                    let news = match news {
                        // Live, the computing has taken its time already.
                        EarNews::Heard { heard, decision_ms, .. } => {
                            EarNews::Heard { at: anchor.ear, heard, decision_ms }
                        }
                        other => other,
                    };
                    let wall = anchor.wall.saturating_duration_since(self.begun).as_micros() as i64;
                    self.put(now, Event::Ear(news.later(self.origin.0 + wall - anchor.ear.0)));
                    return Ok(Waited::Changed);
                }
                News::Device { device, state, text } => {
                    let now = self.arrival();
                    self.tell(super::Side::Flight, now, &text);
                    if device == "controller" && state == "lost" {
                        self.unplugged();
                    }
                    self.put(now, Event::Input(Input::Device { device, state }));
                    return Ok(Waited::Changed);
                }
            }
        }
    }

    /// When what arrives now counts.
    fn arrival(&self) -> SessionTime {
        match self.parts.pace {
            Pace::Fast => self.now,
            Pace::Live | Pace::Told => self.wall(),
        }
    }

    /// `NAME = VALUE`: the pilot's own hand on a control; `sheet NAME = VALUE`: an entry of the flight sheet.
    fn hand(&mut self, text: &str) {
        let Some((name, value)) = text.split_once('=') else { return };
        let (name, value) = (name.trim(), value.trim());
        let value = match value.parse::<f64>() {
            Ok(n) if n.is_finite() => Value::Number(n),
            _ if value == "true" || value == "false" => Value::Bool(value == "true"),
            _ => Value::Word(value.to_string()),
        };
        if let Some(entry) = name.strip_prefix("sheet ") {
            // Values of the flight sheet are the engine's to judge.
            let values = [(entry.trim().to_string(), value)].into();
            return self.put(self.now, Event::Input(Input::Sheet { values, source: Source::Typed }));
        }
        let said = match self.parts.link.set(name, &value) {
            Ok(()) => format!("by hand: {name} = {value}"),
            Err(why) => format!("by hand: {why}"),
        };
        self.tell(super::Side::Flight, self.now, &said);
    }

    /// The session clock as the wall shows it, or whoever holds it.
    pub(super) fn wall(&self) -> SessionTime {
        let wall = match self.parts.pace {
            Pace::Told => self.clock,
            Pace::Fast | Pace::Live => SessionTime(self.origin.0 + self.begun.elapsed().as_micros() as i64),
        };
        wall.max(self.now)
    }
}
