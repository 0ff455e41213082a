//! A program that is killed in flight leaves a journal that loads, and that lacks at most the last second.

use antiphon::core::journal::read;
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::time::Duration;

fn antiphon() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_antiphon"));
    command.current_dir(env!("CARGO_MANIFEST_DIR")).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
    command
}

#[test]
fn a_killed_flight_is_in_its_journal_and_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("flight.jsonl");
    let file = path.display().to_string();
    let mut flight = antiphon().args(["fly", "--typed", "--page", "off", "--journal", &file]).spawn().expect("it runs");
    let mut hands = flight.stdin.take().expect("piped");
    let mut told = BufReader::new(flight.stdout.take().expect("piped")).lines().map_while(Result::ok);
    writeln!(hands, "purple elephants").expect("it reads");
    let refused = told.by_ref().find(|line| line.contains("not taken"));
    assert!(refused.is_some(), "what was typed is answered");
    // Written each second; the other second is for a machine that is busy with other tests.
    std::thread::sleep(Duration::from_secs(2));
    // SIGKILL: nothing in the program runs any more.
    flight.kill().expect("it ran until now");
    let _ = flight.wait();

    let bytes = std::fs::read(&path).expect("a journal");
    let text = String::from_utf8_lossy(&bytes);
    let journal = read(&bytes).expect("it loads");
    assert!(journal.faults.is_empty(), "{:?}", journal.faults);
    assert!(journal.tail.sentence().is_some(), "it was broken off");
    assert!(text.contains(r#""note":"refused""#), "what was answered two seconds ago is not in the journal");
    for (args, status) in [(["replay", &file], 0), (["debrief", &file], 1)] {
        let out = antiphon().args(args).output().expect("it runs");
        assert_eq!(out.status.code(), Some(status), "{args:?}: {}", String::from_utf8_lossy(&out.stdout));
    }
    // The other end of the typed words is closed at once: it goes on, and ends in order.
    let mut again = antiphon().args(["fly", "--typed", "--page", "off", "--resume", &file]).spawn().expect("it runs");
    drop(again.stdin.take());
    assert_eq!(again.wait_with_output().expect("it ends").status.code(), Some(0));
    let journal = read(&std::fs::read(&path).expect("a journal")).expect("it loads");
    assert_eq!(journal.tail.sentence(), None, "it has an end now");
}
