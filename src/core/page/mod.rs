//! The page's view of a session: made of what went into the engine, what came out, and a glance at this moment.
//!
//! [`Model::saw`] is told of every step; [`Model::sections`] gives what the page shows, section by section.

mod can;
mod health;
mod layout;
mod reasons;
mod sheet;
pub mod view;
mod wording;

#[cfg(test)]
mod tests;

use crate::core::aircraft::SignalId;
use crate::core::book::Book;
use crate::core::book::schema::{Known, Part, Station, Template};
use crate::core::crew::glance::{Glance, Whose, plain};
use crate::core::crew::io::{Action, Input, Note};
use crate::core::grammar::CallSet;
use crate::core::matcher::{Heard, Reason};
use crate::core::time::SessionTime;
use layout::Layout;
use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;
use view::{Doing, Flight, ItemRow, LastHeard, Reading, Refused, ScoreLine, Work};

/// What is at the other end of link, ear and voice, for people.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Rooms {
    /// The aircraft.
    pub aircraft: String,
    /// How the pilot is heard.
    pub ear: String,
    /// How the crew speaks.
    pub voice: String,
    /// Whether push-to-talk does something.
    pub talk: bool,
}

/// How many lines, refusals and other readings are kept.
const LINES: usize = 40;
const REFUSED: usize = 12;
const OTHERS: usize = 4;

/// How an item was settled.
#[derive(Debug, Clone, Default)]
struct Settled {
    state: String,
    known: String,
    you: String,
    second: String,
}

/// A session as the page sees it.
#[derive(Debug)]
pub struct Model {
    book: Arc<Book>,
    rooms: Rooms,
    layout: Layout,
    signals: Vec<SignalId>,
    at: SessionTime,
    heard: LastHeard,
    lines: VecDeque<ScoreLine>,
    refused: VecDeque<Refused>,
    /// What was asked to be said and has not ended: station, words, whether it sounds.
    speech: BTreeMap<u64, (Station, String, bool)>,
    last_said: String,
    items: BTreeMap<(String, String), Settled>,
    live: (CallSet, CallSet),
    wordings: can::Wordings,
    health: health::Watch,
    sheet: sheet::Sources,
}

impl Model {
    /// Before the first step.
    pub fn new(book: Arc<Book>, rooms: Rooms) -> Model {
        let layout = Layout::built_in(&book);
        Model {
            signals: layout.signals(&book),
            wordings: can::Wordings::new(&book),
            sheet: sheet::Sources::default(),
            health: health::Watch::default(),
            layout,
            rooms,
            at: SessionTime::ZERO,
            heard: LastHeard::default(),
            lines: VecDeque::new(),
            refused: VecDeque::new(),
            speech: BTreeMap::new(),
            last_said: String::new(),
            items: BTreeMap::new(),
            live: (CallSet::none(), CallSet::none()),
            book,
        }
    }

    /// The signals whose values it wants to be shown.
    pub fn signals(&self) -> &[SignalId] {
        &self.signals
    }

    /// One step of the engine: what went in and what came out.
    pub fn saw(&mut self, at: SessionTime, input: &Input, actions: &[Action]) {
        self.at = at;
        self.health.saw(at, input);
        match input {
            Input::Heard { heard } => {
                self.heard = self.reading(heard);
                let words = &self.heard.text;
                let text = if words.is_empty() { "(not understood)".to_string() } else { words.clone() };
                self.line("you", "", text);
            }
            Input::SpeechStarted { id } => {
                if let Some((station, text, sounds)) = self.speech.get_mut(id) {
                    *sounds = true;
                    let (who, text) = (station_name(*station), text.clone());
                    self.line("second", who, text);
                }
            }
            Input::SpeechEnded { id, .. } => {
                if let Some((_, text, _)) = self.speech.remove(id) {
                    self.last_said = text;
                }
            }
            Input::SetResult { failed: Some(why), .. } => self.refuse("movement".into(), why.clone()),
            Input::Link { up } => {
                let text = if *up { "the aircraft is in sight" } else { "the aircraft is lost from sight" };
                self.line("flight", "", text.into());
            }
            _ => {}
        }
        for action in actions {
            self.did(input, action);
        }
    }

    fn reading(&self, heard: &Heard) -> LastHeard {
        let best = heard.ranked.first();
        let round = |n: f64| libm::round(n * 10.0) / 10.0;
        let mut others: Vec<(String, f64)> = Vec::new();
        for c in heard.ranked.iter().skip(1) {
            let told = best.is_some_and(|b| b.text == c.text) || others.iter().any(|(t, _)| *t == c.text);
            if !told && others.len() < OTHERS {
                others.push((c.text.clone(), round(c.score)));
            }
        }
        LastHeard {
            at: clock(self.at),
            by: if heard.typed { "words" } else { "voice" },
            text: best.map_or_else(String::new, |b| b.text.clone()),
            score: best.map_or(0.0, |b| round(b.score)),
            taken: Vec::new(),
            why: String::new(),
            others,
        }
    }

    fn did(&mut self, input: &Input, action: &Action) {
        match action {
            Action::Say(s) => {
                self.speech.insert(s.id, (s.station, s.text.clone(), false));
            }
            Action::Listen { calls, due, .. } => self.live = (calls.clone(), due.clone()),
            Action::Note(note) => self.noted(input, note),
            _ => {}
        }
    }

    fn noted(&mut self, input: &Input, note: &Note) {
        match note {
            Note::Phase { phase } => {
                let title = self.book.phase(phase).map(|p| self.book.phases[p.0 as usize].title.clone());
                self.line("flight", "", title.unwrap_or_else(|| phase.clone()));
            }
            Note::Accepted { meaning, .. } => {
                self.heard.taken.push(meaning.call.replace('_', " "));
                if let Some((list, item)) = meaning.call.split_once('/') {
                    let heard = self.heard.text.clone();
                    self.items.entry((list.into(), item.into())).or_default().you = heard;
                }
            }
            Note::Refused { reason, text } => {
                let reason = Reason::told(reason).to_string();
                self.heard.why.clone_from(&reason);
                let what = if text.is_empty() { "what was heard".into() } else { format!("\u{201c}{text}\u{201d}") };
                self.refuse(what, reason);
            }
            Note::NotDone { what, why } => self.refuse(what.replace('_', " "), reasons::in_words(&self.book, why)),
            Note::Passed { callout, why } if !reasons::had_no_occasion(&self.book, callout, why) => {
                self.refuse(format!("callout {}", callout.replace('_', " ")), why.clone());
            }
            Note::Checklist { checklist, state } if state == "begun" => {
                self.items.retain(|(list, _), _| list != checklist);
            }
            Note::Item { checklist, item, state, known, .. } => {
                let said = self.last_said.clone();
                let s = self.items.entry((checklist.clone(), item.clone())).or_default();
                s.state.clone_from(state);
                s.known.clone_from(known);
                if !matches!(input, Input::Heard { .. }) {
                    s.second = said;
                }
                self.sheet.item(&self.book, checklist, item, state, known);
            }
            Note::Sheet { entry, .. } => self.sheet.wrote(entry, input),
            _ => {}
        }
    }

    fn line(&mut self, side: &'static str, who: &'static str, text: String) {
        self.lines.push_back(ScoreLine { at: clock(self.at), side, who, text });
        self.trim();
    }

    fn refuse(&mut self, what: String, why: String) {
        self.refused.push_front(Refused { at: clock(self.at), what, why });
        self.refused.truncate(REFUSED);
    }

    fn trim(&mut self) {
        while self.lines.len() > LINES {
            self.lines.pop_front();
        }
    }

    /// Everything the page shows, each section under its name as JSON.
    pub fn sections(&self, now: &Glance) -> Vec<(&'static str, String)> {
        fn json(part: &impl serde::Serialize) -> String {
            serde_json::to_string(part).unwrap_or_else(|_| "null".into())
        }
        let (groups, keys) = self.wordings.now(&self.book, &self.live.0, &self.live.1, self.rooms.talk);
        vec![
            ("clock", json(&clock(SessionTime(self.at.0 / 1_000_000 * 1_000_000)))),
            ("heard", json(&self.heard)),
            ("doing", json(&self.doing(now))),
            ("list", json(&self.list(now))),
            ("flight", json(&self.flight(now))),
            ("can", json(&groups)),
            ("keys", json(&keys)),
            ("health", json(&self.health.told(self.at, &self.rooms))),
            ("refused", json(&self.refused)),
            ("lines", json(&self.lines)),
            ("sheet", json(&self.sheet.entries(&self.book, now))),
        ]
    }

    fn doing(&self, now: &Glance) -> Doing {
        let saying = self.speech.values().filter(|(_, _, sounds)| *sounds);
        let mut d = Doing {
            saying: saying.map(|(s, text, _)| (crew_name(*s).to_string(), text.clone())).collect(),
            put_off: now.put_off.clone(),
            briefing: now.briefing.clone().map_or_else(Default::default, |b| (b.title, b.topics)),
            ..Doing::default()
        };
        if let Some(l) = &now.list {
            if l.due {
                let item = l.items.get(l.at).map_or("", |i| i.challenge.as_str());
                d.for_you.push(format!("answer: {item}"));
            } else if l.held {
                d.for_you.push(format!("{} is held", l.title));
            }
            let of = format!("{} of {}", (l.at + 1).min(l.items.len()), l.items.len());
            d.now.push(Work { who: "second pilot".into(), what: l.title.clone(), step: l.waits.clone(), of });
            d.next.extend(l.items.get(l.at + 1).map(|i| i.challenge.clone()));
        }
        d.for_you.extend(now.asked.iter().map(|a| format!("answer: {a}")));
        for f in &now.flows {
            if f.waits_for_pilot && !f.doing.starts_with("waits for your answer") {
                d.for_you.push(format!("{}: {}", f.title, f.doing));
            }
            let of = format!("{} of {}", f.step, f.steps);
            let who = crew_name(f.station).to_string();
            d.now.push(Work { who, what: f.title.clone(), step: f.doing.clone(), of });
            d.next.extend(f.then.clone());
        }
        d.now.extend(now.moving.iter().map(|m| Work {
            who: "second pilot".into(),
            what: m.clone(),
            step: String::new(),
            of: String::new(),
        }));
        d.next.extend(now.armed.iter().map(|(say, mark)| format!("\u{201c}{say}\u{201d} at {mark}")));
        d
    }

    fn list(&self, now: &Glance) -> Reading {
        let Some(l) = &now.list else { return Reading::default() };
        let Some(list) = self.book.checklists.iter().find(|c| c.id == l.id) else { return Reading::default() };
        let mut answers = Vec::new();
        let items = l.items.iter().zip(&list.items).enumerate().map(|(i, (seen, item))| {
            let settled = self.items.get(&(l.id.clone(), item.id.clone())).cloned().unwrap_or_default();
            if i == l.at
                && let Some(call) = item.respond.filter(|_| seen.whose != Whose::Program)
            {
                answers = self.wordings.all(call);
            }
            let state = match (settled.state.is_empty(), i == l.at) {
                (false, false) => settled.state.clone(),
                (false, true) if settled.state == "contradicted" => settled.state.clone(),
                (_, true) => "now".into(),
                (true, false) => "open".into(),
            };
            let shown = seen.shown.iter().map(|(title, value)| match value {
                Some(v) => format!("{title}: {}", plain(v)),
                None => format!("{title}: not seen"),
            });
            ItemRow {
                challenge: seen.challenge.clone(),
                whose: match seen.whose {
                    Whose::Pilot => "you",
                    Whose::Program => "second pilot",
                    Whose::Both => "both",
                },
                state,
                you: settled.you,
                second: settled.second,
                expected: match seen.whose {
                    Whose::Program => String::new(),
                    _ => item.respond.map_or_else(String::new, |c| self.wordings.expected(c)),
                },
                second_says: match seen.whose {
                    Whose::Pilot => String::new(),
                    _ => item.say.as_ref().map_or_else(String::new, outline),
                },
                shown: shown.collect::<Vec<_>>().join(", "),
                agrees: seen.agrees,
                known: if settled.known.is_empty() { known(item.known).into() } else { settled.known },
                killer: item.killer,
            }
        });
        Reading {
            title: l.title.clone(),
            waits: l.waits.clone(),
            due: l.due,
            held: l.held,
            items: items.collect(),
            behind: now.waiting.clone(),
            answers,
        }
    }

    fn flight(&self, now: &Glance) -> Flight {
        let a = now.arrangement;
        let duty = |captain: bool, left: bool, flying: bool| {
            let role = match (now.flight_roles, flying) {
                (true, true) => ", pilot flying",
                (true, false) => ", pilot monitoring",
                (false, _) => "",
            };
            let duty = if captain { "captain" } else { "first officer" };
            format!("{duty}, {}{role}", if left { "left" } else { "right" })
        };
        let figures = self.layout.figures.iter().zip(&now.signals).map(|(f, value)| {
            let text = match value {
                None => String::new(),
                Some(crate::core::aircraft::Value::Bool(b)) => (if *b { &f.on } else { &f.off }).clone(),
                Some(crate::core::aircraft::Value::Number(n)) => {
                    format!("{} {}", libm::round(*n) + 0.0, f.unit).trim_end().to_string()
                }
                Some(v) => plain(v),
            };
            (f.title.clone(), text)
        });
        let speeds = self.layout.speeds.iter().filter_map(|s| {
            let i = self.book.sheet.iter().position(|e| e.id == s.entry)?;
            Some((s.title.clone(), now.sheet.get(i)?.as_ref().map_or_else(String::new, plain)))
        });
        Flight {
            phase: now.phase.clone(),
            next: now.next.clone(),
            you: duty(a.captain, a.left_seat, a.flying),
            second: duty(!a.captain, !a.left_seat, !a.flying),
            figures: figures.collect(),
            speeds: speeds.collect(),
        }
    }
}

/// A template's words, with an ellipsis for what is filled in.
fn outline(t: &Template) -> String {
    let part = |p: &Part| match p {
        Part::Text(text) => text.clone(),
        Part::Value(..) | Part::Hole(_) => "\u{2026}".to_string(),
    };
    t.parts.iter().map(part).collect()
}

fn known(k: Known) -> &'static str {
    match k {
        Known::Seen => "seen",
        Known::HeardOnly => "heard_only",
        Known::Simulated => "simulated",
    }
}

/// Who stands beside a line on the second pilot's side; nothing for himself.
fn station_name(s: Station) -> &'static str {
    if s == Station::FlightDeck { "" } else { crew_name(s) }
}

fn crew_name(s: Station) -> &'static str {
    match s {
        Station::FlightDeck => "second pilot",
        Station::Ground => "ground",
        Station::Cabin => "cabin",
        Station::Radio => "radio",
    }
}

/// The session's clock: minutes and seconds.
fn clock(at: SessionTime) -> String {
    let s = at.0.max(0) / 1_000_000;
    format!("{}:{:02}", s / 60, s % 60)
}
