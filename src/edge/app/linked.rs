//! A live aircraft in the loop: its news become inputs of the engine.

use super::report::Side;
use super::{App, AppError, Event, Pace};
use crate::core::aircraft::Delta;
use crate::core::aircraft::crossing::Crossing;
use crate::core::crew::io::Input;
use crate::core::link::clock::FAR;
use crate::core::time::SessionTime;
use crate::edge::link::{LinkNews, Running, Taken};
use std::collections::BTreeMap;

/// What the loop keeps of a live link.
#[derive(Default)]
pub(super) struct Linked {
    /// It was up, and is gone.
    lost: bool,
    /// A state has come.
    seen: bool,
    /// What lies before the next state was not lived through.
    unlived: bool,
    /// What comes is flown anew.
    anew: bool,
    /// Its clock has been stopped; the watched values as they were then.
    stood: Option<BTreeMap<String, f64>>,
    /// There is something that the engine has not been sent.
    owing: bool,
    /// When the engine was last sent something.
    sent: SessionTime,
    /// Callouts that the aircraft makes itself.
    callouts: Vec<String>,
    /// Crossings that were about to come when the clock was stopped, with the time to them.
    held: Vec<(f64, Event)>,
}

/// The engine gets states this far apart at least, s.
const STATE_S: f64 = 0.05;
/// It hears of a link on which nothing changes this often, s.
const ALIVE_S: f64 = 1.0;
/// A frame may be late by so much beyond its interval before a crossing is missed, s.
const SLACK_S: f64 = 0.04;
/// Between two states further apart than this, s, nothing was seen: it was not lived through.
const UNSEEN_S: f64 = 2.0;
/// A watched value that differs by so much while the clock stands, kt or ft, was not flown to.
const SLEWED: f64 = 1.0;

impl App {
    /// Takes news of a live link in.
    pub(super) fn linked(&mut self, news: LinkNews) -> Result<(), AppError> {
        let at = match &news {
            LinkNews::Frame { arrived, .. } if self.parts.pace == Pace::Live => {
                let since = arrived.checked_duration_since(self.begun).unwrap_or_default();
                SessionTime(self.origin.0 + since.as_micros() as i64)
            }
            _ => self.wall(),
        };
        self.now = self.now.max(at);
        self.before = self.numbers();
        let link = &mut self.parts.link;
        let Some(taken) = super::carry::caught(|| link.take(at, &news)) else {
            self.room_failed("link", "the link stopped over a state; it goes on with the next");
            return Ok(());
        };
        match news {
            LinkNews::Up { program, callouts } => {
                self.tell(Side::Flight, self.now, &format!("the aircraft is in sight: {program}"));
                self.linked.unlived = true;
                if self.linked.callouts != callouts {
                    self.linked.callouts.clone_from(&callouts);
                    self.feed(Input::AircraftCalls { callouts })?;
                }
                if std::mem::take(&mut self.linked.lost) {
                    self.feed(Input::Link { up: true })?;
                }
            }
            LinkNews::Down { why } => {
                self.tell(Side::Flight, self.now, &why);
                self.forget();
                let unknown: Delta = std::mem::take(&mut self.sent).into_keys().map(|name| (name, None)).collect();
                self.linked.owing = false;
                self.feed(Input::State { delta: unknown })?;
                self.linked.lost = true;
                self.feed(Input::Link { up: false })?;
            }
            LinkNews::Frame { .. } => {
                if taken == Taken::Jumped {
                    (self.linked.unlived, self.linked.anew) = (true, true);
                }
                if self.linked.stood.is_some() && taken == Taken::Stands {
                    if self.slewed() {
                        (self.linked.unlived, self.linked.anew) = (true, true);
                    }
                    self.owed_state()?;
                } else {
                    self.live_frame()?;
                }
            }
            LinkNews::Standing => self.owed_state()?,
            LinkNews::Paused(paused) => {
                let text = if paused { "the simulator is paused" } else { "the simulator goes on" };
                self.tell(Side::Flight, self.now, text);
                self.stand_still(paused);
            }
            LinkNews::Rate(rate) => self.tell(Side::Flight, self.now, &format!("the simulator runs at rate {rate}")),
            LinkNews::Jumped => (self.linked.unlived, self.linked.anew) = (true, true),
            LinkNews::Delay(_) | LinkNews::Offers(_) => {}
            LinkNews::Result { request, failed } => {
                self.feed(Input::SetResult { request, failed })?;
            }
            LinkNews::Told(text) => self.tell(Side::Flight, self.now, &text),
            LinkNews::Failed(why) => self.room_failed("link", &why),
        }
        Ok(())
    }

    /// What was seen before has no bearing on what will be seen.
    fn forget(&mut self) {
        self.detector.reset();
        self.rests.clear();
        self.agenda.retain(|_, e| !matches!(e, Event::Input(Input::Crossed { .. })));
        self.linked.held.clear();
    }

    /// Whether the aircraft is dragged about while its clock stands: nothing of that is lived through.
    fn slewed(&self) -> bool {
        let Some(stood) = &self.linked.stood else { return false };
        self.numbers().iter().any(|(name, now)| stood.get(name).is_some_and(|then| (now - then).abs() >= SLEWED))
    }

    /// While the clock stands nothing is crossed: what was about to be waits until it goes on.
    fn stand_still(&mut self, paused: bool) {
        self.linked.stood = paused.then(|| self.numbers());
        if !paused {
            for (wait_s, event) in std::mem::take(&mut self.linked.held) {
                self.put(self.now.plus(wait_s), event);
            }
            return;
        }
        let agenda = std::mem::take(&mut self.agenda);
        for ((at, order), event) in agenda {
            if matches!(event, Event::Input(Input::Crossed { .. })) {
                self.linked.held.push((at.since(self.now), event));
            } else {
                self.agenda.insert((at, order), event);
            }
        }
    }

    fn live_frame(&mut self) -> Result<(), AppError> {
        let Some(Running { rate, interval_s, .. }) = self.parts.link.live() else { return Ok(()) };
        self.frames += 1;
        let sim = self.parts.link.sim();
        let unseen = self.linked.seen && sim.since(self.frame_at) > UNSEEN_S * rate.max(1.0);
        let jumped = std::mem::take(&mut self.linked.unlived) || unseen;
        self.linked.seen = true;
        if jumped {
            self.forget();
            self.sent.clear();
            self.feed(Input::Jumped)?;
            if std::mem::take(&mut self.linked.anew) {
                self.feed(Input::Anew)?;
            }
        }
        self.frame_s = sim.since(self.frame_at).clamp(1e-3, 10.0);
        self.frame_at = sim;
        self.detector.pace(rate);
        let next_s = (1.5 * interval_s + SLACK_S) * rate;
        let values = self.parts.link.values();
        let found = self.detector.frame(sim, next_s, |name| values.get(name));
        for Crossing { name, at, value } in found {
            let at = match self.parts.link.session_at(at) {
                FAR => self.now,
                at => at,
            };
            self.put(at, Event::Input(Input::Crossed { callout: name, value }));
        }
        self.look_at_levers()?;
        self.pilot()?;
        self.linked.owing = true;
        if jumped || self.now.since(self.linked.sent) >= STATE_S {
            self.owed_state()?;
        }
        Ok(())
    }

    /// The engine gets what has changed, and a sign of life when nothing has.
    fn owed_state(&mut self) -> Result<(), AppError> {
        let delta = self.changes();
        self.linked.owing = false;
        if delta.is_empty() && self.now.since(self.linked.sent) < ALIVE_S {
            return Ok(());
        }
        self.linked.sent = self.now;
        self.feed(Input::State { delta })
    }

    /// When a live link is to be looked after: now and then, and when the engine may be sent what it is owed.
    pub(super) fn look_at(&self) -> SessionTime {
        let look = self.parts.link.next_frame();
        if self.linked.owing { look.min(self.linked.sent.plus(STATE_S)) } else { look }
    }

    /// Looks after a live link: what came too soon after the last, or came to rest, is still to be sent.
    pub(super) fn look(&mut self) -> Result<(), AppError> {
        if self.parts.link.next_frame() <= self.now {
            self.parts.link.frame();
        }
        self.voice_news()?;
        self.look_at_levers()?;
        if std::mem::take(&mut self.linked.owing) && self.parts.link.live().is_some_and(|r| r.up) {
            self.owed_state()?;
        }
        self.pilot()
    }
}
