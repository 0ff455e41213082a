//! The system voice by the real speech service of Debian, private to the test: its own socket and configuration, and an
//! output module that writes what it is told to speak into files.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Child, Command, Output, Stdio};
use std::time::{Duration, Instant};

const MODULE: &str = r#"
GenericExecuteSynth "printf '%s|%s|%s|%s\\n' \'$DATA\' '$VOICE' '$RATE' '$VOLUME' >> FOLDER/said; espeak-ng -v en-us -w FOLDER/said.wav \'$DATA\'; sleep 0.5"
GenericCmdDependency "espeak-ng"
GenericRateAdd 0
GenericRateMultiply 100
GenericRateForceInteger 1
GenericVolumeAdd 0
GenericVolumeMultiply 100
GenericVolumeForceInteger 1
GenericLanguage "en" "en" "utf-8"
AddVoice "en" "MALE1" "harbour"
AddVoice "en" "FEMALE1" "island"
DefaultVoice "harbour"
"#;

const SERVICE: &str = r#"
LogLevel 1
LogDir "stdout"
AddModule "file" "sd_generic" "file.conf"
DefaultModule file
DefaultLanguage "en"
DefaultVolume 100
AudioOutputMethod "alsa"
"#;

struct Bench {
    dir: tempfile::TempDir,
    service: Child,
}

impl Bench {
    /// `None` (said aloud) where the service is not installed or the feature is off; with `REQUIRE` set that is a failure.
    fn new() -> Option<Bench> {
        let there = |p: &str| Command::new(p).arg("--version").output().is_ok();
        if !(cfg!(feature = "system-voice") && there("speech-dispatcher") && there("espeak-ng")) {
            let needs =
                "speech-dispatcher or espeak-ng is not installed, or the feature system-voice is off: run `make test`";
            assert!(std::env::var_os("REQUIRE").is_none(), "{needs}");
            eprintln!("skipped: {needs}");
            return None;
        }
        let dir = tempfile::tempdir().unwrap();
        let path = |name: &str| dir.path().join(name);
        std::fs::create_dir_all(path("conf/modules")).unwrap();
        let folder = dir.path().display().to_string();
        std::fs::write(path("conf/speechd.conf"), SERVICE).unwrap();
        std::fs::write(path("conf/modules/file.conf"), MODULE.replace("FOLDER", &folder)).unwrap();
        // No sound device is needed: the service opens one that swallows everything.
        std::fs::write(path("alsa.conf"), "pcm.!default { type null }\nctl.!default { type hw card 0 }\n").unwrap();
        let service = Command::new("speech-dispatcher")
            .args(["-s", "-t", "0", "-c", "unix_socket", "-S"])
            .arg(path("sock"))
            .arg("-C")
            .arg(path("conf"))
            .arg("-P")
            .arg(path("pid"))
            .env("ALSA_CONFIG_PATH", path("alsa.conf"))
            .env("XDG_RUNTIME_DIR", dir.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let bench = Bench { dir, service };
        bench.soon("the service came up", || bench.path("sock").exists());
        Some(bench)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    fn soon(&self, what: &str, mut look: impl FnMut() -> bool) {
        let end = Instant::now() + Duration::from_secs(30);
        while !look() {
            assert!(Instant::now() < end, "not in 30 s: {what}; said: {:?}", self.said());
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Everything spoken: words, voice, rate, volume.
    fn said(&self) -> Vec<String> {
        let text = std::fs::read_to_string(self.path("said")).unwrap_or_default();
        text.lines().map(str::to_owned).collect()
    }

    fn antiphon(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
        command.args(args).env("SPEECHD_ADDRESS", format!("unix_socket:{}", self.path("sock").display()));
        command
    }

    fn say(&self, args: &[&str]) -> Output {
        self.antiphon(&[&["say"], args].concat()).output().unwrap()
    }

    fn signal(&self, signal: &str) {
        assert!(Command::new("kill").args([signal, &self.service.id().to_string()]).status().unwrap().success());
    }
}

impl Drop for Bench {
    fn drop(&mut self) {
        let _ = self.service.kill();
        let _ = self.service.wait();
    }
}

fn told(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn says_it_in_the_voice_rate_and_volume_that_were_asked_for() {
    let Some(bench) = Bench::new() else { return };
    let output = bench.say(&["--voice", "system", "gear up"]);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    // The service spoke: two words take about half a second, and are not silence.
    let sound = antiphon::edge::audio::wav::read_16k(&bench.path("said.wav")).unwrap().samples;
    assert!((4_000..32_000).contains(&sound.len()) && sound.iter().any(|s| s.abs() > 0.1), "{} samples", sound.len());

    let output =
        bench.say(&["--voice", "system:island", "--voice-rate", "200", "--voice-volume", "50", "it's V one; rotate"]);
    assert_eq!(output.status.code(), Some(0), "{}", told(&output));
    // The service's own scales go from -100 to 100.
    assert_eq!(bench.said(), ["gear up|harbour|0|100", "it's V one; rotate|island|100|0"]);
}

#[test]
fn faults_are_one_sentence() {
    let Some(bench) = Bench::new() else { return };
    let check = |args: &[&str], says: &str| {
        let output = bench.say(args);
        assert_eq!(output.status.code(), Some(2), "{}", told(&output));
        assert!(told(&output).contains(says), "{}", told(&output));
    };
    check(&["--voice", "system:nobody at all", "gear up"], "it has no voice nobody at all");
    check(&["--voice", "system", "--out", "x.wav", "gear up"], "gives no samples");
    check(&["--voice", "system", "..."], "there are no words");
    let fly = bench.antiphon(&["fly", "--typed", "--voice", "system", "--record", "x.wav"]).output().unwrap();
    assert_eq!(fly.status.code(), Some(2));
    assert!(told(&fly).contains("can be neither recorded"), "{}", told(&fly));
    // No service, and none can be started.
    let mut away = bench.antiphon(&["say", "--voice", "system", "gear up"]);
    away.env("SPEECHD_ADDRESS", "unix_socket:/nowhere/at/all");
    let output = away.output().unwrap();
    assert_eq!(output.status.code(), Some(2), "{}", told(&output));
    assert!(told(&output).contains("the system voice is away"), "{}", told(&output));
}

/// Flies by typed words, stops the service in the middle and goes on.
#[test]
fn a_service_that_hangs_in_flight_is_told_and_the_flight_goes_on() {
    let Some(bench) = Bench::new() else { return };
    let journal = bench.path("journal.jsonl");
    let out = bench.path("out");
    let mut fly = bench
        .antiphon(&["fly", "--typed", "--voice", "system", "--journal"])
        .arg(&journal)
        .stdin(Stdio::piped())
        .stdout(std::fs::File::create(&out).unwrap())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut keys = fly.stdin.take().unwrap();
    let shown = |text: &str| std::fs::read_to_string(&out).unwrap_or_default().contains(text);
    writeln!(keys, "cockpit preparation complete").unwrap();
    bench.soon("the second pilot spoke aloud", || !bench.said().is_empty());
    bench.soon("the terminal shows it", || shown("(second pilot)"));
    bench.signal("-STOP");
    writeln!(keys, "say again").unwrap();
    bench.soon("the loss is told", || shown("the system voice is away (it has not answered for 2 s)"));
    bench.soon("by the crew as well", || shown("I have lost the system voice"));
    drop(keys);
    bench.soon("the flight ends", || fly.try_wait().unwrap().is_some());
    assert_eq!(fly.wait().unwrap().code(), Some(1), "a flight with a fault");
    let journal = std::fs::read_to_string(&journal).unwrap();
    let faults = journal.lines().filter(|l| l.contains(r#""in":"fault""#) && l.contains("system voice")).count();
    assert_eq!(faults, 1, "told once in the journal");
}
