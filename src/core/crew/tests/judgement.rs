//! Repair, putting off, briefings, manners, questions.

use super::Stage;
use crate::core::aircraft::Value;
use crate::core::crew::io::{Arrangement, Input, Note};
use crate::core::grammar::Meaning;
use crate::core::matcher::{Candidate, Heard};
use crate::core::time::SessionTime;

fn number(n: f64) -> Value {
    Value::Number(n)
}

#[test]
fn after_the_move_the_inverse_is_offered_and_put_back_by_a_word() {
    let mut s = Stage::new();
    s.hear("flap 10");
    s.pass(2.5);
    s.hear("negative");
    s.pass(3.0);
    s.hear("put it back");
    s.pass(3.0);
    assert_eq!(s.sets, [("flap".into(), number(10.0)), ("flap".into(), number(0.0))]);
    s.expect_said(&[
        "Flap ten",
        "Flap ten set",
        "Done already, Flap ten",
        "Put it back to Flap zero",
        "Flap zero",
        "Flap zero set",
    ]);
}

#[test]
fn what_is_critical_is_never_offered_back() {
    let mut s = Stage::new();
    s.hear("gate open");
    s.pass(4.0);
    s.hear("negative");
    s.pass(2.0);
    assert!(s.said().iter().all(|t| !t.starts_with("Put it back")), "the gate is guarded and critical");
    s.hear("put it back");
    s.pass(4.0);
    assert_eq!(s.sets.len(), 1, "{:?}", s.sets);
}

#[test]
fn a_reading_that_was_taken_back_is_not_heard_again_but_insisting_is() {
    let heard = |s: &Stage, first: (f64, f64), second: (f64, f64)| {
        let flap = |to: f64| Meaning { call: "flap".into(), slots: [("to".to_string(), number(to))].into() };
        let candidate = |(to, score): (f64, f64)| Candidate::new(vec![flap(to)], score, format!("flap {to}"));
        Input::Heard {
            heard: Heard {
                revision: s.revision,
                ranked: vec![candidate(first), candidate(second)],
                unheard: None,
                typed: false,
                pushed: false,
                over_us: false,
                speech: (SessionTime::from_secs(s.now), SessionTime::from_secs(s.now)),
            },
        }
    };
    for (second_score, wanted) in [(5.0, 10.0), (-5.0, 5.0)] {
        let mut s = Stage::new();
        s.feed(&heard(&s, (5.0, 8.0), (10.0, 3.0)));
        s.pass(0.3);
        s.hear("negative");
        s.pass(2.0);
        s.feed(&heard(&s, (5.0, 8.0), (10.0, second_score)));
        s.pass(3.0);
        assert_eq!(s.sets, [("flap".to_string(), number(wanted))]);
    }
}

#[test]
fn what_sounds_while_we_speak_is_taken_only_as_an_always_live_call_by_a_stricter_score() {
    let heard = |s: &Stage, call: &str, score: f64| {
        let meaning = Meaning { call: call.into(), slots: [].into() };
        let speech = (SessionTime::from_secs(s.now), SessionTime::from_secs(s.now));
        let ranked = vec![Candidate::new(vec![meaning], score, call.replace('_', " "))];
        let revision = s.revision;
        Input::Heard {
            heard: Heard { revision, ranked, unheard: None, typed: false, pushed: false, over_us: true, speech },
        }
    };
    for (call, score, taken) in [("hold", 6.0, true), ("hold", 5.0, false), ("start", 9.0, false)] {
        let mut s = Stage::new();
        let before = s.said().len();
        s.feed(&heard(&s, call, score));
        s.pass(2.0);
        let accepted = s.notes.iter().any(|n| matches!(n, Note::Accepted { .. }));
        assert_eq!(accepted, taken, "{call} {score}: {:?}", s.notes);
        assert!(taken || s.said().len() == before, "our own voice is not asked to say it again");
    }
}

#[test]
fn contradicting_commands_for_a_critical_control_are_asked_about_and_others_follow_the_last() {
    let mut s = Stage::new();
    s.state(&[("gate", "open".into())]);
    s.hear("gate shut");
    s.pass(0.2);
    s.state(&[("gate", "shut".into())]);
    s.hear("gate open");
    s.pass(0.5);
    assert!(s.said().iter().any(|t| t.starts_with("Confirm ")), "asked which one");
    s.hear("gate open");
    s.pass(4.0);
    assert_eq!(s.sets.last(), Some(&("gate".to_string(), "open".into())));

    let mut s = Stage::new();
    s.hear("flap 5");
    s.pass(0.3);
    s.hear("flap 10");
    s.pass(3.0);
    assert_eq!(s.sets, [("flap".to_string(), number(10.0))]);
}

#[test]
fn leave_it_to_me_stops_the_flow_and_it_does_not_come_back() {
    let mut s = Stage::new();
    s.hear("begin flow");
    s.pass(1.0);
    s.hear("leave it to me");
    s.pass(8.0);
    let said = s.said();
    assert!(said.contains(&"wake-up, yours".to_string()), "{said:?}");
    assert!(!said.contains(&"Awake".to_string()) && !said.contains(&"The gate is late".to_string()));
    assert!(s.not_done().iter().any(|n| n == "wake-up: the pilot does it himself"));
}

#[test]
fn a_command_put_off_in_one_breath_moves_when_its_moment_comes() {
    let mut s = Stage::new();
    s.hear("flap 5 at speed 40");
    s.pass(2.0);
    assert!(s.sets.is_empty());
    s.expect_said(&["Flap five, when it is time"]);
    s.hear("what have you noted");
    s.pass(1.0);
    s.expect_said(&["Still to come: Flap five"]);
    s.state(&[("speed", 45.0.into())]);
    s.pass(3.0);
    assert_eq!(s.sets, [("flap".to_string(), number(5.0))]);
    s.expect_said(&["Flap five", "Flap five set"]);
}

#[test]
fn what_a_placard_refused_waits_until_nothing_stands_against_it_and_can_be_dropped() {
    for dropped in [false, true] {
        let mut s = Stage::new();
        s.state(&[("speed", 120.0.into())]);
        s.hear("flap 15");
        s.pass(2.0);
        s.hear("when the speed is good");
        s.pass(2.0);
        if dropped {
            s.hear("forget your reminders");
            s.pass(1.0);
        }
        assert!(s.sets.is_empty());
        s.state(&[("speed", 90.0.into())]);
        s.pass(3.0);
        assert_eq!(s.sets.is_empty(), dropped, "{:?}", s.said());
    }
    let mut s = Stage::new();
    s.hear("when the speed is good");
    s.pass(1.0);
    s.expect_said(&["Nothing"]);
}

#[test]
fn a_reminder_comes_once_and_disregard_takes_it_back() {
    for taken_back in [false, true] {
        let mut s = Stage::new();
        s.hear("remind me at 30");
        s.pass(0.5);
        if taken_back {
            s.hear("disregard");
            s.pass(1.0);
        }
        s.said();
        s.state(&[("speed", 31.0.into())]);
        s.pass(2.0);
        s.state(&[("speed", 10.0.into())]);
        s.pass(1.0);
        s.state(&[("speed", 35.0.into())]);
        s.pass(2.0);
        let told = s.said().iter().filter(|t| t.as_str() == "You wanted to be told at thirty").count();
        assert_eq!(told, usize::from(!taken_back));
    }
}

#[test]
fn in_a_briefing_ordinary_calls_sleep_and_what_was_left_out_is_asked_for() {
    let mut s = Stage::new();
    s.hear("ready for the briefing");
    s.pass(1.5);
    s.hear("flap 10");
    s.pass(2.0);
    assert!(s.sets.is_empty());
    s.hear("the mark is 70");
    s.pass(1.5);
    s.hear("briefing complete");
    s.pass(1.5);
    s.hear("the mark is 80");
    s.pass(1.5);
    s.hear("we leave by the gate");
    s.pass(1.5);
    s.hear("briefing complete");
    s.pass(1.5);
    s.expect_said(&[
        "Go ahead with the plan",
        "The mark is eighty",
        "Not mentioned yet: the mark, the gate",
        "Plan understood",
    ]);
    s.hear("flap 10");
    s.pass(3.0);
    assert_eq!(s.sets.len(), 1);
}

#[test]
fn when_the_program_briefs_it_goes_through_the_sheet() {
    let mut s = Stage::with(Arrangement { left_seat: false, captain: false, flying: false });
    s.hear("ready for the briefing");
    s.pass(5.0);
    s.expect_said(&["The mark is eighty", "We leave by the gate", "Plan understood"]);
}

#[test]
fn speaking_to_somebody_else_suspends_hearing() {
    let mut s = Stage::new();
    s.hear("i am speaking with somebody else");
    s.pass(1.0);
    s.hear("flap 10");
    s.hear("begin flow");
    s.pass(2.0);
    assert!(s.sets.is_empty());
    s.hear("back with you");
    s.pass(1.5);
    s.hear("flap 10");
    s.pass(3.0);
    assert_eq!(s.sets, [("flap".to_string(), number(10.0))]);
}

#[test]
fn with_the_key_to_ground_nothing_said_commands_the_flight_deck() {
    let mut s = Stage::new();
    s.state(&[("key", "ground".into())]);
    s.pass(0.2);
    s.hear("flap 10");
    s.pass(2.0);
    assert!(s.sets.is_empty());
    s.hear("porter are you there");
    s.pass(1.5);
    assert!(s.said().contains(&"Here".to_string()));
    s.state(&[("key", "none".into())]);
    s.pass(0.2);
    s.hear("flap 10");
    s.pass(2.0);
    assert_eq!(s.sets.len(), 1);
}

#[test]
fn a_deviation_is_called_once_repeated_once_escalated_and_closed_by_an_answer_or_the_value() {
    // Unanswered.
    let mut s = Stage::new();
    s.state(&[("wind", 50.0.into())]);
    s.pass(12.0);
    s.expect_said(&["Wind", "Wind", "Wind, I mean it"]);
    assert!(s.sets.is_empty(), "silence moves nothing");
    // Answered.
    let mut s = Stage::new();
    s.state(&[("wind", 50.0.into())]);
    s.pass(1.5);
    s.hear("correcting");
    s.pass(12.0);
    s.expect_said(&["Wind"]);
    // Back by itself.
    let mut s = Stage::new();
    s.state(&[("wind", 50.0.into())]);
    s.pass(1.5);
    s.state(&[("wind", 10.0.into())]);
    s.pass(12.0);
    s.expect_said(&["Wind"]);
}

#[test]
fn monitors_keep_silent_while_something_more_urgent_speaks() {
    let mut s = Stage::new();
    s.state(&[("warning", true.into()), ("wind", 50.0.into())]);
    s.pass(5.0);
    s.expect_said(&[]);
    s.state(&[("warning", false.into())]);
    s.pass(1.0);
    s.expect_said(&["Wind"]);
}

#[test]
fn the_pilots_own_callout_is_made_for_him_only_when_it_stays_away() {
    for (when, wanted) in [("early", 0), ("in time", 0), ("never", 1)] {
        let mut s = Stage::new();
        s.state(&[("speed", 45.0.into())]);
        s.pass(1.0);
        s.said();
        s.state(&[("speed", 75.0.into())]);
        if when == "in time" {
            s.pass(0.5);
            s.hear("quick now");
        }
        s.pass(6.0);
        let quick = s.said().iter().filter(|t| t.as_str() == "Quick").count();
        let expected = if when == "early" { 1 } else { wanted };
        // "quick now" is an answer: before its mark nothing waits for it, so `early` is only live once due.
        assert_eq!(quick, expected, "{when}");
    }
}

#[test]
fn the_level_of_talk_and_silence() {
    let lecture = |s: &mut Stage| {
        s.said();
        s.state(&[("wind", 7.0.into())]);
        s.pass(8.0);
        s.state(&[("wind", 0.0.into())]);
        s.pass(1.0);
        s.said()
    };
    let mut s = Stage::new();
    assert_eq!(lecture(&mut s), ["First", "Last"]);
    s.hear("explain more");
    s.pass(1.0);
    assert_eq!(lecture(&mut s), ["First", "Because I say so", "Last"]);
    s.hear("talk less");
    s.pass(1.0);
    assert_eq!(lecture(&mut s), [""; 0]);
    s.hear("talk as usual");
    s.hear("silence on the flight deck");
    s.pass(1.0);
    s.said();
    s.hear("flap 10");
    s.pass(4.0);
    s.expect_said(&[]);
    assert_eq!(s.sets.len(), 1, "silent, not idle");
    s.hear("you may speak again");
    s.pass(1.0);
    s.expect_said(&["Wilco"]);
}

#[test]
fn a_colleague_says_what_is_left_what_is_waited_for_and_why_not() {
    let mut s = Stage::new();
    s.hear("what are we waiting for");
    s.pass(1.0);
    s.expect_said(&["Nothing"]);
    s.hear("read the list");
    s.pass(2.2);
    s.said();
    s.hear("what is left");
    s.pass(1.0);
    s.expect_said(&["Still to come: Flap, Lamp, Gate"]);
    s.hear("what are we waiting for");
    s.pass(1.0);
    s.expect_said(&["Waiting for Flap"]);
    s.hear("skip this item");
    s.pass(0.2);
    s.hear("why not");
    s.pass(3.0);
    assert!(s.said().iter().any(|t| t.ends_with("the pilot skipped it")), "{:?}", s.not_done());
}

#[test]
fn surprises_come_only_when_asked_for_and_the_same_seed_gives_the_same() {
    let moment = |seed: Option<u64>| {
        let mut s = Stage::new();
        if let Some(seed) = seed {
            s.feed(&Input::Surprises { seed });
        }
        s.state(&[("speed", 10.0.into())]);
        let mut at = None;
        for i in 0..120 {
            s.pass(0.05);
            let came = s.notes.iter().any(|n| matches!(n, Note::Surprise { .. }));
            at = at.or(came.then_some(i));
        }
        at
    };
    assert_eq!(moment(None), None);
    assert!(moment(Some(3)).is_some());
    assert_eq!(moment(Some(3)), moment(Some(3)));
    assert_ne!(moment(Some(3)), moment(Some(4)));
}

#[test]
fn speech_that_nobody_understands_is_asked_for_again_only_after_a_challenge() {
    let mumbled = |s: &Stage, for_s: f64| {
        let meaning = Meaning { call: "start".into(), slots: [].into() };
        let ranked = vec![Candidate::new(vec![meaning], -6.0, "start".into())];
        let speech = (SessionTime::from_secs(s.now - for_s), SessionTime::from_secs(s.now));
        let revision = s.revision;
        Input::Heard {
            heard: Heard { revision, ranked, unheard: None, typed: false, pushed: false, over_us: false, speech },
        }
    };
    for (due, for_s, asked) in [(false, 0.6, false), (true, 0.6, true), (true, 0.2, false)] {
        let mut s = Stage::new();
        if due {
            s.hear("read the list");
            s.pass(3.0);
        }
        s.said();
        s.feed(&mumbled(&s, for_s));
        s.pass(1.0);
        let said = s.said();
        assert_eq!(said.iter().any(|t| t == "Say again"), asked, "due {due}, {for_s} s: {said:?}");
    }
}
