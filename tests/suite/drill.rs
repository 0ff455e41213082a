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
