//! The life of a link in the middle of a takeoff: what is said, and above all what is not said.
//!
//! The book is the one of the oracle's tests; the simulator is this file, by the link protocol.

use crate::link::Sim;
use crate::sessions::{Memory, header, root};
use antiphon::core::book::Book;
use antiphon::core::crew::Crew;
use antiphon::core::crew::io::Arrangement;
use antiphon::core::journal::{Outcome, read, replay};
use antiphon::core::time::{SessionTime, Wake};
use antiphon::edge::app::{App, Ears, Line, News, Outside, Pace, Parts, Report, Side};
use antiphon::edge::link::{LinkNews, tcp};
use antiphon::edge::speaker::Silent;
use antiphon::edge::store::{JournalFile, Places, load_book};
use std::collections::BTreeMap;
use std::net::TcpListener;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Sender};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

const LOST: &str = "I have lost sight of the aircraft. I can see nothing and move nothing";
const BACK: &str = "I see the aircraft again";

type Said = Arc<Mutex<Vec<(Instant, String)>>>;

/// A session under way, in a thread of its own.
struct Session {
    said: Said,
    news: Sender<News>,
    thread: JoinHandle<Report>,
}

fn book() -> Arc<Book> {
    Arc::new(load_book(&Places::here(None), &root().join("tests/link/book")).expect("the book loads").0)
}

impl Session {
    /// Attached to whatever listens; `planted` may panic in the link's own thread.
    fn attached(listener: &TcpListener, planted: impl Fn(&LinkNews) + Send + 'static) -> Session {
        let address = listener.local_addr().expect("bound").to_string();
        let said = Said::default();
        let (heard, (news, outside)) = (said.clone(), mpsc::channel());
        let tell = news.clone();
        let thread = std::thread::spawn(move || {
            let book = book();
            let known = book.signals.iter().map(|s| (s.id.clone(), s.kind.clone())).collect();
            let tell = Box::new(move |n: LinkNews| {
                planted(&n);
                tell.send(News::Link(n)).is_ok()
            });
            let memory = Memory::default();
            let parts = Parts {
                engine: Box::new(Crew::new(book.clone())),
                book: book.clone(),
                link: Box::new(tcp::connect(&address, known, SessionTime::ZERO, tell)),
                ears: Ears::Typed,
                speaker: Box::new(Silent),
                pilot: None,
                captain: None,
                noise: None,
                recording: None,
                recorder: None,
                journal: JournalFile::to(memory.clone(), "memory", &header(&book)).expect("begins"),
                watcher: None,
                pace: Pace::Live,
                outside: Outside(Some(outside)),
                told: Box::new(move |line: &Line| {
                    if matches!(line.side, Side::Crew(_)) {
                        heard.lock().expect("plain data").push((Instant::now(), line.text.clone()));
                    }
                }),
                until: Some(SessionTime::from_secs(60.0)),
                ends_in: Vec::new(),
            };
            let app = App::new(parts, SessionTime::ZERO, Wake::default());
            let report = app.run(Arrangement::default(), None, BTreeMap::new()).expect("runs");
            let journal = read(&memory.bytes()).expect("a journal");
            let again = replay(&journal, &mut Crew::new(book));
            assert!(matches!(again, Outcome::Same { .. }), "{again:?}");
            report
        });
        Session { said, news, thread }
    }

    /// Ends it; all that was said, and the report.
    fn end(self) -> (Vec<(Instant, String)>, Report) {
        let _ = self.news.send(News::Stop);
        let report = self.thread.join().expect("the session ends in order");
        let said = self.said.lock().expect("plain data").clone();
        (said, report)
    }
}

/// An aircraft that rolls along a runway, accelerating.
struct Roll {
    sim: Sim,
    time_s: f64,
    kt: f64,
    on_ground: bool,
    /// Simulator's seconds in a real one.
    rate: f64,
    seq: u64,
    gear: &'static str,
    /// Whether a set moves anything.
    jammed: bool,
}

const HELLO: &str = r#"{"type":"hello","protocol":1,"program":"toy"}"#;
const DESCRIBE: &str = r#"{"type":"describe","signals":{"ias_kt":{},"on_ground":{},"radio_height_ft":{},"vertical_speed_fpm":{},"gear_position":{},"gear_lever":{"settable":true}}}"#;
/// States are so far apart, real time.
const EVERY: Duration = Duration::from_millis(50);

impl Roll {
    fn begin(listener: &TcpListener, time_s: f64, kt: f64) -> Roll {
        let mut sim = Sim::accept(listener);
        sim.send(HELLO);
        sim.send(DESCRIBE);
        Roll { sim, time_s, kt, on_ground: true, rate: 1.0, seq: 0, gear: "down", jammed: false }
    }

    /// Answers pings and sets.
    fn answer(&mut self) {
        while let Ok(line) = self.sim.lines.try_recv() {
            let m: serde_json::Value = serde_json::from_str(&line).expect("JSON");
            if m["type"] == "ping" {
                self.sim.send(&format!(r#"{{"type":"pong","n":{}}}"#, m["n"]));
            } else if m["type"] == "set" {
                if !self.jammed && m["control"] == "gear_lever" {
                    self.gear = if m["value"] == "up" { "up" } else { "down" };
                }
                self.sim.send(&format!(r#"{{"type":"result","id":{},"ok":true}}"#, m["id"]));
            }
        }
    }

    fn state(&mut self) {
        self.seq += 1;
        let (height, climb) = if self.on_ground { (0, 0) } else { (2000, 0) };
        self.sim.send(&format!(
            r#"{{"type":"state","time_s":{},"seq":{},"values":{{"ias_kt":{},"on_ground":{},"radio_height_ft":{height},"vertical_speed_fpm":{climb},"gear_position":"{}","gear_lever":"{}"}}}}"#,
            self.time_s, self.seq, self.kt, self.on_ground, self.gear, self.gear
        ));
    }

    /// Rolls until `kt`, with `kt_s` knots more each second; the moment at which `mark` was passed.
    fn to(&mut self, kt: f64, kt_s: f64, mark: f64) -> Option<Instant> {
        let (begun, time_s, from) = (Instant::now(), self.time_s, self.kt);
        let mut next = begun;
        while self.kt < kt {
            self.answer();
            self.state();
            next += EVERY;
            std::thread::sleep(next.saturating_duration_since(Instant::now()));
            let gone = begun.elapsed().as_secs_f64() * self.rate;
            (self.time_s, self.kt) = (time_s + gone, from + kt_s * gone);
        }
        (mark > from).then(|| begun + Duration::from_secs_f64((mark - from) / kt_s / self.rate))
    }

    /// The clock stands; pings are answered.
    fn stand(&mut self, seconds: f64) {
        let end = Instant::now() + Duration::from_secs_f64(seconds);
        while Instant::now() < end {
            self.answer();
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

fn listener() -> TcpListener {
    TcpListener::bind("127.0.0.1:0").expect("a port")
}

fn words(said: &[(Instant, String)]) -> Vec<&str> {
    said.iter().map(|(_, t)| t.as_str()).collect()
}

/// Holds a callout against its moment: late by less than 120 ms, early by less than 50, in the simulator's time.
fn timely(said: &[(Instant, String)], text: &str, due: Instant, rate: f64) {
    let (at, _) = said.iter().find(|(_, t)| t == text).unwrap_or_else(|| panic!("{text}: {:?}", words(said)));
    let late =
        (at.saturating_duration_since(due).as_secs_f64() - due.saturating_duration_since(*at).as_secs_f64()) * rate;
    // In simulator time, to either side; at four times the speed one frame of the loop is 67 ms of it.
    assert!(late.abs() <= 0.12, "{text} came {late:+.3} s late");
}

#[test]
fn a_dropped_link_is_spoken_once_and_what_was_missed_is_not_called() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 10.0, 70.0);
    let due = roll.to(95.0, 10.0, 80.0).expect("passed");
    drop(roll);
    std::thread::sleep(Duration::from_millis(300));
    // Back beyond V1 and rotation.
    let mut roll = Roll::begin(&listener, 17.0, 150.0);
    roll.to(210.0, 10.0, 0.0);
    let (said, report) = session.end();
    assert_eq!(words(&said), ["Speed check", LOST, BACK]);
    timely(&said, "Speed check", due, 1.0);
    assert!(report.faults.is_empty(), "{:?}", report.faults);
}

#[test]
fn a_simulator_that_begins_again_in_the_takeoff_is_flown_again() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 40.0, 70.0);
    roll.to(100.0, 10.0, 0.0);
    drop(roll);
    std::thread::sleep(Duration::from_millis(100));
    let mut roll = Roll::begin(&listener, 0.0, 90.0);
    roll.stand(0.2);
    let due = roll.to(160.0, 6.0, 135.0).expect("passed");
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check", LOST, BACK, "V one", "Rotate"]);
    timely(&said, "Rotate", due, 1.0);
}

#[test]
fn a_pause_before_a_mark_holds_the_call_back() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 72.0);
    roll.to(78.5, 5.0, 0.0);
    // Forty milliseconds before the mark, which is foreseen by now.
    (roll.time_s, roll.kt) = (roll.time_s + (79.8 - roll.kt) / 5.0, 79.8);
    roll.state();
    roll.sim.send(r#"{"type":"pause","paused":true}"#);
    roll.stand(2.5);
    assert!(session.said.lock().expect("plain data").is_empty(), "nothing is passed while the clock stands");
    roll.sim.send(r#"{"type":"pause","paused":false}"#);
    let due = roll.to(95.0, 5.0, 80.0).expect("passed");
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check"]);
    timely(&said, "Speed check", due, 1.0);
}

#[test]
fn at_four_times_the_speed_calls_come_at_their_values() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.sim.send(r#"{"type":"rate","rate":4}"#);
    roll.rate = 4.0;
    let check = roll.to(110.0, 2.0, 80.0).expect("passed");
    let rotate = roll.to(145.0, 2.0, 135.0).expect("passed");
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check", "V one", "Rotate"]);
    timely(&said, "Speed check", check, 4.0);
    timely(&said, "Rotate", rotate, 4.0);
}

#[test]
fn a_reposition_is_not_called_out() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.to(70.0, 10.0, 0.0);
    roll.sim.send(r#"{"type":"reposition"}"#);
    (roll.kt, roll.on_ground) = (140.0, false);
    roll.to(160.0, 10.0, 0.0);
    let (said, _) = session.end();
    assert_eq!(words(&said), Vec::<&str>::new());
}

#[test]
fn what_passed_while_no_state_came_is_not_called() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.to(95.0, 10.0, 0.0);
    // The connection lives, and no state comes for three seconds.
    roll.stand(3.0);
    (roll.time_s, roll.kt) = (roll.time_s + 3.0, 145.0);
    roll.to(160.0, 10.0, 0.0);
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check"]);
}

#[test]
fn garbage_and_a_flood_do_not_spoil_a_takeoff() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 70.0);
    let check = roll.to(90.0, 8.0, 80.0).expect("passed");
    for i in 0..3000 {
        roll.sim.send(&format!("{{\"type\":\"state\",\"time_s\":NaN,{i}"));
        roll.sim.send(r#"{"type":"state","time_s":1,"values":{"ias_kt":"fast","rivets":12}}"#);
    }
    roll.sim.send(&"[".repeat(90_000));
    let rotate = roll.to(150.0, 8.0, 135.0).expect("passed");
    let (said, report) = session.end();
    assert_eq!(words(&said), ["Speed check", "V one", "Rotate"]);
    timely(&said, "Speed check", check, 1.0);
    timely(&said, "Rotate", rotate, 1.0);
    let told = |part: &str| report.lines.iter().filter(|l| l.text.contains(part)).count();
    assert_eq!((told("not a message"), told("does not fit"), told("too long")), (1, 1, 1), "{:#?}", report.lines);
}

#[test]
fn a_set_that_moves_nothing_is_spoken() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 140.0);
    (roll.on_ground, roll.jammed) = (false, true);
    roll.to(143.0, 10.0, 0.0);
    session.news.send(News::Typed("gear up".into())).expect("listens");
    roll.to(205.0, 10.0, 0.0);
    let (said, report) = session.end();
    assert_eq!(words(&said), ["Gear up", "No movement, gear"]);
    assert!(report.not_done.iter().any(|(_, why)| why.contains("nothing changed")), "{:?}", report.not_done);
}

#[test]
fn a_panic_in_the_link_is_told_and_the_takeoff_goes_on() {
    let listener = listener();
    let planted = AtomicBool::new(false);
    let session = Session::attached(&listener, move |n| {
        let now = matches!(n, LinkNews::Frame { .. }) && !planted.swap(true, Ordering::Relaxed);
        assert!(!now, "planted: the link's thread breaks down over its first state");
    });
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.state();
    let mut roll = Roll::begin(&listener, 0.0, 65.0);
    let due = roll.to(95.0, 5.0, 80.0).expect("passed");
    let (said, report) = session.end();
    timely(&said, "Speed check", due, 1.0);
    assert_eq!(report.faults, ["the link stopped over something it heard; it connects anew"]);
}
