//! The life of a link in the middle of a takeoff: what is said, and above all what is not said.
//!
//! The book is the one of the oracle's tests; the simulator is this file, by the link protocol over a real socket. The
//! session's clock is in the test's hand and goes on only when the session has taken in what was sent: no wait here
//! decides anything, and moments are exact however busy the machine is.

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
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

const LOST: &str = "I have lost sight of the aircraft. I can see nothing and move nothing";
const BACK: &str = "I see the aircraft again";
/// Whatever is waited for comes at once on an idle machine.
const PATIENCE: Duration = Duration::from_secs(30);

type Said = Arc<Mutex<Vec<(f64, String)>>>;

/// A session under way, in a thread of its own.
struct Session {
    said: Said,
    news: Sender<News>,
    /// What the link has told the session, in order.
    told: Receiver<LinkNews>,
    /// The session's clock, s.
    now_s: f64,
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
        let (heard, (news, outside), (copy, told)) = (said.clone(), mpsc::channel(), mpsc::channel());
        let tell = news.clone();
        let thread = std::thread::spawn(move || {
            let book = book();
            let known = book.signals.iter().map(|s| (s.id.clone(), s.kind.clone())).collect();
            let tell = Box::new(move |n: LinkNews| {
                planted(&n);
                // How long a ping takes on this machine has no place on the session's clock.
                let sent = matches!(n, LinkNews::Delay(_)) || tell.send(News::Link(n.clone())).is_ok();
                let _ = copy.send(n);
                sent
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
                pace: Pace::Told,
                outside: Outside(Some(outside)),
                told: Box::new(move |line: &Line| {
                    if matches!(line.side, Side::Crew(_)) {
                        heard.lock().expect("plain data").push((line.at.secs(), line.text.clone()));
                    }
                }),
                until: None,
                ends_in: Vec::new(),
            };
            let app = App::new(parts, SessionTime::ZERO, Wake::default());
            let report = app.run(Arrangement::default(), None, BTreeMap::new()).expect("runs");
            let journal = read(&memory.bytes()).expect("a journal");
            let again = replay(&journal, &mut Crew::new(book));
            assert!(matches!(again, Outcome::Same { .. }), "{again:?}");
            report
        });
        Session { said, news, told, now_s: 0.0, thread }
    }

    /// The clock goes on.
    fn pass(&mut self, seconds: f64) {
        self.now_s += seconds;
        self.news.send(News::Clock(SessionTime::from_secs(self.now_s))).expect("it runs");
    }

    /// Waits until the link has told the session something.
    fn until(&self, wanted: impl Fn(&LinkNews) -> bool) {
        let mut heard = Vec::new();
        loop {
            match self.told.recv_timeout(PATIENCE) {
                Ok(news) if wanted(&news) => return,
                Ok(news) => heard.push(news),
                Err(_) => panic!("never told; told {heard:#?}"),
            }
        }
    }

    fn lost(&self) {
        self.until(|n| matches!(n, LinkNews::Down { .. }));
    }

    fn said(&self) -> Vec<String> {
        self.said.lock().expect("plain data").iter().map(|(_, t)| t.clone()).collect()
    }

    /// Ends it; all that was said, with the session's time, and the report.
    fn end(self) -> (Vec<(f64, String)>, Report) {
        self.news.send(News::Stop).expect("it runs");
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
    /// Simulator's seconds in one of the session's.
    rate: f64,
    /// States are so far apart, s of the session.
    every_s: f64,
    /// A state is late by so much, s, and by up to so much more.
    lag_s: f64,
    jitter_s: f64,
    seq: u64,
    gear: &'static str,
    /// Whether a set moves anything.
    jammed: bool,
}

const HELLO: &str = r#"{"type":"hello","protocol":1,"program":"toy"}"#;
const DESCRIBE: &str = r#"{"type":"describe","signals":{"ias_kt":{},"on_ground":{},"radio_height_ft":{},"vertical_speed_fpm":{},"gear_position":{},"gear_lever":{"settable":true}}}"#;

impl Roll {
    fn begin(listener: &TcpListener, time_s: f64, kt: f64) -> Roll {
        let mut sim = Sim::accept(listener);
        sim.send(HELLO);
        sim.send(DESCRIBE);
        let (on_ground, gear) = (true, "down");
        let (rate, every_s, lag_s, jitter_s) = (1.0, 0.05, 0.0, 0.0);
        Roll { sim, time_s, kt, on_ground, rate, every_s, lag_s, jitter_s, seq: 0, gear, jammed: false }
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

    /// Sends a state, which the session has when this returns.
    fn state(&mut self, session: &Session) {
        self.answer();
        self.seq += 1;
        let (height, climb) = if self.on_ground { (0, 0) } else { (2000, 0) };
        self.sim.send(&format!(
            r#"{{"type":"state","time_s":{},"seq":{},"values":{{"ias_kt":{},"on_ground":{},"radio_height_ft":{height},"vertical_speed_fpm":{climb},"gear_position":"{}","gear_lever":"{}"}}}}"#,
            self.time_s, self.seq, self.kt, self.on_ground, self.gear, self.gear
        ));
        session.until(|n| matches!(n, LinkNews::Frame { time_s, .. } if *time_s == self.time_s));
    }

    /// How late the next state is, s; another for each, the same in each run.
    fn late_s(&self) -> f64 {
        let part = self.seq as f64 * 0.754_877_666;
        self.lag_s + self.jitter_s * (part - part.floor())
    }

    /// Rolls until `kt`, with `kt_s` knots more each second of its own; when `mark` was passed, s of the session.
    fn to(&mut self, session: &mut Session, kt: f64, kt_s: f64, mark: f64) -> Option<f64> {
        let (begun_s, from) = (session.now_s, self.kt);
        let mut at_s = begun_s;
        while self.kt < kt {
            session.pass((at_s + self.late_s() - session.now_s).max(0.0));
            self.state(session);
            at_s += self.every_s;
            session.pass((at_s - session.now_s).max(0.0));
            self.time_s += self.every_s * self.rate;
            self.kt += kt_s * self.every_s * self.rate;
        }
        (mark > from).then(|| begun_s + (mark - from) / kt_s / self.rate)
    }

    /// Whether the session has heard what became of a set; looks for a moment.
    fn took(&self, session: &Session) -> bool {
        std::iter::from_fn(|| session.told.recv_timeout(Duration::from_millis(20)).ok())
            .any(|n| matches!(n, LinkNews::Result { .. }))
    }

    /// No state comes; pings are answered.
    fn stand(&mut self, session: &mut Session, seconds: f64) {
        for _ in 0..(seconds / 0.02) as usize {
            self.answer();
            session.pass(0.02);
        }
    }
}

fn listener() -> TcpListener {
    TcpListener::bind("127.0.0.1:0").expect("a port")
}

fn words(said: &[(f64, String)]) -> Vec<&str> {
    said.iter().map(|(_, t)| t.as_str()).collect()
}

/// Holds a callout against its moment, in the simulator's time: s late, early is less than nothing.
fn timely(said: &[(f64, String)], text: &str, due_s: f64, rate: f64, within_s: f64) {
    let (at, _) = said.iter().find(|(_, t)| t == text).unwrap_or_else(|| panic!("{text}: {:?}", words(said)));
    let late = (at - due_s) * rate;
    println!("{text}: {late:+.4} s");
    assert!(late.abs() <= within_s, "{text} came {late:+.3} s late");
}

#[test]
fn a_dropped_link_is_spoken_once_and_what_was_missed_is_not_called() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 10.0, 70.0);
    let due = roll.to(&mut session, 95.0, 10.0, 80.0).expect("passed");
    drop(roll);
    session.lost();
    session.pass(3.0);
    // Back beyond V1 and rotation.
    let mut roll = Roll::begin(&listener, 17.0, 150.0);
    roll.to(&mut session, 210.0, 10.0, 0.0);
    let (said, report) = session.end();
    assert_eq!(words(&said), ["Speed check", LOST, BACK]);
    timely(&said, "Speed check", due, 1.0, 0.005);
    assert!(report.faults.is_empty(), "{:?}", report.faults);
}

#[test]
fn a_simulator_that_begins_again_in_the_takeoff_is_flown_again() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 40.0, 70.0);
    roll.to(&mut session, 100.0, 10.0, 0.0);
    drop(roll);
    session.lost();
    session.pass(3.0);
    let mut roll = Roll::begin(&listener, 0.0, 90.0);
    let due = roll.to(&mut session, 160.0, 6.0, 135.0).expect("passed");
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check", LOST, BACK, "V one", "Rotate"]);
    timely(&said, "Rotate", due, 1.0, 0.005);
}

#[test]
fn a_simulator_that_begins_again_on_the_runway_gets_all_its_calls_again() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 40.0, 70.0);
    roll.to(&mut session, 140.0, 10.0, 0.0);
    drop(roll);
    session.lost();
    session.pass(20.0);
    let mut roll = Roll::begin(&listener, 0.0, 0.0);
    let due = roll.to(&mut session, 145.0, 8.0, 80.0).expect("passed");
    let (mut said, _) = session.end();
    assert_eq!(words(&said), ["Speed check", "V one", "Rotate", LOST, BACK, "Speed check", "V one", "Rotate"]);
    timely(&said.split_off(4), "Speed check", due, 1.0, 0.005);
}

#[test]
fn what_was_called_before_the_link_dropped_is_not_called_again() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 70.0);
    roll.to(&mut session, 90.0, 10.0, 0.0);
    drop(roll);
    session.lost();
    session.pass(3.0);
    // The same simulator: its clock has gone on.
    let mut roll = Roll::begin(&listener, 5.0, 75.0);
    roll.to(&mut session, 100.0, 10.0, 0.0);
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check", LOST, BACK]);
}

#[test]
fn a_slew_is_not_called_out_and_the_roll_after_it_is() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.to(&mut session, 90.0, 10.0, 0.0);
    // The clock stands while the aircraft is dragged through every mark and back; nobody says that it is repositioned.
    roll.sim.send(r#"{"type":"pause","paused":true}"#);
    session.until(|n| *n == LinkNews::Paused(true));
    roll.time_s -= 0.05;
    for kt in [120.0, 150.0, 140.0, 20.0] {
        roll.kt = kt;
        roll.state(&session);
        session.pass(0.5);
    }
    roll.sim.send(r#"{"type":"pause","paused":false}"#);
    session.until(|n| *n == LinkNews::Paused(false));
    assert_eq!(session.said(), ["Speed check"]);
    roll.time_s += 0.05;
    let due = roll.to(&mut session, 145.0, 10.0, 80.0).expect("passed");
    let (mut said, _) = session.end();
    assert_eq!(words(&said), ["Speed check", "Speed check", "V one", "Rotate"]);
    timely(&said.split_off(1), "Speed check", due, 1.0, 0.05);
}

#[test]
fn a_half_open_link_is_spoken_once() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.to(&mut session, 70.0, 10.0, 0.0);
    // It keeps the connection and says nothing, not even pong.
    session.lost();
    session.pass(8.0);
    let mut again = Roll::begin(&listener, 20.0, 100.0);
    again.to(&mut session, 110.0, 10.0, 0.0);
    let (said, _) = session.end();
    assert_eq!(words(&said), [LOST, BACK]);
}

#[test]
fn another_version_is_told_once_however_often_it_tries() {
    let listener = listener();
    let session = Session::attached(&listener, |_| {});
    for _ in 0..3 {
        let mut sim = Sim::accept(&listener);
        sim.send(r#"{"type":"hello","protocol":7}"#);
        while sim.lines.recv_timeout(PATIENCE).is_ok() {}
    }
    let (said, report) = session.end();
    assert!(said.is_empty(), "nothing was ever in sight: {said:?}");
    let told = report.lines.iter().filter(|l| l.text.contains("version 7")).count();
    assert_eq!(told, 1, "{:#?}", report.lines);
}

#[test]
fn a_measured_delay_is_made_up_for() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.lag_s = 0.04;
    session.news.send(News::Link(LinkNews::Delay(roll.lag_s))).expect("it runs");
    let due = roll.to(&mut session, 145.0, 5.0, 80.0).expect("passed");
    let (said, _) = session.end();
    timely(&said, "Speed check", due, 1.0, 0.005);
}

#[test]
fn a_pause_before_a_mark_holds_the_call_back() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 72.0);
    roll.to(&mut session, 78.5, 5.0, 0.0);
    // Forty milliseconds before the mark, which is foreseen by now.
    (roll.time_s, roll.kt) = (roll.time_s + (79.8 - roll.kt) / 5.0, 79.8);
    session.pass(0.2);
    roll.state(&session);
    roll.sim.send(r#"{"type":"pause","paused":true}"#);
    session.until(|n| *n == LinkNews::Paused(true));
    roll.stand(&mut session, 60.0);
    assert!(session.said().is_empty(), "nothing is passed while the clock stands");
    roll.sim.send(r#"{"type":"pause","paused":false}"#);
    session.until(|n| *n == LinkNews::Paused(false));
    let due = roll.to(&mut session, 95.0, 5.0, 80.0).expect("passed");
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check"]);
    timely(&said, "Speed check", due, 1.0, 0.05);
}

#[test]
fn calls_come_at_their_values_whatever_the_rate_and_the_jitter() {
    for (rate, every_s, jitter_s, within_s) in [
        (1.0, 0.05, 0.0, 0.002),
        (1.0, 0.05, 0.03, 0.03),
        (1.0, 0.2, 0.03, 0.05),
        (1.0, 1.0 / 60.0, 0.01, 0.02),
        (4.0, 0.05, 0.0, 0.005),
        (4.0, 0.05, 0.03, 0.12),
        (0.5, 0.05, 0.03, 0.03),
    ] {
        let listener = listener();
        let mut session = Session::attached(&listener, |_| {});
        let mut roll = Roll::begin(&listener, 0.0, 60.0);
        roll.sim.send(&format!(r#"{{"type":"rate","rate":{rate}}}"#));
        (roll.rate, roll.every_s, roll.jitter_s) = (rate, every_s, jitter_s);
        let check = roll.to(&mut session, 110.0, 5.0, 80.0).expect("passed");
        let rotate = roll.to(&mut session, 145.0, 5.0, 135.0).expect("passed");
        let (said, _) = session.end();
        println!("rate {rate}, every {every_s} s, late by up to {jitter_s} s");
        assert_eq!(words(&said), ["Speed check", "V one", "Rotate"]);
        timely(&said, "Speed check", check, rate, within_s);
        timely(&said, "Rotate", rotate, rate, within_s);
    }
}

#[test]
fn a_reposition_is_not_called_out() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.to(&mut session, 70.0, 10.0, 0.0);
    roll.sim.send(r#"{"type":"reposition"}"#);
    (roll.kt, roll.on_ground) = (140.0, false);
    roll.to(&mut session, 160.0, 10.0, 0.0);
    let (said, _) = session.end();
    assert_eq!(words(&said), Vec::<&str>::new());
}

#[test]
fn what_passed_while_no_state_came_is_not_called() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.to(&mut session, 95.0, 10.0, 0.0);
    // The connection lives, and no state comes for three seconds.
    roll.stand(&mut session, 3.0);
    (roll.time_s, roll.kt) = (roll.time_s + 3.0, 145.0);
    roll.to(&mut session, 160.0, 10.0, 0.0);
    let (said, _) = session.end();
    assert_eq!(words(&said), ["Speed check"]);
}

#[test]
fn garbage_and_a_flood_do_not_spoil_a_takeoff() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 70.0);
    let check = roll.to(&mut session, 90.0, 8.0, 80.0).expect("passed");
    let last_s = roll.time_s - roll.every_s;
    for i in 0..3000 {
        roll.sim.send(&format!(r#"{{"type":"state","time_s":NaN,{i}"#));
        roll.sim.send(&format!(r#"{{"type":"state","time_s":{last_s},"values":{{"ias_kt":"fast","rivets":12}}}}"#));
    }
    roll.sim.send(&"[".repeat(90_000));
    let rotate = roll.to(&mut session, 150.0, 8.0, 135.0).expect("passed");
    let (said, report) = session.end();
    assert_eq!(words(&said), ["Speed check", "V one", "Rotate"]);
    timely(&said, "Speed check", check, 1.0, 0.005);
    timely(&said, "Rotate", rotate, 1.0, 0.005);
    let told = |part: &str| report.lines.iter().filter(|l| l.text.contains(part)).count();
    assert_eq!((told("not a message"), told("does not fit"), told("too long")), (1, 1, 1), "{:#?}", report.lines);
}

#[test]
fn a_set_that_moves_nothing_is_spoken() {
    let listener = listener();
    let mut session = Session::attached(&listener, |_| {});
    let mut roll = Roll::begin(&listener, 0.0, 140.0);
    (roll.on_ground, roll.jammed) = (false, true);
    roll.to(&mut session, 143.0, 10.0, 0.0);
    session.news.send(News::Typed("gear up".into())).expect("listens");
    // It takes the set, and its answer says nothing of where the gear is; how long that counts, the wall's clock says.
    roll.to(&mut session, 158.0, 10.0, 0.0);
    while !roll.took(&session) {
        roll.answer();
    }
    roll.to(&mut session, 205.0, 10.0, 0.0);
    let (said, report) = session.end();
    assert_eq!(words(&said), ["Gear up", "No movement, gear"]);
    assert!(report.not_done.iter().any(|(_, why)| why.contains("nothing changed")), "{:?}", report.not_done);
}

#[test]
fn a_panic_in_the_link_is_told_and_the_takeoff_goes_on() {
    let listener = listener();
    let planted = AtomicBool::new(false);
    let mut session = Session::attached(&listener, move |n| {
        let now = matches!(n, LinkNews::Frame { .. }) && !planted.swap(true, Ordering::Relaxed);
        assert!(!now, "planted: the link's thread breaks down over its first state");
    });
    let mut roll = Roll::begin(&listener, 0.0, 60.0);
    roll.sim.send(r#"{"type":"state","time_s":0,"values":{"ias_kt":60}}"#);
    session.lost();
    let mut roll = Roll::begin(&listener, 0.0, 65.0);
    let due = roll.to(&mut session, 95.0, 5.0, 80.0).expect("passed");
    let (said, report) = session.end();
    timely(&said, "Speed check", due, 1.0, 0.005);
    assert_eq!(report.faults, ["the link stopped over something it heard; it connects anew"]);
}
