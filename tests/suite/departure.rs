//! The departure on real sound: flown, falsified and listened to again.

use crate::models::models;
use crate::sessions::{Memory, book, header, read_script, root};
use antiphon::core::book::Book;
use antiphon::core::crew::Crew;
use antiphon::core::grammar::{CallSet, build, parse};
use antiphon::core::journal::{Outcome, read, replay};
use antiphon::core::script::{Performance, Script};
use antiphon::core::time::{SessionTime, Wake};
use antiphon::edge::app::{App, Ears, Outside, Pace, Parts, Report, stage};
use antiphon::edge::audio::EAR_RATE;
use antiphon::edge::audio::level;
use antiphon::edge::audio::recorder::Recorder;
use antiphon::edge::audio::wav::{self, Channel};
use antiphon::edge::captain::Captains;
use antiphon::edge::captain::noise::Cabin;
use antiphon::edge::ear::{Listener, News};
use antiphon::edge::speaker::cache::Cache;
use antiphon::edge::speaker::{Voices, clip};
use antiphon::edge::store::{JournalFile, Places};
use std::path::Path;
use std::sync::Arc;

/// Flies a script by sound; `swap` says what is really spoken for a line, `None` nothing at all.
fn fly(
    models: &Path,
    script: Script,
    swap: fn(&str) -> Option<&str>,
    record: Option<&Path>,
) -> (Report, Vec<u8>, Arc<Book>) {
    let book = book(&script.book);
    let memory = Memory::default();
    let mut captains = Captains::new(Cache::in_memory());
    let captain = captains.pick(script.seed).to_string();
    let parts = Parts {
        engine: Box::new(Crew::new(book.clone())),
        link: Box::new(stage::aircraft(&book, &script, script.seed).expect("a world")),
        ears: Ears::Sound(Box::new(
            Listener::open(models, &book.graph, antiphon::core::gate::Settings::default()).expect("an ear"),
        )),
        speaker: Box::new(Voices::new(Places::here(Some(models)).models(), EAR_RATE, Cache::in_memory())),
        captain: Some(Box::new(move |text| match swap(text) {
            Some(text) => captains.render(&captain, text).map(|p| p.samples.to_vec()).map_err(|e| e.to_string()),
            None => Ok(vec![0.0; EAR_RATE as usize]),
        })),
        pilot: Some(Performance::new(script.clone())),
        noise: Some(cabin(script.seed)),
        recording: None,
        recorder: record.map(|p| Recorder::create(p, EAR_RATE).expect("a file")),
        journal: JournalFile::to(memory.clone(), "memory", &header(&book)).expect("begins"),
        pace: Pace::Fast,
        outside: Outside(None),
        told: Box::new(|_| {}),
        watcher: None,
        until: None,
        ends_in: Vec::new(),
        book: book.clone(),
    };
    let app = App::new(parts, SessionTime::ZERO, Wake::default());
    let report = app.run(script.arrangement, script.phase.clone(), script.sheet.clone()).expect("flies");
    (report, memory.bytes(), book)
}

/// Cabin noise, 18 dB below the captain as in the demo.
fn cabin(seed: u64) -> antiphon::edge::app::Noise {
    let mut cabin = Cabin::new(seed);
    let gain = level::from_db(clip::LEVEL_DB - 18.0) as f32;
    Box::new(move |block| block.iter_mut().for_each(|s| *s += gain * cabin.sample()))
}

fn departure() -> Script {
    read_script(&root().join("phrasebooks/saltmarsh-t2/demo/departure.toml"))
}

fn accepted(report: &Report) -> Vec<String> {
    report.utterances.iter().flat_map(|u| u.accepted.clone()).collect()
}

#[test]
fn the_departure_is_flown_by_voice_and_heard_again() {
    let Some(models) = models() else { return };
    let folder = tempfile::tempdir().expect("a folder");
    let wav = folder.path().join("flight.wav");
    let (report, journal, book) = fly(&models, departure(), |t| Some(t), Some(&wav));
    assert!(report.heard() >= 20, "{:#?}", report.utterances);
    assert_eq!(report.wrong(), 0, "{:#?}", report.utterances);
    assert!(report.failures.is_empty() && report.faults.is_empty(), "{:?} {:?}", report.failures, report.faults);
    assert_eq!(report.checklists.len(), 3, "{:?}", report.checklists);
    assert!(report.checklists.values().all(|s| s == "complete"), "{:?}", report.checklists);
    for m in &report.marks {
        assert!((m.actual - m.wanted).abs() < 1.0, "{m:?}");
    }
    let outcome = replay(&read(&journal).expect("a journal"), &mut Crew::new(book));
    assert!(matches!(outcome, Outcome::Same { .. }), "{outcome:?}");
    heard_again(&models, &wav);
}

/// The crew's side of the recording, recognised by a grammar of its own callouts.
fn heard_again(models: &Path, wav: &Path) {
    let calls = ["thrust set", "eighty knots", "v one", "rotate", "positive climb"];
    let wordings: Vec<_> = calls.iter().map(|c| ((*c).to_string(), vec![parse(c).0])).collect();
    let (graph, problems) = build(&wordings, &Default::default(), &Default::default());
    assert!(problems.is_empty(), "{problems:?}");
    let crew = wav::read(wav, Channel::Only(1), Some(EAR_RATE)).expect("the recording");
    let mut ear = Listener::open(models, &graph, antiphon::core::gate::Settings::default()).expect("an ear");
    ear.listen(1, &CallSet::all(calls.len()));
    // The takeoff is the last 80 s of the flight. A reading above 1 nat: what is not a callout lies below -10.
    let from = crew.samples.len().saturating_sub(80 * EAR_RATE as usize);
    let mut news = ear.feed(&crew.samples[from..]).expect("listens");
    news.extend(ear.finish().expect("ends"));
    let told = news.into_iter().filter_map(|n| match n {
        News::Heard { heard, .. } => heard.ranked.first().filter(|c| c.score > 1.0).map(|c| c.meanings[0].call.clone()),
        _ => None,
    });
    let told: Vec<String> = told.collect();
    let mut rest = told.iter();
    for call in calls {
        assert!(rest.any(|t| t == call), "\u{201c}{call}\u{201d} in its order: {told:?}");
    }
}

#[test]
fn a_line_that_is_muted_is_not_acted_on() {
    let Some(models) = models() else { return };
    let mut script = departure();
    script.steps.truncate(4);
    let (report, ..) = fly(&models, script, |t| (t != "before start flow").then_some(t), None);
    assert!(!accepted(&report).contains(&"before_start_flow".to_string()), "{:?}", accepted(&report));
    assert!(!report.failures.is_empty(), "the script misses what the muted line should have set going");
}

#[test]
fn another_line_in_its_place_does_another_thing() {
    let Some(models) = models() else { return };
    let mut script = departure();
    script.steps.truncate(4);
    let swap: fn(&str) -> Option<&str> =
        |t| Some(if t == "before start flow" { "takeoff flaps will be twenty" } else { t });
    let (report, journal, _) = fly(&models, script, swap, None);
    let calls = accepted(&report);
    assert!(calls.contains(&"takeoff_flaps".to_string()), "{calls:?}");
    assert!(!calls.contains(&"before_start_flow".to_string()), "{calls:?}");
    assert!(String::from_utf8_lossy(&journal).contains("\"entry\":\"takeoff_flaps\",\"value\":20"));
}

/// Altering an input or deleting an output of a real journal is found, and its line is named.
#[test]
fn a_falsified_journal_is_found_out() {
    let (_, journal, book) = crate::sessions::act(departure());
    let text = String::from_utf8(journal).expect("text");
    let lines: Vec<&str> = text.lines().collect();
    let judged = |text: String| replay(&read(text.as_bytes()).expect("a journal"), &mut Crew::new(book.clone()));
    assert!(matches!(judged(text.clone()), Outcome::Same { .. }));

    let input = lines.iter().position(|l| l.contains("\"ias_kt\":1")).expect("a speed above 100 kt");
    let altered = lines[input].replacen("\"ias_kt\":1", "\"ias_kt\":2", 1);
    let mut changed: Vec<&str> = lines.clone();
    changed[input] = &altered;
    match judged(changed.join("\n") + "\n") {
        Outcome::Differs(d) => assert_eq!(d.line, input + 1, "{d}"),
        same => panic!("{same:?}"),
    }

    let output = lines.iter().position(|l| l.contains("\"callout\":\"v1\"") && l.contains("\"out\"")).expect("V1");
    let mut shorter = lines.clone();
    shorter.remove(output);
    match judged(shorter.join("\n") + "\n") {
        Outcome::Differs(d) => assert_eq!(d.line, output + 1, "{d}"),
        same => panic!("{same:?}"),
    }
}
