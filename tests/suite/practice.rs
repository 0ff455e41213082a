//! One phase again and again: attempts drawn by a seed, flown by typed words, reported.

use crate::sessions::{Memory, book, header, root};
use antiphon::core::crew::Crew;
use antiphon::core::journal::{Outcome, read, replay};
use antiphon::core::script::{self, Performance};
use antiphon::core::time::{SessionTime, Wake};
use antiphon::edge::app::practice::{self, Attempt};
use antiphon::edge::app::{App, Ears, Outside, Pace, Parts, Report};
use antiphon::edge::speaker::Silent;
use antiphon::edge::store::JournalFile;
use std::process::Command;

/// A pilot who lands from the approach: his words for gear, flaps and the list, his hands for the rest.
const PILOT: &str = r#"
[script]
title = "lands"
book = "saltmarsh-t2"
phase = "approach"
linger_s = 60
[[steps]]
at = 9
say = "flaps twelve"
[[steps]]
on_spoken = "flaps twelve, indicated"
within_s = 60
say = "speed one six zero"
[[steps]]
when = "ias_kt < 175"
within_s = 200
say = "gear down"
[[steps]]
on_spoken = "gear is down"
within_s = 60
say = "flaps twenty"
[[steps]]
on_spoken = "flaps twenty, indicated"
within_s = 60
say = "speed one four five"
[[steps]]
when = "ias_kt < 158"
within_s = 200
say = "flaps thirty five"
[[steps]]
on_spoken = "flaps thirty five, indicated"
within_s = 60
set = { speedbrake_lever = "armed", autobrake = "medium" }
[[steps]]
when = "on_ground && ground_speed_kt < 50"
within_s = 400
set = { speedbrake_lever = "down" }
move = { brakes_pct = 60 }
ramp_s = 2
"#;

fn fly(attempt: &Attempt) -> (Report, Vec<u8>) {
    let (book, script) = (book("saltmarsh-t2"), script::parse(PILOT).expect("a script"));
    let memory = Memory::default();
    let parts = Parts {
        engine: Box::new(Crew::new(book.clone())),
        link: Box::new(practice::aircraft(&book, attempt, 1).expect("an aircraft")),
        ears: Ears::Typed,
        speaker: Box::new(Silent),
        pilot: Some(Performance::new(script.clone())),
        captain: None,
        noise: None,
        recording: None,
        recorder: None,
        journal: JournalFile::to(memory.clone(), "memory", &header(&book)).expect("begins"),
        pace: Pace::Fast,
        outside: Outside(None),
        told: Box::new(|_| {}),
        watcher: None,
        until: Some(SessionTime::from_secs(attempt.limit_s)),
        ends_in: attempt.until.clone(),
        book: book.clone(),
    };
    let app = App::new(parts, SessionTime::ZERO, Wake::default());
    let report = app.run(script.arrangement, Some(attempt.phase.clone()), attempt.sheet.clone()).expect("flies");
    (report, memory.bytes())
}

#[test]
fn each_attempt_begins_as_drawn_and_ends_where_the_book_says() {
    let book = book("saltmarsh-t2");
    let how = practice::of(&book, "approach").expect("it is practised");
    let drawn = |number| practice::attempt(&book, how, 7, number).expect("drawn");
    let attempt = drawn(2);
    let (report, journal) = fly(&attempt);
    assert_eq!(report.phase, "after_landing", "{attempt:?}\n{:#?}", report.lines);
    assert!(report.session_s < attempt.limit_s && report.faults.is_empty(), "{:?}", report.faults);
    let minimums = report.marks.iter().find(|m| m.callout == "minimums").expect("was called");
    assert!((minimums.actual - minimums.wanted).abs() < 15.0, "{minimums:?}");
    let text = String::from_utf8_lossy(&journal).into_owned();
    let mass = text.split("\"mass_kg\":").nth(1).and_then(|t| t.split([',', '}']).next()?.parse::<f64>().ok());
    assert!(mass.is_some_and(|m| (m - attempt.setup.mass_kg).abs() < 20.0), "{mass:?} {attempt:?}");
    assert!(text.contains("\"entry\":\"arrival_qnh\""), "the sheet has what was drawn");
    let outcome = replay(&read(&journal).expect("a journal"), &mut Crew::new(book.clone()));
    assert!(matches!(outcome, Outcome::Same { .. }), "{outcome:?}");
    assert_ne!(drawn(1).setup, drawn(2).setup);
}

/// An attempt that comes to no end is over at its limit, and is reported as that.
#[test]
fn an_attempt_that_leads_nowhere_ends_at_its_limit() {
    let book = book("saltmarsh-t2");
    let how = practice::of(&book, "before_start").expect("it is practised");
    let attempt = Attempt { limit_s: 30.0, ..practice::attempt(&book, how, 1, 1).expect("drawn") };
    let (report, _) = fly(&attempt);
    assert_eq!(report.phase, "before_start");
    assert!((29.0..32.0).contains(&report.session_s), "{}", report.session_s);
}

#[test]
fn what_cannot_be_practised_is_refused_in_a_sentence() {
    let told = |more: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_antiphon"))
            .current_dir(root())
            .args(["fly", "--typed", "--page", "off", "--repeat", "2"])
            .args(more)
            .output()
            .expect("runs");
        (out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned())
    };
    let check = |more: &[&str], says: &str| {
        let (status, text) = told(more);
        assert!(status == Some(2) && text.contains(says), "{more:?}: {status:?} {text}");
    };
    check(&[], "--phase");
    check(&["--phase", "push"], "name one of before_start, line_up, cruise, approach");
    check(&["--phase", "approach", "--link", "tcp:127.0.0.1:9"], "only the built-in aircraft");
}
