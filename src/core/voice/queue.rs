//! The order in which things are said: one voice at a time.
//!
//! The rule for aural alerts (AMC 25.1322 8.b, in the wording we have it: one at a time; the present one finishes
//! first, except that a more urgent one interrupts it; an interrupted one may be repeated if still true) holds for all
//! speech:
//!
//! - The most urgent waits least; equally urgent ones speak in the order of their arrival.
//! - A more urgent one cuts what sounds. Critical speech is cut by critical speech only, and then only if the newer
//!   would otherwise be too late to be worth saying.
//! - What could not begin in time is dropped, and that is told.
//! - Whatever was cut is reported as cut; whether it is still true is for the engine to know.
//!
//! Nothing here ticks: [`Queue::next_change`] says when to call [`Queue::advance`]. Called later than that, it catches
//! up with the times as they should have been, so the events do not depend on how often it is called.

use crate::core::book::schema::{Priority, Station};
use crate::core::crew::io::Speech;
use crate::core::time::SessionTime;
use std::collections::VecDeque;

/// Silence between utterances, s.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pacing {
    /// Same station again. Default 0.12.
    pub gap_s: f64,
    /// Another station takes over. Default 0.2: people answer each other after about 200 ms (Stivers et al. 2009,
    /// PNAS 106(26)).
    pub turn_s: f64,
    /// Before critical speech. Default 0.04.
    pub critical_s: f64,
}

impl Default for Pacing {
    fn default() -> Self {
        Pacing { gap_s: 0.12, turn_s: 0.2, critical_s: 0.04 }
    }
}

/// Why something was never said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dropped {
    /// Its time was over before its turn came.
    Expired,
    /// It was hushed while it waited.
    Hushed,
    /// Speech with its id is sounding or waiting already.
    Repeated,
}

impl Dropped {
    /// In plain words, for the journal.
    pub fn why(self) -> &'static str {
        match self {
            Dropped::Expired => "its time was over before its turn came",
            Dropped::Hushed => "silenced before it began",
            Dropped::Repeated => "already waiting to be said",
        }
    }
}

/// What becomes of speech. Every [`Speech`] pushed gets either one `Start` and one `End`, or one `Dropped`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum VoiceEvent {
    /// Begins to sound.
    Start {
        /// Of the speech.
        id: u64,
        /// When.
        at: SessionTime,
    },
    /// Has ended.
    End {
        /// Of the speech.
        id: u64,
        /// When.
        at: SessionTime,
        /// Before its own end.
        cut: bool,
    },
    /// Will not sound.
    Dropped {
        /// Of the speech.
        id: u64,
        /// When that was clear.
        at: SessionTime,
        /// The reason.
        why: Dropped,
    },
}

impl VoiceEvent {
    /// When it happens.
    pub fn at(&self) -> SessionTime {
        match self {
            VoiceEvent::Start { at, .. } | VoiceEvent::End { at, .. } | VoiceEvent::Dropped { at, .. } => *at,
        }
    }

    /// The speech it is about.
    pub fn id(&self) -> u64 {
        match self {
            VoiceEvent::Start { id, .. } | VoiceEvent::End { id, .. } | VoiceEvent::Dropped { id, .. } => *id,
        }
    }
}

/// Longest utterance and longest patience we count with, s.
const LONGEST_S: f64 = 3_600.0;

#[derive(Debug, Clone)]
struct Waiting {
    id: u64,
    station: Station,
    priority: Priority,
    duration_s: f64,
    /// Last moment at which it may begin.
    deadline: SessionTime,
}

#[derive(Debug, Clone)]
struct Sounding {
    id: u64,
    station: Station,
    priority: Priority,
    end: SessionTime,
}

/// All speech that has not ended.
#[derive(Debug, Clone, Default)]
pub struct Queue {
    pacing: Pacing,
    now: SessionTime,
    sounding: Option<Sounding>,
    /// Who spoke last, and when that ended.
    last: Option<(Station, SessionTime)>,
    /// In order of arrival.
    waiting: VecDeque<Waiting>,
    /// The pilot is speaking: what can wait does.
    pilot: bool,
    events: Vec<VoiceEvent>,
}

impl Queue {
    /// An empty queue.
    pub fn new(pacing: Pacing) -> Self {
        Queue { pacing, ..Queue::default() }
    }

    /// Adds speech of `duration_s` (taken as 0 if it is no number or negative).
    ///
    /// Call [`advance`](Self::advance) with the same time to learn what follows at once.
    pub fn push(&mut self, now: SessionTime, speech: &Speech, duration_s: f64) {
        self.settle(now);
        if self.knows(speech.id) {
            self.events.push(VoiceEvent::Dropped { id: speech.id, at: self.now, why: Dropped::Repeated });
            return;
        }
        self.waiting.push_back(Waiting {
            id: speech.id,
            station: speech.station,
            priority: speech.priority,
            duration_s: seconds(duration_s),
            deadline: self.now.plus(seconds(speech.expires_s)),
        });
        self.interrupt(true);
        self.settle(now);
    }

    /// Silences one utterance, or, with no id, everything that is not critical, sounding or waiting.
    pub fn hush(&mut self, now: SessionTime, id: Option<u64>) {
        self.settle(now);
        let meant = |of: u64, priority: Priority| id.map_or(priority < Priority::Critical, |id| id == of);
        if self.sounding.as_ref().is_some_and(|s| meant(s.id, s.priority)) {
            self.end_sounding(self.now, true);
        }
        let at = self.now;
        let events = &mut self.events;
        self.waiting.retain(|w| {
            let hushed = meant(w.id, w.priority);
            if hushed {
                events.push(VoiceEvent::Dropped { id: w.id, at, why: Dropped::Hushed });
            }
            !hushed
        });
        self.settle(now);
    }

    /// What sounds will end so many seconds from now, whatever was said when it was pushed: for a voice whose words last as
    /// long as they last. Nothing if it does not sound.
    pub fn retime(&mut self, now: SessionTime, id: u64, left_s: f64) {
        self.settle(now);
        let end = self.now.plus(seconds(left_s));
        if let Some(s) = self.sounding.as_mut().filter(|s| s.id == id) {
            s.end = end;
        }
        self.settle(now);
    }

    /// Tells that the pilot begins or stops speaking: chat and routine speech do not begin meanwhile, and may expire.
    pub fn pilot_speaks(&mut self, now: SessionTime, speaks: bool) {
        self.settle(now);
        self.pilot = speaks;
        self.interrupt(false);
        self.settle(now);
    }

    /// Moves on to `now` and hands over what has happened since the last call, in order of time.
    pub fn advance(&mut self, now: SessionTime) -> Vec<VoiceEvent> {
        self.settle(now);
        std::mem::take(&mut self.events)
    }

    /// When to call [`advance`](Self::advance) next; absent if nothing is left to happen.
    pub fn next_change(&self) -> Option<SessionTime> {
        if self.events.is_empty() { self.next_step() } else { Some(self.now) }
    }

    /// Whether something sounds now.
    pub fn sounding(&self) -> Option<u64> {
        self.sounding.as_ref().map(|s| s.id)
    }

    /// Whether nothing sounds or waits.
    pub fn is_idle(&self) -> bool {
        self.sounding.is_none() && self.waiting.is_empty()
    }

    fn knows(&self, id: u64) -> bool {
        self.sounding() == Some(id) || self.waiting.iter().any(|w| w.id == id)
    }

    /// Takes every step that is due up to `now`, in order. Time never goes back.
    fn settle(&mut self, now: SessionTime) {
        while let Some(at) = self.next_step().filter(|at| *at <= now) {
            self.now = self.now.max(at);
            self.step(self.now);
        }
        self.now = self.now.max(now);
    }

    /// Ends come first, then what is too late, then beginnings.
    fn step(&mut self, at: SessionTime) {
        if self.sounding.as_ref().is_some_and(|s| s.end <= at) {
            self.end_sounding(at, false);
        } else if self.waiting.iter().any(|w| w.deadline < at) {
            self.expire(at);
        } else if let Some(i) = self.best() {
            self.begin(i, at);
        }
    }

    /// The next moment at which something changes if nothing new comes.
    fn next_step(&self) -> Option<SessionTime> {
        let end = self.sounding.as_ref().map(|s| s.end);
        let start = self.best().filter(|_| self.sounding.is_none()).map(|i| self.start_of(i).max(self.now));
        // One microsecond past the deadline it is too late.
        let lapse = self.waiting.iter().map(|w| SessionTime(w.deadline.0 + 1)).min();
        [end, start, lapse].into_iter().flatten().min()
    }

    /// Whose turn it is: the most urgent, and of these the first that came.
    fn best(&self) -> Option<usize> {
        let open = |w: &Waiting| !self.pilot || w.priority >= Priority::Caution;
        let mut best: Option<usize> = None;
        for (i, w) in self.waiting.iter().enumerate().filter(|(_, w)| open(w)) {
            if best.is_none_or(|b| w.priority > self.waiting[b].priority) {
                best = Some(i);
            }
        }
        best
    }

    /// When speech may begin if nothing sounds: after a pause, which shrinks rather than let it expire.
    fn start_of(&self, i: usize) -> SessionTime {
        let w = &self.waiting[i];
        match self.last {
            None => self.now,
            Some((station, ended)) => ended.plus(self.gap(w, station)).min(w.deadline.max(ended)),
        }
    }

    fn gap(&self, w: &Waiting, before: Station) -> f64 {
        if w.priority == Priority::Critical {
            self.pacing.critical_s
        } else if w.station == before {
            self.pacing.gap_s
        } else {
            self.pacing.turn_s
        }
    }

    /// Cuts what sounds if the next in turn may do so; that begins at the same moment. Only what arrives cuts its equal,
    /// and critical speech only: two that wait are said one after the other.
    fn interrupt(&mut self, arrived: bool) {
        let (Some(s), Some(i)) = (&self.sounding, self.best()) else { return };
        let w = &self.waiting[i];
        let both_critical = w.priority == Priority::Critical && s.priority == Priority::Critical;
        let too_late = arrived && i + 1 == self.waiting.len() && s.end > w.deadline;
        if w.priority > s.priority || (both_critical && too_late) {
            self.end_sounding(self.now, true);
            self.begin(i, self.now);
        }
    }

    fn begin(&mut self, i: usize, at: SessionTime) {
        if let Some(w) = self.waiting.remove(i) {
            self.events.push(VoiceEvent::Start { id: w.id, at });
            let end = at.plus(w.duration_s);
            self.sounding = Some(Sounding { id: w.id, station: w.station, priority: w.priority, end });
        }
    }

    fn end_sounding(&mut self, at: SessionTime, cut: bool) {
        if let Some(s) = self.sounding.take() {
            self.last = Some((s.station, at));
            self.events.push(VoiceEvent::End { id: s.id, at, cut });
        }
    }

    fn expire(&mut self, at: SessionTime) {
        let events = &mut self.events;
        self.waiting.retain(|w| {
            let over = w.deadline < at;
            if over {
                events.push(VoiceEvent::Dropped { id: w.id, at, why: Dropped::Expired });
            }
            !over
        });
    }
}

/// A length of time that can be counted with.
fn seconds(s: f64) -> f64 {
    if s.is_nan() { 0.0 } else { s.clamp(0.0, LONGEST_S) }
}

#[cfg(test)]
mod tests;
