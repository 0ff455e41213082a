//! Buttons of a controller, from the press to the ear and to what the second pilot says. The session's clock is in the
//! test's hand.

use crate::sessions::{Memory, book, header};
use antiphon::core::crew::Crew;
use antiphon::core::crew::io::Arrangement;
use antiphon::core::gate::{self, Event, Gate, Utterance, Why};
use antiphon::core::grammar::CallSet;
use antiphon::core::journal::{Outcome, read, replay};
use antiphon::core::sim::Aircraft;
use antiphon::core::time::{SessionTime, Wake};
use antiphon::edge::app::{App, EarNews, Ears, Line, News, Outside, Pace, Parts, Side, SoundEar};
use antiphon::edge::buttons::{Button, Does, Hands, On, PadEvent, Pads, Place, watch};
use antiphon::edge::link::BuiltIn;
use antiphon::edge::speaker::Silent;
use antiphon::edge::store::JournalFile;
use std::collections::BTreeMap;
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// Samples of the gate's frames.
const FRAME: usize = 512;

/// An ear that understands nothing: it only keeps what the gate lets through.
struct Doorkeeper {
    gate: Gate,
    rest: Vec<f32>,
    through: Arc<Mutex<Vec<Utterance>>>,
}

impl Doorkeeper {
    fn keep(&self, events: impl IntoIterator<Item = Event>) -> Vec<EarNews> {
        let ended = |e| if let Event::Ended(u) = e { Some(u) } else { None };
        self.through.lock().expect("plain data").extend(events.into_iter().filter_map(ended));
        Vec::new()
    }
}

impl SoundEar for Doorkeeper {
    fn listen(&mut self, _revision: u32, _live: &CallSet, _due: &CallSet) {}

    fn feed(&mut self, samples: &[f32]) -> Vec<EarNews> {
        self.rest.extend_from_slice(samples);
        while self.rest.len() >= FRAME {
            let frame: Vec<f32> = self.rest.drain(..FRAME).collect();
            let speech = if frame.iter().any(|s| s.abs() > 0.05) { 1.0 } else { 0.0 };
            let events = self.gate.frame(&frame, speech);
            self.keep(events);
        }
        Vec::new()
    }

    fn push(&mut self, held: bool) -> Vec<EarNews> {
        let event = self.gate.push(held);
        self.keep(event)
    }

    fn unplug(&mut self) -> Vec<EarNews> {
        let event = self.gate.unplug();
        self.keep(event)
    }
}

/// A yoke in the test's hand.
struct Yoke(Receiver<PadEvent>);

impl Pads for Yoke {
    fn next(&mut self, limit: Duration) -> Option<PadEvent> {
        self.0.recv_timeout(limit).ok()
    }
    fn names(&self) -> Vec<String> {
        vec!["Yoke".into()]
    }
}

fn talk() -> Place {
    ("Yoke".into(), 7)
}

/// What the second pilot said (true) and what the terminal told.
type Lines = Arc<Mutex<Vec<(bool, String)>>>;

/// Flies until told to stop; the journal.
fn fly(through: Arc<Mutex<Vec<Utterance>>>, lines: Lines, sound: Vec<f32>, outside: Receiver<News>) -> Vec<u8> {
    let book = book("saltmarsh-t2");
    let memory = Memory::default();
    let ear = Doorkeeper { gate: Gate::new(gate::Settings::default()), rest: Vec::new(), through };
    let parts = Parts {
        engine: Box::new(Crew::new(book.clone())),
        book: book.clone(),
        link: Box::new(BuiltIn::new(Aircraft::named(&book.aircraft, 1).expect("known"), SessionTime::ZERO)),
        ears: Ears::Sound(Box::new(ear)),
        speaker: Box::new(Silent),
        pilot: None,
        captain: None,
        noise: None,
        recording: Some(sound.into()),
        recorder: None,
        journal: JournalFile::to(memory.clone(), "memory", &header(&book)).expect("begins"),
        pace: Pace::Told,
        outside: Outside(Some(outside)),
        told: Box::new(move |line: &Line| {
            let crew = matches!(line.side, Side::Crew(_));
            lines.lock().expect("plain data").push((crew, line.text.clone()));
        }),
        watcher: None,
        until: None,
        ends_in: Vec::new(),
    };
    let app = App::new(parts, SessionTime::ZERO, Wake::default());
    app.run(Arrangement::default(), None, BTreeMap::new()).expect("runs");
    let journal = read(&memory.bytes()).expect("a journal");
    let again = replay(&journal, &mut Crew::new(book));
    assert!(matches!(again, Outcome::Same { .. }), "{again:?}");
    memory.bytes()
}

/// A flight with a recording of the pilot and a yoke.
struct Session {
    news: Sender<News>,
    yoke: Sender<PadEvent>,
    told: Receiver<()>,
    through: Arc<Mutex<Vec<Utterance>>>,
    lines: Lines,
    thread: JoinHandle<Vec<u8>>,
}

impl Session {
    /// The pilot speaks from and to these seconds.
    fn begin(words: &[(f64, f64)]) -> Session {
        let rate = f64::from(gate::RATE);
        let mut sound: Vec<f32> = (0..12 * gate::RATE).map(|i| 0.001 * (i as f32 * 0.7).sin()).collect();
        for (from, to) in words {
            for (i, s) in sound.iter_mut().enumerate().take((to * rate) as usize).skip((from * rate) as usize) {
                *s = 0.3 * (i as f32 * 0.05).sin();
            }
        }
        let (news, outside) = mpsc::channel();
        let (yoke, presses) = mpsc::channel();
        let (tick, told) = mpsc::channel();
        let hands =
            Hands::new(&[Button { does: Does::Talk, on: On::Controller { controller: talk().0, button: talk().1 } }]);
        let to = news.clone();
        let tell = move |told: antiphon::edge::buttons::Told| to.send(told.into()).is_ok() && tick.send(()).is_ok();
        watch(|| Some(Box::new(Yoke(presses))), hands, tell).expect("a thread");
        let through = Arc::new(Mutex::new(Vec::new()));
        let lines = Arc::new(Mutex::new(Vec::new()));
        let (kept, shown) = (through.clone(), lines.clone());
        let thread = std::thread::spawn(move || fly(kept, shown, sound, outside));
        Session { news, yoke, told, through, lines, thread }
    }

    /// The clock goes on to this, s.
    fn at(&self, seconds: f64) {
        self.news.send(News::Clock(SessionTime::from_secs(seconds))).expect("it runs");
    }

    /// Something happens on the yoke, and the session is told so often.
    fn yoke(&self, event: PadEvent, times: usize) {
        self.yoke.send(event).expect("watched");
        for _ in 0..times {
            self.told.recv_timeout(Duration::from_secs(30)).expect("told");
        }
    }
}

#[test]
fn a_controller_unplugged_while_its_button_is_held_releases_it_and_is_told_once() {
    // A word over which the plug is pulled, one without any button, one with the button of the yoke that is back, and one
    // that nobody meant for us.
    let session = Session::begin(&[(1.0, 2.4), (5.0, 6.0), (8.0, 9.0), (10.0, 11.0)]);
    session.at(0.8);
    session.yoke(PadEvent::Down(talk()), 1);
    session.at(2.0);
    session.yoke(PadEvent::Gone("Yoke".into()), 2);
    session.yoke(PadEvent::Gone("Yoke".into()), 0);
    session.at(7.0);
    session.yoke(PadEvent::Here("Yoke".into()), 1);
    session.at(7.9);
    session.yoke(PadEvent::Down(talk()), 1);
    session.at(9.2);
    session.yoke(PadEvent::Up(talk()), 1);
    session.at(12.0);
    session.news.send(News::Stop).expect("it runs");
    let journal = String::from_utf8(session.thread.join().expect("ends in order")).expect("text");

    let through = session.through.lock().expect("plain data").clone();
    let seen: Vec<(bool, Why)> = through.iter().map(|u| (u.pushed, u.why)).collect();
    assert_eq!(seen, [(true, Why::Released), (false, Why::Silence), (true, Why::Released)], "{through:#?}");
    let at = |u: &Utterance| u.at as f64 / f64::from(gate::RATE);
    // What is listened to after a release: docs/audio.md.
    assert!((2.0..2.9).contains(&at(&through[0])), "{through:#?}");
    let lines = session.lines.lock().expect("plain data").clone();
    let times = |crew: bool, text: &str| lines.iter().filter(|l| l.0 == crew && l.1.contains(text)).count();
    for (crew, text) in [
        (false, "Yoke is gone, and with it your button: the microphone is open; plug it in again"),
        (true, "I have lost your button. The microphone is open"),
        (false, "Yoke is there again, and your button with it"),
        (true, "I have your button again"),
    ] {
        assert_eq!(times(crew, text), 1, "{text}: {lines:#?}");
    }
    assert_eq!(journal.matches(r#""device":"controller""#).count(), 2, "{journal}");
}
