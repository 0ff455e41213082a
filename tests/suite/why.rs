//! `replay --why` from outside, on the demo's departure.

use crate::sessions::{act, read_script, root};
use serde_json::Value;
use std::process::Command;

#[test]
fn what_was_armed_and_what_held_it_back() {
    let text = String::from_utf8(act(read_script(&root().join("phrasebooks/saltmarsh-t2/demo/departure.toml"))).1);
    let text = text.expect("text");
    let folder = tempfile::tempdir().expect("a folder");
    let journal = folder.path().join("j.jsonl");
    std::fs::write(&journal, &text).expect("written");
    let notes: Vec<Value> = text.lines().map(|l| serde_json::from_str(l).expect("JSON")).collect();
    // Seconds of the first note with this name and value.
    let at = |key: &str, value: &str| {
        let found = notes.iter().find(|l| l["action"][key] == value).unwrap_or_else(|| panic!("no {key} {value}"));
        found["at"].as_f64().expect("a time") / 1e6
    };
    let why = |s: f64| {
        let out = Command::new(env!("CARGO_BIN_EXE_antiphon"))
            .args(["replay", &journal.display().to_string(), "--why", &format!("{s:.3}"), "--book"])
            .arg(root().join("phrasebooks/saltmarsh-t2"))
            .output()
            .expect("runs");
        assert!(out.status.success());
        String::from_utf8(out.stdout).expect("text")
    };
    let check = |s: f64, parts: &[&str]| {
        let told = why(s);
        for part in parts {
            assert!(told.contains(part), "at {s}: {part} is not in:\n{told}");
        }
    };
    // In the roll, between eighty and V1: made, armed with its value, and the phase that has not come.
    check(
        at("callout", "eighty") + 1.0,
        &[
            "callout eighty: made, and not armed again",
            "callout v1: armed for ias_kt rising through 132",
            "callout thrust_not_set: not armed, for its mark was passed or jumped over",
            "callout positive_climb: armed for !on_ground",
            "does not hold [on_ground = true, radio_height_ft = ",
        ],
    );
    // While a list is read: which item, and for whom it waits.
    check(at("checklist", "before_start_list") + 2.5, &["checklist before_start_list at "]);
    // While a flow works.
    check(at("flow", "before_start") + 3.0, &["flow before_start, step "]);
}
