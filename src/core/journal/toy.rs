//! A toy engine and a short session of it, for the tests of this room.

use super::record::{BookMark, Header, ModelMark, Recorder, VERSION};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Priority, Station};
use crate::core::crew::io::{Action, Arrangement, Engine, Input, Note, Speech, Step};
use crate::core::grammar::{CallId, Meaning};
use crate::core::matcher::{Candidate, Heard};
use crate::core::time::{SessionTime, SimTime, Wake};
use std::collections::BTreeMap;

/// Answers "gear up" when it climbs, refuses it when not, and calls eighty knots.
#[derive(Debug, Default)]
pub struct Toy {
    ias: f64,
    climb: f64,
    speech: u64,
    request: u64,
    called: bool,
    /// Inputs taken.
    pub inputs: u64,
}

impl Toy {
    fn say(&mut self, text: &str) -> Action {
        self.speech += 1;
        Action::Say(Speech {
            id: self.speech,
            station: Station::FlightDeck,
            text: text.into(),
            priority: Priority::Routine,
            expires_s: 5.0,
        })
    }
}

impl Engine for Toy {
    fn handle(&mut self, at: SessionTime, _sim: SimTime, input: &Input) -> Step {
        self.inputs += 1;
        let mut actions = Vec::new();
        match input {
            Input::Begin { phase, .. } => {
                actions.push(Action::Note(Note::Phase { phase: phase.clone().unwrap_or("ground".into()) }));
                actions.push(Action::Listen {
                    revision: 1,
                    calls: [CallId(0), CallId(70)].into_iter().collect(),
                    due: [CallId(70)].into_iter().collect(),
                });
            }
            Input::State { delta } => {
                let number = |k: &str| delta.get(k).cloned().flatten().and_then(|v| v.number());
                self.ias = number("ias_kt").unwrap_or(self.ias);
                self.climb = number("vertical_speed_fpm").unwrap_or(self.climb);
                if self.ias >= 80.0 && !self.called {
                    self.called = true;
                    let say = self.say("Eighty");
                    let (callout, value) = ("eighty".to_string(), Some(self.ias));
                    actions.push(say);
                    actions.push(Action::Note(Note::Callout {
                        callout,
                        value,
                        wanted: Some(80.0),
                        speech: self.speech,
                    }));
                }
            }
            Input::Heard { heard } => match heard.ranked.first() {
                Some(best) if self.climb > 0.0 => {
                    actions.push(Action::Note(Note::Accepted { meaning: best.meanings[0].clone(), score: best.score }));
                    actions.push(self.say("Gear up"));
                    self.request += 1;
                    let to = Value::Word("up".into());
                    actions.push(Action::Set { request: self.request, control: "gear_lever".into(), to });
                }
                Some(_) => {
                    let (what, why) = ("gear up".into(), "there is no positive climb yet".into());
                    actions.push(Action::Note(Note::NotDone { what, why }));
                    actions.push(self.say("No climb yet"));
                }
                None => {
                    let (reason, text) = ("nothing said".into(), String::new());
                    actions.push(Action::Note(Note::Refused { reason, text }));
                }
            },
            _ => {}
        }
        let late = !actions.is_empty();
        Step { wake: Wake { session: late.then(|| at.plus(2.0)), sim: None }, actions }
    }
}

/// The header of [`session`].
pub fn header() -> Header {
    Header {
        antiphon_journal: VERSION,
        program: "0.1.0".into(),
        book: BookMark { id: "toy".into(), hash: "00ff".into(), path: "phrasebooks/toy".into() },
        models: vec![ModelMark { name: "ear".into(), hash: "beef".into() }],
        settings: [("headset".to_string(), Value::Bool(true))].into(),
        seed: 7,
        started: "2020-01-01T00:00:00Z".into(),
    }
}

/// An utterance that means `gear_up`.
pub fn gear_up(at: SessionTime) -> Input {
    let meaning = Meaning { call: "gear_up".into(), slots: BTreeMap::new() };
    let ranked = vec![Candidate::new(vec![meaning], 4.1, "gear up".into())];
    heard(ranked, (at.plus(-0.8), at))
}

/// An utterance with these readings.
pub fn heard(ranked: Vec<Candidate>, speech: (SessionTime, SessionTime)) -> Input {
    Input::Heard {
        heard: Heard { revision: 1, ranked, unheard: None, typed: false, pushed: false, over_us: false, speech },
    }
}

/// State with these numbers.
pub fn state(pairs: &[(&str, f64)]) -> Input {
    Input::State { delta: pairs.iter().map(|(k, v)| (k.to_string(), Some(Value::Number(*v)))).collect() }
}

/// The inputs of [`session`], with their times in seconds.
pub fn inputs() -> Vec<(f64, Input)> {
    let t = SessionTime::from_secs;
    vec![
        (0.0, Input::Begin { arrangement: Arrangement::default(), phase: Some("roll".into()), sheet: BTreeMap::new() }),
        (1.0, state(&[("ias_kt", 0.1 + 0.2), ("vertical_speed_fpm", 0.0)])),
        (2.5, gear_up(t(2.5))),
        (2.6, Input::SpeechStarted { id: 1 }),
        (3.4, Input::SpeechEnded { id: 1, cut: false }),
        (4.0, state(&[("ias_kt", 81.25)])),
        (4.1, Input::Tick),
        (6.0, state(&[("vertical_speed_fpm", 900.0)])),
        (7.0, gear_up(t(7.0))),
        (7.1, Input::SetResult { request: 1, failed: None }),
        (30.0, state(&[("ias_kt", 190.0)])),
    ]
}

/// A whole journal, with line ends.
pub fn session() -> String {
    write(&inputs(), &mut Toy::default())
}

/// Runs `inputs` through `engine` and writes the journal.
pub fn write(inputs: &[(f64, Input)], engine: &mut dyn Engine) -> String {
    let (mut rec, mut out) = Recorder::begin(&header()).unwrap();
    out.push('\n');
    let mut last = (SessionTime::ZERO, SimTime::ZERO);
    for (s, input) in inputs {
        last = (SessionTime::from_secs(*s), SimTime::from_secs(*s * 2.0));
        let mut lines = vec![rec.input(last.0, last.1, input).unwrap()];
        let step = engine.handle(last.0, last.1, input);
        lines.extend(rec.step(last.0, last.1, &step).unwrap());
        for l in lines {
            out.push_str(&l);
            out.push('\n');
        }
    }
    let measured = [("decision_ms".to_string(), Value::Number(3.25))].into();
    out.push_str(&rec.measured(last.0, last.1, &measured).unwrap());
    out.push('\n');
    out.push_str(&rec.end(last.0, last.1));
    out.push('\n');
    out
}
