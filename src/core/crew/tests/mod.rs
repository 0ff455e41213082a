//! The engine on a small book of a made-up machine: what it says, sets and notes.

mod behaviour;
mod flights;
mod judgement;
mod plan;

use super::Crew;
use super::io::{Action, Arrangement, Engine, Input, Note};
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::book::{Folder, SourceFile, load};
use crate::core::grammar::CallSet;
use crate::core::matcher::match_text;
use crate::core::time::{SessionTime, SimTime, Wake};
use std::collections::BTreeMap;
use std::sync::Arc;

const BOOK: &str = include_str!("book.toml");

fn book() -> Arc<Book> {
    book_of(BOOK)
}

fn book_of(text: &str) -> Arc<Book> {
    let common = [
        ("calls.toml", include_str!("../../../../phrasebooks/common/calls.toml")),
        ("calls-crew.toml", include_str!("../../../../phrasebooks/common/calls-crew.toml")),
        ("rules.toml", include_str!("../../../../phrasebooks/common/rules.toml")),
        ("wording.toml", include_str!("../../../../phrasebooks/common/wording.toml")),
    ];
    let files = |list: &[(&str, &str)]| {
        list.iter().map(|(name, text)| SourceFile { name: (*name).into(), text: (*text).into() }).collect()
    };
    let own = [("book.toml", text), ("crew.toml", include_str!("crew.toml"))];
    // What the crew says besides belongs to the first small book.
    let own = if text == BOOK { &own[..] } else { &own[..1] };
    let folder = Folder { id: "small".into(), files: files(own) };
    let loaded = load(&folder, &|id| (id == "common").then(|| Folder { id: id.into(), files: files(&common) }));
    assert!(!loaded.failed(), "{:#?}", loaded.problems);
    Arc::new(loaded.book)
}

/// A toy cockpit: speech takes one second, controls obey unless stuck.
struct Stage {
    crew: Crew,
    book: Arc<Book>,
    now: f64,
    wake: Wake,
    live: CallSet,
    revision: u32,
    voice: Vec<(u64, String, f64)>,
    said: Vec<String>,
    sets: Vec<(String, Value)>,
    notes: Vec<Note>,
    stuck: Vec<&'static str>,
    places: Vec<String>,
    values: BTreeMap<String, Value>,
}

impl Stage {
    fn new() -> Self {
        Self::with(Arrangement::default())
    }

    fn with(arrangement: Arrangement) -> Self {
        let mut s = Self::on(book());
        s.feed(&Input::Begin { arrangement, phase: None, sheet: BTreeMap::new() });
        s.state(&[("lamp", false.into()), ("flap", 0.0.into()), ("speed", 0.0.into()), ("gate", "shut".into())]);
        s
    }

    /// Before the beginning.
    fn on(book: Arc<Book>) -> Self {
        Stage {
            crew: Crew::new(book.clone()),
            book,
            now: 0.0,
            wake: Wake::default(),
            live: CallSet::none(),
            revision: 0,
            voice: Vec::new(),
            said: Vec::new(),
            sets: Vec::new(),
            notes: Vec::new(),
            stuck: Vec::new(),
            places: Vec::new(),
            values: BTreeMap::new(),
        }
    }

    fn feed(&mut self, input: &Input) {
        let (at, sim) = (SessionTime::from_secs(self.now), SimTime::from_secs(self.now));
        let step = self.crew.handle(at, sim, input);
        assert!(step.wake.session.is_none_or(|t| t > at) && step.wake.sim.is_none_or(|t| t > sim), "it never sleeps");
        self.wake = step.wake;
        for action in step.actions {
            match action {
                Action::Say(s) => {
                    let begins = self.voice.last().map_or(self.now, |(_, _, end)| end.max(self.now));
                    self.said.push(s.text.clone());
                    self.voice.push((s.id, s.text, begins + 1.0));
                }
                Action::Hush { id } => {
                    let (gone, kept): (Vec<_>, Vec<_>) =
                        self.voice.drain(..).partition(|(i, _, _)| id.is_none_or(|id| id == *i));
                    self.voice = kept;
                    for (id, _, _) in gone {
                        self.feed(&Input::SpeechEnded { id, cut: true });
                    }
                }
                Action::Set { request, control, to } => {
                    self.sets.push((control.clone(), to.clone()));
                    self.feed(&Input::SetResult { request, failed: None });
                    if !self.stuck.contains(&control.as_str()) {
                        self.state(&[(&control, to)]);
                    }
                }
                Action::Listen { revision, calls, .. } => (self.revision, self.live) = (revision, calls),
                Action::Note(n) => self.notes.push(n),
                Action::Place { place } => self.places.push(place),
                Action::Watch { .. } | Action::Readback { .. } => {}
            }
        }
    }

    fn state(&mut self, values: &[(&str, Value)]) {
        for (name, v) in values {
            self.values.insert((*name).into(), v.clone());
        }
        let delta = self.values.iter().map(|(n, v)| (n.clone(), Some(v.clone()))).collect();
        self.feed(&Input::State { delta });
    }

    /// Lets time pass: speech ends, deadlines come, the link stays alive.
    fn pass(&mut self, seconds: f64) {
        let until = self.now + seconds;
        while self.now < until {
            self.now = ((self.now + 0.05) * 1e6).round() / 1e6;
            while let Some(i) = self.voice.iter().position(|(_, _, end)| *end <= self.now) {
                let (id, _, _) = self.voice.remove(i);
                self.feed(&Input::SpeechStarted { id });
                self.feed(&Input::SpeechEnded { id, cut: false });
            }
            let due = self.wake.session.is_some_and(|t| t.secs() <= self.now)
                || self.wake.sim.is_some_and(|t| t.secs() <= self.now);
            if due {
                self.feed(&Input::Tick);
            }
            if (self.now * 20.0).round() as i64 % 20 == 0 {
                self.feed(&Input::State { delta: BTreeMap::new() });
            }
        }
    }

    fn hear(&mut self, text: &str) {
        let t = SessionTime::from_secs(self.now);
        let heard = match_text(&self.book.graph, &self.live, text, self.revision, (t, t));
        self.feed(&Input::Heard { heard });
    }

    /// Takes what has been said since the last time.
    fn said(&mut self) -> Vec<String> {
        std::mem::take(&mut self.said)
    }

    #[track_caller]
    fn expect_said(&mut self, wanted: &[&str]) {
        assert_eq!(self.said(), wanted);
    }

    fn items(&self) -> Vec<(String, String)> {
        let item = |n: &Note| match n {
            Note::Item { item, state, .. } => Some((item.clone(), state.clone())),
            _ => None,
        };
        self.notes.iter().filter_map(item).collect()
    }

    fn not_done(&self) -> Vec<String> {
        let why = |n: &Note| match n {
            Note::NotDone { what, why } => Some(format!("{what}: {why}")),
            _ => None,
        };
        self.notes.iter().filter_map(why).collect()
    }
}

impl From<bool> for Value {
    fn from(b: bool) -> Self {
        Value::Bool(b)
    }
}
impl From<f64> for Value {
    fn from(n: f64) -> Self {
        Value::Number(n)
    }
}
impl From<&str> for Value {
    fn from(w: &str) -> Self {
        Value::Word(w.into())
    }
}
