//! The debrief of the demo's departure: its figures against the journal, its page in a real browser, its speed.

use crate::browser::{Browser, FAINT, OVERFLOW, small};
use crate::sessions::{Memory, act, header, read_script, root};
use antiphon::core::crew::io::{Input, Step};
use antiphon::core::journal::debrief::criteria::Criteria;
use antiphon::core::journal::debrief::sheet::{Beside, page};
use antiphon::core::journal::debrief::{Debrief, debrief};
use antiphon::core::journal::{Journal, Line, read};
use antiphon::core::time::{SessionTime, SimTime};
use antiphon::edge::store::JournalFile;
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use std::sync::OnceLock;
use std::time::Instant;

/// The journal of the demo's captain, typed and silent; flown once.
fn demo() -> &'static str {
    static FLOWN: OnceLock<String> = OnceLock::new();
    FLOWN.get_or_init(|| {
        let script = read_script(&root().join("phrasebooks/saltmarsh-t2/demo/departure.toml"));
        String::from_utf8(act(script).1).expect("text")
    })
}

fn told(text: &str) -> (Debrief, Criteria) {
    let criteria = Criteria::built_in();
    (debrief(&read(text.as_bytes()).expect("a journal"), &criteria), criteria)
}

/// Lines of the journal as plain JSON: nothing of the debrief's own reading is used.
fn lines(text: &str) -> Vec<Value> {
    text.lines().map(|l| serde_json::from_str(l).expect("JSON")).collect()
}

fn notes(text: &str, name: &str) -> Vec<Value> {
    lines(text).into_iter().map(|l| l["action"].clone()).filter(|a| a["note"] == name).collect()
}

#[test]
fn its_figures_are_those_of_the_journal() {
    let text = demo();
    let (d, _) = told(text);
    assert_eq!(d.notices, [] as [String; 0]);
    let items = notes(text, "item");
    assert!(items.len() >= 20, "{}", items.len());
    let settled: Vec<_> = items.iter().filter(|i| i["state"] != "contradicted").collect();
    assert_eq!(d.items.len(), settled.len());
    for (row, note) in d.items.iter().zip(&settled) {
        assert_eq!(note["item"], *row.item);
        assert_eq!(note["state"], *row.state);
        assert_eq!(note["known"], *row.known);
        // His first sound comes before the moment at which his answer was taken.
        let after = note["after_s"].as_f64().expect("a time");
        assert!(row.after_s.is_none_or(|s| s < after), "{row:?} {note}");
    }
    let own = lines(text).into_iter().filter(|l| l["action"]["note"] == "accepted");
    let own = own.filter(|l| l["action"]["meaning"]["call"].as_str().is_some_and(|c| c.contains("_list/"))).count();
    assert!(own >= 8, "{own}");
    assert_eq!(d.items.iter().filter(|i| i.response.is_some()).count(), own);
    assert_eq!(d.callouts.len(), notes(text, "callout").len());
    assert_eq!(d.phases.len(), notes(text, "phase").len());
    assert_eq!(d.deviations.len(), notes(text, "limit").iter().filter(|l| l["over"] == true).count());
    let not_done = lines(text).into_iter().filter(|l| l["kind"] == "not_done").count();
    assert_eq!(d.refusals.iter().filter(|r| r.kind == "not done").count(), not_done);
    assert_eq!(d.refusals.iter().filter(|r| r.kind == "not taken").count(), notes(text, "refused").len());
    assert!(d.lists.iter().all(|l| l.state == "complete") && d.lists.len() == 3, "{:?}", d.lists);
    assert_eq!(d.work_on.len().min(1), 1, "something to work on, be it the slowest answer");
}

/// The loop measured each callout as it sounded, 60 frames a second; the debrief finds the same from the journal's 20.
#[test]
fn callouts_are_off_their_mark_as_the_loop_measured() {
    let (d, _) = told(demo());
    let measured: Vec<f64> = lines(demo()).iter().filter_map(|l| l["measured"]["callout_error"].as_f64()).collect();
    let found: Vec<f64> =
        d.callouts.iter().filter_map(|c| c.mark.as_ref()).map(|m| m.actual.expect("known") - m.wanted).collect();
    assert_eq!(found.len(), 3, "{found:?}");
    assert_eq!(measured.len(), found.len());
    for (a, b) in found.iter().zip(&measured) {
        assert!((a - b).abs() < 0.3, "{found:?} {measured:?}");
    }
}

/// The demo, flown again and again in one journal until two hours are over.
fn two_hours() -> String {
    let journal = read(demo().as_bytes()).expect("a journal");
    let memory = Memory::default();
    let mut file = JournalFile::to(memory.clone(), "memory", &header_of(&journal)).expect("begins");
    let (steps, length) = steps(&journal);
    let mut from = 0;
    while from < 7_200_000_000 {
        for (at, sim, input, step) in &steps {
            let (at, sim) = (SessionTime(at.0 + from), SimTime(sim.0 + from));
            file.input(at, sim, input).expect("written");
            file.step(at, sim, step).expect("written");
        }
        from += length;
    }
    file.finish(SessionTime(from), SimTime(from)).expect("written");
    drop(file);
    String::from_utf8(memory.bytes()).expect("text")
}

fn header_of(journal: &Journal) -> antiphon::core::journal::Header {
    let mut new = header(&crate::sessions::book("saltmarsh-t2"));
    new.book = journal.header.book.clone();
    new
}

type Steps = Vec<(SessionTime, SimTime, Input, Step)>;

fn steps(journal: &Journal) -> (Steps, i64) {
    let mut out: Steps = Vec::new();
    for e in &journal.entries {
        match &e.line {
            Line::In { stamp, input } => out.push((stamp.at, stamp.sim, input.clone(), Step::default())),
            Line::Out { action, .. } | Line::NotDone { action, .. } => {
                out.last_mut().expect("an input").3.actions.push(action.clone());
            }
            _ => {}
        }
    }
    let length = out.last().expect("inputs").0.0 + 1_000_000;
    (out, length)
}

#[test]
fn two_hours_are_debriefed_in_two_seconds() {
    let text = two_hours();
    let begun = Instant::now();
    let (d, criteria) = told(&text);
    let page = page(&d, &criteria, &Beside::default());
    let took = begun.elapsed().as_secs_f64();
    eprintln!(
        "measured: a journal of {:.1} MB read and debriefed in {took:.2} s, a page of {} kB",
        text.len() as f64 / 1e6,
        page.len() / 1000
    );
    assert!(d.end.secs() >= 7200.0);
    // Unoptimised code is some ten times slower; the target is that of the program as it is built for use.
    let limit = if cfg!(debug_assertions) { 20.0 } else { 2.0 };
    assert!(took <= limit, "{took:.2} s");
    assert!(page.len() < 3_000_000, "{}", page.len());

    // The whole program, from its start to the file.
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).display().to_string();
    std::fs::write(path("j.jsonl"), &text).expect("written");
    for html in [None, Some(path("d.html"))] {
        let begun = Instant::now();
        let journal = path("j.jsonl");
        let mut args = vec!["debrief", journal.as_str()];
        args.extend(html.iter().flat_map(|h| ["--html", h.as_str()]));
        let (status, _, errors) = antiphon(&args);
        let took = begun.elapsed().as_secs_f64();
        eprintln!(
            "measured: the command {} in {took:.2} s",
            if html.is_some() { "with --html" } else { "to the terminal" }
        );
        assert_eq!((status, errors.as_str()), (0, ""));
        assert!(took <= limit, "{took:.2} s");
    }
}

fn antiphon(args: &[&str]) -> (i32, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_antiphon")).args(args).output().expect("runs");
    let text = |b: Vec<u8>| String::from_utf8(b).expect("text");
    (out.status.code().expect("a status"), text(out.stdout), text(out.stderr))
}

#[test]
fn from_the_command_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let write = |name: &str, text: &str| std::fs::write(path(name), text).expect("written");
    write("now.jsonl", demo());
    write("before.jsonl", &demo().replacen("\"2026-01-01T", "\"2025-01-01T", 1));
    let html = path("d.html");
    let (status, told, errors) = antiphon(&["debrief", &path("now.jsonl"), "--html", &html, "--since", &path("")]);
    assert_eq!((status, errors.as_str()), (0, ""), "{told}");
    for part in ["to work on", "measured by", "NTSB/AAR-89/04", "beside 1 earlier flights", "(as before)"] {
        assert!(told.contains(part), "{part}: {told}");
    }
    let page = std::fs::read_to_string(&html).expect("the page");
    for outside in ["http:", "https:", "<link", "@import", "url("] {
        assert!(!page.contains(outside), "{outside} in the page");
    }

    write("cut.jsonl", &demo()[..demo().len() / 2]);
    let (status, told, _) = antiphon(&["debrief", &path("cut.jsonl")]);
    assert_eq!(status, 1);
    assert!(told.starts_with("The journal breaks off in the middle of line "), "{told}");
    assert!(told.contains("items: "), "what could be read is told: {told}");

    write("foreign.jsonl", "{\"a\":1}\n");
    write("newer.jsonl", &demo().replacen("\"antiphon_journal\":1", "\"antiphon_journal\":9", 1));
    for (name, sentence) in [
        ("foreign.jsonl", "This file is not a journal of antiphon"),
        ("newer.jsonl", "It says of itself: written by antiphon"),
        ("none.jsonl", "cannot be read"),
    ] {
        let (status, _, told) = antiphon(&["debrief", &path(name)]);
        assert!(status == 2 && told.contains(sentence), "{status} {told}");
        assert_eq!(told.trim().lines().count(), 1, "{told}");
    }
}

/// Eight bits, 8 kHz, silent.
fn silence(path: &Path, seconds: f64) {
    let spec =
        hound::WavSpec { channels: 1, sample_rate: 8000, bits_per_sample: 8, sample_format: hound::SampleFormat::Int };
    let mut wav = hound::WavWriter::create(path, spec).expect("a file");
    (0..(seconds * 8000.0) as usize).for_each(|_| wav.write_sample(0i8).expect("written"));
    wav.finalize().expect("written");
}

#[test]
fn its_page_in_a_browser() {
    let Some(browser) = Browser::open() else { return };
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("debrief");
    std::fs::create_dir_all(&folder).expect("a folder");
    let (d, criteria) = told(demo());
    silence(&folder.join("flight.wav"), d.end.secs());
    let beside = Beside { recording: Some("flight.wav".into()), flights: vec![] };
    let file = folder.join("debrief.html");
    std::fs::write(&file, page(&d, &criteria, &beside)).expect("the page is written");

    for (name, width, height, night) in [
        ("day", 1200, 900, false),
        ("night", 1200, 900, true),
        ("phone-day", 360, 780, false),
        ("phone-night", 360, 780, true),
    ] {
        browser.look(width, height, night);
        browser.show(&file);
        for (what, script) in [("faint", FAINT.to_string()), ("small", small(24))] {
            let found = browser.run(&script);
            assert!(found["seen"].as_u64() > Some(20), "{name}: {found}");
            assert_eq!(found["bad"], Value::Array(vec![]), "{name}: {what}");
        }
        let over = browser.run(OVERFLOW);
        assert!(over["wider"].as_i64() <= Some(0) && over["bad"] == Value::Array(vec![]), "{name}: {over}");
        for part in ["work", "flight", "voices", "lists", "callouts", "times"] {
            browser.run(&format!("document.getElementById('{part}').scrollIntoView()"));
            browser.picture(&folder.join(format!("{name}-{part}.png")));
        }
    }

    // What a reader sees is what the journal says.
    let seen = |script: &str| browser.run(&format!("return {script}"));
    assert_eq!(seen("document.querySelectorAll('#items tr[data-item]').length"), d.items.len());
    assert_eq!(seen("document.querySelectorAll('#marks tbody tr').length"), d.callouts.len());
    let errors = seen("[...document.querySelectorAll('#marks td.error')].map(e => Number(e.textContent))");
    let measured: Vec<f64> = lines(demo()).iter().filter_map(|l| l["measured"]["callout_error"].as_f64()).collect();
    let errors: Vec<f64> = errors.as_array().expect("a list").iter().filter_map(Value::as_f64).collect();
    assert_eq!(errors.len(), measured.len());
    assert!(errors.iter().zip(&measured).all(|(a, b)| (a - b).abs() < 0.3), "{errors:?} {measured:?}");
    let says: Vec<String> = lines(demo())
        .iter()
        .filter(|l| l["action"]["out"] == "say")
        .map(|l| l["action"]["text"].as_str().expect("words").split_whitespace().collect::<Vec<_>>().join(" "))
        .collect();
    let voices = seen("document.querySelector('.score').innerText.replace(/\\s+/g, ' ')");
    let voices = voices.as_str().expect("text");
    let lacking: Vec<&String> = says.iter().filter(|s| !voices.contains(s.as_str())).collect();
    assert!(says.len() > 40 && lacking.is_empty(), "{lacking:?}");

    // Nothing was fetched but the recording, and a touch on a moment goes there.
    let fetched = seen("performance.getEntriesByType('resource').map(r => r.name.split('/').pop())");
    assert!(fetched.as_array().expect("a list").iter().all(|r| r == "flight.wav"), "{fetched}");
    let wanted =
        seen("document.querySelector('#items a.moment').dataset.at").as_str().and_then(|t| t.parse::<f64>().ok());
    browser.run("document.querySelector('#items a.moment').click()");
    let played = seen("document.getElementById('sound').currentTime").as_f64().expect("a time");
    assert!((played - (wanted.expect("a time") - 1.0)).abs() < 1.0, "{played} {wanted:?}");
}
