//! Tests of conditions: typing, messages, evaluation with unknown.

use super::condition::{Env, MAX_BYTES, compile};
use super::names::Names;
use crate::core::aircraft::{Value, ValueKind};
use crate::core::book::expr::{Expr, Name, Scope};
use proptest::prelude::*;
use std::collections::BTreeMap;

fn names() -> Names {
    let word = |all: &[&str]| ValueKind::Word(all.iter().map(|w| (*w).to_string()).collect());
    Names {
        signals: ["ias_kt", "lamp", "lever", "code", "dark"].iter().collect(),
        signal_kinds: vec![
            ValueKind::Number,
            ValueKind::Bool,
            word(&["up", "down"]),
            ValueKind::Word(vec![]),
            ValueKind::Number,
        ],
        sheet: ["v1"].iter().collect(),
        sheet_kinds: vec![ValueKind::Number],
        controls: ["lever"].iter().collect(),
        control_kinds: vec![word(&["up", "down"])],
        flows: ["setup"].iter().collect(),
        callouts: ["eighty"].iter().collect(),
        phases: ["parked", "taxi"].iter().collect(),
        ..Names::default()
    }
}

fn typed(text: &str) -> Result<Expr, String> {
    let names = names();
    let slots = [("flap".to_string(), ValueKind::Number), ("side".to_string(), ValueKind::Word(vec![]))];
    let env = Env { names: &names, slots: Some(&slots), to: Some(&ValueKind::Number) };
    compile(text, &env, None).map_err(|faults| {
        let one = |f: super::condition::Fault| {
            format!("{} {}..{} {:?}", f.rule.id, f.start, f.end, f.hint.unwrap_or_default())
        };
        faults.into_iter().map(one).collect::<Vec<_>>().join("; ")
    })
}

/// `ias_kt` 100, `lamp` true, `lever` up, `code` "A1", `v1` 128, flap 5; `dark` and all else unknown.
struct Now;

impl Scope for Now {
    fn value(&self, name: &Name) -> Option<Value> {
        let n = names();
        let signals = BTreeMap::from([
            ("ias_kt", Value::Number(100.0)),
            ("lamp", Value::Bool(true)),
            ("lever", Value::Word("up".into())),
            ("code", Value::Word("A1".into())),
        ]);
        match name {
            Name::Signal(id) => signals.get(n.signals.list()[id.0 as usize].as_str()).cloned(),
            Name::Sheet(_) => Some(Value::Number(128.0)),
            Name::Slot(s) if s == "flap" => Some(Value::Number(5.0)),
            Name::Done(_) => Some(Value::Bool(true)),
            Name::Phase => Some(Value::Word("taxi".into())),
            _ => None,
        }
    }
}

#[track_caller]
fn value(text: &str, wanted: Option<Value>) {
    let expr = typed(text).unwrap_or_else(|e| panic!("{text}: {e}"));
    assert_eq!(expr.eval(&Now), wanted, "{text}");
}

#[track_caller]
fn truth(text: &str, wanted: Option<bool>) {
    value(text, wanted.map(Value::Bool));
}

#[test]
fn numbers_are_floats_and_integers_are_promoted() {
    value("1", Some(Value::Number(1.0)));
    value("ias_kt + 1", Some(Value::Number(101.0)));
    value("7 / 2", Some(Value::Number(3.5)));
    value("-ias_kt * 2 - 1", Some(Value::Number(-201.0)));
    value("1.5e2", Some(Value::Number(150.0)));
    value("max(ias_kt, sheet.v1) - min(1, 2) + abs(0 - 3)", Some(Value::Number(130.0)));
    value("lamp ? 1 : 2", Some(Value::Number(1.0)));
    value("lever == 'up' ? \"high\" : 'low'", Some(Value::Word("high".into())));
}

#[test]
fn comparisons() {
    truth("ias_kt > 99 && ias_kt >= 100 && ias_kt <= 100 && ias_kt < 101", Some(true));
    truth("ias_kt == 100 && ias_kt != 99 && 0.1 + 0.2 == 0.3", Some(true));
    truth("lever == 'up' && lever != \"down\" && code == 'A1' && lamp == true", Some(true));
    truth("lever in ['up', 'down'] && !(ias_kt in [1, 2])", Some(true));
    truth("phase == 'taxi' && done.setup && slot.flap == 5", Some(true));
}

#[test]
fn unknown_follows_kleene() {
    // Strong Kleene tables for and, or, not: t and f are known, u is unknown.
    for (text, wanted) in [
        ("T && U", None),
        ("F && U", Some(false)),
        ("U && F", Some(false)),
        ("U && T", None),
        ("U && U", None),
        ("T || U", Some(true)),
        ("U || T", Some(true)),
        ("F || U", None),
        ("U || F", None),
        ("U || U", None),
        ("!U", None),
        ("U ? T : T", None),
        ("T ? U : T", None),
        ("F ? U : T", Some(true)),
    ] {
        truth(&text.replace('U', "(dark > 1)").replace('T', "lamp").replace('F', "(!lamp)"), wanted);
    }
    truth("dark == dark", None);
    truth("ias_kt in [100, dark]", Some(true));
    truth("ias_kt in [1, dark]", None);
    truth("said.eighty", None);
    truth("last.lever == 'up'", None);
}

#[test]
fn what_is_not_finite_is_unknown() {
    value("1 / 0", None);
    value("0 / 0", None);
    value("1e308 * 10", None);
    truth("1 / (ias_kt - 100) > 3", None);
    truth("1 / (ias_kt - 100) > 3 || lamp", Some(true));
}

#[test]
fn why_lists_every_name_once_with_its_value() {
    let expr = typed("ias_kt > sheet.v1 && dark < ias_kt && lever == 'up'").unwrap();
    let told = "(ias_kt = 100, sheet.v1 = 128, dark = unknown, lever = up)";
    assert_eq!(expr.explain(&Now), format!("{} {told}", expr.text));
    assert_eq!(typed("1 < 2").unwrap().explain(&Now), "1 < 2");
    assert_eq!(expr.reads.iter().map(|s| s.0).collect::<Vec<_>>(), [0, 2, 4]);
}

#[test]
fn faults_stand_where_they_are() {
    #[track_caller]
    fn check(text: &str, wanted: &str) {
        assert_eq!(typed(text).map(|e| e.text).unwrap_err(), wanted, "{text}");
    }
    check("lamp && ias_kts > 3", r#"unknown-signal 8..15 "did you mean \"ias_kt\"?""#);
    check("lamp && v1 > 3", r#"unknown-signal 8..10 "did you mean \"sheet.v1\"?""#);
    check("lamp && flap > 3", r#"unknown-signal 8..12 "did you mean \"slot.flap\"?""#);
    check("lever == 'upp'", r#"unknown-word 9..14 "did you mean 'up'?""#);
    check("'upp' == lever", r#"unknown-word 0..5 "did you mean 'up'?""#);
    check("code == 'é' && ias_kts > 1", r#"unknown-signal 16..23 "did you mean \"ias_kt\"?""#);
    check("ias_kt + lamp > 3", r#"condition-type 9..13 """#);
    check("ias_kt && lamp", r#"condition-type 0..6 "compare it, as in `… > 0`""#);
    check("ias_kt == '3'", r#"condition-type 10..13 "write 3 without quotes""#);
    check("slot.flop > 1", r#"unknown-slot 0..9 "did you mean \"slot.flap\"?""#);
    check("done.setupp", r#"unknown-flow 0..11 "did you mean \"done.setup\"?""#);
    check("lamp &&", r#"condition-syntax 7..7 """#);
    check(
        "sheet.v1.x > 2",
        r#"condition-not-allowed 0..10 "use && || ! == != < <= > >= + - * / ?: in [..] abs min max""#,
    );
}

#[test]
fn length_and_depth_are_guarded() {
    let long = format!("lamp{}", " ".repeat(MAX_BYTES));
    assert!(typed(&long).unwrap_err().starts_with("condition-too-long"));
    for deep in ["(", "[", "!", "-", "lamp ? 1 : ", "{"] {
        assert!(typed(&deep.repeat(300)).is_err(), "{deep}");
    }
    for chain in [" && lamp", " + 1", ".x", "[0]", " ? 1 : 2"] {
        assert!(typed(&format!("lamp{}", chain.repeat(240))).is_err(), "{chain}");
    }
    assert!(typed(&format!("lamp{}", " && lamp".repeat(60))).is_ok());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_panics(text in "\\PC{0,60}") {
        drop(typed(&text));
    }

    #[test]
    fn no_soup_of_tokens_panics(tokens in prop::collection::vec(prop::sample::select(vec![
        "ias_kt", "lamp", "lever", "'up'", "\"x\"", "1", "2.5", "1e400", "99999999999999999999", "0xff", "1u", "b'x'", "r'x'", "null",
        "true", "&&", "||", "!", "-", "==", "!=", "<", "<=", ">", ">=", "+", "*", "/", "%", "?", ":", "in", "[", "]", "(", ")", "{", "}",
        ",", ".", "abs", "min", "has", "sheet.v1", "slot.flap", "done.setup", "timestamp", "matches", "exists", "`", "\\", "//", "\n",
    ]), 0..40)) {
        if let Ok(expr) = typed(&tokens.join(" ")) {
            expr.eval(&Now);
            expr.explain(&Now);
        }
    }
}
