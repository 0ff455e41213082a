use super::*;
use crate::core::aircraft::Value;
use crate::core::grammar::accepts;
use crate::core::words::Regime;

fn phrases() -> Phrases {
    Phrases::built_in().unwrap()
}

/// Everything a generator gives for a few seeds.
fn many(phrases: &Phrases, regime: Regime, difficulty: u8, mode: Mode) -> Vec<Exercise> {
    let mut all = Vec::new();
    for seed in 0..4 {
        let mut generator = Generator::new(phrases, regime, difficulty, seed);
        all.extend((0..25).map(|_| generator.next(mode, &Weights::new())));
    }
    all
}

/// Reads and judges words as if they had been typed.
fn typed(phrases: &Phrases, reader: &Reader, rules: &Rules, exercise: &Exercise, text: &str) -> Score {
    let kinds: Vec<&str> = exercise.items.iter().map(|i| i.kind.as_str()).collect();
    let pieces = reader.read(text, &kinds);
    judge(phrases, rules, exercise, &Said { pieces, words: Words { text: text.into(), ..Words::default() } })
}

#[test]
fn the_phrasebook_is_whole() {
    let phrases = phrases();
    Reader::new(&phrases).unwrap();
    for regime in Regime::ALL {
        assert_eq!(phrases.rules(regime).regime, regime);
    }
}

#[test]
fn the_right_answer_is_right_in_every_region_and_mode() {
    let phrases = phrases();
    let reader = Reader::new(&phrases).unwrap();
    for regime in Regime::ALL {
        let rules = phrases.rules(regime);
        for (_, mode) in Mode::ALL {
            for exercise in many(&phrases, regime, 4, mode) {
                let answer = exercise.model(&phrases, rules);
                let score = typed(&phrases, &reader, rules, &exercise, &answer);
                assert!(score.is_right(), "{regime:?} {answer}: {score:#?}");
                let noted: Vec<&Note> = score.notes.iter().chain(score.items.iter().flat_map(|i| &i.notes)).collect();
                assert!(noted.is_empty(), "{regime:?} {answer}: {noted:#?}");
            }
        }
    }
}

/// An item from its kind and values; figures are numbers unless they begin with a zero or the type is a word.
fn item(phrases: &Phrases, kind: &str, slots: &[(&str, &str)]) -> Item {
    let types = &phrases.items[kind].slots;
    let value = |b: &str, v: &str| match types[b].as_str() {
        "squawk" | "runway" | "letter" | "time" => Value::Word(v.into()),
        _ => v.parse().map_or(Value::Word(v.into()), Value::Number),
    };
    Item { kind: kind.into(), slots: slots.iter().map(|(b, v)| ((*b).to_string(), value(b, v))).collect() }
}

fn clearance(phrases: &Phrases, items: &[(&str, &[(&str, &str)])], info: &[(&str, &[(&str, &str)])]) -> Exercise {
    let all = |list: &[(&str, &[(&str, &str)])]| list.iter().map(|(k, s)| item(phrases, k, s)).collect();
    Exercise {
        mode: Mode::Readback,
        phase: "climb".into(),
        own: phrases.own.clone(),
        to: phrases.own.clone(),
        station: "harrow tower".into(),
        card: None,
        items: all(items),
        info: all(info),
        slip: None,
        before: Vec::new(),
    }
}

/// What became of each item and of the callsign, as one line: "Correct Missing; Right; 1 faults".
fn verdicts(score: &Score) -> String {
    let name = |v: &Verdict| format!("{v:?}").split(['(', ' ']).next().unwrap_or_default().to_string();
    let items: Vec<String> = score.items.iter().map(|i| name(&i.verdict)).collect();
    let callsign = format!("{:?}", score.callsign);
    format!("{}; {}; {} faults", items.join(" "), callsign.split('(').next().unwrap_or_default(), score.faults.len())
}

type Items<'a> = &'a [(&'a str, &'a [(&'a str, &'a str)])];

/// What must come back, from section 2 of the project's table of sources; each row with its source.
#[test]
fn what_must_be_read_back() {
    use Regime::{Faa, Icao, Sera, Uk};
    let phrases = phrases();
    let reader = Reader::new(&phrases).unwrap();
    let level: Items = &[("level", &[("way", "climb"), ("level", "180")])];
    let contact: Items = &[("contact", &[("station", "harrow approach"), ("frequency", "119.575")])];
    let land: Items = &[("land", &[("runway", "27")])];
    let wind: Items = &[("wind", &[("direction", "240"), ("wind", "12")])];
    let time: Items = &[("time", &[("time", "0920")])];
    let behind: Items = &[("behind", &[("traffic", "landing_tarn")]), ("line_up", &[("runway", "27")])];
    let rows: &[(Regime, Items, Items, &str, &str, &str)] = &[
        // Doc 4444 4.5.7.5.1, C ATPLQ-RB, H4444: level, heading, speed, squawk, altimeter setting, runway, transition level.
        (Icao, level, &[], "saltmarsh four one seven", "Missing; Right; 0 faults", "C H4444 c)"),
        (Icao, &[("heading", &[("heading", "80")])], &[], "saltmarsh 417", "Missing; Right; 0 faults", "C H4444 c)"),
        (Icao, &[("squawk", &[("squawk", "4203")])], &[], "saltmarsh 417", "Missing; Right; 0 faults", "C H4444 c)"),
        (Icao, &[("qnh", &[("qnh", "1010")])], &[], "saltmarsh 417", "Missing; Right; 0 faults", "C H4444 c)"),
        (
            Icao,
            &[("transition_level", &[("transition", "70")])],
            &[],
            "saltmarsh 417",
            "Missing; Right; 0 faults",
            "C H4444 c)",
        ),
        (
            Icao,
            &[("hold_short", &[("runway", "27")])],
            &[],
            "roger saltmarsh 417",
            "Missing; Right; 1 faults",
            "C H4444 b)",
        ),
        (
            Icao,
            &[("cleared_to", &[("destination", "eastmere")])],
            &[],
            "wilco saltmarsh 417",
            "Missing; Right; 1 faults",
            "C H4444 a)",
        ),
        // Not on the list: wind, time (C RB9432); never missing.
        (
            Icao,
            land,
            wind,
            "runway two seven cleared to land saltmarsh four one seven",
            "Correct; Right; 0 faults",
            "C RB9432",
        ),
        (
            Icao,
            land,
            time,
            "runway two seven cleared to land saltmarsh four one seven",
            "Correct; Right; 0 faults",
            "C RB9432",
        ),
        // Other clearances: read back or acknowledged (Doc 9432 2.8.3.5, C FLIP394, RB9432).
        (Icao, contact, &[], "roger saltmarsh 417", "Acknowledged; Right; 0 faults", "C RB9432"),
        // SERA adds newly assigned channels (M); the UK too (C FLIP-RB24).
        (Sera, contact, &[], "roger saltmarsh 417", "Missing; Right; 1 faults", "M SERA.8015 (e)(1)"),
        (Uk, contact, &[], "roger saltmarsh 417", "Missing; Right; 1 faults", "C FLIP-RB24"),
        // The condition of a conditional clearance (Doc 9870 appendix A 2.5-2.6, C DOC9870A).
        (
            Icao,
            behind,
            &[],
            "line up and wait runway two seven saltmarsh 417",
            "Missing Correct; Right; 0 faults",
            "C DOC9870A",
        ),
        (
            Icao,
            behind,
            &[],
            "behind the landing tarn on short final line up and wait runway two seven behind saltmarsh 417",
            "Correct Correct; Right; 0 faults",
            "C DOC9870A",
        ),
        (Icao, &[("stop", &[])], &[], "stopping saltmarsh 417", "Correct; Right; 0 faults", "C DOC9870A"),
        (Icao, &[("cancel_takeoff", &[])], &[], "holding saltmarsh 417", "Correct; Right; 0 faults", "C DOC9870A"),
        // The callsign: SERA.14075 (a)(1), S; FAA in all readbacks, S AIM447; never shortened, S CAP413-42.
        (Sera, level, &[], "climb flight level one eight zero", "Correct; Missing; 0 faults", "S SERA14075"),
        (Faa, level, &[], "climb and maintain flight level one eight zero", "Correct; Missing; 0 faults", "S AIM447"),
        (
            Uk,
            level,
            &[],
            "climb flight level one eight zero four one seven",
            "Correct; Shortened; 0 faults",
            "S CAP413-42",
        ),
        (
            Icao,
            level,
            &[],
            "climb flight level one eight zero saltmarsh 471",
            "Correct; Wrong; 0 faults",
            "S SERA14075",
        ),
        // FAA: altitudes should, hold short must (S AIM447; M AIM 4-3-18).
        (Faa, level, &[], "roger saltmarsh four seventeen", "Missing; Right; 0 faults", "S AIM447: recommended"),
        (
            Faa,
            &[("hold_short", &[("runway", "27")])],
            &[],
            "roger saltmarsh 417",
            "Missing; Right; 1 faults",
            "M AIM 4-3-18",
        ),
        // Correction: the last value counts (SERA.14075 (c), S); "correction, I say again" takes all back.
        (
            Icao,
            &[("heading", &[("heading", "80")])],
            &[],
            "heading zero nine zero correction zero eight zero saltmarsh 417",
            "Correct; Right; 0 faults",
            "S SERA14075 (c)",
        ),
        (
            Icao,
            &[("heading", &[("heading", "80")])],
            &[],
            "heading zero eight zero correction heading zero nine zero saltmarsh 417",
            "Wrong; Right; 0 faults",
            "S SERA14075 (c)",
        ),
        (
            Icao,
            level,
            &[],
            "climb to flight level one nine zero correction i say again climb to flight level one eight zero saltmarsh 417",
            "Correct; Right; 0 faults",
            "S SERA14075 (c)",
        ),
    ];
    for (regime, items, info, said, wanted, source) in rows {
        let exercise = clearance(&phrases, items, info);
        let score = typed(&phrases, &reader, phrases.rules(*regime), &exercise, said);
        assert_eq!(verdicts(&score), *wanted, "{regime:?} \"{said}\", source {source}");
    }
    // A recommendation that was not followed is told and is no fault.
    let score = typed(&phrases, &reader, phrases.rules(Faa), &clearance(&phrases, level, &[]), "roger saltmarsh 417");
    assert!(score.is_right(), "{score:#?}");
}

/// Forms that are understood and not standard here, each with its source.
#[test]
fn forms_of_other_rules_are_understood_and_told() {
    use Regime::{Faa, Icao, Sera, Uk};
    let phrases = phrases();
    let reader = Reader::new(&phrases).unwrap();
    let level = |l| item(&phrases, "level", &[("way", "climb"), ("level", l)]);
    let qnh = |q| item(&phrases, "qnh", &[("qnh", q)]);
    let rows = [
        // S ANX10-14 "two zero zero", C BZF "two hundred": doubtful under ICAO, so both are taken and the doubt is shown.
        (Icao, level("200"), "climb to flight level two hundred", Some("taken as right here")),
        (Icao, level("200"), "climb to flight level two zero zero", None),
        (Sera, level("200"), "climb to flight level two hundred", None),
        (Uk, level("100"), "climb flight level one hundred", None),
        (Uk, level("200"), "climb flight level two zero zero", Some("say \"two hundred\"")),
        // AIM 4-2-9, never "two hundred": inferred from S AIM428.
        (Faa, level("200"), "climb and maintain flight level two hundred", Some("say \"two zero zero\"")),
        // S AIRQUIZ: the unit below 1000.
        (Uk, qnh("997"), "Q N H nine nine seven", Some("nine nine seven hectopascals")),
        (Uk, qnh("997"), "Q N H nine nine seven hectopascals", None),
        (Uk, qnh("1012"), "Q N H one zero one two", None),
        // S AIM428, 7110-17: "niner"; S AIM428: "point".
        (Faa, level("190"), "climb and maintain flight level one nine zero", Some("niner")),
        (Icao, level("190"), "climb to flight level one niner zero", None),
        (
            Faa,
            item(&phrases, "squawk", &[("squawk", "2000")]),
            "squawk two thousand",
            Some("say \"two zero zero zero\""),
        ),
        // Typed figures tell nothing of how they are spoken.
        (Icao, level("200"), "climb to flight level 200", None),
    ];
    for (regime, item, said, wanted) in rows {
        let mut exercise = clearance(&phrases, &[], &[]);
        exercise.items = vec![item];
        let rules = phrases.rules(regime);
        let said = format!("{said} {}", exercise.own.spoken(rules));
        let score = typed(&phrases, &reader, rules, &exercise, &said);
        let notes: Vec<&Note> = score.notes.iter().chain(score.items.iter().flat_map(|i| &i.notes)).collect();
        match wanted {
            Some(w) => assert!(notes.iter().any(|n| n.text.contains(w)), "{regime:?} {said}: {score:#?}"),
            None => assert!(notes.is_empty(), "{regime:?} {said}: {notes:#?}"),
        }
        assert!(score.is_right(), "{regime:?} {said}: {score:#?}");
    }
}

/// "Take off" only in the clearance and its cancellation: C FLIP-RB24, RB9432. A check on our own wording.
#[test]
fn take_off_is_said_only_where_it_is_meant() {
    let phrases = phrases();
    for regime in Regime::ALL {
        let rules = phrases.rules(regime);
        for (kind, wording) in rules.say.iter().chain(&rules.back) {
            let may = matches!(kind.as_str(), "takeoff" | "cancel_takeoff");
            assert!(may || !wording.to_lowercase().contains("take off"), "{regime:?} {kind}: {wording}");
        }
    }
}

/// The controller's answers: SERA.14075 (c) and (d), S.
#[test]
fn the_controller_reacts() {
    let phrases = phrases();
    let plan = |seed| Plan {
        regime: Regime::Icao,
        mode: Mode::Readback,
        difficulty: 2,
        seed,
        count: 10,
        weights: Weights::new(),
    };
    let says = |answers: &[&str]| -> Vec<String> {
        let mut drill = Drill::new(&phrases, plan(5)).unwrap();
        // The climb: a turn and a level.
        while !drill.begin().unwrap().controller.contains("heading") {}
        let mut out = Vec::new();
        for text in answers {
            let words = Words { text: (*text).into(), unreadable: *text == "(noise)", ..Words::default() };
            let words = if words.unreadable { Words { text: String::new(), ..words } } else { words };
            out.extend(drill.answer(&words).unwrap().controller);
        }
        out
    };
    let mut drill = Drill::new(&phrases, plan(5)).unwrap();
    let mut prompt = drill.begin().unwrap();
    while !prompt.controller.contains("heading") {
        prompt = drill.begin().unwrap();
    }
    let mut told = format!("{}\n", prompt.controller);
    for answers in [
        vec!["(noise)"],
        vec![""],
        vec!["say again"],
        vec!["say again heading"],
        vec!["say again all after heading"],
        vec!["standby", ""],
        vec!["roger saltmarsh 417"],
        vec!["unable saltmarsh 417"],
        vec!["heading 010 saltmarsh 417"],
        vec!["roger saltmarsh 471"],
    ] {
        told += &format!("{answers:?} -> {:?}\n", says(&answers));
    }
    insta::assert_snapshot!(told, @r#"
    saltmarsh four one seven, fly heading one two zero, climb to altitude two thousand feet
    ["(noise)"] -> ["saltmarsh four one seven, say again"]
    [""] -> ["saltmarsh four one seven, eastmere tower, I say again, fly heading one two zero, climb to altitude two thousand feet, acknowledge"]
    ["say again"] -> ["saltmarsh four one seven, I say again, fly heading one two zero, climb to altitude two thousand feet"]
    ["say again heading"] -> ["saltmarsh four one seven, I say again, fly heading one two zero"]
    ["say again all after heading"] -> ["saltmarsh four one seven, I say again, climb to altitude two thousand feet"]
    ["standby", ""] -> ["saltmarsh four one seven, roger, I say again when you are ready", "saltmarsh four one seven, fly heading one two zero, climb to altitude two thousand feet"]
    ["roger saltmarsh 417"] -> ["saltmarsh four one seven, read back heading, altitude"]
    ["unable saltmarsh 417"] -> ["saltmarsh four one seven, roger, standby for amended clearance", "saltmarsh four one seven, fly heading three four zero, climb to altitude three thousand feet"]
    ["heading 010 saltmarsh 417"] -> ["saltmarsh four one seven, negative, I say again, fly heading one two zero, climb to altitude two thousand feet"]
    ["roger saltmarsh 471"] -> ["negative, break, saltmarsh four one seven, eastmere tower, I say again, fly heading one two zero, climb to altitude two thousand feet"]
    "#);
}

/// An error is heard as an error: the grammar of an answer holds every wrong value beside the right one.
#[test]
fn the_live_grammar_holds_right_and_wrong() {
    let phrases = phrases();
    for regime in Regime::ALL {
        let rules = phrases.rules(regime);
        for exercise in many(&phrases, regime, 4, Mode::Readback).iter().step_by(7) {
            let graph = graph(&phrases, exercise).unwrap();
            for (i, right) in exercise.items.iter().enumerate() {
                let call = graph.call(&format!("item {i}")).unwrap();
                let holds = |item: &Item| {
                    let text = item.back(&phrases, rules).to_lowercase();
                    let words: Vec<&str> = text.split(' ').collect();
                    let found = accepts(&graph, call, &words);
                    assert!(found.iter().any(|m| m.slots == item.slots), "{regime:?} {text}: {found:?}");
                    assert!(found.iter().all(|m| m.slots == item.slots), "{regime:?} {text} is ambiguous: {found:?}");
                };
                holds(right);
                let Some(main) = phrases.items[&right.kind].main.as_ref() else { continue };
                for wrong in plausible(&phrases, right, main, &[], &[]).iter().take(6) {
                    let mut other = right.clone();
                    other.slots.insert(main.clone(), wrong.clone());
                    holds(&other);
                }
            }
        }
    }
}

/// Value to words to value, for every region and type, through the reader of a drill.
#[test]
fn values_come_back_from_words() {
    let phrases = phrases();
    let reader = Reader::new(&phrases).unwrap();
    let numbers = |from: u32, to: u32, by: usize| (from..=to).step_by(by).map(|n| Value::Number(f64::from(n)));
    let words = |all: Vec<String>| all.into_iter().map(Value::Word);
    let mut rows: Vec<(&str, &str, Value)> = Vec::new();
    rows.extend(numbers(5, 360, 5).map(|v| ("heading", "heading", v)));
    rows.extend(numbers(10, 600, 10).map(|v| ("flight_level", "level", v)));
    rows.extend(numbers(500, 17_500, 500).map(|v| ("feet", "altitude", v)));
    rows.extend(numbers(60, 350, 10).map(|v| ("knots", "speed", v)));
    rows.extend(numbers(950, 1050, 3).map(|v| ("qnh", "qnh", v)));
    rows.extend(
        (118_000..136_991)
            .step_by(365)
            .filter(|k| k % 25 != 20)
            .map(|k| ("channel", "frequency", Value::Number(f64::from(k) / 1000.0))),
    );
    rows.extend(words((0..4096).step_by(97).map(|n| format!("{n:04o}")).collect()).map(|v| ("squawk", "squawk", v)));
    rows.extend(
        words((0..1440).step_by(61).map(|m| format!("{:02}{:02}", m / 60, m % 60)).collect())
            .map(|v| ("clock", "time", v)),
    );
    let runways = (1..=36).flat_map(|n| ["", "L", "R", "C"].map(|s| format!("{n:02}{s}"))).collect();
    rows.extend(words(runways).map(|v| ("runway_number", "runway", v)));
    for regime in Regime::ALL {
        let rules = phrases.rules(regime);
        for (kind, binding, value) in &rows {
            let item = Item { kind: (*kind).into(), slots: [((*binding).to_string(), value.clone())].into() };
            let said = item.back(&phrases, rules);
            let pieces = reader.read(&said, &[kind]);
            let read = pieces.iter().find_map(|p| match &p.what {
                What::Item { slots, .. } => slots.get(*binding),
                _ => None,
            });
            assert!(read.is_some_and(|r| r.same(value)), "{regime:?} {kind} {value} \"{said}\": {pieces:?}");
        }
    }
}
