//! The property-tree adapter on flight models that nobody here wrote (`tests/link/fly.py`): the second pilot, connected by
//! the adapter alone, makes its callouts and moves gear and flaps; each callout is held against the model's own log.
//!
//! Flights run in parallel, in real time or faster; errors are in seconds of the simulator.

use crate::link::{Running, free_port};
use crate::sessions::{Memory, header, root};
use antiphon::core::aircraft::Value;
use antiphon::core::book::{Book, SourceFile};
use antiphon::core::crew::Crew;
use antiphon::core::crew::io::Arrangement;
use antiphon::core::journal::{Outcome, read, replay};
use antiphon::core::link::property::{failed, load};
use antiphon::core::time::{SessionTime, Wake};
use antiphon::edge::app::{App, Ears, News, Outside, Pace, Parts, Report, Side};
use antiphon::edge::link::property;
use antiphon::edge::speaker::Silent;
use antiphon::edge::store::{JournalFile, Places, load_book};
use std::collections::BTreeMap;
use std::net::UdpSocket;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// A flight to be flown.
#[derive(Debug, Clone, Copy)]
struct Flight {
    /// The model, which is also the name of its link file.
    model: &'static str,
    /// Simulator's seconds in a real one, in takeoff and go-around; between them it is four times as fast.
    rate: f64,
    /// Rows a simulated second.
    hz: f64,
    /// Rows come late by up to so much, ms of real time.
    jitter_ms: f64,
    /// Whether it levels off, descends and goes around.
    circuit: bool,
    /// Speed check, V1, rotation, kt.
    speeds: (f64, f64, f64),
    /// Whether there is a gear to move.
    gear: bool,
}

const TWIN: Flight = Flight {
    model: "737",
    rate: 1.0,
    hz: 20.0,
    jitter_ms: 30.0,
    circuit: false,
    speeds: (80.0, 130.0, 138.0),
    gear: true,
};
const FOUR: Flight = Flight { model: "B747", speeds: (80.0, 140.0, 152.0), ..TWIN };
const SINGLE: Flight = Flight { model: "c172x", speeds: (40.0, 48.0, 54.0), gear: false, ..TWIN };

/// What `make test-link` flies. Real time is what counts: the light single, the slowest, takes five minutes.
const FLIGHTS: &[Flight] = &[
    Flight { circuit: true, ..TWIN },
    Flight { circuit: true, ..FOUR },
    Flight { circuit: true, ..SINGLE },
    Flight { hz: 60.0, ..TWIN },
    Flight { hz: 60.0, ..FOUR },
    Flight { hz: 60.0, ..SINGLE },
    Flight { hz: 5.0, ..TWIN },
    Flight { hz: 5.0, ..FOUR },
    Flight { hz: 5.0, ..SINGLE },
];

/// What every test run flies: one takeoff at twice the speed, in half a minute. Rows are as late by the simulator's clock.
const SHORT: &[Flight] = &[Flight { rate: 2.0, jitter_ms: 15.0, ..TWIN }];

fn unix_s() -> f64 {
    SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_secs_f64()
}

/// A row of the model's log.
#[derive(Debug, Clone)]
struct Row {
    wall: f64,
    sim: f64,
    ias_kt: f64,
    height_ft: f64,
    fpm: f64,
    gear: f64,
    flap_cmd: f64,
    gear_cmd: f64,
    wheels: bool,
    stage: String,
}

fn read_log(path: &Path) -> Vec<Row> {
    let text = std::fs::read_to_string(path).expect("the model wrote a log");
    let row = |line: &str| {
        let f: Vec<&str> = line.split(',').collect();
        // The last line may have been cut when the model ended.
        (f.len() == 11).then(|| {
            let n = |i: usize| f[i].parse::<f64>().expect("a number");
            Row {
                wall: n(0),
                sim: n(1),
                ias_kt: n(2),
                height_ft: n(3),
                fpm: n(4),
                gear: n(5),
                gear_cmd: n(7),
                flap_cmd: n(8),
                wheels: n(9) > 0.5,
                stage: f[10].to_string(),
            }
        })
    };
    text.lines().skip(1).filter_map(row).collect()
}

/// The simulator's time at a moment on the wall.
fn sim_at(log: &[Row], wall: f64) -> f64 {
    let i = log.partition_point(|r| r.wall <= wall).clamp(1, log.len() - 1);
    let (a, b) = (&log[i - 1], &log[i]);
    a.sim + (b.sim - a.sim) * ((wall - a.wall) / (b.wall - a.wall).max(1e-9)).clamp(0.0, 2.0)
}

/// A quantity of a row.
type Of = fn(&Row) -> f64;

/// When a quantity first crosses a value in rows of some stages, s of the simulator.
fn crossing(log: &[Row], stages: &[&str], of: Of, value: f64, rising: bool) -> Option<f64> {
    let sign = if rising { 1.0 } else { -1.0 };
    log.windows(2).filter(|w| stages.contains(&w[1].stage.as_str())).find_map(|w| {
        let (a, b) = ((of(&w[0]) - value) * sign, (of(&w[1]) - value) * sign);
        (a < 0.0 && b >= 0.0).then(|| w[0].sim + (w[1].sim - w[0].sim) * a / (a - b))
    })
}

/// When something first has been true for a second.
fn lasting(log: &[Row], stages: &[&str], of: fn(&Row) -> bool) -> Option<f64> {
    let mut since = None;
    for r in log.iter().filter(|r| stages.contains(&r.stage.as_str())) {
        match (of(r), since) {
            (false, _) => since = None,
            (true, None) => since = Some(r.sim),
            (true, Some(t)) if r.sim - t >= 1.0 => return Some(r.sim),
            (true, Some(_)) => {}
        }
    }
    None
}

/// What was said, with the moment on the wall at which it began.
type Said = Vec<(f64, String)>;

struct Flown {
    log: Vec<Row>,
    said: Said,
    report: Report,
}

/// Passes rows on from `to_model` to `port`, each late by up to `jitter_ms`, in order.
fn relay(from: UdpSocket, port: u16, jitter_ms: f64) {
    from.set_read_timeout(Some(Duration::from_secs(20))).expect("a socket");
    let out = UdpSocket::bind("127.0.0.1:0").expect("a port");
    let (send, rows) = mpsc::channel::<(Instant, Vec<u8>)>();
    std::thread::spawn(move || {
        for (at, row) in rows {
            std::thread::sleep(at.saturating_duration_since(Instant::now()));
            let _ = out.send_to(&row, ("127.0.0.1", port));
        }
    });
    std::thread::spawn(move || {
        let mut bytes = [0u8; 4096];
        let mut state = 1u64;
        while let Ok(n) = from.recv(&mut bytes) {
            // Knuth's MMIX generator.
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let late = (state >> 11) as f64 / (1u64 << 53) as f64 * jitter_ms / 1e3;
            if send.send((Instant::now() + Duration::from_secs_f64(late), bytes[..n].to_vec())).is_err() {
                return;
            }
        }
    });
}

fn fly(flight: Flight, models: &Path, book: &Arc<Book>) -> Flown {
    let dir = tempfile::tempdir().expect("a folder");
    let log = dir.path().join("log.csv");
    let commands = free_port();
    let rows = UdpSocket::bind("127.0.0.1:0").and_then(|s| s.local_addr()).expect("a port").port();
    let jittery = UdpSocket::bind("127.0.0.1:0").expect("a port");
    let to = if flight.jitter_ms > 0.0 { jittery.local_addr().expect("bound").port() } else { rows };
    if flight.jitter_ms > 0.0 {
        relay(jittery, rows, flight.jitter_ms);
    }
    let path = root().join("tests/link").join(format!("{}.toml", flight.model));
    let text = std::fs::read_to_string(&path).expect("the link file is there");
    let text = text.replace(":5401", &format!(":{commands}")).replace(":5402", &format!(":{rows}"));
    let (file, problems) = load(&SourceFile { name: path.display().to_string(), text }, book);
    assert!(!failed(&problems) && problems.is_empty(), "{problems:#?}");

    let (send, news) = mpsc::channel();
    let tell = send.clone();
    let live = property::connect(file, SessionTime::ZERO, Box::new(move |n| tell.send(News::Link(n)).is_ok()))
        .expect("the port is free");
    let mut model = Command::new("python3");
    model
        .arg(root().join("tests/link/fly.py"))
        .args(["--root", &models.join("jsbsim").display().to_string(), "--aircraft", flight.model])
        .args(["--log", &log.display().to_string()])
        .args(["--commands", &commands.to_string(), "--state", &to.to_string()])
        .args(["--rate", &flight.rate.to_string(), "--hz", &flight.hz.to_string()])
        .args(["--hold", &(2.0 * flight.rate).to_string()])
        .args(["--plan", if flight.circuit { "circuit" } else { "takeoff" }])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::inherit());
    let mut model = Running(model.spawn().expect("python3 runs"));
    let ended = send.clone();
    let watch = std::thread::spawn(move || {
        let status = model.0.wait();
        let _ = ended.send(News::Stop);
        assert!(status.is_ok_and(|s| s.success()), "the flight model failed");
    });

    let said = Arc::new(Mutex::new(Said::new()));
    let (heard, gear) = (said.clone(), flight.gear);
    let told = move |line: &antiphon::edge::app::Line| {
        if !matches!(line.side, Side::Crew(_)) {
            return;
        }
        heard.lock().expect("one thread").push((unix_s(), line.text.clone()));
        // The pilot's part of the talk.
        let reply = match line.text.as_str() {
            "Positive climb" if gear => Some("gear up"),
            "One thousand" => Some("flaps up"),
            _ => None,
        };
        if let Some(words) = reply {
            let _ = send.send(News::Typed(words.into()));
        }
    };
    let memory = Memory::default();
    let parts = Parts {
        engine: Box::new(Crew::new(book.clone())),
        book: book.clone(),
        link: Box::new(live),
        ears: Ears::Typed,
        speaker: Box::new(Silent),
        pilot: None,
        captain: None,
        noise: None,
        recording: None,
        recorder: None,
        journal: JournalFile::to(memory.clone(), "memory", &header(book)).expect("begins"),
        pace: Pace::Live,
        outside: Outside(Some(news)),
        told: Box::new(told),
        watcher: None,
        until: Some(SessionTime::from_secs(360.0)),
        ends_in: Vec::new(),
    };
    let (check, v1, vr) = flight.speeds;
    let sheet: BTreeMap<String, Value> = [("check_kt", check), ("v1", v1), ("vr", vr)]
        .into_iter()
        .map(|(n, v)| (n.to_string(), Value::Number(v)))
        .collect();
    let app = App::new(parts, SessionTime::ZERO, Wake::default());
    let report = app.run(Arrangement::default(), None, sheet).expect("runs");
    watch.join().expect("the flight model ends in order");
    let journal = read(&memory.bytes()).expect("a journal");
    let again = replay(&journal, &mut Crew::new(book.clone()));
    assert!(matches!(again, Outcome::Same { .. }), "{flight:?}: {again:?}");
    let said = said.lock().expect("one thread").clone();
    Flown { log: read_log(&log), said, report }
}

/// A callout held against the log.
struct Score {
    callout: &'static str,
    /// Late, s of the simulator; negative: early.
    error_s: f64,
    /// Whether its mark is a crossing, to which the word is timed; else it follows a state that must have lasted.
    marked: bool,
}

/// Every callout that was due, each exactly once, with its error.
fn score(flight: &Flight, flown: &Flown) -> Vec<Score> {
    let log = &flown.log;
    let (check, v1, vr) = flight.speeds;
    let (ias, height): (Of, Of) = (|r| r.ias_kt, |r| r.height_ft);
    let ground = ["roll", "climb"];
    let mut due: Vec<(&'static str, Option<f64>, bool, bool)> = vec![
        ("Speed check", crossing(log, &ground, ias, check, true), true, false),
        ("V one", crossing(log, &ground, ias, v1, true), true, true),
        ("Rotate", crossing(log, &ground, ias, vr, true), true, false),
        ("Positive climb", lasting(log, &ground, |r| !r.wheels && r.height_ft > 15.0 && r.fpm > 300.0), false, false),
        ("One thousand", crossing(log, &ground, height, 1000.0, true), true, false),
    ];
    if flight.circuit {
        due.extend([
            ("One thousand, descending", crossing(log, &["descent"], height, 1000.0, false), true, false),
            ("Five hundred", crossing(log, &["descent"], height, 500.0, false), true, true),
            ("Climbing", lasting(log, &["around"], |r| r.fpm > 500.0), false, false),
            ("One thousand again", crossing(log, &["around"], height, 1000.0, true), true, false),
        ]);
    }
    let mut scores = Vec::new();
    for (text, at, marked, at_its_end) in due {
        let at = at.unwrap_or_else(|| panic!("{flight:?}: the model never came to \u{201c}{text}\u{201d}"));
        let calls: Vec<f64> = flown.said.iter().filter(|(_, t)| t == text).map(|(w, _)| *w).collect();
        assert_eq!(
            calls.len(),
            1,
            "{flight:?}: \u{201c}{text}\u{201d} was called {} times: {:#?}",
            calls.len(),
            flown.said
        );
        let length_s = if at_its_end { Silent::estimate_s(text) } else { 0.0 };
        scores.push(Score { callout: text, error_s: sim_at(log, calls[0] + length_s) - at, marked });
    }
    let all = scores.len();
    let called = flown.said.iter().filter(|(_, t)| scores.iter().any(|s| s.callout == t)).count();
    assert_eq!(called, all);
    scores
}

/// What was commanded has been done, and was reported when it showed.
fn moved(flight: &Flight, flown: &Flown) {
    let said = |text: &str| flown.said.iter().find(|(_, t)| t == text).map(|(w, _)| *w);
    let faults = &flown.report.faults;
    assert!(faults.is_empty(), "{flight:?}: {faults:?}");
    let last = flown.log.last().expect("rows");
    assert!(last.flap_cmd.abs() < 1e-3, "{flight:?}: flaps are commanded to {}", last.flap_cmd);
    assert!(
        said("Flaps zero, indicated").is_some() || said("Flaps 0, indicated").is_some(),
        "{flight:?}: {:#?}",
        flown.said
    );
    if flight.gear {
        assert_eq!(last.gear_cmd, 0.0, "{flight:?}");
        let at = said("Gear is up").unwrap_or_else(|| panic!("{flight:?}: {:#?}", flown.said));
        let shown = flown.log.iter().filter(|r| r.gear <= 0.01).map(|r| r.wall).next().expect("the gear came up");
        assert!(at >= shown - 0.05, "{flight:?}: reported {} s before it was up", shown - at);
    }
}

fn needed() -> Option<PathBuf> {
    let models = Places::here(None).models().ok();
    let there = models.filter(|m| m.join("jsbsim/_jsbsim.so").is_file());
    if there.is_none() {
        let text = "the flight models are not there; run `make test-link`, which fetches them";
        assert!(std::env::var_os("REQUIRE").is_none(), "{text}");
        eprintln!("skipped: {text}");
    }
    there
}

fn median(all: &mut [f64]) -> f64 {
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}

#[test]
fn callouts_are_heard_at_their_values() {
    let Some(models) = needed() else { return };
    let flights = if std::env::var("FLIGHTS").is_ok_and(|f| f == "all") { FLIGHTS } else { SHORT };
    let (book, _) = load_book(&Places::here(None), &root().join("tests/link/book")).expect("the book loads");
    let book = Arc::new(book);
    let begun = Instant::now();
    let flights: Vec<_> = flights
        .iter()
        .map(|f| {
            let (models, book) = (models.clone(), book.clone());
            (f, std::thread::spawn(move || fly(*f, &models, &book)))
        })
        .collect();
    let mut failures = Vec::new();
    println!(
        "| model | flight | rows a s | jitter, ms | callouts | median, ms | worst, ms | worst is | lasting states, ms |"
    );
    println!("|---|---|---:|---:|---:|---:|---:|---|---:|");
    for (flight, flown) in flights {
        let flown = flown.join().expect("flies");
        let scores = score(flight, &flown);
        moved(flight, &flown);
        let (marked, lasting): (Vec<&Score>, Vec<&Score>) = scores.iter().partition(|s| s.marked);
        let mut errors: Vec<f64> = marked.iter().map(|s| s.error_s.abs()).collect();
        let worst = marked.iter().max_by(|a, b| a.error_s.abs().total_cmp(&b.error_s.abs())).expect("some");
        let middle = median(&mut errors);
        let latest = lasting.iter().map(|s| s.error_s).fold(f64::NEG_INFINITY, f64::max);
        println!(
            "| {} | {} | {} | {} | {} | {:.0} | {:+.0} | {} | {:+.0} |",
            flight.model,
            if flight.circuit { "circuit" } else { "takeoff" },
            flight.hz,
            flight.jitter_ms * flight.rate,
            scores.len(),
            middle * 1e3,
            worst.error_s * 1e3,
            worst.callout,
            latest * 1e3,
        );
        for s in &scores {
            eprintln!(
                "    {:<26} {:+7.1} ms{}",
                s.callout,
                s.error_s * 1e3,
                if s.marked { "" } else { " (a state that lasts)" }
            );
        }
        let (middle_s, worst_s) = if flight.hz < 20.0 { (0.25, 0.25) } else { (0.05, 0.12) };
        if middle > middle_s || worst.error_s.abs() > worst_s {
            failures.push(format!("{flight:?}: median {middle:.3} s, worst {:+.3} s", worst.error_s));
        }
        // A state has no value to be extrapolated to: it shows with a row, which may come a whole interval late.
        let unseen_s = 1.0 / flight.hz + flight.jitter_ms * flight.rate / 1e3 + worst_s / 2.0;
        let late = lasting.iter().filter(|s| !(-0.05..=unseen_s).contains(&s.error_s));
        failures.extend(late.map(|s| format!("{flight:?}: {} came {:+.3} s after it was due", s.callout, s.error_s)));
    }
    println!("in {:.0} s", begun.elapsed().as_secs_f64());
    assert!(failures.is_empty(), "{}", failures.join("\n"));
}
