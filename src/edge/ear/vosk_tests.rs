//! The Vosk ear with a pretended worker; the real one is tested from outside (tests/suite/vosk.rs).
#![cfg(unix)]

use super::vosk_ear::{FILLERS, VoskEar};
use super::vosk_worker::Launch;
use super::{EarError, Reader, Unknown};
use crate::core::grammar::{CallId, CallSet, NamedSlots, Rules, WordGraph, build, parse};
use crate::core::matcher::{AT_LIMIT, EXACT};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Answers as the protocol wants it; what it hears stands in the file `text`, and its questions go to `asked`. The file
/// `die` makes it die over the next sound, once; `hang` makes it never answer.
const WORKER: &str = r#"#!/bin/sh
cd "$(dirname "$0")"
while read -r line; do
  printf '%s\n' "$line" >> asked
  case "$line" in
    *'"load"'*) echo '{"answer":"loaded","unknown":"[unk]"}' ;;
    *'"words"'*) printf '{"answer":"missing","words":[%s]}\n' "$(cat missing)" ;;
    *'"grammar"'*) echo '{"answer":"ready","phrases":1}' ;;
    *'"hear"'*)
      n=${line##*:}; head -c $((2 * ${n%\}})) > sound
      if [ -e die ]; then rm die; echo 'out of luck' >&2; exit 1; fi
      if [ -e hang ]; then exec sleep 60; fi
      printf '{"answer":"text","text":"%s"}\n' "$(cat text)" ;;
  esac
done
"#;

struct Bench(tempfile::TempDir);

impl Bench {
    fn new() -> Bench {
        let bench = Bench(tempfile::tempdir().unwrap());
        for file in ["model/am/final.mdl", "model/graph/HCLr.fst", "model/graph/Gr.fst", "model/conf/mfcc.conf"] {
            std::fs::create_dir_all(bench.at(file).parent().unwrap()).unwrap();
            bench.write(file, "");
        }
        bench.write("worker", WORKER);
        std::fs::set_permissions(bench.at("worker"), std::fs::Permissions::from_mode(0o755)).unwrap();
        bench.write("missing", "");
        bench.write("text", "");
        bench
    }
    fn at(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }
    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.at(name), text).unwrap();
    }
    fn open(&self) -> Result<(VoskEar, Vec<Unknown>), EarError> {
        let launch = Launch { program: self.at("worker"), library: None, model: self.at("model") };
        VoskEar::open(launch, &graph())
    }
    fn asked(&self) -> Vec<String> {
        std::fs::read_to_string(self.at("asked")).unwrap().lines().map(str::to_owned).collect()
    }
}

const CALLS: &[(&str, &[&str])] = &[
    ("open_valve", &["open [the] valve", "valve open"]),
    ("valve_report", &["open [the] valve report"]),
    ("stop", &["stop"]),
    ("heading", &["heading $heading:to"]),
];

fn graph() -> WordGraph {
    let calls: Vec<_> =
        CALLS.iter().map(|(n, w)| ((*n).to_owned(), w.iter().map(|w| parse(w).0).collect::<Vec<_>>())).collect();
    build(&calls, &Rules::new(), &NamedSlots::new()).0
}

const SOUND: [f32; 320] = [0.5; 320];

/// What is read when the worker hears `text`: the best call with its score, and whether it is whole.
fn check(text: &str, wanted: Option<(&str, f64)>, whole: bool) {
    let bench = Bench::new();
    bench.write("text", text);
    let (mut ear, unknown) = bench.open().unwrap();
    assert_eq!(unknown, []);
    let found = ear.read(&SOUND, &CallSet::all(CALLS.len())).unwrap().found;
    let best = found.ranked.first().map(|c| (c.meanings[0].call.as_str(), c.score));
    assert_eq!((best, found.whole), (wanted, whole), "{text}");
    assert_eq!(ear.trouble(), Vec::<String>::new());
}

#[test]
fn the_whole_phrase_is_matched_again() {
    check("stop", Some(("stop", EXACT)), true);
    // A report could follow.
    check("open the valve", Some(("open_valve", EXACT)), false);
    check("open valve report", Some(("valve_report", EXACT)), true);
    check("heading two seven zero", Some(("heading", EXACT)), true);
    // Recombined from pairs of the grammar, and no call.
    check("heading two seven", None, false);
    check("report", None, false);
    check("", None, false);
    check("[unk]", None, false);
    // Other speech around a call: it only resembles.
    check("[unk] stop", Some(("stop", AT_LIMIT)), false);
}

#[test]
fn the_grammar_is_the_live_calls_and_is_sent_when_they_change() {
    let bench = Bench::new();
    let (mut ear, _) = bench.open().unwrap();
    let few: CallSet = [CallId(0), CallId(2)].into_iter().collect();
    for _ in 0..2 {
        ear.read(&SOUND, &few).unwrap();
    }
    ear.read(&SOUND, &[CallId(2)].into_iter().collect()).unwrap();
    // Nothing live, nothing asked.
    ear.read(&SOUND, &CallSet::none()).unwrap();
    let asked = bench.asked();
    let grammars: Vec<&String> = asked.iter().filter(|l| l.contains("grammar")).collect();
    assert_eq!(
        grammars,
        [
            r#"{"ask":"grammar","phrases":["open the valve","open valve","valve open","stop","[unk]"]}"#,
            r#"{"ask":"grammar","phrases":["stop","[unk]"]}"#
        ]
    );
    assert_eq!(asked.iter().filter(|l| l.contains("hear")).count(), 3);
    let sound = std::fs::read(bench.at("sound")).unwrap();
    let rest = vec![0; 2 * 3_200];
    assert_eq!(sound, [rest.clone(), 16_383_i16.to_le_bytes().repeat(320), rest].concat());
    // 360 headings in two ways of speaking are given by their pairs.
    let pairs = ear.phrases(CallId(3)).len();
    assert!((50..super::vosk_ear::SENTENCES).contains(&pairs), "{pairs}");
}

#[test]
fn words_that_the_model_lacks_are_told_with_their_phrase() {
    let bench = Bench::new();
    bench.write("missing", r#""the","stop""#);
    let (ear, unknown) = bench.open().unwrap();
    let told: Vec<String> = unknown.iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "the Vosk model does not know the word \u{201c}stop\u{201d} in \u{201c}stop\u{201d} (stop): the call cannot be heard; \
             give it a wording in other words",
            "the Vosk model does not know the word \u{201c}the\u{201d} in \u{201c}open the valve\u{201d} (open_valve): other wordings \
             of the call are heard",
        ]
    );
    assert_eq!(ear.phrases(CallId(0)), ["open valve", "valve open"]);
    assert_eq!(ear.phrases(CallId(2)), Vec::<String>::new());
}

#[test]
fn a_model_of_another_language_is_refused() {
    let bench = Bench::new();
    bench.write("missing", &graph().words.iter().map(|w| format!("{w:?}")).collect::<Vec<_>>().join(","));
    let told = bench.open().unwrap_err().to_string();
    assert!(told.contains("knows no sentence of this book"), "{told}");
}

#[test]
fn fillers_stand_for_other_speech() {
    let bench = Bench::new();
    bench.write(&format!("model/{FILLERS}"), "la\nla-la lu\n");
    bench.write("missing", r#""la-la""#);
    bench.write("text", "la stop");
    let (mut ear, _) = bench.open().unwrap();
    assert_eq!(ear.trouble(), ["the Vosk model does not know the filler \u{201c}la-la\u{201d}"]);
    let found = ear.read(&SOUND, &[CallId(2)].into_iter().collect()).unwrap().found;
    assert_eq!(found.ranked[0].score, AT_LIMIT);
    assert!(bench.asked().iter().any(|l| l.contains(r#"["stop","[unk]","la","lu"]"#)), "{:?}", bench.asked());
}

#[test]
fn a_worker_that_dies_is_started_again() {
    let bench = Bench::new();
    bench.write("text", "stop");
    let (mut ear, _) = bench.open().unwrap();
    let live = CallSet::all(CALLS.len());
    let heard = |ear: &mut VoskEar| ear.read(&SOUND, &live).unwrap().found.ranked.len();
    // Over an utterance: who can wait loses nothing.
    bench.write("die", "");
    assert_eq!(heard(&mut ear), 1);
    assert_eq!(ear.trouble(), ["the Vosk worker stopped (out of luck); it is being started again"]);
    // Between utterances: noticed before the next.
    let old = ear.process().unwrap();
    std::process::Command::new("kill").args(["-9", &old.to_string()]).status().unwrap();
    let told = soon(|| ear.trouble().pop());
    assert_eq!(told, "the Vosk worker stopped (signal: 9 (SIGKILL)); it is being started again");
    assert_ne!(ear.process(), Some(old));
    assert_eq!(heard(&mut ear), 1);
    // Who cannot wait gets no answer to this utterance, at once, and one to the next.
    ear.set_patience(Duration::ZERO);
    bench.write("die", "");
    let began = Instant::now();
    assert_eq!(heard(&mut ear), 0);
    assert!(began.elapsed() < Duration::from_secs(2), "{:?}", began.elapsed());
    ear.trouble();
    soon(|| (heard(&mut ear) == 1).then_some(()));
}

#[test]
fn a_worker_that_keeps_dying_is_given_up() {
    let bench = Bench::new();
    let (mut ear, _) = bench.open().unwrap();
    ear.set_patience(Duration::ZERO);
    std::fs::remove_file(bench.at("worker")).unwrap();
    bench.write("die", "");
    ear.read(&SOUND, &CallSet::all(1)).unwrap();
    let told = ear.trouble().join(" ");
    assert!(told.contains("cannot be started again: the Vosk worker") && told.contains("make vosk"), "{told}");
    assert_eq!(ear.process(), None);
    ear.read(&SOUND, &CallSet::all(1)).unwrap();
    let told = ear.trouble().join(" ");
    assert!(told.contains("no Vosk worker is left to hear with"), "{told}");

    let bench = Bench::new();
    let (mut ear, _) = bench.open().unwrap();
    bench.write("worker", "#!/bin/sh\nexit 1\n");
    bench.write("die", "");
    ear.read(&SOUND, &CallSet::all(1)).unwrap();
    let told = soon(|| ear.trouble().into_iter().find(|t| t.contains("is not started again")));
    assert!(told.contains("the 6th time in a minute"), "{told}");
}

/// Waits for something that another process does.
fn soon<T>(mut look: impl FnMut() -> Option<T>) -> T {
    let end = Instant::now() + Duration::from_secs(10);
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < end, "nothing came");
        std::thread::sleep(Duration::from_millis(10));
    }
}

#[test]
fn a_folder_that_is_no_model_is_refused_before_anything_starts() {
    let launch = Launch { program: "/nowhere".into(), library: None, model: Path::new("/nowhere").into() };
    let told = VoskEar::open(launch, &graph()).unwrap_err().to_string();
    assert_eq!(told, "there is no Vosk model /nowhere: name a model's folder with --vosk-model");
}
