//! `antiphon drill` from outside.

use std::io::Write;
use std::process::{Command, Output, Stdio};

fn drill(args: &[&str], answers: &[&str]) -> Output {
    let home = tempfile::tempdir().unwrap();
    let mut child = Command::new(env!("CARGO_BIN_EXE_antiphon"))
        .arg("drill")
        .args(args)
        .env("XDG_DATA_HOME", home.path())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    // A drill that refuses its options reads nothing.
    let _ = input.write_all((answers.join("\n") + "\n").as_bytes());
    drop(input);
    child.wait_with_output().unwrap()
}

fn told(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

#[test]
fn a_typed_drill_goes_on_by_what_was_said() {
    let answers = [
        // For another callsign: left alone.
        "",
        // Without the hold short, which must come back.
        "holding point charlie runway 09 via kilo mike saltmarsh 417",
        "holding short of runway zero nine, saltmarsh four one seven",
        // ROGER is no readback.
        "roger saltmarsh 417",
        "behind the landing tarn on short final line up and wait runway zero nine behind saltmarsh four one seven",
        // A wrong runway, and a level corrected to an altitude.
        "heading two five zero, climb flight level three zero, correction, climb to altitude three thousand feet, runway \
         two seven cleared for take off, saltmarsh four one seven",
        "runway zero nine cleared for take off, saltmarsh four one seven",
    ];
    let out = drill(&["--typed", "--seed", "11", "--difficulty", "3", "--count", "4"], &answers);
    insta::assert_snapshot!(told(&out));
}

#[test]
fn a_drill_by_sound_hears_an_error_as_an_error() {
    use antiphon::edge::audio::{EAR_RATE, recorder::write_mono};
    use antiphon::edge::captain::Captains;
    use antiphon::edge::speaker::cache::Cache;
    let models = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files/moonshine-tiny-en").is_dir();
    let voice = Command::new("flite").arg("--version").output().is_ok();
    if !models || !voice {
        assert!(std::env::var_os("REQUIRE").is_none(), "models or flite are not set up: run `make setup`");
        eprintln!("skipped: models or flite are not set up");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let (mic, both) = (folder.path().join("me.wav"), folder.path().join("both.wav"));
    let mut captains = Captains::new(Cache::in_memory());
    let quiet = |s: f64| vec![0.0f32; (s * f64::from(EAR_RATE)) as usize];
    // The first call is for another callsign: more than eight seconds of quiet.
    let mut sound = quiet(8.5);
    for text in [
        "holding point charlie runway zero nine, via kilo mike, holding short of runway zero nine, saltmarsh four one seven",
        "behind the landing tarn on short final, line up and wait runway two seven behind, saltmarsh four one seven",
        "line up and wait runway zero nine, saltmarsh four one seven",
    ] {
        sound.extend_from_slice(&captains.render("captain-c", text).unwrap().samples);
        sound.extend(quiet(1.6));
    }
    write_mono(&mic, EAR_RATE, &sound).unwrap();
    let (mic, both) = (mic.display().to_string(), both.display().to_string());
    let out = drill(&["--seed", "11", "--difficulty", "3", "--count", "3", "--mic", &mic, "--speaker", &both], &[]);
    let told = told(&out);
    for line in [
        "right      not your callsign: you left it alone",
        "right      hold short 09",
        "WRONG      line up: you said 27, it was 09",
        "negative, I say again, behind the landing tarn on short final, line up and wait runway zero nine behind",
    ] {
        assert!(told.contains(line), "{line}\nin\n{told}");
    }
    // Both sides are on the recording.
    for side in [0, 1] {
        let heard = antiphon::edge::audio::wav::read(
            std::path::Path::new(&both),
            antiphon::edge::audio::wav::Channel::Only(side),
            None,
        );
        assert!(heard.unwrap().samples.iter().any(|s| s.abs() > 0.05), "side {side}");
    }
}

/// A pilot who pauses in a long answer and goes on louder is no second talker: the beginning counts.
#[test]
fn a_long_answer_with_pauses_is_heard_from_its_beginning() {
    use antiphon::core::radio::{CallsignScore, Generator, Mode, Phrases, Reader, Said, Verdict, Weights, judge};
    use antiphon::core::time::SessionTime;
    use antiphon::core::words::Regime;
    use antiphon::edge::audio::EAR_RATE;
    use antiphon::edge::captain::Captains;
    use antiphon::edge::radio::RadioEar;
    use antiphon::edge::speaker::cache::Cache;
    let Some(models) = crate::models::models() else { return };
    let phrases = Phrases::built_in().unwrap();
    let (regime, reader) = (Regime::ALL[0], Reader::new(&phrases).unwrap());
    let rules = phrases.rules(regime);
    let mut ear = RadioEar::open(&models, &phrases).unwrap();
    let mut captains = Captains::new(Cache::in_memory());
    let mut generator = Generator::new(&phrases, regime, 4, 100);
    let mut long = 0;
    while long < 2 {
        let exercise = generator.next(Mode::Readback, &Weights::new());
        let text = exercise.model(&phrases, rules);
        let parts: Vec<&str> = text.split(", ").collect();
        if !exercise.is_mine() || parts.len() < 4 {
            continue;
        }
        long += 1;
        let quiet = |s: f64| vec![0.0f32; (s * f64::from(EAR_RATE)) as usize];
        let mut sound = quiet(0.5);
        for (i, part) in parts.iter().enumerate() {
            let gain = if i + 1 < parts.len() { 0.35 } else { 1.0 };
            sound.extend(captains.render("captain-a", part).unwrap().samples.iter().map(|s| s * gain));
            sound.extend(quiet(0.5));
        }
        assert!(sound.len() > 9 * EAR_RATE as usize, "too short to show anything: {text}");
        sound.extend(quiet(1.2));
        ear.reset();
        ear.expect(&exercise, SessionTime::ZERO).unwrap();
        let mut heard = ear.feed(&sound).unwrap();
        heard.extend(ear.finish().unwrap());
        assert_eq!(heard.len(), 1, "{text}: {heard:?}");
        let words = heard.remove(0);
        let kinds: Vec<&str> = exercise.items.iter().map(|i| i.kind.as_str()).collect();
        let said = Said { pieces: reader.read(&words.text, &kinds), words: words.clone() };
        let score = judge(&phrases, rules, &exercise, &said);
        let right = score.items.iter().filter(|s| s.verdict == Verdict::Correct).count();
        assert!(right == exercise.items.len() && score.callsign == CallsignScore::Right, "{text}: {}", words.text);
    }
}
