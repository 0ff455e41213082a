//! Wordings in, sentences and problems out.

use super::super::{CallId, Label, accepts, collisions, expand};
use super::*;

fn rules(list: &[(&str, &str)]) -> Rules {
    list.iter().map(|(n, t)| ((*n).to_owned(), parse(t).0)).collect()
}

fn flap() -> NamedSlots {
    let values = [(0.0, "up | zero"), (1.0, "one"), (20.0, "twenty | two zero")];
    BTreeMap::from([(
        "flap".to_owned(),
        values.iter().map(|(v, t)| (Value::Number(*v), parse(t).0)).collect::<Vec<_>>(),
    )])
}

fn graph(wordings: &[&str]) -> (WordGraph, Vec<CompileProblem>) {
    let calls: Vec<_> = wordings.iter().enumerate().map(|(i, t)| (format!("c{i}"), vec![parse(t).0])).collect();
    build(&calls, &rules(&[("set", "set | select"), ("turn", "turn [to] $heading:to")]), &flap())
}

/// All sentences of a wording, each with its slots.
fn check(wording: &str, expected: &[&str]) {
    let (graph, problems) = graph(&[wording]);
    assert!(problems.is_empty(), "{problems:?}");
    let (all, whole) = expand(&graph, CallId(0), 1000);
    assert!(whole);
    let all: Vec<String> = all
        .iter()
        .map(|(said, m)| {
            let slots: Vec<String> = m.slots.iter().map(|(k, v)| format!(" {k}={v}")).collect();
            said.join(" ") + &slots.concat()
        })
        .collect();
    assert_eq!(all, expected, "of {wording:?}");
}

#[test]
fn sentences() {
    check("gear up", &["gear up"]);
    check("gear (up | down)", &["gear up", "gear down"]);
    check("[now] gear up [please]", &["now gear up please", "now gear up", "gear up please", "gear up"]);
    check("a <1-3>", &["a a a", "a a", "a"]);
    check("a <2> b", &["a a b"]);
    check("$set gear", &["set gear", "select gear"]);
    check(
        "flaps $flap",
        &["flaps one flap=1", "flaps twenty flap=20", "flaps two zero flap=20", "flaps up flap=0", "flaps zero flap=0"],
    );
    check("(a | a) b", &["a b"]);
    check("(a | b) c | b c", &["a c", "b c"]);
}

#[test]
fn two_slots_of_one_type() {
    let (graph, problems) = graph(&["from $heading:from to $heading:to", "$turn now"]);
    assert!(problems.is_empty(), "{problems:?}");
    let said: Vec<&str> = "from zero nine zero to two seven zero".split(' ').collect();
    let all = accepts(&graph, CallId(0), &said);
    assert_eq!(all.len(), 1);
    assert_eq!(all[0].slots["from"], Value::Number(90.0));
    assert_eq!(all[0].slots["to"], Value::Number(270.0));
    let all = accepts(&graph, CallId(1), &["turn", "three", "six", "zero", "now"]);
    assert_eq!(all[0].slots["to"], Value::Number(360.0));
    assert!(accepts(&graph, CallId(1), &["turn", "three", "six", "one", "now"]).is_empty());
}

#[test]
fn shape_of_the_graph() {
    let (graph, _) =
        graph(&["[now] flaps $flap:to [please] | to $heading:h ($heading:g | $flap:to)", "a <0-3> b", "$nothing"]);
    let mut next = 0;
    for call in &graph.calls {
        assert_eq!(call.entry.0, next, "a call's nodes stand together");
        next = call.exit.0 + 1;
        assert!(graph.nodes[call.exit.0 as usize].arcs.is_empty());
        for i in call.entry.0..=call.exit.0 {
            let mut labels: Vec<Label> = graph.nodes[i as usize].arcs.iter().map(|a| a.label).collect();
            assert!(graph.nodes[i as usize].arcs.iter().all(|a| a.to.0 > i && a.to <= call.exit));
            let count = labels.len();
            labels.sort_unstable();
            labels.dedup();
            assert_eq!(labels.len(), count, "no two arcs say the same");
        }
    }
    assert_eq!(next as usize, graph.nodes.len());
}

fn wrong(wordings: &[&str], expected: &[&str]) {
    let (_, problems) = graph(wordings);
    let found: Vec<String> = problems
        .iter()
        .map(|p| {
            let Place::Call { call, wording } = &p.place else { panic!("{p:?}") };
            format!("{call}.{wording} {} {:?}: {}", p.problem.id, p.problem.span, p.problem.message)
        })
        .collect();
    assert_eq!(found, expected, "of {wordings:?}");
}

#[test]
fn problems_in_wordings() {
    wrong(&["a", "flaps $flop"], &["1.0 grammar-unknown-rule 6..11: There is no rule or slot named $flop."]);
    wrong(&["[a] [b]"], &["0.0 grammar-says-nothing 0..7: This wording can be said with no word at all."]);
    wrong(
        &["$heading to $heading"],
        &["0.0 grammar-slot-twice 12..20: The slot \"heading\" would be filled twice in one sentence."],
    );
    wrong(&["($heading | a $heading) b"], &[]);
    wrong(
        &["$turn or $turn"],
        &["0.0 grammar-slot-twice 9..14: The slot \"to\" would be filled twice in one sentence."],
    );
    wrong(
        &["(to $heading) <1-2>"],
        &["0.0 grammar-slot-twice 0..19: The slot \"heading\" would be filled twice in one sentence."],
    );
    wrong(
        &["$heading:to | $flap:to"],
        &["0.0 grammar-slot-types 14..22: The slot \"to\" is a $flap here and a $heading elsewhere in this call."],
    );
    wrong(&["$set:x gear"], &["0.0 grammar-rule-bound 0..6: $set is a rule, so it has no value to call \"x\"."]);
    wrong(
        &["((((a <32>) <32>) b) <32>) <32>"],
        &["0.0 grammar-too-large 0..0: This call has more ways of being said than can be kept."],
    );
    // Small as text and as loose automaton, vast when determinised.
    wrong(
        &["(a | b) <0-20> a (a | b) <20>"],
        &["0.0 grammar-too-large 0..0: This call has more ways of being said than can be kept."],
    );
}

#[test]
fn problems_in_rules_and_slots() {
    let list = [("a", "b $c"), ("c", "$d | x"), ("d", "[y] $a"), ("heading", "x"), ("e", "$e z"), ("f", "$sett")];
    let rules = rules(&list);
    let mut named = flap();
    named.insert("none".to_owned(), Vec::new());
    let twice = vec![(Value::Number(1.0), parse("one").0), (Value::Number(2.0), parse("two | one").0)];
    named.insert("twice".to_owned(), twice);
    named.insert("deep".to_owned(), vec![(Value::Bool(true), parse("to $flap").0)]);
    let (_, problems) = build(&[], &rules, &named);
    let told: Vec<String> =
        problems.iter().map(|p| format!("{:?} {} {}", p.place, p.problem.id, p.problem.message)).collect();
    insta::assert_snapshot!(told.join("\n"), @r#"
    Rule("d") grammar-endless These rules lead back to themselves for ever: $a → $c → $d → $a.
    Rule("e") grammar-endless These rules lead back to themselves for ever: $e → $e.
    Rule("f") grammar-unknown-rule There is no rule or slot named $sett.
    Rule("heading") grammar-name-taken $heading is already the name of a slot's type.
    Slot { slot: "deep", value: 0 } grammar-slot-in-slot A value of a slot cannot hold another slot ($flap).
    Slot { slot: "none", value: 0 } grammar-slot-no-values The slot $none has no values.
    Slot { slot: "twice", value: 1 } grammar-two-values "one" means both 1 and 2 in $twice.
    "#);
}

#[test]
fn deep_rules_keep_within_the_stack() {
    let nested = |inner: &str| format!("{}{inner}{}", "[a (".repeat(10), " | b)]".repeat(10));
    let list: Vec<(String, String)> =
        (0..30).map(|i| (format!("r{i:02}"), nested(&format!("$r{:02}", i + 1)))).collect();
    let mut rules: Rules = list.iter().map(|(n, t)| (n.clone(), parse(t).0)).collect();
    rules.insert("r30".to_owned(), parse("end").0);
    let calls = [("c".to_owned(), vec![parse("x $r25").0]), ("d".to_owned(), vec![parse("x $r18").0])];
    let (graph, problems) = build(&calls, &rules, &NamedSlots::new());
    assert!(problems.iter().any(|p| p.problem.id == "grammar-too-deep"), "{problems:?}");
    assert_eq!(accepts(&graph, CallId(0), &["x", "a", "b"]).len(), 1);
}

#[test]
fn overlaps() {
    let (graph, _) =
        graph(&["flaps $flap", "flaps (one | five)", "gear up", "heading $heading", "[heading] $number:a [$number:b]"]);
    let all: super::super::CallSet = (0..5).map(CallId).collect();
    let told: Vec<String> =
        collisions(&graph, &[all]).iter().map(|(a, b, w)| format!("{} {} {}", a.0, b.0, w.join(" "))).collect();
    assert_eq!(told, ["0 1 flaps one", "3 4 heading zero one zero", "4 4 one zero"]);
    let apart: Vec<super::super::CallSet> =
        vec![[CallId(0), CallId(2)].into_iter().collect(), [CallId(1), CallId(3)].into_iter().collect()];
    assert_eq!(collisions(&graph, &apart), []);
}
