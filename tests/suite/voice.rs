//! `antiphon voice` from outside, with a program voice as the pilot.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

struct Pilot {
    dir: tempfile::TempDir,
}

impl Pilot {
    /// `None` (said aloud) where the models or the voice are not set up; with `REQUIRE` set that is a failure.
    fn new() -> Option<Pilot> {
        let models = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files/moonshine-tiny-en").is_dir();
        if models && Command::new("flite").arg("--version").output().is_ok() {
            return Some(Pilot { dir: tempfile::tempdir().expect("a folder") });
        }
        assert!(std::env::var_os("REQUIRE").is_none(), "models or flite are not set up: run `make setup`");
        eprintln!("skipped: models or flite are not set up");
        None
    }
    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
    fn run(&self, args: &[&str]) -> Output {
        let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
        command.args(args).env("XDG_DATA_HOME", self.path("data")).output().expect("it starts")
    }
    #[track_caller]
    fn told(&self, args: &[&str], status: i32) -> String {
        let output = self.run(args);
        let text = String::from_utf8_lossy(&[output.stdout, output.stderr].concat()).into_owned();
        assert_eq!(output.status.code(), Some(status), "{text}");
        text
    }
    /// Reads a text so many times softer than the voice is.
    fn read(&self, name: &str, text: &str, softer: i16) -> PathBuf {
        let file = self.path(name);
        std::fs::create_dir_all(file.parent().expect("a folder")).expect("a folder");
        let spoken =
            Command::new("flite").args(["-voice", "slt", "-t", text, "-o"]).arg(&file).status().expect("flite");
        assert!(spoken.success());
        let mut reader = hound::WavReader::open(&file).expect("flite's file");
        let (spec, all): (_, Vec<i16>) = (reader.spec(), reader.samples::<i16>().map(Result::unwrap).collect());
        let mut writer = hound::WavWriter::create(&file, spec).expect("a file");
        all.iter().for_each(|s| writer.write_sample(s / softer).expect("written"));
        writer.finalize().expect("written");
        file
    }
}

#[test]
fn a_voice_is_learned_from_recordings_kept_used_and_forgotten() {
    let Some(pilot) = Pilot::new() else { return };
    let folder = pilot.path("read");
    let list = pilot.told(&["voice", "--list", "--calls", "8"], 0);
    assert_eq!(list.lines().count(), 8);
    assert_eq!(list, pilot.told(&["voice", "--list", "--calls", "8"], 0), "the same every time");
    for line in list.lines() {
        let (number, text) = line.split_once("  ").expect("number and words");
        pilot.read(&format!("loud/{number}.wav"), text, 1);
        pilot.read(&format!("read/{number}.wav"), text, 8);
    }
    let call = pilot.read("call.wav", "flaps up", 8);
    let call = call.to_str().expect("a plain path");
    assert!(pilot.told(&["hear", "--own", call], 2).contains("run `antiphon voice` first"));

    let file = pilot.path("data/antiphon/voice.toml");
    let learn = |folder: &Path| -> toml::Table {
        let told = pilot.told(&["voice", "--calls", "8", "--wav", folder.to_str().expect("a plain path")], 0);
        assert!(told.contains("before: ") && told.contains("after: "), "{told}");
        std::fs::read_to_string(&file).expect("it is kept").parse().expect("it is TOML")
    };
    let gain = |kept: &toml::Table| kept["gain_db"].as_float().expect("a number");
    let loud = gain(&learn(&pilot.path("loud")));
    let kept = learn(&folder);
    // An eighth of the level is 18.06 dB, and the voice is brought up by as much more.
    let more = gain(&kept) - loud;
    assert!((17.5..=18.6).contains(&more) && gain(&kept) < 18.0 && loud > -12.0, "{loud} {kept}");
    assert!(kept["wordings"].as_table().is_some_and(|w| w.len() > 3), "{kept}");

    assert!(pilot.told(&["hear", "--own", call], 0).contains("flaps"));
    // A flight by a recording says that it knows the voice.
    let journal = pilot.path("flight.jsonl");
    let journal = journal.to_str().expect("a plain path");
    let flown = pilot.told(&["fly", "--mic", call, "--speaker", "none", "--page", "off", "--journal", journal], 0);
    assert!(flown.contains("your voice is known"), "{flown}");

    pilot.told(&["voice", "--forget"], 0);
    assert!(!file.exists());
    let empty = pilot.told(&["voice", "--wav", pilot.dir.path().to_str().expect("a plain path")], 2);
    assert!(empty.contains("antiphon voice --list"), "{empty}");
}
