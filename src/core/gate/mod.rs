//! The gate: when an utterance begins and ends.
//!
//! A pure state machine over frames of sound with their speech probability. It counts samples and knows no clock. An open
//! microphone ends an utterance by silence: as soon as there is any, the ear is asked ahead what it has so far
//! ([`Event::Ask`]), and a call that no live call could continue ends it after a short wait; the answer is then ready. If the
//! first answer will not do, the ear is asked once more when that wait is over and more of the word's end is in; otherwise a
//! longer wait ends it. Push-to-talk ends it by release.
//!
//! Voice activity notices speech late at times: what stood above the noise without a break until then is part of the
//! utterance ([`rise`]).
//!
//! Where others talk in the background, voice activity never falls. Then the pilot is who is clearly louder than they
//! ([`crowd`]): his utterance ends when only they are left, and the next begins when someone is louder again.

mod crowd;
mod level;
mod life;
mod rise;

use crowd::{Crowd, Near};
pub use level::{Level, level};
pub use life::{Life, LifeSettings, Turn, WAKES_S};
use rise::Rise;

/// Samples a second.
pub const RATE: u32 = 16_000;

/// Waits and limits, in samples unless said.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    /// A frame at least this likely to be speech begins an utterance.
    pub on: f32,
    /// A frame at least this likely keeps it going.
    pub off: f32,
    /// Frames of speech, of the last three, that make a beginning: a click is shorter.
    pub onset: u8,
    /// Kept from before the first voiced frame.
    pub pre_roll: u64,
    /// Kept from after the last voiced frame.
    pub tail: u64,
    /// Silence after which the ear is asked for the first time.
    pub ask_wait: u64,
    /// Kept from after the last voiced frame for that first time.
    pub ask_tail: u64,
    /// Silence after which a whole call is over, and after which the ear is asked once more if it had none.
    pub short_wait: u64,
    /// Silence after which it is over.
    pub long_wait: u64,
    /// A word that was begun up to so long before push-to-talk was pressed belongs to it: users press late.
    pub late_press: u64,
    /// Kept from after the release of push-to-talk: users release early.
    pub release: u64,
    /// A word that still sounds then is waited for, at most so long after the release.
    pub release_longest: u64,
    /// Nothing that we know of takes longer.
    pub longest: u64,
    /// Speech whose loudest frame is softer cannot be understood, dB full scale.
    pub faint_dbfs: f64,
    /// So much digital silence means that no sound arrives.
    pub dead: u64,
}

/// Samples of a usual frame, 32 ms.
const FRAME: u64 = 512;

const fn ms(n: u64) -> u64 {
    n * RATE as u64 / 1000
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            on: 0.5,
            off: 0.35,
            onset: 2,
            pre_roll: ms(256),
            tail: ms(192),
            ask_wait: ms(64),
            ask_tail: ms(64),
            short_wait: ms(140),
            long_wait: ms(500),
            late_press: ms(800),
            release: ms(250),
            release_longest: ms(800),
            longest: ms(12_000),
            faint_dbfs: -55.0,
            dead: ms(3_000),
        }
    }
}

/// Whether sound may come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Opening {
    /// No sound is listened to.
    Closed,
    /// Only calls that are always live: we are speaking ourselves.
    Critical,
    /// All sound.
    #[default]
    Open,
}

/// A stretch of samples, counted from the start of the session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// First sample.
    pub from: u64,
    /// The sample after the last.
    pub to: u64,
}

/// Why an utterance is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// What was said is a whole call.
    Whole,
    /// Silence.
    Silence,
    /// Push-to-talk was released.
    Released,
    /// It took too long.
    TooLong,
    /// The gate closed, or the sound came to its end.
    Cut,
}

/// The most beginnings within an utterance.
pub const LATER: usize = 3;

/// An utterance that is over.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Utterance {
    /// What to decode.
    pub window: Span,
    /// Where someone louder began to speak over the talk before, with what to decode from there: earliest first.
    pub later: [Option<Span>; LATER],
    /// First and last voiced moment; `None` if push-to-talk was held in silence.
    pub speech: Option<Span>,
    /// The endpoint: when it was decided.
    pub at: u64,
    /// Why it is over.
    pub why: Why,
    /// Whether push-to-talk was held.
    pub pushed: bool,
    /// Whether we were speaking at any time during it: then only calls that are always live count.
    pub critical_only: bool,
    /// Loudest voiced frame, dB full scale; −∞ if there was none.
    pub loudest_dbfs: f64,
    /// Whether it is too faint to be understood.
    pub faint: bool,
}

/// What the gate tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Event {
    /// Someone began to speak, or pressed push-to-talk.
    Began {
        /// First voiced sample.
        at: u64,
    },
    /// Decode this and say by [`Gate::answer`] whether it is a whole call.
    Ask {
        /// What to decode; the same samples as the utterance will have if nothing more is said.
        window: Span,
    },
    /// It is over.
    Ended(Utterance),
    /// No sound arrives. Told once, until some arrives again.
    Dead,
}

/// How far the ear was asked in the present silence.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Asked {
    No,
    /// Ahead of the short wait; whether it said that the call is whole.
    Ahead(bool),
    /// When the short wait was over.
    Again,
}

/// An utterance under way.
#[derive(Debug, Clone)]
struct Talk {
    began: u64,
    /// First and last voiced sample.
    voiced: Option<Span>,
    asked: Asked,
    pushed: bool,
    /// When push-to-talk was released.
    released: Option<u64>,
    critical_only: bool,
    loudest: f64,
    /// Where someone louder began over the talk before.
    later: Vec<u64>,
    /// Whoever speaks loudest, over others.
    near: Option<Near>,
}

/// The gate.
#[derive(Debug, Clone)]
pub struct Gate {
    settings: Settings,
    opening: Opening,
    /// Sound before this sample was our own or not meant for us.
    open_since: u64,
    /// `None` with an open microphone.
    held: Option<bool>,
    now: u64,
    /// Where the voiced ones of the last three frames began.
    onset: Vec<u64>,
    /// Where the words that sound now began, and until where they were voiced: kept while nobody holds push-to-talk.
    words: Option<Span>,
    talk: Option<Talk>,
    rise: Rise,
    /// Sound before this sample belongs to the utterance before.
    ended: u64,
    crowd: Crowd,
    /// Others have been talking on since the last utterance.
    crowded: bool,
    silent_since: Option<u64>,
    dead: bool,
}

impl Gate {
    /// An open gate with an open microphone, before the first sample.
    pub fn new(settings: Settings) -> Gate {
        Gate {
            settings,
            opening: Opening::Open,
            open_since: 0,
            held: None,
            now: 0,
            onset: Vec::new(),
            words: None,
            talk: None,
            rise: Rise::default(),
            ended: 0,
            crowd: Crowd::default(),
            crowded: false,
            silent_since: None,
            dead: false,
        }
    }

    /// Samples taken in so far.
    pub fn now(&self) -> u64 {
        self.now
    }
    /// Whether an utterance is under way.
    pub fn is_talking(&self) -> bool {
        self.talk.is_some()
    }
    /// Where the window of the utterance under way begins.
    pub fn talk_from(&self) -> Option<u64> {
        let talk = self.talk.as_ref()?;
        Some(self.from(talk.began))
    }
    fn from(&self, began: u64) -> u64 {
        began.saturating_sub(self.settings.pre_roll).max(self.open_since)
    }
    /// Whether the utterance under way counts only as an always-live call, since we spoke during it.
    pub fn critical_only(&self) -> bool {
        self.talk.as_ref().is_some_and(|t| t.critical_only)
    }
    /// The waits and limits.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }
    /// The first sample that anything can still ask for.
    pub fn needs_from(&self) -> u64 {
        let begun = self.talk.as_ref().map_or(self.now, |t| t.began);
        let early = self.now.saturating_sub(self.settings.late_press);
        let back = self.settings.pre_roll + (rise::BACK.max(Crowd::BACK) + 3) * FRAME;
        begun.min(self.onset.first().copied().unwrap_or(begun)).min(early).saturating_sub(back)
    }

    /// Since when sound may come in, unless a word had begun before.
    pub fn open_since(&self) -> u64 {
        self.open_since
    }

    /// Opens or closes; closing ends what is under way.
    pub fn set_opening(&mut self, opening: Opening) -> Option<Event> {
        if self.opening == opening || self.held.is_some() {
            return None;
        }
        let was = std::mem::replace(&mut self.opening, opening);
        match opening {
            Opening::Closed => {
                self.onset.clear();
                self.end(Why::Cut)
            }
            Opening::Critical => {
                if let Some(talk) = &mut self.talk {
                    talk.critical_only = true;
                }
                None
            }
            Opening::Open => {
                if was == Opening::Closed {
                    self.open_since = self.now;
                }
                None
            }
        }
    }

    /// Push-to-talk: pressed or released. From the first use on the microphone is no longer open.
    pub fn push(&mut self, held: bool) -> Option<Event> {
        // A release without a press says nothing about how the pilot wants to be heard.
        let was = self.held.or(held.then_some(false))?;
        self.held = Some(held);
        match (was, held) {
            // One whose release was lost, and whose time is over, is pressed again.
            (false, true) | (true, true) if !(was && self.talk.is_some()) => {
                self.onset.clear();
                // Pressed late: what is being said already is meant.
                if let Some(talk) = &mut self.talk {
                    (talk.pushed, talk.released, talk.critical_only) = (true, None, false);
                    return None;
                }
                let words = self.words.take().filter(|w| w.to + self.settings.short_wait > self.now);
                let began = words.map_or(self.now, |w| w.from.max(self.now.saturating_sub(self.settings.late_press)));
                let voiced = words.map(|w| Span { from: began, ..w });
                self.talk = Some(Talk { pushed: true, voiced, ..Talk::at(began) });
                Some(Event::Began { at: began })
            }
            (true, false) => {
                if let Some(talk) = &mut self.talk {
                    talk.released = Some(self.now);
                }
                None
            }
            _ => None,
        }
    }

    /// The button is gone: what it held is released, and the microphone is open as it was before its first use.
    pub fn unplug(&mut self) -> Option<Event> {
        let event = self.push(false);
        self.held = None;
        event
    }

    /// Takes a frame in. `probability` is that of speech.
    pub fn frame(&mut self, samples: &[f32], probability: f32) -> Vec<Event> {
        let (from, to) = (self.now, self.now + samples.len() as u64);
        self.now = to;
        let level = level(samples);
        let mut events: Vec<Event> = self.listen_for_life(level, from).into_iter().collect();
        self.rise.frame(from, level.dbfs);
        let near = self.crowd.frame(from, level.dbfs, probability >= self.settings.off);
        self.crowded &= self.crowd.goes_on().is_some();
        if let Some(talk) = &mut self.talk {
            if let Some(near) = near.filter(|_| !talk.pushed) {
                talk.begins_again(near);
            }
            let his = talk.near.as_mut().is_none_or(|n| n.hears(level.dbfs));
            if probability >= self.settings.off && his {
                let first = talk.voiced.map_or(from, |v| v.from);
                talk.voiced = Some(Span { from: first, to });
                talk.asked = Asked::No;
                talk.loudest = talk.loudest.max(level.dbfs);
            }
            events.extend(self.wait());
        } else if self.held.is_some() {
            self.overhear(from, to, probability);
        } else if self.held.is_none() && self.opening != Opening::Closed {
            events.extend(match self.crowded {
                true => near.map(|near| self.begin_over_others(near, to)),
                false => self.await_onset(from, to, probability, level),
            });
        }
        events
    }

    /// The ear's answer to [`Event::Ask`].
    pub fn answer(&mut self, whole: bool) -> Option<Event> {
        match self.talk.as_mut().map(|t| &mut t.asked) {
            Some(Asked::Ahead(was)) => {
                *was = whole;
                None
            }
            Some(Asked::Again) if whole => self.end(Why::Whole),
            _ => None,
        }
    }

    /// The sound has come to its end.
    pub fn finish(&mut self) -> Option<Event> {
        self.end(Why::Cut)
    }

    fn listen_for_life(&mut self, level: Level, from: u64) -> Option<Event> {
        if !level.digital_silence {
            self.silent_since = None;
            self.dead = false;
            return None;
        }
        let since = *self.silent_since.get_or_insert(from);
        if self.dead || self.now - since < self.settings.dead {
            return None;
        }
        self.dead = true;
        Some(Event::Dead)
    }

    fn await_onset(&mut self, from: u64, to: u64, probability: f32, level: Level) -> Option<Event> {
        let length = to - from;
        self.onset.retain(|at| at + 3 * length > from);
        if probability < self.settings.on {
            return None;
        }
        self.onset.push(from);
        if self.onset.len() < usize::from(self.settings.onset) {
            return None;
        }
        let mut at = self.onset[0];
        self.onset.clear();
        // What we say ourselves rises as well.
        if self.opening == Opening::Open {
            at = self.rise.began(at, self.open_since.max(self.ended));
        }
        let talk = Talk {
            voiced: Some(Span { from: at, to }),
            critical_only: self.opening == Opening::Critical,
            loudest: level.dbfs,
            ..Talk::at(at)
        };
        self.talk = Some(talk);
        Some(Event::Began { at })
    }

    /// Words that sound before push-to-talk is pressed.
    fn overhear(&mut self, from: u64, to: u64, probability: f32) {
        match &mut self.words {
            Some(words) if probability >= self.settings.off => words.to = to,
            Some(words) if to - words.to > self.settings.short_wait => self.words = None,
            None if probability >= self.settings.on => self.words = Some(Span { from, to }),
            _ => {}
        }
    }

    /// While others talk on, only who is louder begins an utterance.
    fn begin_over_others(&mut self, near: Near, to: u64) -> Event {
        self.onset.clear();
        self.talk = Some(Talk {
            voiced: Some(Span { from: near.at, to }),
            critical_only: self.opening == Opening::Critical,
            loudest: near.loudest_dbfs,
            near: Some(near),
            ..Talk::at(near.at)
        });
        Event::Began { at: near.at }
    }

    /// Whether the talk is over, or the ear should be asked.
    fn wait(&mut self) -> Option<Event> {
        let talk = self.talk.as_mut()?;
        if self.now - talk.began >= self.settings.longest {
            return self.end(Why::TooLong);
        }
        if talk.pushed {
            let sounds = talk.voiced.is_some_and(|v| v.to + self.settings.short_wait > self.now);
            let over = talk.released.is_some_and(|r| {
                let since = self.now - r;
                since >= self.settings.release && (!sounds || since >= self.settings.release_longest)
            });
            return if over { self.end(Why::Released) } else { None };
        }
        let silence = self.now - talk.voiced.map_or(talk.began, |v| v.to);
        if silence >= self.settings.long_wait {
            return self.end(Why::Silence);
        }
        let short = silence >= self.settings.short_wait;
        match talk.asked {
            Asked::No if short || silence >= self.settings.ask_wait => {
                talk.asked = if short { Asked::Again } else { Asked::Ahead(false) };
            }
            Asked::Ahead(true) if short => return self.end(Why::Whole),
            Asked::Ahead(false) if short => talk.asked = Asked::Again,
            _ => return None,
        }
        let began = talk.later.first().copied().unwrap_or(talk.began);
        let window = self.window(began)?;
        Some(Event::Ask { window })
    }

    /// The samples of the talk under way that are worth decoding, from a beginning on.
    fn window(&self, began: u64) -> Option<Span> {
        let talk = self.talk.as_ref()?;
        let from = self.from(began);
        // What stands between the last word and a question is the same whenever it is asked for.
        let tail = match talk.asked {
            Asked::Ahead(_) => self.settings.ask_tail.min(self.settings.ask_wait),
            _ => self.settings.tail.min(self.settings.short_wait.max(ms(150))),
        };
        let to = match (talk.pushed, talk.voiced) {
            (false, Some(v)) => (v.to + tail).min(self.now),
            _ => self.now,
        };
        Some(Span { from: from.min(to), to })
    }

    fn end(&mut self, why: Why) -> Option<Event> {
        let window = self.window(self.talk.as_ref()?.began)?;
        let mut later = [None; LATER];
        for (i, to) in later.iter_mut().enumerate() {
            *to = self.talk.as_ref().and_then(|t| t.later.get(i)).and_then(|at| self.window(*at));
        }
        let talk = self.talk.take()?;
        self.ended = self.now;
        self.crowded =
            !talk.pushed && matches!(why, Why::Whole | Why::Silence | Why::TooLong) && self.crowd.goes_on().is_some();
        Some(Event::Ended(Utterance {
            window,
            later,
            speech: talk.voiced,
            at: self.now,
            why,
            pushed: talk.pushed,
            critical_only: talk.critical_only,
            loudest_dbfs: talk.loudest,
            faint: talk.voiced.is_some() && talk.loudest < self.settings.faint_dbfs,
        }))
    }
}

impl Talk {
    fn at(began: u64) -> Talk {
        Talk {
            began,
            voiced: None,
            asked: Asked::No,
            pushed: false,
            released: None,
            critical_only: false,
            loudest: f64::NEG_INFINITY,
            later: Vec::new(),
            near: None,
        }
    }

    /// Someone louder speaks over the talk so far.
    fn begins_again(&mut self, near: Near) {
        // A rise goes on for some frames.
        let anew = self.near.is_none_or(|n| near.at >= n.at + u64::from(RATE) / 4);
        if anew {
            if self.later.len() == LATER {
                self.later.remove(0);
            }
            self.later.push(near.at);
            self.near = Some(near);
        }
    }
}

#[cfg(test)]
mod tests;
