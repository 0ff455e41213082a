//! Link files: what they map, and what is wrong with them.

use super::{LinkFile, Map, failed, load};
use crate::core::aircraft::Value;
use crate::core::book::{self, Book, Folder, Problem, SourceFile};
use crate::core::time::SessionTime;

const BOOK: &str = r#"
[book]
title = "A toy"
first_phase = "fly"
[phases.fly]
title = "fly"
[signals.ias_kt]
kind = "number"
[signals.radio_height_ft]
kind = "number"
[signals.oat_c]
kind = "number"
[signals.on_ground]
kind = "bool"
[signals.gear_lever]
kind = ["up", "down"]
[signals.gear_position]
kind = ["up", "transit", "down"]
[controls.gear_lever]
kind = "detent"
values = ["up", "down"]
[callouts.eighty]
phases = ["fly"]
when = "ias_kt > 80"
say = "Eighty"
"#;

fn book() -> Book {
    let files = vec![SourceFile { name: "book.toml".into(), text: BOOK.into() }];
    book::load(&Folder { id: "toy".into(), files }, &|_| None).book
}

fn read(text: &str) -> (LinkFile, Vec<Problem>) {
    load(&SourceFile { name: "link.toml".into(), text: text.into() }, &book())
}

const GOOD: &str = r#"
[link]
title = "a toy in a tree"
commands = "127.0.0.1:5401"
state = "127.0.0.1:5402"
columns = ["sim/time", "v/ms", "h/agl"]
callouts = ["eighty"]
[raw.wheels]
path = "gear/wow"
[signals.ias_kt]
path = "v/ms"
unit = "m/s"
[signals.oat_c]
path = "atm/t"
unit = "R"
[signals.on_ground]
is = "wheels > 0.5 && radio_height_ft < 5.0"
[signals.radio_height_ft]
path = "h/agl"
offset = -12
[signals.gear_position]
path = "gear/pos"
words = { up = 0, down = 1 }
between = "transit"
[controls.gear_lever]
path = "gear/cmd"
words = { up = 0, down = 1 }
"#;

#[test]
fn numbers_become_signals() {
    let (file, problems) = read(GOOD);
    assert!(problems.is_empty(), "{problems:#?}");
    assert!(!failed(&problems));
    assert_eq!(file.clock, "sim/time");
    assert_eq!(file.asked(), ["atm/t", "gear/cmd", "gear/pos", "gear/wow"]);
    let mut map = Map::default();
    let at = SessionTime::from_secs(1.0);
    let numbers = [("v/ms", 100.0), ("h/agl", 16.0), ("atm/t", 518.67), ("gear/wow", 1.0), ("gear/pos", 0.4)];
    for (path, n) in numbers {
        map.put(path, Some(n), at);
    }
    map.put("gear/cmd", None, at);
    let got = map.signals(&file, at);
    let number = |name: &str| got[name].as_ref().and_then(Value::number).expect(name);
    // 1852/3600 m/s a knot; 518.67 R are 15 °C (ICAO Doc 7488, sea level).
    assert!((number("ias_kt") - 194.384_449).abs() < 1e-6);
    assert!((number("oat_c") - 15.0).abs() < 1e-9);
    assert_eq!(number("radio_height_ft"), 4.0);
    assert_eq!(got["on_ground"], Some(Value::Bool(true)));
    assert_eq!(got["gear_position"], Some(Value::Word("transit".into())));
    assert_eq!(got["gear_lever"], None, "it has no number");
    let later = map.signals(&file, at.plus(10.0));
    assert!(later.values().all(Option::is_none), "all of it is stale: {later:?}");
    let lever = &file.controls["gear_lever"];
    assert_eq!(lever.reading.raw(&Value::Word("up".into())), Some(0.0));
}

/// One fault: the text with `was` in place of `now`, the id, the text at the place, a part of the hint.
fn check(was: &str, now: &str, id: &str, place: &str, hint: &str) {
    assert!(GOOD.contains(was), "{was}");
    let text = GOOD.replacen(was, now, 1);
    let (_, problems) = read(&text);
    let found = problems.iter().find(|p| {
        let at = p.place.as_ref().map_or("", |at| &text[at.start..at.end]);
        p.id == id && at == place && p.hint.as_deref().unwrap_or_default().contains(hint)
    });
    let all: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert!(found.is_some(), "{now}: wanted [{id}] at `{place}` with `{hint}`, found\n{}", all.join("\n"));
}

#[test]
fn every_fault_has_its_place_and_a_hint() {
    check("unit = \"m/s\"", "unit = \"m_s\"", "link-unit", "\"m_s\"", "did you mean \"m/s\"?");
    check("unit = \"m/s\"", "unit = \"m\"", "link-unit", "\"m\"", "kt");
    check("signals.ias_kt", "signals.iass_kt", "link-signal", "iass_kt", "did you mean \"ias_kt\"?");
    check("controls.gear_lever", "controls.gear_levr", "link-signal", "gear_levr", "did you mean \"gear_lever\"?");
    check("[\"eighty\"]", "[\"eigthy\"]", "link-signal", "\"eigthy\"", "did you mean \"eighty\"?");
    check("wheels > 0.5", "wheel > 0.5", "unknown-signal", "wheel", "did you mean \"wheels\"?");
    check("wheels > 0.5", "wheels > 'x'", "condition-type", "'x'", "");
    check("between = \"transit\"", "between = \"transt\"", "link-source", "\"transt\"", "did you mean \"transit\"?");
    check("words = { up = 0, down = 1 }\nbetween", "between", "missing-key", "gear_position", "words");
    check("unit = \"R\"", "unit = \"R\"\nwords = { a = 1 }", "link-source", "{ a = 1 }", "unit");
    check("path = \"v/ms\"", "path = \"v ms\"", "link-address", "\"v ms\"", "velocities/vc-kts");
    check("\"127.0.0.1:5401\"", "\"localhost\"", "link-address", "\"localhost\"", "127.0.0.1:5401");
    check("path = \"v/ms\"\n", "", "missing-key", "ias_kt", "path");
    check("offset = -12", "ofset = -12", "unknown-key", "ofset", "offset");
    check(
        "words = { up = 0, down = 1 }\nbetween",
        "words = { up = 0, dwn = 1 }\nbetween",
        "link-source",
        "dwn",
        "down",
    );
}

#[test]
fn a_file_of_nonsense_has_problems_and_no_panic() {
    for text in ["", "]", "link = 3", "[link]\ncommands = 7", "[signals]\nias_kt = 3", "[controls]\ngear_lever = []"] {
        let (_, problems) = read(text);
        assert!(!problems.is_empty(), "{text}");
    }
}
