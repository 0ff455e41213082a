//! Callouts, limits, phases, rejection, staleness.

use super::Stage;
use crate::core::aircraft::Value;
use crate::core::crew::io::{Arrangement, Engine, Input};
use crate::core::time::{SessionTime, SimTime};

fn running() -> Stage {
    let mut s = Stage::new();
    s.state(&[("speed", 30.0.into())]);
    assert_eq!(s.crew.phase(), "run");
    s
}

fn crossed(s: &mut Stage, value: f64) {
    s.feed(&Input::Crossed { callout: "fast".into(), value });
}

#[test]
fn a_callout_is_made_once_and_armed_again_for_the_next_run() {
    let mut s = running();
    crossed(&mut s, 80.0);
    crossed(&mut s, 80.0);
    s.hear("thank you");
    s.pass(1.0);
    s.expect_said(&["Fast"]);
    s.state(&[("speed", 0.0.into())]);
    s.hear("back to the yard");
    crossed(&mut s, 80.0);
    assert!(s.said().is_empty(), "not armed outside of its phase");
    s.state(&[("speed", 30.0.into())]);
    crossed(&mut s, 80.0);
    s.expect_said(&["Fast"]);
}

#[test]
fn the_reply_to_a_callout_is_due_and_missed_once_aloud() {
    let mut s = running();
    crossed(&mut s, 80.0);
    s.pass(10.0);
    s.expect_said(&["Fast", "Fast"]);
    assert!(s.not_done().iter().any(|n| n.contains("nothing was heard")), "{:?}", s.not_done());
    assert!(s.sets.is_empty(), "silence moves nothing");

    let mut s = running();
    crossed(&mut s, 80.0);
    s.pass(1.5);
    s.hear("thank you");
    s.pass(10.0);
    s.expect_said(&["Fast"]);
}

#[test]
fn a_condition_must_last() {
    let mut s = running();
    s.state(&[("speed", 55.0.into())]);
    s.pass(0.5);
    s.state(&[("speed", 45.0.into())]);
    s.pass(1.0);
    assert!(s.said().is_empty());
    s.state(&[("speed", 55.0.into())]);
    s.pass(1.1);
    s.expect_said(&["Steady"]);
}

#[test]
fn what_was_jumped_over_is_not_called() {
    let mut s = running();
    s.values.insert("speed".into(), Value::Number(55.0));
    let delta = [("speed".to_string(), Some(Value::Number(55.0)))].into();
    s.feed(&Input::State { delta });
    s.feed(&Input::Jumped);
    s.pass(3.0);
    assert!(s.said().is_empty());
}

#[test]
fn whose_callout_it_is_follows_the_flight_role() {
    let mut s = running();
    s.state(&[("speed", 65.0.into())]);
    assert!(!s.said().contains(&"Mine".to_string()), "the pilot flies: it is his");
    let mut s = Stage::with(Arrangement { left_seat: true, captain: true, flying: false });
    s.state(&[("speed", 65.0.into())]);
    s.pass(0.1);
    assert!(s.said().contains(&"Mine".to_string()), "the program flies: it is ours");
}

#[test]
fn a_limit_speaks_once_and_acts() {
    let mut s = running();
    s.state(&[("gate", "open".into()), ("speed", 210.0.into())]);
    s.pass(0.4);
    assert!(s.sets.is_empty());
    s.pass(3.0);
    assert_eq!(s.sets, [("gate".to_string(), Value::Word("shut".into()))]);
    let said = s.said();
    assert_eq!(said.iter().filter(|t| *t == "Too fast").count(), 1, "{said:?}");
    s.state(&[("speed", 100.0.into())]);
    s.state(&[("speed", 210.0.into())]);
    s.pass(1.0);
    assert_eq!(s.said().iter().filter(|t| *t == "Too fast").count(), 1, "a new excursion");
}

#[test]
fn rejection_stops_our_own_work() {
    let mut s = running();
    s.hear("read the list");
    s.pass(1.5);
    s.hear("abandon run");
    s.pass(8.0);
    let said = s.said();
    assert!(said.contains(&"Abandoned".to_string()), "{said:?}");
    assert_eq!(said.iter().filter(|t| *t == "Flap").count(), 1, "the list has ended: {said:?}");
    assert!(s.not_done().iter().any(|n| n.starts_with("The list")));
}

#[test]
fn rejection_is_not_live_where_its_condition_is_false() {
    let mut s = Stage::new();
    s.hear("abandon run");
    s.pass(1.0);
    assert!(s.said().is_empty());
}

#[test]
fn stale_is_unknown_and_never_fires() {
    let mut s = running();
    s.state(&[("speed", 55.0.into())]);
    // The source falls silent: time passes without state.
    for k in 1..40 {
        let t = 0.1 * f64::from(k);
        let step = s.crew.handle(SessionTime::from_secs(t), SimTime::from_secs(t), &Input::Tick);
        let spoke = format!("{:?}", step.actions).contains("Steady");
        assert!(!(t > 2.2 && spoke), "called on stale data at {t}");
    }
}

#[test]
fn a_voice_that_never_reports_its_end_blocks_nothing() {
    let mut s = Stage::new();
    s.hear("read the list");
    s.voice.clear();
    s.pass(32.0);
    assert!(s.said().contains(&"Flap".to_string()));
    assert!(s.not_done().iter().any(|n| n.contains("never reported")));
}

#[test]
fn the_same_inputs_give_the_same_actions() {
    let run = || {
        let mut s = running();
        s.hear("flap 15");
        s.pass(5.0);
        s.hear("read the list");
        s.pass(9.0);
        (s.said.clone(), s.sets.clone(), format!("{:?}", s.notes))
    };
    assert_eq!(run(), run());
}

#[test]
fn what_is_true_when_the_link_returns_is_not_called() {
    let mut s = running();
    s.feed(&Input::Link { up: false });
    s.feed(&Input::Link { up: true });
    s.state(&[("speed", 55.0.into())]);
    s.pass(3.0);
    let said = s.said();
    assert!(!said.contains(&"Steady".to_string()), "{said:?}");
}

#[test]
fn a_callout_that_the_aircraft_makes_is_left_to_it() {
    let mut s = running();
    s.feed(&Input::AircraftCalls { callouts: vec!["steady".into()] });
    s.state(&[("speed", 55.0.into())]);
    s.pass(3.0);
    assert!(!s.said().contains(&"Steady".to_string()));
}
