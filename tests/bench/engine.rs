//! The engine's tick, a replay, the built-in aircraft's speed: `cargo bench --bench engine`.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a bench reads files"
)]

use antiphon::core::aircraft::Value;
use antiphon::core::book::Book;
use antiphon::core::crew::Crew;
use antiphon::core::crew::io::{Arrangement, Engine, Input};
use antiphon::core::journal::{BookMark, Header, Recorder, VERSION, read, replay};
use antiphon::core::sim::{Aircraft, Place, Setup};
use antiphon::core::time::{SessionTime, SimTime};
use antiphon::edge::store::{Places, load_book};
use divan::{Bencher, black_box};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

fn main() {
    divan::main();
}

const BOOKS: &[&str] = &["saltmarsh-t2", "saltmarsh-t4"];

/// The books of the list that are there.
fn books() -> Vec<&'static str> {
    let shelf = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks");
    BOOKS.iter().copied().filter(|b| shelf.join(b).is_dir()).collect()
}

fn book(name: &str) -> Arc<Book> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks").join(name);
    Arc::new(load_book(&Places::default(), &path).expect("the shipped book loads").0)
}

/// The roll and the first climb as the built-in aircraft flies them, one input a frame.
struct Roll {
    crew: Crew,
    aircraft: Aircraft,
    at: SessionTime,
    sent: BTreeMap<String, Value>,
}

impl Roll {
    fn new(book: Arc<Book>) -> Roll {
        let mut aircraft = Aircraft::named(&book.aircraft, 1).expect("a built-in aircraft");
        let setup = Setup { place: Place::LinedUp, ..aircraft.usual() };
        aircraft.place(&setup);
        for k in 1..=4 {
            let _ = aircraft.set(&format!("thrust_lever_{k}_pct"), &Value::Number(86.0));
        }
        let _ = aircraft.set("parking_brake", &Value::Bool(false));
        let phase = book.phase("takeoff_roll").map(|_| "takeoff_roll".to_string());
        let mut crew = Crew::new(book);
        let begin = Input::Begin { arrangement: Arrangement::default(), phase, sheet: BTreeMap::new() };
        crew.handle(SessionTime::ZERO, SimTime::ZERO, &begin);
        Roll { crew, aircraft, at: SessionTime::ZERO, sent: BTreeMap::new() }
    }

    /// The next frame's input: what has changed.
    fn next(&mut self) -> (SessionTime, Input) {
        self.aircraft.step();
        self.at = self.at.plus(1.0 / 60.0);
        let now = self.aircraft.read();
        let delta = now.iter().filter(|(k, v)| self.sent.get(*k) != Some(*v));
        let delta = delta.map(|(k, v)| (k.clone(), Some(v.clone()))).collect();
        self.sent = now;
        (self.at, Input::State { delta })
    }
}

/// One tick of the engine with a frame's changes at 60 a second, callouts, limits and comparisons armed.
#[divan::bench(args = books(), sample_count = 2000, sample_size = 1)]
fn a_state_at_sixty_hertz(bencher: Bencher, name: &str) {
    let mut roll = Roll::new(book(name));
    let (mut inputs, mut n) = (Vec::new(), 0usize);
    for _ in 0..2400 {
        inputs.push(roll.next());
    }
    let mut crew = Roll::new(book(name)).crew;
    bencher.bench_local(|| {
        let (at, input) = &inputs[n % inputs.len()];
        let round = (n / inputs.len()) as f64 * 40.0;
        n += 1;
        let at = at.plus(round);
        black_box(crew.handle(at, SimTime(at.0), input))
    });
}

/// One tick in which nothing has changed.
#[divan::bench(args = books(), sample_count = 2000, sample_size = 4)]
fn a_tick_without_news(bencher: Bencher, name: &str) {
    let mut roll = Roll::new(book(name));
    for _ in 0..600 {
        let (at, input) = roll.next();
        roll.crew.handle(at, SimTime(at.0), &input);
    }
    let mut at = roll.at;
    bencher.bench_local(|| {
        at = at.plus(1.0 / 60.0);
        black_box(roll.crew.handle(at, SimTime(at.0), &Input::Tick))
    });
}

/// Two hours at 20 states a second through a fresh engine, outputs compared.
#[divan::bench(sample_count = 1, sample_size = 1)]
fn two_hours_replayed(bencher: Bencher) {
    let book = book("saltmarsh-t2");
    let header = Header {
        antiphon_journal: VERSION,
        program: "bench".into(),
        book: BookMark { id: book.id.clone(), hash: book.hash.clone(), path: String::new() },
        models: Vec::new(),
        settings: BTreeMap::new(),
        seed: 1,
        started: String::new(),
    };
    let (mut recorder, first) = Recorder::begin(&header).expect("begins");
    let (mut text, mut crew) = (first + "\n", Crew::new(book.clone()));
    let mut aircraft = Aircraft::named(&book.aircraft, 1).expect("an aircraft");
    let setup = Setup { place: Place::Cruise, ..aircraft.usual() };
    aircraft.place(&setup);
    let mut sent = BTreeMap::new();
    let mut put = |at: SessionTime, input: &Input| {
        let sim = SimTime(at.0);
        text += &(recorder.input(at, sim, input).expect("finite") + "\n");
        for line in recorder.step(at, sim, &crew.handle(at, sim, input)).expect("finite") {
            text += &(line + "\n");
        }
    };
    let phase = book.phase("cruise").map(|_| "cruise".to_string());
    let begin = Input::Begin { arrangement: Arrangement::default(), phase, sheet: BTreeMap::new() };
    put(SessionTime::ZERO, &begin);
    for n in 0..2 * 3600 * 20 {
        (0..3).for_each(|_| aircraft.step());
        let round = |v: Value| if let Value::Number(n) = v { Value::Number((n * 100.0).round() / 100.0) } else { v };
        let now: BTreeMap<String, Value> = aircraft.read().into_iter().map(|(k, v)| (k, round(v))).collect();
        let delta = now.iter().filter(|(k, v)| sent.get(*k) != Some(*v));
        let delta = delta.map(|(k, v)| (k.clone(), Some(v.clone()))).collect();
        sent = now;
        put(SessionTime::from_secs(f64::from(n + 1) / 20.0), &Input::State { delta });
    }
    let bytes = text.into_bytes();
    bencher.bench_local(|| {
        let journal = read(&bytes).expect("a journal");
        black_box(replay(&journal, &mut Crew::new(book.clone())))
    });
}

/// A minute of the aircraft's own time in cruise: 3,600 steps.
#[divan::bench(args = ["tarn-t2", "tarn-t4"], sample_count = 5, sample_size = 1)]
fn a_minute_of_the_aircraft(bencher: Bencher, name: &str) {
    let mut aircraft = Aircraft::named(name, 1).expect("a built-in aircraft");
    let setup = Setup { place: Place::Cruise, ..aircraft.usual() };
    aircraft.place(&setup);
    bencher.bench_local(|| {
        (0..3600).for_each(|_| aircraft.step());
        black_box(aircraft.read())
    });
}
