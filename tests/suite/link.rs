//! The link protocol against simulators of a few lines: the one of the docs, and a badly behaved one.

use antiphon::core::aircraft::{Value, ValueKind};
use antiphon::core::time::SessionTime;
use antiphon::edge::link::{Link, LinkNews, Live, Taken, record, tcp};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

/// A program that ends with the test.
pub struct Running(pub Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

pub fn free_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a free port").port()
}

fn known() -> BTreeMap<String, ValueKind> {
    let words = ValueKind::Word(vec!["up".into(), "down".into()]);
    [("ias_kt", ValueKind::Number), ("on_ground", ValueKind::Bool), ("gear_lever", words)]
        .into_iter()
        .map(|(n, k)| (n.to_string(), k))
        .collect()
}

struct Ear {
    live: Live,
    news: Receiver<LinkNews>,
    began: Instant,
}

impl Ear {
    fn to(port: u16) -> Self {
        let (send, news) = mpsc::channel();
        let tell = Box::new(move |n| send.send(n).is_ok());
        let live = tcp::connect(&format!("127.0.0.1:{port}"), known(), SessionTime::ZERO, tell);
        Ear { live, news, began: Instant::now() }
    }

    /// Takes news in until one is wanted; panics with everything heard after `within`.
    fn until(&mut self, within: f64, wanted: impl Fn(&LinkNews) -> bool) -> LinkNews {
        let deadline = Instant::now() + Duration::from_secs_f64(within);
        let mut heard = Vec::new();
        loop {
            let Ok(news) = self.news.recv_timeout(deadline.saturating_duration_since(Instant::now())) else {
                panic!("not heard within {within} s; heard {heard:#?}");
            };
            let at = SessionTime::from_secs(self.began.elapsed().as_secs_f64());
            let _: Taken = self.live.take(at, &news);
            if wanted(&news) {
                return news;
            }
            heard.push(news);
        }
    }

    fn told(&mut self, within: f64, part: &str) {
        self.until(within, |n| matches!(n, LinkNews::Told(t) if t.contains(part)));
    }
}

fn is_frame(n: &LinkNews) -> bool {
    matches!(n, LinkNews::Frame { .. })
}

/// The simulator that the docs print.
pub fn toy(port: u16) -> Running {
    let page = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/link-protocol.md");
    let page = std::fs::read_to_string(page).expect("the page is there");
    let code = page.split("```python\n").nth(1).and_then(|c| c.split("```").next()).expect("the code is there");
    assert!(code.lines().count() <= 42, "it says forty lines");
    let mut child = Command::new("python3")
        .args(["-c", code, &port.to_string()])
        .stdout(Stdio::piped())
        .spawn()
        .expect("python3 runs; set-up needs it too");
    let mut first = String::new();
    BufReader::new(child.stdout.take().expect("piped")).read_line(&mut first).expect("it says that it listens");
    Running(child)
}

#[test]
fn the_simulator_of_the_docs_flies() {
    let port = free_port();
    let mut ear = Ear::to(port);
    ear.told(5.0, "waiting for the simulator");
    let _child = toy(port);
    let up = ear.until(10.0, |n| matches!(n, LinkNews::Up { .. }));
    assert_eq!(up, LinkNews::Up { program: "a toy".into(), callouts: Vec::new() });
    for _ in 0..20 {
        ear.until(2.0, is_frame);
    }
    let kt = ear.live.values()["ias_kt"].number().expect("a number");
    let wanted = 4.0 * ear.live.sim().secs();
    // Our clock begins with their first state, which came within a frame of their zero.
    assert!((kt - wanted).abs() < 0.5, "{kt} kt, {wanted} by the clock");
    assert!(ear.live.ask(1, "gear_lever", &Value::Word("up".into())).is_none(), "the result comes later");
    let result = ear.until(1.0, |n| matches!(n, LinkNews::Result { .. }));
    assert_eq!(result, LinkNews::Result { request: 1, failed: None });
    let refused = ear.live.ask(2, "on_ground", &Value::Bool(false)).expect("refused at once");
    assert!(refused.is_err_and(|e| e.contains("does not offer")));
}

/// The simulator's side of one connection, in the test's hand.
pub struct Sim {
    stream: TcpStream,
    pub lines: Receiver<String>,
}

impl Sim {
    pub fn accept(listener: &TcpListener) -> Self {
        let (stream, _) = listener.accept().expect("it connects");
        stream.set_nodelay(true).expect("a socket");
        let reader = BufReader::new(stream.try_clone().expect("a socket"));
        let (send, lines) = mpsc::channel();
        std::thread::spawn(move || {
            for line in reader.lines() {
                let Ok(line) = line else { return };
                if send.send(line).is_err() {
                    return;
                }
            }
        });
        Sim { stream, lines }
    }

    pub fn send(&mut self, text: &str) {
        // A closed connection is what some of the tests want.
        let _ = self.stream.write_all(format!("{text}\n").as_bytes());
    }

    fn greet(&mut self) {
        self.send(r#"{"type":"hello","protocol":1,"program":"toy","callouts":["eighty"]}"#);
        self.send(r#"{"type":"describe","signals":{"ias_kt":{},"on_ground":{},"gear_lever":{"settable":true}}}"#);
    }

    fn state(&mut self, time_s: f64, gear: &str) {
        self.send(&format!(
            r#"{{"type":"state","time_s":{time_s},"values":{{"ias_kt":{},"gear_lever":"{gear}"}}}}"#,
            time_s * 4.0
        ));
    }

    /// The next line of a type.
    fn hears(&self, kind: &str) -> serde_json::Value {
        loop {
            let line = self.lines.recv_timeout(Duration::from_secs(3)).expect("a line");
            let value: serde_json::Value = serde_json::from_str(&line).expect("JSON");
            if value["type"] == kind {
                return value;
            }
        }
    }
}

fn scene() -> (TcpListener, Ear, Sim) {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let mut ear = Ear::to(listener.local_addr().expect("an address").port());
    let mut sim = Sim::accept(&listener);
    sim.greet();
    sim.state(0.0, "down");
    ear.until(2.0, |n| matches!(n, LinkNews::Up { callouts, .. } if callouts == &["eighty"]));
    ear.until(1.0, is_frame);
    (listener, ear, sim)
}

#[test]
fn a_set_is_taken_when_it_shows_and_in_time() {
    let (_listener, mut ear, mut sim) = scene();
    let up = Value::Word("up".into());
    let mut times: Vec<f64> = Vec::new();
    for id in 0..21 {
        let to = if id % 2 == 0 { "up" } else { "down" };
        let began = Instant::now();
        assert!(ear.live.ask(id, "gear_lever", &Value::Word(to.into())).is_none());
        let set = sim.hears("set");
        assert_eq!((&set["control"], &set["value"]), (&"gear_lever".into(), &to.into()));
        sim.send(&format!(r#"{{"type":"result","id":{id},"ok":true,"reads":"{to}"}}"#));
        ear.until(1.0, |n| *n == LinkNews::Result { request: id, failed: None });
        times.push(began.elapsed().as_secs_f64() * 1e3);
    }
    times.sort_by(f64::total_cmp);
    println!("set to acknowledged on loopback: median {:.2} ms, worst {:.2} ms", times[10], times[20]);
    assert!(times[10] <= 20.0, "{times:?}");
    // Taken, and nothing changes: a failure.
    sim.state(1.0, "down");
    ear.until(1.0, is_frame);
    assert!(ear.live.ask(91, "gear_lever", &up).is_none());
    sim.send(r#"{"type":"result","id":91,"ok":true}"#);
    let result = ear.until(3.0, |n| matches!(n, LinkNews::Result { request: 91, .. }));
    let LinkNews::Result { failed: Some(why), .. } = result else { panic!("{result:?}") };
    assert!(why.contains("nothing changed"), "{why}");
    assert!(ear.live.ask(92, "gear_lever", &up).is_none());
    sim.send(r#"{"type":"result","id":92,"ok":false,"why":"it is jammed"}"#);
    ear.until(1.0, |n| *n == LinkNews::Result { request: 92, failed: Some("it is jammed".into()) });
}

#[test]
fn a_lost_simulator_is_told_once_and_found_again() {
    let (listener, mut ear, sim) = scene();
    assert!(ear.live.ask(5, "gear_lever", &Value::Word("up".into())).is_none());
    drop(sim.lines);
    sim.stream.shutdown(std::net::Shutdown::Both).expect("open");
    ear.until(1.0, |n| matches!(n, LinkNews::Result { request: 5, failed: Some(_) }));
    ear.until(1.0, |n| matches!(n, LinkNews::Down { .. }));
    assert!(ear.live.values().is_empty(), "nothing is known of an aircraft out of sight");
    assert!(ear.live.ask(6, "gear_lever", &Value::Word("up".into())).is_some_and(|r| r.is_err()));
    // Another version: told, not followed.
    let mut sim = Sim::accept(&listener);
    sim.send(r#"{"type":"hello","protocol":7}"#);
    ear.told(2.0, "another version");
    // Back, with its clock begun anew.
    let mut sim = Sim::accept(&listener);
    sim.greet();
    sim.send("garbage \u{1}");
    sim.send(&"x".repeat(100_000));
    sim.state(0.0, "down");
    ear.told(2.0, "not a message");
    ear.told(1.0, "too long");
    ear.until(2.0, |n| matches!(n, LinkNews::Up { .. }));
    ear.until(1.0, is_frame);
    assert!(!ear.live.values().is_empty());
}

#[test]
fn a_half_open_connection_is_left() {
    let (listener, mut ear, sim) = scene();
    // It keeps the connection and says nothing, not even pong.
    let began = Instant::now();
    ear.until(4.5, |n| matches!(n, LinkNews::Down { why } if why.contains("nothing is heard")));
    assert!(began.elapsed() > Duration::from_secs(2), "not before time");
    let mut again = Sim::accept(&listener);
    again.greet();
    again.state(9.0, "down");
    ear.until(2.0, |n| matches!(n, LinkNews::Up { .. }));
    drop(sim);
}

#[test]
fn a_pause_keeps_the_aircraft_in_sight() {
    let (_listener, mut ear, mut sim) = scene();
    sim.send(r#"{"type":"pause","paused":true}"#);
    ear.until(1.0, |n| *n == LinkNews::Paused(true));
    let n = sim.hears("ping")["n"].clone();
    sim.send(&format!(r#"{{"type":"pong","n":{n}}}"#));
    ear.until(1.0, |n| *n == LinkNews::Standing);
    sim.send(r#"{"type":"reposition"}"#);
    ear.until(1.0, |n| *n == LinkNews::Jumped);
    sim.send(r#"{"type":"rate","rate":4}"#);
    ear.until(1.0, |n| *n == LinkNews::Rate(4.0));
    assert_eq!(ear.live.live().map(|r| r.rate), Some(4.0));
}

#[test]
fn a_flood_is_put_together() {
    let (_listener, mut ear, mut sim) = scene();
    let sender = std::thread::spawn(move || {
        for i in 1..=20_000 {
            sim.state(f64::from(i) * 1e-3, "down");
        }
        sim
    });
    let mut frames = 0u32;
    loop {
        let news = ear.until(10.0, |n| is_frame(n) || matches!(n, LinkNews::Told(_)));
        if let LinkNews::Told(text) = news {
            assert!(text.contains("put together"), "{text}");
            continue;
        }
        frames += 1;
        if ear.live.values().get("ias_kt") == Some(&Value::Number(80.0)) {
            break;
        }
    }
    println!("20000 states came as {frames}");
    assert!(frames < 5_000, "{frames}");
    drop(sender.join());
}

#[test]
fn a_recorded_session_plays_back() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = dir.path().join("flight.jsonl");
    let mut writer = record::Writer::create(&path).expect("begins");
    for i in 0..10 {
        let delta = [("ias_kt".to_string(), Some(Value::Number(f64::from(i))))].into();
        writer.write(&LinkNews::Frame { arrived: Instant::now(), time_s: f64::from(i) * 0.02, delta }).expect("writes");
        std::thread::sleep(Duration::from_millis(20));
    }
    writer.write(&LinkNews::Paused(true)).expect("writes");
    writer.finish().expect("completes");
    let (send, news) = mpsc::channel();
    let tell = Box::new(move |n| send.send(n).is_ok());
    let live = record::play(&path, known(), SessionTime::ZERO, tell).expect("plays");
    let mut ear = Ear { live, news, began: Instant::now() };
    ear.until(2.0, |n| *n == LinkNews::Paused(true));
    assert_eq!(ear.live.values().get("ias_kt"), Some(&Value::Number(9.0)));
    assert!(ear.began.elapsed() > Duration::from_millis(150), "in its own time");
    ear.until(2.0, |n| matches!(n, LinkNews::Down { .. }));
    assert!(ear.live.ask(1, "gear_lever", &Value::Word("up".into())).is_some_and(|r| r.is_err()));
}

/// Runs the program, typing nothing for `seconds`; what it printed.
fn antiphon(args: &[&str], seconds: u64, status: i32) -> String {
    let mut child = Command::new(env!("CARGO_BIN_EXE_antiphon"))
        .args(args)
        .args(["--book", "tests/link/book"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it runs");
    let stdin = child.stdin.take();
    std::thread::sleep(Duration::from_secs(seconds));
    drop(stdin);
    let out = child.wait_with_output().expect("it ends");
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    assert_eq!(out.status.code(), Some(status), "{text}{}", String::from_utf8_lossy(&out.stderr));
    text
}

fn holds(text: &str, parts: &[&str]) {
    for part in parts {
        assert!(text.contains(part), "{part} is not in\n{text}");
    }
}

#[test]
fn a_link_is_shown_recorded_and_flown_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let path = |name: &str| dir.path().join(name).display().to_string();
    let (port, file) = (free_port(), path("states.jsonl"));
    let link = format!("tcp:127.0.0.1:{port}");
    let text = antiphon(&["link", "--link", &link, "--for", "0.5"], 0, 1);
    holds(&text, &["waiting for the simulator", "No aircraft was seen"]);
    let toy = toy(port);
    let text = antiphon(&["link", "--link", &link, "--for", "3", "--record", &file], 0, 0);
    holds(&text, &["in sight: a toy", "ias_kt", "radio_height_ft", "callout one_thousand is not made"]);
    holds(&text, &["flap_lever", "call flaps moves nothing"]);
    let row = text.lines().find(|l| l.starts_with("ias_kt")).expect("a row");
    let rate: f64 = row.split_whitespace().nth(3).and_then(|n| n.parse().ok()).expect("a rate");
    assert!((10.0..=21.0).contains(&rate), "{row}");
    drop(toy);
    let fly =
        |link: &str, seconds| antiphon(&["fly", "--typed", "--journal", &path("j.jsonl"), "--link", link], seconds, 0);
    let text = fly(&format!("record:{file}"), 5);
    holds(&text, &["in sight: a recorded session", "the recorded session is over", "lost sight of the aircraft"]);
    assert!(!text.contains("Speed check"), "{text}");
}
