//! Commands, flows, lists and the repair of what was misheard.

use super::Stage;
use crate::core::aircraft::Value;
use crate::core::crew::io::{Arrangement, Input, Note};

#[test]
fn a_command_is_repeated_then_moved_then_reported() {
    let mut s = Stage::new();
    s.hear("flap 15");
    assert!(s.sets.is_empty(), "nothing moves before it has been repeated");
    s.pass(1.2);
    assert_eq!(s.sets, [("flap".to_string(), Value::Number(15.0))]);
    s.pass(2.0);
    s.expect_said(&["Flap fifteen", "Flap fifteen set"]);
}

#[test]
fn a_placard_refuses_and_the_reason_is_on_record() {
    let mut s = Stage::new();
    s.state(&[("speed", 120.0.into())]);
    s.hear("flap 15");
    s.pass(2.0);
    assert!(s.sets.is_empty());
    assert!(s.said().contains(&"Too fast for flap fifteen".to_string()));
    assert!(s.not_done()[0].starts_with("Flap fifteen"), "{:?}", s.not_done());
}

#[test]
fn the_state_is_looked_at_again_before_the_move() {
    let mut s = Stage::new();
    s.hear("flap 15");
    s.state(&[("speed", 120.0.into())]);
    s.pass(2.0);
    assert!(s.sets.is_empty());
}

#[test]
fn what_the_pilot_did_himself_counts_as_done() {
    let mut s = Stage::new();
    s.state(&[("flap", 15.0.into())]);
    s.hear("flap 15");
    s.pass(1.0);
    assert!(s.sets.is_empty());
    s.expect_said(&["Flap fifteen set"]);
}

#[test]
fn what_does_not_move_is_told() {
    let mut s = Stage::new();
    s.stuck.push("flap");
    s.hear("flap 15");
    s.pass(7.0);
    s.expect_said(&["Flap fifteen", "The flap does not move"]);
}

#[test]
fn negative_cancels_before_the_move_and_tells_after_it() {
    let mut s = Stage::new();
    s.hear("flap 15");
    s.pass(0.5);
    s.hear("negative");
    s.pass(3.0);
    assert!(s.sets.is_empty(), "{:?}", s.sets);
    s.expect_said(&["Flap fifteen", "Cancelled, Flap fifteen"]);

    s.stuck.push("flap");
    s.hear("flap 10");
    s.pass(1.5);
    s.hear("negative");
    s.pass(1.0);
    assert_eq!(s.sets.len(), 1);
    s.expect_said(&["Flap ten", "Done already, Flap ten", "Put it back to Flap zero"]);
    s.hear("disregard");
    s.pass(1.0);
    s.expect_said(&["Nothing to cancel"]);
}

#[test]
fn a_correction_puts_the_sheet_back() {
    let mut s = Stage::new();
    s.hear("first 10 then 70");
    assert!(s.notes.iter().any(|n| matches!(n, Note::Sheet { value: Value::Number(v), .. } if *v == 70.0)));
    s.hear("correction");
    assert!(matches!(s.notes.iter().rev().find(|n| matches!(n, Note::Sheet { .. })),
        Some(Note::Sheet { value: Value::Number(v), .. }) if *v == 80.0));
    s.hear("first 5 then 5");
    s.pass(1.0);
    assert!(s.said().contains(&"Same".to_string()));
}

#[test]
fn a_flow_works_through_its_steps_and_waits() {
    let mut s = Stage::new();
    s.hear("begin flow");
    s.pass(3.0);
    assert_eq!(s.sets, [("lamp".to_string(), Value::Bool(true))]);
    assert!(s.said().is_empty());
    s.pass(3.0);
    s.expect_said(&["The gate is late"]);
    s.state(&[("gate", "open".into())]);
    s.pass(3.0);
    s.expect_said(&["Awake", "Who is there?"]);
    s.hear("me");
    s.pass(2.0);
    s.expect_said(&["Come in"]);
}

#[test]
fn an_unanswered_question_is_repeated_once_and_then_given_up() {
    let mut s = Stage::new();
    s.state(&[("gate", "open".into())]);
    s.hear("begin flow");
    s.pass(16.0);
    s.expect_said(&["Awake", "Who is there?", "Who is there?"]);
    assert!(s.not_done().iter().any(|n| n.contains("nothing was heard")), "{:?}", s.not_done());
}

#[test]
fn an_answer_that_the_aircraft_contradicts_does_not_count() {
    let mut s = Stage::new();
    s.state(&[("gate", "open".into())]);
    s.hear("begin flow");
    s.pass(4.0);
    s.state(&[("lamp", false.into())]);
    s.hear("me");
    s.pass(1.5);
    s.expect_said(&["Awake", "Who is there?", "In the dark?"]);
    s.state(&[("lamp", true.into())]);
    s.hear("it is me");
    s.pass(2.0);
    s.expect_said(&["Come in"]);
}

#[test]
fn a_response_that_the_aircraft_contradicts_is_challenged_and_the_item_waits() {
    let mut s = Stage::new();
    s.state(&[("flap", 5.0.into()), ("lamp", true.into()), ("gate", "open".into())]);
    s.hear("read the list");
    s.pass(2.5);
    s.hear("flap 20");
    s.pass(1.5);
    s.expect_said(&["The list", "Flap", "Flap? It shows five"]);
    s.hear("5");
    s.pass(4.0);
    s.hear("checked");
    s.pass(2.0);
    s.expect_said(&["Lamp", "On", "Gate", "The list complete"]);
    let states: Vec<String> = s.items().into_iter().map(|(i, st)| format!("{i} {st}")).collect();
    assert_eq!(states, ["flap contradicted", "flap agreed", "lamp agreed", "gate agreed"]);
}

#[test]
fn the_programs_own_item_is_not_answered_before_it_is_true() {
    let mut s = Stage::new();
    s.state(&[("gate", "open".into())]);
    s.hear("read the list");
    s.pass(2.5);
    s.hear("flap 0");
    s.pass(3.0);
    s.expect_said(&["The list", "Flap", "Lamp", "Lamp? It is off"]);
    s.state(&[("lamp", true.into())]);
    s.pass(1.5);
    s.expect_said(&["On", "Gate"]);
}

#[test]
fn an_item_waits_for_its_trigger() {
    let mut s = Stage::new();
    s.state(&[("lamp", true.into())]);
    s.hear("read the list");
    s.pass(2.5);
    s.hear("0");
    s.pass(6.0);
    s.expect_said(&["The list", "Flap", "Lamp", "On", "Holding at Gate"]);
    s.state(&[("gate", "open".into())]);
    s.pass(1.5);
    s.expect_said(&["Gate"]);
}

#[test]
fn silence_gets_one_repeat_and_then_patience() {
    let mut s = Stage::new();
    s.hear("read the list");
    s.pass(30.0);
    s.expect_said(&["The list", "Flap", "Flap"]);
    s.hear("flap 0");
    assert_eq!(s.items(), [("flap".to_string(), "agreed".to_string())]);
}

#[test]
fn hold_keeps_the_place_and_resume_repeats_the_last_item() {
    let mut s = Stage::new();
    s.state(&[("lamp", true.into()), ("gate", "open".into())]);
    s.hear("read the list");
    s.pass(2.5);
    s.hear("0");
    s.pass(3.2);
    s.said();
    s.hear("hold");
    s.pass(20.0);
    s.expect_said(&["Holding at Gate"]);
    s.hear("resume");
    s.pass(2.5);
    s.expect_said(&["Resuming at Lamp", "Lamp", "On"]);
}

#[test]
fn a_skipped_item_is_recorded_so() {
    let mut s = Stage::new();
    s.hear("read the list");
    s.pass(2.5);
    s.hear("skip this item");
    assert_eq!(s.items(), [("flap".to_string(), "skipped".to_string())]);
}

#[test]
fn say_again_repeats_the_last_words_and_gives_time() {
    let mut s = Stage::new();
    s.hear("read the list");
    s.pass(5.0);
    s.said();
    s.hear("say again");
    s.pass(1.0);
    s.expect_said(&["Flap"]);
}

#[test]
fn an_unknown_state_is_not_taken_for_agreement() {
    let mut s = Stage::new();
    s.hear("read the list");
    s.pass(2.5);
    s.values.clear();
    s.feed(&Input::State { delta: [("flap".to_string(), None)].into() });
    s.hear("flap 0");
    s.pass(1.0);
    assert_eq!(s.items(), [("flap".to_string(), "cannot_see".to_string())]);
    assert!(s.said().contains(&"I cannot see Flap".to_string()));
}

#[test]
fn the_pilots_own_flow_is_left_to_him() {
    let mut s = Stage::with(Arrangement { left_seat: false, captain: false, flying: false });
    s.hear("begin flow");
    s.pass(3.0);
    assert!(s.sets.is_empty());
    assert!(s.not_done()[0].contains("the pilot's own"), "{:?}", s.not_done());
}
