//! Scripts against a toy world: a list of timed events, and a pilot whose words take a second.

mod reading;

use super::*;
use crate::core::aircraft::Value;
use crate::core::book::schema::{Priority, Station};
use crate::core::crew::io::{Action, Note, Speech};
use crate::core::grammar::Meaning;
use crate::core::time::SessionTime;
use insta::assert_snapshot;
use std::collections::BTreeMap;

const HEAD: &str = "[script]\ntitle = \"t\"\nbook = \"toy\"\nlinger_s = 1\n";

fn script(steps: &str) -> Script {
    match parse(&format!("{HEAD}{steps}")) {
        Ok(s) => s,
        Err(all) => panic!("{all:?}"),
    }
}

/// A world of numbers; a condition is `name > number` or `name == true`.
#[derive(Default)]
struct World(BTreeMap<String, f64>);

impl Senses for World {
    fn holds(&self, condition: &str) -> Option<bool> {
        let (name, limit) = condition.split_once(" > ")?;
        Some(*self.0.get(name)? > limit.parse().ok()?)
    }
    fn value(&self, name: &str) -> Option<Value> {
        self.0.get(name).copied().map(Value::Number)
    }
}

/// What happens at a time, beside the pilot.
enum Now {
    /// A line begins and ends a second later.
    Line(Station, &'static str),
    /// The engine asks.
    Act(Action),
    /// The world changes.
    World(&'static str, f64),
}

fn line(text: &'static str) -> Now {
    Now::Line(Station::FlightDeck, text)
}

fn note(n: Note) -> Now {
    Now::Act(Action::Note(n))
}

fn set(control: &str, to: &str) -> Now {
    Now::Act(Action::Set { request: 1, control: control.into(), to: Value::Word(to.into()) })
}

fn accepted(call: &str, slots: &[(&str, f64)]) -> Now {
    let slots = slots.iter().map(|(k, v)| (k.to_string(), Value::Number(*v))).collect();
    note(Note::Accepted { meaning: Meaning { call: call.into(), slots }, score: 1.0 })
}

/// Plays the script through, and tells deeds (with times) and verdict.
fn play(steps: &str, world: Vec<(f64, Now)>) -> String {
    let mut p = Performance::new(script(steps));
    let mut senses = World::default();
    let mut due: Vec<(SessionTime, u32, Event)> = Vec::new();
    let mut changes: Vec<(SessionTime, &str, f64)> = Vec::new();
    for (n, (s, now)) in (0..).zip(world) {
        let at = SessionTime::from_secs(s);
        match now {
            Now::Line(station, text) => {
                let text = text.to_string();
                due.push((at, n, Event::SpokenStarted { station, text: text.clone() }));
                due.push((at.plus(1.0), n, Event::SpokenEnded { station, text, cut: false }));
            }
            Now::Act(a) => due.push((at, n, Event::Action(a))),
            Now::World(name, v) => changes.push((at, name, v)),
        }
    }
    let mut at = SessionTime::ZERO;
    let mut told = Vec::new();
    for _ in 0..2000 {
        changes.iter().filter(|(t, ..)| *t <= at).for_each(|(_, k, v)| {
            senses.0.insert(k.to_string(), *v);
        });
        changes.retain(|(t, ..)| *t > at);
        due.sort_by_key(|(t, n, _)| (*t, *n));
        let now: Vec<Event> = due.iter().filter(|(t, ..)| *t <= at).map(|(.., e)| e.clone()).collect();
        due.retain(|(t, ..)| *t > at);
        let turn = p.poll(at, &now, &senses);
        for deed in turn.deeds {
            told.push(match &deed {
                Deed::Say { id, text } => {
                    due.push((at.plus(1.0), 1000, Event::SayEnded { id: *id }));
                    format!("{:.2} says \"{text}\"", at.secs())
                }
                Deed::Move { control, to } => format!("{:.2} moves {control} to {to}", at.secs()),
                other => format!("{:.2} {other:?}", at.secs()),
            });
        }
        if p.finished() {
            told.push(format!("{:.2} over", at.secs()));
            break;
        }
        let next = due.iter().map(|d| d.0).chain(changes.iter().map(|c| c.0)).chain(turn.wake).min();
        match next {
            Some(t) if t > at => at = t,
            _ => {
                told.push("stuck".into());
                break;
            }
        }
    }
    told.extend(p.verdict().iter().map(|f| f.to_string()));
    told.join("\n")
}

#[test]
fn steps_come_in_order_and_react() {
    let steps = r#"
[[steps]]
say = "ready"
[[steps]]
on_spoken = "start *"
say = "starting"
[[steps]]
after = 2
say = "done"
"#;
    assert_snapshot!(play(steps, vec![(3.0, line("Start engine two"))]), @r#"
    0.00 says "ready"
    4.50 says "starting"
    7.50 says "done"
    9.50 over
    "#);
    // A line that came while he still spoke counts; one that set off a step does not set off the next.
    let twice = r#"
[[steps]]
say = "ready"
[[steps]]
on_spoken = "go"
delay_s = 0
say = "one"
[[steps]]
on_spoken = "go"
within_s = 3
say = "two"
"#;
    assert_snapshot!(play(twice, vec![(-0.5, line("go")), (8.0, line("go"))]), @r#"
    1.00 says "ready"
    2.00 says "one"
    6.00 over
    step 3: its trigger did not come within 3 s (spoken: "go"); the script stops here.
    "#);
    assert_snapshot!(play(twice, vec![(-0.5, line("go")), (0.2, line("go"))]), @r#"
    1.70 says "ready"
    2.70 says "one"
    4.20 says "two"
    6.20 over
    "#);
}

#[test]
fn triggers_of_other_kinds() {
    let steps = r#"
[[steps]]
at = 2.5
say = "time"
[[steps]]
when = "ias_kt > 60"
say = "sixty"
[[steps]]
on_phase = "climb"
say = "climbing"
[[steps]]
on_spoken = "hello"
from = "ground"
as_it_begins = true
say = "hi"
[[steps]]
on_spoken = "never said"
within_s = 2
optional = true
say = "not this"
[[steps]]
say = "last"
"#;
    let world = vec![
        (5.0, Now::World("ias_kt", 61.0)),
        (8.0, note(Note::Phase { phase: "climb".into() })),
        (10.0, line("hello")),
        (12.0, Now::Line(Station::Ground, "hello")),
    ];
    assert_snapshot!(play(steps, world), @r#"
    2.50 says "time"
    5.00 says "sixty"
    8.00 says "climbing"
    13.50 says "hi"
    16.50 says "last"
    18.50 over
    "#);
}

#[test]
fn a_trigger_that_does_not_come_fails_and_stops() {
    let steps = r#"
[[steps]]
name = "wait"
on_spoken = ["push", "pull"]
from = "ground"
when = "ias_kt > 60"
within_s = 4
say = "x"
[[steps]]
say = "y"
"#;
    assert_snapshot!(play(steps, vec![]), @r#"
    4.00 over
    step 1 "wait": its trigger did not come within 4 s (spoken: "push" or "pull" from ground; true: ias_kt > 60); the script stops here.
    "#);
}

#[test]
fn moves_ramp_from_where_they_are() {
    let steps = r#"
[[steps]]
move = { lever_pct = 50, brake = true }
ramp_s = 0.2
set = { oat_c = 20 }
inject = ["hung start"]
touch = "list/item"
"#;
    assert_snapshot!(play(steps, vec![(0.0, Now::World("lever_pct", 10.0))]), @r#"
    0.00 Set { name: "oat_c", to: Number(20.0) }
    0.00 Inject { fault: "hung start" }
    0.00 Touch { what: "list/item" }
    0.00 moves brake to true
    0.05 moves lever_pct to 20
    0.10 moves lever_pct to 30
    0.15 moves lever_pct to 40
    0.20 moves lever_pct to 50
    1.20 over
    "#);
    // From an unknown place it jumps.
    assert_snapshot!(play("[[steps]]\nmove = { lever_pct = 50 }\nramp_s = 5\n", vec![]), @"
    0.00 moves lever_pct to 50
    1.00 over
    ");
    // Of a length that is no whole number of microseconds.
    assert_snapshot!(play("[[steps]]\nmove = { x = 1 }\nramp_s = 0.03333333333\n", vec![(0.0, Now::World("x", 0.0))]), @"
    0.03 moves x to 1
    1.03 over
    ");
}

#[test]
fn expectations_that_are_met() {
    let steps = r#"
[[steps]]
say = "gear up"
expect = [
  { spoken = ["gear up", "rising"], within_s = 3, from = "flight_deck" },
  { set = "gear_lever", to = "up" },
  { call = "gear_up", slots = { to = 5 } },
  { refused = "tie" }, { refused = "" },
  { item = "list/doors", state = "agreed", known = "seen" },
  { checklist = "list", state = "complete" },
  { flow = "after", state = "done" },
  { callout = "v1", near = 2 },
  { phase = "climb" },
  { limit = "egt", over = true },
  { note = "not_done", contains = "FLAPS" },
  { when = "ias_kt > 60" },
]
"#;
    let word = |s: &str| s.to_string();
    let world = vec![
        (0.5, accepted("gear_up", &[("to", 5.0)])),
        (1.5, line("Gear up!")),
        (2.0, set("gear_lever", "up")),
        (2.0, note(Note::Refused { reason: word("tie"), text: String::new() })),
        (
            2.0,
            note(Note::Item {
                checklist: word("list"),
                item: word("doors"),
                state: word("agreed"),
                known: word("seen"),
                after_s: 1.0,
            }),
        ),
        (2.0, note(Note::Checklist { checklist: word("list"), state: word("complete") })),
        (2.0, note(Note::Flow { flow: word("after"), state: word("done") })),
        (2.0, note(Note::Callout { callout: word("v1"), value: Some(131.5), wanted: Some(130.0), speech: 1 })),
        (2.0, note(Note::Phase { phase: word("climb") })),
        (2.0, note(Note::Limit { limit: word("egt"), over: true })),
        (2.0, note(Note::NotDone { what: word("Flaps up"), why: word("too fast") })),
        (2.0, Now::World("ias_kt", 61.0)),
    ];
    assert_snapshot!(play(steps, world), @r#"
    0.00 says "gear up"
    2.00 over
    "#);
    // The same with nothing happening: each is told.
    assert_snapshot!(play(steps, vec![]), @r#"
    0.00 says "gear up"
    11.00 over
    step 1: not spoken within 3 s: "gear up" or "rising" from the flight deck.
    step 1: not set within 10 s: gear_lever to up.
    step 1: not accepted within 10 s: the call gear_up, to = 5.
    step 1: not noted within 10 s: refused, reason = tie.
    step 1: not noted within 10 s: refused.
    step 1: not noted within 10 s: item, checklist = list, item = doors, state = agreed, known = seen.
    step 1: not noted within 10 s: checklist, checklist = list, state = complete.
    step 1: not noted within 10 s: flow, flow = after, state = done.
    step 1: not noted within 10 s: callout, callout = v1, within 2 of the value.
    step 1: not reached within 10 s: the phase climb.
    step 1: not noted within 10 s: limit, limit = egt, over = true.
    step 1: not noted within 10 s: not_done, containing "FLAPS".
    step 1: not true within 10 s: ias_kt > 60.
    "#);
}

#[test]
fn what_nearly_came_is_told() {
    let steps = r#"
[[steps]]
say = "x"
expect = [
  { spoken = "gear up", from = "ground" },
  { set = "gear_lever", to = "up" },
  { call = "flaps", slots = { to = 5 } },
  { refused = "tie" },
  { item = "list/doors", state = "agreed" },
  { callout = "v1", near = 2 },
  { note = "not_done", contains = "flaps" },
]
"#;
    let word = |s: &str| s.to_string();
    let item = |name: &str| Note::Item {
        checklist: word("list"),
        item: word(name),
        state: word("contradicted"),
        known: word("seen"),
        after_s: 1.0,
    };
    let world = vec![
        (1.5, line("Gear up!")),
        (2.0, set("gear_lever", "down")),
        (2.0, set("flap_lever", "up")),
        (2.0, accepted("flaps", &[("to", 20.0)])),
        (2.0, note(Note::Refused { reason: word("not now"), text: String::new() })),
        (2.0, note(item("doors"))),
        (2.0, note(item("windows"))),
        (2.0, note(Note::Callout { callout: word("v1"), value: Some(135.0), wanted: Some(130.0), speech: 1 })),
        (2.0, note(Note::NotDone { what: word("gear"), why: word("too fast") })),
    ];
    assert_snapshot!(play(steps, world), @r#"
    0.00 says "x"
    11.00 over
    step 1: not spoken within 10 s: "gear up" from ground (the flight deck said it).
    step 1: not set within 10 s: gear_lever to up (it was set to down).
    step 1: not accepted within 10 s: the call flaps, to = 5 (it was accepted with to = 20).
    step 1: not noted within 10 s: refused, reason = tie (reason was not now).
    step 1: not noted within 10 s: item, checklist = list, item = doors, state = agreed (state was contradicted).
    step 1: not noted within 10 s: callout, callout = v1, within 2 of the value (it came at 135 instead of 130).
    step 1: not noted within 10 s: not_done, containing "flaps" (it was {"note":"not_done","what":"gear","why":"too fast"}).
    "#);
}

#[test]
fn too_late_is_too_late_and_just_in_time_is_in_time() {
    let steps = "[[steps]]\nname = \"gear\"\nsay = \"x\"\nexpect = [{ spoken = \"y\", within_s = 2 }]\n";
    assert_snapshot!(play(steps, vec![(3.0, line("y"))]), @r#"
    0.00 says "x"
    3.00 over
    "#);
    assert_snapshot!(play(steps, vec![(3.000001, line("y"))]), @r#"
    0.00 says "x"
    3.00 over
    step 1 "gear": not spoken within 2 s: "y".
    "#);
    // What came before the step began does not count.
    let steps = "[[steps]]\nat = 2\nsay = \"x\"\nexpect = [{ spoken = \"y\", within_s = 2 }]\n";
    assert_snapshot!(play(steps, vec![(0.5, line("y"))]), @r#"
    2.00 says "x"
    5.00 over
    step 1: not spoken within 2 s: "y".
    "#);
}

#[test]
fn silence_and_what_must_never_be() {
    let steps = r#"
[[steps]]
name = "hush"
say = "x"
silent_for_s = 2
never_spoken = ["gear *"]
never_set = ["gear_lever"]
never_called = ["gear_up"]
[[steps]]
at = 10
say = "gear up"
[never]
spoken = ["say again"]
"#;
    let after = || vec![(11.5, line("gear up")), (11.5, set("gear_lever", "up")), (12.0, accepted("gear_up", &[]))];
    assert_snapshot!(play(steps, after()), @r#"
    0.00 says "x"
    10.00 says "gear up"
    12.00 over
    "#);
    let mut bad = vec![
        (2.5, line("Gear is up")),
        (4.0, set("gear_lever", "up")),
        (4.0, accepted("gear_up", &[])),
        (5.0, line("say again")),
    ];
    bad.extend(after());
    assert_snapshot!(play(steps, bad), @r#"
    0.00 says "x"
    10.00 says "gear up"
    12.00 over
    step 1 "hush": spoken 1.5 s into a silence of 2 s: "Gear is up".
    step 1 "hush": spoken although it must not be: "Gear is up".
    step 1 "hush": set although it must not be: gear_lever to up.
    step 1 "hush": accepted although it must not be: the call gear_up.
    the whole session: spoken although it must not be: "say again".
    "#);
}

#[test]
fn a_step_may_wait_until_all_is_met() {
    let steps = r#"
[[steps]]
say = "x"
expect = [{ spoken = "y", within_s = 20 }]
silent_for_s = 2
[[steps]]
after_met = 1
say = "z"
"#;
    assert_snapshot!(play(steps, vec![(9.0, line("y"))]), @r#"
    0.00 says "x"
    10.50 says "z"
    12.50 over
    "#);
    assert_snapshot!(play(steps, vec![]), @r#"
    0.00 says "x"
    22.00 says "z"
    24.00 over
    step 1: not spoken within 20 s: "y".
    "#);
}

#[test]
fn reactions_at_any_moment() {
    let steps = r#"
[[steps]]
say = "flaps five"
[[steps]]
on_spoken = "flaps five"
say = "thanks"
[[reactions]]
on_spoken = "say again"
say_last = true
at_most = 2
[[reactions]]
on_spoken = "flaps"
say = "not this: it set off a step"
"#;
    let world =
        vec![(2.0, line("Say again")), (6.0, line("Say again")), (10.0, line("Say again")), (14.0, line("Flaps five"))];
    assert_snapshot!(play(steps, world), @r#"
    0.00 says "flaps five"
    3.50 says "flaps five"
    7.50 says "flaps five"
    15.50 says "thanks"
    17.50 over
    "#);
}

#[test]
fn a_condition_and_what_came_of_it_at_the_same_moment() {
    let steps = "[[steps]]\nwhen = \"egt_c > 700\"\nexpect = [{ limit = \"egt\", over = true }]\n";
    let over = Note::Limit { limit: "egt".into(), over: true };
    assert_snapshot!(play(steps, vec![(5.0, note(over.clone())), (5.0, Now::World("egt_c", 701.0))]), @"6.00 over");
    // But not what came before.
    assert_snapshot!(play(steps, vec![(4.9, note(over)), (5.0, Now::World("egt_c", 701.0))]), @"
    15.00 over
    step 1: not noted within 10 s: limit, limit = egt, over = true.
    ");
}

#[test]
fn he_does_not_talk_into_a_line_unless_told_to() {
    let steps = |how: &str| format!("[[steps]]\nat = 1.2\nsay = \"x\"\n{how}[[steps]]\nsay = \"y\"\n");
    let world = || vec![(1.0, line("one")), (2.2, line("two"))];
    assert_snapshot!(play(&steps(""), world()), @r#"
    3.70 says "x"
    4.70 says "y"
    6.70 over
    "#);
    assert_snapshot!(play(&steps("cut_in = true\n"), world()), @r#"
    1.20 says "x"
    3.70 says "y"
    5.70 over
    "#);
}

#[test]
fn an_early_end_and_a_limit_are_told() {
    let s = script("[[steps]]\nsay = \"x\"\nexpect = [{ spoken = \"y\" }]\n[[steps]]\nsay = \"z\"\n");
    let mut p = Performance::new(s);
    p.poll(SessionTime::ZERO, &[], &World::default());
    let told: Vec<String> = p.verdict().iter().map(|f| f.to_string()).collect();
    assert_snapshot!(told.join("\n"), @r#"
    step 1: the session ended before this was spoken: "y".
    step 1: the session ended before this step was done.
    "#);

    let s = parse(&format!("{HEAD}limit_s = 2\n[[steps]]\nname = \"n\"\nsay = \"x\"\n")).unwrap();
    let mut p = Performance::new(s);
    p.poll(SessionTime::ZERO, &[], &World::default());
    p.poll(SessionTime::from_secs(2.0), &[], &World::default());
    assert!(p.finished());
    assert_snapshot!(p.verdict()[0], @r#"step 1 "n": the script was not over within 2 s."#);
}

#[test]
fn the_same_events_give_the_same_deeds() {
    let speech =
        |id| Speech { id, station: Station::Ground, text: "go".into(), priority: Priority::Routine, expires_s: 1.0 };
    let steps = "[[steps]]\non_spoken = \"go\"\nsay = \"x\"\nmove = { b = 1, a = 2 }\n";
    let world = || vec![(1.0, Now::Act(Action::Say(speech(1)))), (2.0, line("go"))];
    assert_eq!(play(steps, world()), play(steps, world()));
}

#[test]
fn a_pilot_with_patience_says_again_what_nobody_heard() {
    let steps = r#"
patience_s = 4
[[steps]]
on_spoken = "flaps"
say = "flaps five"
expect = [{ call = "flaps" }]
[[steps]]
on_spoken = "thank you"
say = "z"
"#;
    // Silence: twice more. The challenge again: at once. A call: never again.
    assert_snapshot!(play(steps, vec![(1.0, line("Flaps"))]), @r#"
    2.50 says "flaps five"
    7.50 says "flaps five"
    12.50 says "flaps five"
    303.50 over
    step 1: not accepted within 10 s: the call flaps.
    step 2: its trigger did not come within 300 s (spoken: "thank you"); the script stops here.
    "#);
    assert_snapshot!(play(steps, vec![(1.0, line("Flaps")), (5.0, line("Flaps")), (8.0, line("Gear"))]), @r#"
    2.50 says "flaps five"
    6.50 says "flaps five"
    11.50 says "flaps five"
    303.50 over
    step 1: not accepted within 10 s: the call flaps.
    step 2: its trigger did not come within 300 s (spoken: "thank you"); the script stops here.
    "#);
    let heard =
        vec![(1.0, line("Flaps")), (4.0, accepted("flaps", &[])), (5.0, line("Flaps")), (9.0, line("Thank you"))];
    assert_snapshot!(play(steps, heard), @r#"
    2.50 says "flaps five"
    10.50 says "z"
    12.50 over
    "#);
    let unlike = steps.replace("patience_s = 4", "");
    assert_snapshot!(play(&unlike, vec![(1.0, line("Flaps")), (5.0, line("Flaps"))]), @r#"
    2.50 says "flaps five"
    303.50 over
    step 1: not accepted within 10 s: the call flaps.
    step 2: its trigger did not come within 300 s (spoken: "thank you"); the script stops here.
    "#);
}
