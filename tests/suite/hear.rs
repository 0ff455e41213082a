//! `antiphon hear` from outside, on sound that a program voice speaks.

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// A book of quite another trade, with two slots of one type in one call.
const BOOK: &str = r#"
[book]
title = "Warehouse"
use = ["common"]

[phases.day]
title = "Day shift"
next = ["night"]

[phases.night]
title = "Night shift"
next = ["day"]

[calls.move_crates]
say = ["move crate $number:crate to shelf $number:shelf", "shift crate $number:crate to shelf $number:shelf"]

[calls.count]
say = ["count [the] shelves"]
phases = ["day"]

[calls.lights]
say = ["lights out"]
phases = ["night"]

[calls.shift_over]
say = ["my shift is over"]
does = [
  { phase = "night", if = "phase == 'day'" },
  { phase = "day" },
]
"#;

struct Bench {
    dir: tempfile::TempDir,
}

impl Bench {
    /// `None` (said aloud) where the models or the voice are not set up; with `REQUIRE` set that is a failure.
    fn new() -> Option<Bench> {
        let models = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files/moonshine-tiny-en").is_dir();
        let voice = Command::new("flite").arg("--version").output().is_ok();
        if !models || !voice {
            assert!(std::env::var_os("REQUIRE").is_none(), "models or flite are not set up: run `make setup`");
            eprintln!("skipped: models or flite are not set up");
            return None;
        }
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("warehouse")).unwrap();
        std::fs::write(dir.path().join("warehouse/book.toml"), BOOK).unwrap();
        Some(Bench { dir })
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// Speaks into a file, 16 kHz mono.
    fn say(&self, name: &str, text: &str) -> PathBuf {
        let path = self.path(name);
        let spoken = Command::new("flite").args(["-voice", "slt", "-t", text, "-o"]).arg(&path).status().unwrap();
        assert!(spoken.success());
        path
    }

    fn hear(&self, options: &[&str], files: &[&Path]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
        command.args(["hear", "--json", "--book"]).arg(self.path("warehouse")).args(options).args(files);
        command.output().unwrap()
    }

    /// The lines of a run that must end with exit status 0.
    fn lines(&self, options: &[&str], files: &[&Path]) -> Vec<Value> {
        let output = self.hear(options, files);
        assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
        json(&output)
    }
}

fn json(output: &Output) -> Vec<Value> {
    String::from_utf8_lossy(&output.stdout).lines().map(|l| serde_json::from_str(l).expect(l)).collect()
}

fn samples(path: &Path) -> Vec<i16> {
    hound::WavReader::open(path).unwrap().samples::<i16>().map(Result::unwrap).collect()
}

fn write(path: &Path, rate: u32, channels: u16, bits: u16, samples: impl Iterator<Item = i32>) {
    let spec =
        hound::WavSpec { channels, sample_rate: rate, bits_per_sample: bits, sample_format: hound::SampleFormat::Int };
    let mut writer = hound::WavWriter::create(path, spec).unwrap();
    samples.for_each(|s| writer.write_sample(s).unwrap());
    writer.finalize().unwrap();
}

#[test]
fn a_book_of_another_trade_with_two_slots_of_one_type() {
    let Some(bench) = Bench::new() else { return };
    let a = bench.say("a.wav", "move crate twelve to shelf seven");
    let b = bench.say("b.wav", "shift crate forty to shelf one three");
    let lines = bench.lines(&[], &[&a, &b]);
    assert_eq!(lines.len(), 2);
    for (line, crates, shelf) in [(&lines[0], 12.0, 7.0), (&lines[1], 40.0, 13.0)] {
        assert_eq!(line["call"], "move_crates", "{line}");
        assert_eq!(line["slots"], serde_json::json!({ "crate": crates, "shelf": shelf }), "{line}");
        let keys: Vec<&String> = line.as_object().unwrap().keys().collect();
        let wanted =
            ["call", "decision_ms", "error", "file", "margin", "reason", "score", "slots", "speech_end_s", "text"];
        assert_eq!(keys, wanted);
        assert!(line["reason"].is_null() && line["error"].is_null());
        assert!(line["decision_ms"].as_f64().unwrap() > 0.0 && line["score"].as_f64().unwrap() > 2.0);
    }
    assert_eq!(lines[0]["text"], "move crate twelve to shelf seven");
}

#[test]
fn a_context_decides_between_not_now_and_no_such_call() {
    let Some(bench) = Bench::new() else { return };
    let count = bench.say("count.wav", "count the shelves");
    let other = bench.say("other.wav", "the weather is lovely this morning");
    let silence = bench.path("silence.wav");
    write(&silence, 16_000, 1, 16, (0..16_000).map(|i| (i * 7919 % 31) - 15));
    let told = |options: &[&str]| -> Vec<String> {
        let lines = bench.lines(options, &[&count, &other, &silence]);
        lines.iter().map(|l| l["call"].as_str().or(l["reason"].as_str()).unwrap().to_owned()).collect()
    };
    assert_eq!(told(&["--context", "day"]), ["count", "no such call", "nothing said"]);
    assert_eq!(told(&["--context", "night"]), ["not now", "no such call", "nothing said"]);

    let unknown = bench.hear(&["--context", "nihgt"], &[&count]);
    assert_eq!(unknown.status.code(), Some(2));
    let said = String::from_utf8_lossy(&unknown.stderr).into_owned();
    assert!(said.contains("did you mean `night`") && said.trim_end().lines().count() == 1, "{said}");
}

#[test]
fn swapping_the_sound_swaps_the_call_and_segments_cut_at_silence() {
    let Some(bench) = Bench::new() else { return };
    let (a, b) = (bench.say("a.wav", "count the shelves"), bench.say("b.wav", "lights out"));
    let joined = bench.path("joined.wav");
    let pause = || std::iter::repeat_n(0i32, 14_000).enumerate().map(|(i, _)| (i as i32 * 31 % 7) - 3);
    let piece = |p: &Path| samples(p).into_iter().map(i32::from);
    write(&joined, 16_000, 1, 16, pause().chain(piece(&b)).chain(pause()).chain(piece(&a)).chain(pause()));
    let calls = |options: &[&str], file: &Path| -> Vec<Value> {
        bench.lines(options, &[file]).into_iter().map(|l| l["call"].clone()).collect()
    };
    assert_eq!(calls(&["--segments"], &joined), ["lights", "count"]);
    std::fs::copy(&b, &a).unwrap();
    assert_eq!(calls(&[], &a), ["lights"]);
}

#[test]
fn other_formats_are_read_and_bad_files_are_told() {
    let Some(bench) = Bench::new() else { return };
    let plain = bench.say("plain.wav", "count the shelves");
    let stereo = bench.path("stereo.wav");
    // 48 kHz by repeating each sample three times: rough, but speech stays speech.
    let frames = samples(&plain).into_iter().flat_map(|s| [i32::from(s) << 8; 6]);
    write(&stereo, 48_000, 2, 24, frames);
    assert_eq!(bench.lines(&[], &[&stereo])[0]["call"], "count");

    let (empty, cut, text) = (bench.path("empty.wav"), bench.path("cut.wav"), bench.path("text.wav"));
    std::fs::write(&empty, b"").unwrap();
    std::fs::write(&text, b"this is no sound").unwrap();
    let whole = std::fs::read(&plain).unwrap();
    std::fs::write(&cut, &whole[..whole.len() - 501]).unwrap();
    assert_eq!(bench.lines(&[], &[&cut])[0]["call"], "count");
    let bad = bench.hear(&[], &[&empty, &plain, &text]);
    let lines = json(&bad);
    assert_eq!(bad.status.code(), Some(1));
    assert!(lines[0]["error"].is_string() && lines[2]["error"].is_string(), "{lines:?}");
    assert_eq!(lines[1]["call"], "count", "a bad file does not spoil the others");
    assert_eq!(bench.hear(&[], &[&bench.path("nowhere.wav")]).status.code(), Some(2));
}

#[test]
fn without_models_it_is_one_sentence_and_status_two() {
    let Some(bench) = Bench::new() else { return };
    let sound = bench.say("a.wav", "lights out");
    let run = |models: &Path| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
        let output = command
            .arg("--models")
            .arg(models)
            .args(["hear", "--book"])
            .arg(bench.path("warehouse"))
            .arg(&sound)
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.trim_end().lines().count() == 1 && !said.contains("panicked"), "{said}");
        said
    };
    run(&bench.path("no-such-folder"));
    let half = bench.path("half");
    std::fs::create_dir_all(half.join("onnxruntime")).unwrap();
    let said = run(&half);
    assert!(said.contains("onnxruntime") && said.contains("missing"), "{said}");
    std::fs::write(half.join("onnxruntime/libonnxruntime.so.1.32.0"), vec![7; 2_000_000]).unwrap();
    run(&half);
}
