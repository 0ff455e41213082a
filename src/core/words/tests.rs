//! The worked examples of the rule sets, and round trips.
//!
//! Keys and status letters are those of the project's table of sources: S the regulator's own text was seen, C seen
//! second-hand, M from memory and doubtful, K computed.

use super::Regime::{Faa, Icao, Sera, Uk};
use super::*;
use crate::core::aircraft::Value;
use crate::core::grammar::{CallId, NamedSlots, Rules, build, expand, parse, sample};
use proptest::prelude::*;
use rand_core::SeedableRng;
use std::collections::BTreeMap;

fn n(n: f64) -> Value {
    Value::Number(n)
}

fn w(w: &str) -> Value {
    Value::Word(w.to_owned())
}

/// (rules, form, value, words, source).
type Row = (Regime, Form, Value, &'static str, &'static str);

fn check(rows: &[Row]) {
    for (regime, form, value, words, source) in rows {
        assert_eq!(say(*form, value, *regime), *words, "{regime:?} {form:?} {value}, source {source}");
    }
}

/// ICAO Annex 10 Volume II 5.2.1.4.1, edition seen: an undated course copy.
#[test]
fn icao_examples() {
    check(&[
        (Icao, Form::Digits, w("238"), "two three eight", "S ANX10-14, callsign CCA 238"),
        (Icao, Form::Digits, w("242"), "two four two", "S ANX10-14, callsign OAL 242"),
        (Icao, Form::Level, n(180.0), "flight level one eight zero", "S ANX10-14"),
        (Icao, Form::Level, n(200.0), "flight level two zero zero", "S ANX10-14"),
        (Icao, Form::Heading, n(100.0), "one zero zero", "S ANX10-14"),
        (Icao, Form::Heading, n(80.0), "zero eight zero", "S ANX10-14"),
        (Icao, Form::Heading, n(200.0), "two zero zero", "S ANX10-14, wind direction"),
        (Icao, Form::Speed, n(70.0), "seven zero", "S ANX10-14, wind speed"),
        (Icao, Form::Heading, n(160.0), "one six zero", "S ANX10-14, wind direction"),
        (Icao, Form::Speed, n(18.0), "one eight", "S ANX10-14, wind speed"),
        (Icao, Form::Speed, n(30.0), "three zero", "S ANX10-14, gust"),
        (Icao, Form::Squawk, w("2400"), "two four zero zero", "S ANX10-14"),
        (Icao, Form::Squawk, w("4203"), "four two zero three", "S ANX10-14"),
        (Icao, Form::Runway, w("27"), "two seven", "S ANX10-14"),
        (Icao, Form::Runway, w("30"), "three zero", "S ANX10-14"),
        (Icao, Form::Qnh, n(1010.0), "one zero one zero", "S ANX10-14"),
        (Icao, Form::Qnh, n(1000.0), "one zero zero zero", "S ANX10-14"),
        (Icao, Form::Altitude, n(800.0), "eight hundred", "S ANX10-14"),
        (Icao, Form::Altitude, n(3400.0), "three thousand four hundred", "S ANX10-14"),
        (Icao, Form::Altitude, n(12000.0), "one two thousand", "S ANX10-14"),
        (Icao, Form::Altitude, n(2200.0), "two thousand two hundred", "S ANX10-14, cloud height"),
        (Icao, Form::Altitude, n(4300.0), "four thousand three hundred", "S ANX10-14, cloud height"),
        (Icao, Form::Altitude, n(1000.0), "one thousand", "M, visibility"),
        (Icao, Form::Altitude, n(700.0), "seven hundred", "M, visibility"),
        (Icao, Form::Altitude, n(600.0), "six hundred", "M, RVR"),
        (Icao, Form::Altitude, n(1700.0), "one thousand seven hundred", "M, RVR"),
        (Icao, Form::Digits, n(100.3), "one zero zero decimal three", "M, decimals"),
        (Icao, Form::Digits, n(38143.9), "three eight one four three decimal nine", "M, decimals"),
        (Icao, Form::Digits, w("20"), "two zero", "M, time 0920, minutes alone"),
        // The source writes "niner"; outside the FAA rules our voice is given "nine" and both are understood.
        (Icao, Form::Digits, w("0920"), "zero nine two zero", "M, and C NAVY-P305 with niner, time"),
        (Icao, Form::Digits, w("1643"), "one six four three", "M, time"),
    ]);
}

/// VHF channels, Annex 10 Volume II amendment 80.
#[test]
fn channel_examples() {
    check(&[
        (Icao, Form::Frequency, n(118.005), "one one eight decimal zero zero five", "S SKY-VHF"),
        (Icao, Form::Frequency, n(118.025), "one one eight decimal zero two five", "S SKY-VHF"),
        (Icao, Form::Frequency, n(118.1), "one one eight decimal one", "S SKY-VHF"),
        (Icao, Form::Frequency, n(118.0), "one one eight decimal zero", "M"),
        (Icao, Form::Frequency, n(118.01), "one one eight decimal zero one zero", "M"),
        (Icao, Form::Frequency, n(118.05), "one one eight decimal zero five zero", "M"),
    ]);
    // S SKY-VHF: the word "channel" is discontinued.
    assert_eq!(
        value(&SlotKind::Frequency, &["channel", "one", "one", "eight", "decimal", "zero", "one", "zero"]),
        None
    );
}

/// EU SERA.14035.
#[test]
fn sera_examples() {
    check(&[
        (Sera, Form::Level, n(100.0), "flight level one hundred", "rule C BZF, example M"),
        (Sera, Form::Level, n(200.0), "flight level two hundred", "rule C BZF, example M"),
        (Sera, Form::Level, n(180.0), "flight level one eight zero", "rule C BZF, example M"),
        (Sera, Form::Qnh, n(1000.0), "one thousand", "C BZF"),
        (Sera, Form::Qnh, n(1010.0), "one zero one zero", "rule C BZF"),
        (Sera, Form::Squawk, w("2000"), "two thousand", "rule C BZF, example M"),
        (Sera, Form::Squawk, w("7000"), "seven thousand", "rule C BZF, example M"),
        (Sera, Form::Squawk, w("2400"), "two four zero zero", "rule C BZF, example M"),
        (Sera, Form::Altitude, n(300.0), "three hundred", "C BZF"),
        (Sera, Form::Altitude, n(4000.0), "four thousand", "C BZF"),
        (Sera, Form::Altitude, n(13600.0), "one three thousand six hundred", "C BZF, cut off in the excerpt"),
        (Sera, Form::Digits, n(122.1), "one two two decimal one", "C BZF, the word decimal"),
    ]);
    // M SERA.14035(a)(3): whole hundreds and thousands may be given digit by digit.
    assert_eq!(value(&SlotKind::Altitude, &["four", "zero", "zero", "zero"]), Some(n(4000.0)));
}

/// UK CAP 413, pages of 2011.
#[test]
fn uk_examples() {
    check(&[
        (Uk, Form::Level, n(100.0), "flight level one hundred", "S CAP413-37"),
        (Uk, Form::Level, n(200.0), "flight level two hundred", "S CAP413-37"),
        (Uk, Form::Level, n(300.0), "flight level three hundred", "S CAP413-37"),
        (Uk, Form::Level, n(180.0), "flight level one eight zero", "S CAP413-37 table 3"),
        (Uk, Form::Level, n(80.0), "flight level eight zero", "M"),
        (Uk, Form::Heading, n(150.0), "one five zero degrees", "S CAP413-37 table 3"),
        (Uk, Form::Heading, n(350.0), "three five zero degrees", "C PPRUNE-DEG"),
        (Uk, Form::Heading, n(45.0), "zero four five", "C PPRUNE-DEG"),
        (Uk, Form::Speed, n(18.0), "one eight", "S CAP413-37 table 3"),
        (Uk, Form::Frequency, n(122.1), "one two two decimal one", "S CAP413-37 table 3"),
        (Uk, Form::Squawk, w("6500"), "six five zero zero", "S CAP413-37 table 3"),
        // The 2011 rule (S CAP413-37: squawk and pressure digit by digit). Edition 23 is said to have "seven thousand" and
        // "one thousand hectopascals" (M, not read): understood, not spoken.
        (Uk, Form::Squawk, w("7000"), "seven zero zero zero", "S CAP413-37, rule"),
        (Uk, Form::Qnh, n(1000.0), "one zero zero zero", "S CAP413-37, rule"),
        (Uk, Form::Qnh, n(1013.0), "one zero one three", "S AIRQUIZ, unit may be omitted"),
        (Uk, Form::Qnh, n(997.0), "nine nine seven hectopascals", "S AIRQUIZ"),
        (Uk, Form::Altitude, n(3000.0), "three thousand", "M"),
    ]);
    assert_eq!(value(&SlotKind::Squawk, &["seven", "thousand"]), Some(w("7000")));
    assert_eq!(value(&SlotKind::Qnh, &["one", "thousand", "hectopascals"]), Some(n(1000.0)));
}

/// US FAA, AIM 4-2-7 to 4-2-11 and JO 7110.65 2-4-17.
#[test]
fn faa_examples() {
    check(&[
        (Faa, Form::Altitude, n(500.0), "five hundred", "S AIM428"),
        (Faa, Form::Altitude, n(4500.0), "four thousand five hundred", "S AIM428"),
        (Faa, Form::Altitude, n(10000.0), "one zero thousand", "S AIM428"),
        (Faa, Form::Altitude, n(13500.0), "one three thousand five hundred", "S AIM428"),
        (Faa, Form::Plain, n(12.0), "twelve", "S AIM428, route V12"),
        (Faa, Form::Plain, n(33.0), "thirty three", "S AIM428, route J533 in group form"),
        (Faa, Form::Digits, n(10.0), "one zero", "S AIM428"),
        (Faa, Form::Frequency, n(122.1), "one two two point one", "S AIM428"),
        (Faa, Form::Altitude, n(12000.0), "one two thousand", "S AIM428"),
        (Faa, Form::Altitude, n(12500.0), "one two thousand five hundred", "S AIM428"),
        (Faa, Form::Level, n(190.0), "flight level one niner zero", "S AIM428"),
        (Faa, Form::Level, n(275.0), "flight level two seven five", "S AIM428"),
        (Faa, Form::Level, n(200.0), "flight level two zero zero", "S AIM428, inferred from the rule"),
        (Faa, Form::Heading, n(5.0), "zero zero five", "S AIM428"),
        (Faa, Form::Heading, n(360.0), "three six zero", "S AIM428"),
        (Faa, Form::Heading, n(100.0), "one zero zero", "S AIM428"),
        (Faa, Form::Heading, n(220.0), "two two zero", "S AIM428, wind"),
        (Faa, Form::Speed, n(250.0), "two five zero", "S AIM428b"),
        (Faa, Form::Speed, n(190.0), "one niner zero", "S AIM428b"),
        (Faa, Form::Altitude, n(17900.0), "one seven thousand niner hundred", "S 7110-17"),
        (Faa, Form::Altitude, n(1320.0), "one three two zero", "S 7110-17, minimum descent altitude"),
        (Faa, Form::Altitude, n(486.0), "four eight six", "S 7110-17, decision height"),
        (Faa, Form::Digits, w("0715"), "zero seven one five", "S 7110-17, time"),
        (Faa, Form::Digits, w("1915"), "one niner one five", "S 7110-17, time"),
        (Faa, Form::Plain, n(52.0), "fifty two", "S 7110-82, callsign in group form"),
        (Faa, Form::Plain, n(100.0), "one hundred", "S 7110-82, callsign in group form"),
        (Faa, Form::Digits, w("0101"), "zero one zero one", "S 7110-82, callsign digits"),
        (Faa, Form::Digits, w("517"), "five one seven", "S 7110-20, callsign digits"),
        (Faa, Form::Digits, w("2992"), "two niner niner two", "S 7110-18, altimeter"),
        (Faa, Form::Digits, w("15"), "one five", "M, wind speed"),
        (Faa, Form::Runway, w("05"), "five", "M"),
        (Faa, Form::Squawk, w("2000"), "two zero zero zero", "S AIM428, rule"),
    ]);
    // S 7110-17: the group form as a restatement, understood.
    assert_eq!(value(&SlotKind::Altitude, &["ten", "thousand"]), Some(n(10000.0)));
    assert_eq!(value(&SlotKind::Altitude, &["seventeen", "thousand", "niner", "hundred"]), Some(n(17900.0)));
}

#[test]
fn other_forms() {
    check(&[
        (Icao, Form::Runway, w("27L"), "two seven left", "common practice, no source"),
        (Icao, Form::Runway, w("09C"), "zero nine centre", "common practice, no source"),
        (Faa, Form::Runway, w("09C"), "niner center", "M, leading zero dropped"),
        (Icao, Form::Letter, w("X"), "x-ray", "S SERA14020"),
        (Icao, Form::Digits, w("B4"), "bravo four", "S SERA14020"),
        (Icao, Form::Plain, n(42.0), "forty two", "plain English"),
        (Icao, Form::Plain, n(-5.0), "minus five", "plain English"),
        (Icao, Form::Plain, n(2.5), "two decimal five", "plain English"),
        (Faa, Form::Plain, n(-0.25), "minus zero point two five", "plain English"),
        (Icao, Form::Plain, n(0.1 + 0.2), "zero decimal three", "what binary fractions leave is not read"),
        (Icao, Form::Plain, n(105.0), "one hundred and five", "plain English"),
        (Faa, Form::Plain, n(105.0), "one hundred five", "common practice, no source"),
        (Icao, Form::Plain, n(54_320.0), "fifty four thousand three hundred and twenty", "plain English"),
        (Icao, Form::Plain, n(2_000_007.0), "two million and seven", "plain English"),
        (Icao, Form::Plain, Value::Bool(true), "on", "ours"),
        (Icao, Form::Plain, w("take_off"), "take off", "ours"),
        (Icao, Form::Decimal, n(1.46), "one decimal five", "ours"),
        (Icao, Form::Heading, n(400.0), "four hundred", "no heading: plainly"),
        (Icao, Form::Altitude, n(0.0), "zero", "ours"),
    ]);
}

/// 1.1 and 1.2: the alphabet (S SERA14020), and pronunciations that arrive as other spellings (C AEROCOMS, S CAP413-37).
#[test]
fn spellings() {
    for (word, d) in [("zero", 0), ("tree", 3), ("fower", 4), ("fife", 5), ("niner", 9), ("nine", 9), ("oh", 0)] {
        assert_eq!(digit(word), Some(d), "{word}");
    }
    assert_eq!(digit("ten"), None);
    for (word, l) in [("alfa", 'A'), ("alpha", 'A'), ("juliett", 'J'), ("juliet", 'J'), ("x-ray", 'X'), ("xray", 'X')] {
        assert_eq!(letter(word), Some(l), "{word}");
    }
    for (i, word) in ALPHABET.iter().enumerate() {
        assert_eq!(letter(word), Some((b'A' + i as u8) as char));
        assert!(word.starts_with((b'a' + i as u8) as char));
    }
    for word in ["seven", "twelve", "forty", "hundred", "tousand", "decimal", "point"] {
        assert!(is_number_word(word), "{word}");
    }
    assert!(!is_number_word("flaps") && !is_number_word("and"));
    for word in SPELLED_TWO_WAYS {
        assert!(!variants(word).is_empty(), "{word}");
    }
    assert!(variants("tree").is_empty(), "a tree is no number");
    // Every other spelling says the same.
    for word in ["zero", "three", "four", "five", "nine", "niner"] {
        assert!(variants(word).iter().all(|v| digit(v) == digit(word)));
    }
    assert_eq!(value(&SlotKind::Altitude, &["tree", "tousand"]), Some(n(3000.0)));
}

#[test]
fn refused_words() {
    let none: &[(SlotKind, &str)] = &[
        (SlotKind::Heading, "zero zero zero"),
        (SlotKind::Heading, "three six one"),
        (SlotKind::Heading, "nine zero"),
        (SlotKind::Heading, "one two three four"),
        (SlotKind::Altitude, "six five thousand"),
        (SlotKind::Altitude, "one two three four"),
        (SlotKind::Altitude, "thousand"),
        (SlotKind::Level, "six zero five"),
        (SlotKind::Level, "five"),
        (SlotKind::Speed, "zero nine zero"),
        (SlotKind::Speed, "one zero zero zero"),
        (SlotKind::Frequency, "one one seven decimal five"),
        (SlotKind::Frequency, "one one eight decimal zero two zero"),
        (SlotKind::Frequency, "one one eight decimal zero zero one"),
        (SlotKind::Frequency, "one three seven decimal zero"),
        (SlotKind::Squawk, "one two eight four"),
        (SlotKind::Squawk, "one two three"),
        (SlotKind::Squawk, "zero thousand"),
        (SlotKind::Runway, "three seven"),
        (SlotKind::Runway, "zero zero"),
        (SlotKind::Runway, "left"),
        (SlotKind::Runway, "zero zero nine"),
        (SlotKind::Qnh, "eight four nine"),
        (SlotKind::Qnh, "one zero eight six"),
        (SlotKind::Number, "zero one"),
        (SlotKind::Number, "one hundred and"),
        (SlotKind::Number, "twenty zero"),
        (SlotKind::Number, "two thousand thousand"),
        (SlotKind::Letter, "alfa bravo"),
        (SlotKind::Letter, ""),
    ];
    for (kind, words) in none {
        let words: Vec<&str> = words.split_whitespace().collect();
        assert_eq!(value(kind, &words), None, "{kind:?} {words:?}");
    }
}

/// Every value of each type, as it is spoken in each rule set.
fn values(kind: &SlotKind) -> Vec<Value> {
    let numbers = |list: &mut dyn Iterator<Item = u32>| list.map(|i| n(f64::from(i))).collect();
    match kind {
        SlotKind::Heading => numbers(&mut (1..=360)),
        SlotKind::Altitude => numbers(&mut (0..=600).map(|i| i * 100)),
        SlotKind::Level => numbers(&mut (10..=600)),
        SlotKind::Speed => numbers(&mut (0..=999)),
        SlotKind::Qnh => numbers(&mut (850..=1085)),
        SlotKind::Number => numbers(&mut (0..=2_000).chain((0..900).map(|i| i * 1_111)).chain([999_999])),
        SlotKind::Frequency => (118_000..=136_990)
            .step_by(5)
            .filter(|khz| !matches!(khz % 100, 20 | 45 | 70 | 95))
            .map(|khz| n(f64::from(khz) / 1000.0))
            .collect(),
        SlotKind::Squawk => (0..0o10000).map(|i| Value::Word(format!("{i:04o}"))).collect(),
        SlotKind::Runway => {
            (1..=36).flat_map(|i| ["", "L", "R", "C"].map(|side| Value::Word(format!("{i:02}{side}")))).collect()
        }
        SlotKind::Letter => ('A'..='Z').map(|c| Value::Word(c.to_string())).collect(),
        SlotKind::Named { values, .. } => values.clone(),
    }
}

#[test]
fn every_value_survives_being_spoken_and_understood() {
    for (name, kind) in BUILT_IN {
        for regime in Regime::ALL {
            for v in values(kind) {
                let said = say(Form::from(kind), &v, regime);
                let words: Vec<&str> = said.split(' ').collect();
                let back = value(kind, &words);
                assert!(back.as_ref().is_some_and(|b| b.same(&v)), "{name} {regime:?} {v} said {said:?} is {back:?}");
            }
        }
    }
}

/// The grammar text and the reader agree: what one allows, the other understands, and together they reach every value.
#[test]
fn forms_and_values_agree() {
    for (name, kind) in BUILT_IN.iter().filter(|(_, k)| *k != SlotKind::Number) {
        let (graph, problems) =
            build(&[("c".to_owned(), vec![parse(&format!("${name}")).0])], &Rules::new(), &NamedSlots::new());
        assert!(problems.is_empty(), "{problems:?}");
        let (all, whole) = expand(&graph, CallId(0), 100_000);
        assert!(whole, "{name}");
        // `expand` leaves out a path whose words are no value: the count of paths says that there is none.
        let mut paths = vec![0u64; graph.nodes.len()];
        for i in (0..paths.len()).rev() {
            let arcs = &graph.nodes[i].arcs;
            paths[i] = if arcs.is_empty() { 1 } else { arcs.iter().map(|a| paths[a.to.0 as usize]).sum() };
        }
        assert_eq!(paths[0], all.len() as u64, "{name} has a form that is no value");
        let mut reached: BTreeMap<String, bool> = values(kind).iter().map(|v| (v.to_string(), false)).collect();
        for (words, m) in all {
            let v = m.slots[*name].to_string();
            *reached.get_mut(&v).unwrap_or_else(|| panic!("{name} {words:?} is {v}")) = true;
        }
        let missing: Vec<&String> = reached.iter().filter(|(_, r)| !**r).map(|(v, _)| v).collect();
        assert!(missing.is_empty(), "{name} cannot say {missing:?}");
    }
}

#[test]
fn every_grammar_text_of_the_forms_is_right() {
    for (name, text) in FORMS {
        assert_eq!(parse(text).1, [], "{name}");
    }
    let rules: Rules = FORMS.iter().map(|(n, t)| (format!("x_{n}"), parse(&t.replace('$', "$x_")).0)).collect();
    let (_, problems) = build(&[], &rules, &NamedSlots::new());
    assert_eq!(problems, []);
}

#[test]
fn typed_tokens() {
    let first = |token: &str, expected: &str| assert_eq!(spell(token), expected, "{token}");
    first("270", "two seven zero");
    first("20", "twenty");
    first("05", "zero five");
    first("V1", "v one");
    first("FL180", "flight level one eight zero");
    first("118.5", "one one eight decimal five");
    first("27L", "two seven left");
    first("-5", "minus five");
    first("Captain’s,", "captain's");
    first("x-ray", "x-ray");
    first("10%", "ten percent");
    first("--", "");
    let any = |token: &str, expected: &str| {
        assert!(readings(token).iter().any(|r| r == expected), "{token}: {:?}", readings(token));
    };
    any("20", "two zero");
    any("FL100", "flight level one hundred");
    any("118.5", "one one eight point five");
    any("12,000", "one two thousand");
    any("12000", "twelve thousand");
    any("3400ft", "three thousand four hundred feet");
    any("105", "one hundred and five");
    any("105", "one hundred five");
    any("7000", "seven thousand");
    any("B", "bravo");
    any("27C", "two seven center");
}

proptest! {
    #[test]
    fn readings_never_panic(token in "\\PC{0,40}") {
        prop_assert!(readings(&token).len() <= super::typed::MOST);
    }

    #[test]
    fn whole_numbers_survive(i in 0u32..1_000_000, regime in prop::sample::select(&Regime::ALL[..])) {
        for form in [Form::Plain, Form::Digits] {
            let said = say(form, &n(f64::from(i)), regime);
            let words: Vec<&str> = said.split(' ').collect();
            prop_assert_eq!(value(&SlotKind::Number, &words), Some(n(f64::from(i))));
        }
    }

    #[test]
    fn say_takes_any_number(x in any::<f64>(), regime in prop::sample::select(&Regime::ALL[..])) {
        for form in [Form::Plain, Form::Digits, Form::Heading, Form::Altitude, Form::Level, Form::Frequency, Form::Squawk,
            Form::Runway, Form::Qnh, Form::Decimal, Form::Speed, Form::Letter] {
            say(form, &n(x), regime);
        }
    }

    #[test]
    fn sampled_numbers_are_numbers(seed in any::<u64>()) {
        let (graph, _) = build(&[("c".to_owned(), vec![parse("$number").0])], &Rules::new(), &NamedSlots::new());
        let mut rng = rand_pcg::Pcg32::seed_from_u64(seed);
        prop_assert!(sample(&graph, CallId(0), &mut rng).is_some());
    }
}
