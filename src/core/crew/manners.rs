//! How much is said, how fast, to whom the pilot speaks, questions about ourselves, and human distractions.

use super::talk::Owner;
use super::{Crew, Deadline, Slots};
use crate::core::book::schema::{Intrinsic, Level, Priority, Station};
use crate::core::crew::io::Note;
use crate::core::grammar::{CallId, CallSet};
use crate::core::time::SessionTime;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;

/// How the crew talks and works at present.
#[derive(Debug, Clone)]
pub(super) struct Style {
    /// How much is said.
    pub level: Level,
    /// Nothing below critical is spoken.
    pub muted: bool,
    /// Factor on the pace of flows.
    pub pace: f64,
}

impl Default for Style {
    fn default() -> Self {
        Style { level: Level::Line, muted: false, pace: 1.0 }
    }
}

/// A surprise that will happen in this session.
#[derive(Debug, Clone)]
pub(super) struct Lurking {
    index: usize,
    delay_s: f64,
    due: Option<SessionTime>,
}

impl Crew {
    /// One of the engine's own sentences, on the flight deck.
    pub(super) fn tell(&mut self, key: &str, what: &str) {
        let text = self.wording(key, &[("what", what), ("item", what)]);
        self.speak(text, Priority::Routine, Owner::Nobody);
    }

    /// Changes to the style, and questions about ourselves.
    pub(super) fn converse(&mut self, what: Intrinsic) {
        match what {
            Intrinsic::TalkQuiet => self.style.level = Level::Quiet,
            Intrinsic::TalkLine => self.style.level = Level::Line,
            Intrinsic::TalkTraining => self.style.level = Level::Training,
            Intrinsic::Faster => self.style.pace = (self.style.pace / 1.5).max(0.4),
            Intrinsic::Slower => self.style.pace = (self.style.pace * 1.5).min(2.5),
            Intrinsic::Unmute => self.style.muted = false,
            Intrinsic::Mute => {
                self.hush();
                self.style.muted = true;
                return;
            }
            Intrinsic::WhatIsLeft => return self.tell_left(),
            Intrinsic::WhatWaits => return self.tell_waiting(),
            Intrinsic::WhyNot => return self.tell_why(),
            Intrinsic::WhatIsPutOff => {
                let all = self.put_off_names();
                return self.tell_all("still_to_come", &all);
            }
            Intrinsic::DropPutOff => {
                let all = self.put_off_names();
                self.drop_put_off(|_| true, "the pilot dropped it");
                return self.tell_all("dropped", &all);
            }
            _ => return,
        }
        self.tell("talk_changed", "");
    }

    fn tell_all(&mut self, key: &str, all: &[String]) {
        match all {
            [] => self.tell("nothing_waits", ""),
            all => self.tell(key, &all.join(", ")),
        }
    }

    fn tell_left(&mut self) {
        let all = self.items_left();
        let runs: Vec<String> = self.runs.iter().map(|r| self.book.flows[r.flow.0 as usize].title.clone()).collect();
        self.tell_all("still_to_come", if all.is_empty() { &runs } else { &all });
    }

    fn tell_waiting(&mut self) {
        let asked = self.asks.iter().map(|a| a.question().to_string()).find(|q| !q.is_empty());
        let item = self.items_left().into_iter().next();
        let running = || self.runs.iter().rev().filter(|r| !r.held && !self.in_turn(r));
        let run = running().find(|r| self.flight_deck(r)).or_else(|| running().next());
        let run = run.map(|r| self.book.flows[r.flow.0 as usize].title.clone());
        let what = asked.or(item).or(run).or_else(|| self.put_off_names().into_iter().next());
        match what {
            Some(what) => self.tell("waiting_for", &what),
            None => self.tell("nothing_waits", ""),
        }
    }

    fn tell_why(&mut self) {
        let Some((what, why)) = self.last_not_done.clone() else { return self.tell("nothing_waits", "") };
        // A condition is no sentence; `replay --why` shows it.
        let why = if why.contains(['=', '<', '>', '&', '|', '!', '_']) { String::new() } else { why };
        let text = self.wording("why_not", &[("what", &what), ("why", &why)]);
        self.speak(text.trim_end_matches([' ', ',', ':']).to_string(), Priority::Routine, Owner::Nobody);
    }

    /// Whether callouts and limits below critical keep silent now (a resolution advisory, a ground-proximity warning).
    pub(super) fn silenced(&self, priority: Priority) -> bool {
        priority < Priority::Critical
            && self.book.manners.silent_when.as_ref().is_some_and(|e| self.truth(e, &Slots::new()) == Some(true))
    }

    /// Whether a sentence of a flow is spoken at the present level of talk.
    pub(super) fn speaks_at(&self, level: Level, station: Station) -> bool {
        level <= self.style.level || station != Station::FlightDeck
    }

    /// Leaves of the live calls those to the station that the pilot speaks to; what is critical stays.
    pub(super) fn only_to_addressee(&self, live: CallSet) -> CallSet {
        let m = &self.book.manners;
        let keys = [
            (&m.to_radio_when, Station::Radio),
            (&m.to_ground_when, Station::Ground),
            (&m.to_cabin_when, Station::Cabin),
        ];
        let now = keys.iter().find(|(e, _)| e.as_ref().is_some_and(|e| self.truth(e, &Slots::new()) == Some(true)));
        let Some((_, station)) = now else { return live };
        let stays = |i: &usize| {
            let c = &self.book.calls[*i];
            live.contains(CallId(*i as u16)) && (c.to == *station || (c.always && c.critical))
        };
        (0..self.book.calls.len()).filter(stays).map(|i| CallId(i as u16)).collect()
    }

    /// Draws which surprises this session has.
    pub(super) fn draw_surprises(&mut self, seed: u64) {
        let mut dice = Pcg32::seed_from_u64(seed);
        let mut chance = || f64::from(dice.next_u32()) / f64::from(u32::MAX);
        let all = self.book.surprises.iter().enumerate();
        let drawn = all.map(|(index, s)| (index, chance() < s.chance, chance() * s.within_s));
        self.lurking = drawn
            .filter(|(_, happens, _)| *happens)
            .map(|(index, _, delay_s)| Lurking { index, delay_s, due: None })
            .collect();
    }

    pub(super) fn move_surprises(&mut self) -> bool {
        let book = self.book.clone();
        for i in 0..self.lurking.len() {
            let l = &self.lurking[i];
            if l.due.is_none() && self.truth(&book.surprises[l.index].when, &Slots::new()) == Some(true) {
                let due = self.at.plus(l.delay_s);
                self.lurking[i].due = Some(due);
            }
        }
        let Some(i) = self.lurking.iter().position(|l| l.due.is_some_and(|d| d <= self.at)) else { return false };
        let s = &book.surprises[self.lurking.remove(i).index];
        self.note(Note::Surprise { surprise: s.id.clone() });
        self.begin_flow(s.flow, Slots::new());
        true
    }

    pub(super) fn surprise_deadlines(&self) -> impl Iterator<Item = Deadline> + '_ {
        self.lurking.iter().filter_map(|l| l.due).map(Deadline::Session)
    }
}
