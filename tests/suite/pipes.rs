//! A reader that leaves (`antiphon … | head`) is no failure: every command ends quietly, with the status of its work.

use crate::link::{Running, free_port, toy};
use std::process::{Command, Stdio};

/// Runs the program with nobody at the other end of its output; what it told on the error output.
fn unread(args: &[&str], status: i32) {
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    let out = Command::new(env!("CARGO_BIN_EXE_antiphon"))
        .args(args)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .stdout(Stdio::from(writer))
        .stderr(Stdio::piped())
        .output()
        .expect("it runs");
    let told = String::from_utf8_lossy(&out.stderr);
    assert!(!told.contains("panicked") && !told.contains("Broken pipe"), "{args:?}: {told}");
    assert_eq!(out.status.code(), Some(status), "{args:?}: {told}");
}

#[test]
fn nobody_reads_and_nothing_breaks() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = |name: &str| folder.path().join(name).display().to_string();
    let script = "tests/sessions/reject.toml";
    unread(&["--help"], 0);
    unread(&["check", "--explain", "all"], 0);
    unread(&["check", "saltmarsh-t2", "--contexts"], 0);
    unread(&["check", "tests/books/syntax"], 1);
    unread(&["check", "saltmarsh-t2", "--coverage", script], 1);
    unread(&["demo", "--typed", "--script", script, "--out", &path("demo")], 0);
    let journal = path("demo/journal.jsonl");
    unread(&["replay", &journal], 0);
    unread(&["replay", &journal, "--why", "0:20"], 0);
    unread(&["debrief", &journal], 0);
    unread(&["drill", "--typed", "--rules", "uk", "--seed", "3"], 0);
    unread(&["fly", "--typed", "--page", "off", "--journal", &path("fly.jsonl")], 0);
    unread(&["link", "--link", "built-in", "--for", "0.5"], 0);
}

/// What is recorded is completed all the same.
#[test]
fn a_link_ends_when_nobody_reads_any_more() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("states.jsonl").display().to_string();
    let port = free_port();
    let _toy: Running = toy(port);
    // Without an end of its own: the first line that finds no reader ends it.
    unread(&["link", "--link", &format!("tcp:127.0.0.1:{port}"), "--book", "tests/link/book", "--record", &file], 0);
    assert!(std::fs::read_to_string(&file).expect("recorded").ends_with('\n'));
}
