//! The flight sheet, phases entered from outside, calls of the aircraft's own voice.

use super::{Stage, book_of};
use crate::core::aircraft::Value;
use crate::core::book::schema::Source;
use crate::core::crew::io::{Arrangement, Input, Note};
use crate::core::physics::performance::{Performance, Surface, TakeoffCase, TakeoffThrust};
use std::collections::BTreeMap;

const PLAN: &str = include_str!("sheet.toml");

fn begin(phase: Option<&str>, sheet: &[(&str, Value)], state: &[(&str, Value)]) -> Stage {
    let mut s = Stage::on(book_of(PLAN));
    let sheet = sheet.iter().map(|(k, v)| ((*k).to_string(), v.clone())).collect();
    let begin = Input::Begin { arrangement: Arrangement::default(), phase: phase.map(str::to_string), sheet };
    s.feed(&begin);
    let usual: [(&str, Value); 7] = [
        ("flaps", 12.0.into()),
        ("on_ground", true.into()),
        ("height", 0.0.into()),
        ("speed", 0.0.into()),
        ("door", true.into()),
        ("weight", 52_000.0.into()),
        ("voice", false.into()),
    ];
    let all: Vec<(&str, Value)> =
        usual.into_iter().filter(|(k, _)| state.iter().all(|(x, _)| x != k)).chain(state.to_vec()).collect();
    s.state(&all);
    s
}

fn plan() -> Stage {
    begin(None, &[], &[])
}

/// The last value written for an entry, and from where; none if it was taken away since.
fn written(s: &Stage, wanted: &str) -> Option<(Value, Source)> {
    let of = |n: &Note| match n {
        Note::Sheet { entry, value, source, .. } if entry == wanted => Some(Some((value.clone(), (*source)?))),
        Note::SheetOpen { entry, .. } if entry == wanted => Some(None),
        _ => None,
    };
    s.notes.iter().rev().find_map(of).flatten()
}

fn tables(mass_kg: f64) -> crate::core::physics::performance::Takeoff {
    let case = TakeoffCase {
        mass_kg,
        flap: 12,
        pressure_altitude_ft: 0.0,
        oat_c: 15.0,
        headwind_kt: 0.0,
        slope_pct: 0.0,
        runway_m: 3000.0,
        surface: Surface::Dry,
        thrust: TakeoffThrust::Full,
        cg_pct: 25.0,
    };
    Performance::tarn_t2().takeoff(&case).expect("within the tables")
}

#[test]
fn figures_are_computed_from_the_tables_as_soon_as_all_is_known() {
    let s = plan();
    assert_eq!(written(&s, "whole"), Some((Value::Number(52_000.0), Source::Computed)));
    assert_eq!(written(&s, "vr"), Some((Value::Number(tables(52_000.0).vr_kt), Source::Computed)));
    assert_eq!(written(&s, "trim"), Some((Value::Number(tables(52_000.0).trim_units), Source::Computed)));
    assert_eq!(written(&s, "seen_weight"), Some((Value::Number(52_000.0), Source::Aircraft)));
    assert!(s.said.is_empty(), "nothing to tell: {:?}", s.said);
}

#[test]
fn a_change_recomputes_and_reopens_and_says_which() {
    let mut s = plan();
    s.hear("talk");
    s.pass(3.0);
    s.hear("plan list");
    let vr = tables(52_000.0).vr_kt;
    s.pass(4.0);
    s.hear(&format!("{vr}"));
    s.pass(2.0);
    s.hear("on");
    s.pass(3.0);
    assert!(s.said().contains(&"Plan list complete".to_string()));
    s.hear("to the lane");
    s.state(&[("weight", 57_000.0.into())]);
    s.hear("fuel 14000");
    s.pass(3.0);
    let said = s.said().join("; ");
    assert!(said.contains("Now ") && said.contains("rotation"), "{said}");
    assert!(said.contains("fuel new, so Rotation, the talk"), "{said}");
    assert_eq!(written(&s, "vr"), Some((Value::Number(tables(57_000.0).vr_kt), Source::Computed)));
    let reopened =
        |n: &Note| matches!(n, Note::Reopened { what, .. } if what == "plan_list/rotation" || what == "talk");
    assert_eq!(s.notes.iter().filter(|n| reopened(n)).count(), 2);
    // The list belongs to another phase, but what is open of it may be read here: only that, and then it is complete.
    s.hear("plan list");
    s.pass(3.0);
    s.hear(&format!("{}", tables(57_000.0).vr_kt));
    s.pass(3.0);
    s.expect_said(&["Plan list", "Rotation", "Plan list complete"]);
}

#[test]
fn an_item_that_was_settled_is_read_once_more_before_the_end() {
    let mut s = plan();
    s.hear("plan list");
    s.pass(4.0);
    s.hear(&format!("{}", tables(52_000.0).vr_kt));
    s.pass(1.5);
    s.state(&[("weight", 57_000.0.into())]);
    s.hear("fuel 14000");
    s.hear("on");
    s.pass(6.0);
    s.hear(&format!("{}", tables(57_000.0).vr_kt));
    s.pass(3.0);
    let said = s.said();
    let rotation = said.iter().filter(|t| *t == "Rotation").count();
    assert!(rotation == 2 && said.last().is_some_and(|t| t == "Plan list complete"), "{said:?}");
}

#[test]
fn outside_the_tables_there_is_no_number() {
    let mut s = plan();
    s.hear("temperature 60");
    s.pass(2.0);
    let said = s.said().join("; ");
    assert!(said.contains("No data for temperature sixty"), "{said}");
    assert_eq!(written(&s, "vr"), None);
    assert_eq!(said.matches("No data").count(), 1, "once for the whole figure: {said}");
    s.hear("temperature 20");
    s.pass(1.0);
    assert!(written(&s, "vr").is_some());
}

#[test]
fn a_given_value_stands_until_what_it_rests_on_changes() {
    let mut s = plan();
    s.hear("rotation 150");
    s.pass(2.0);
    assert_eq!(written(&s, "vr"), Some((Value::Number(150.0), Source::Typed)));
    assert!(s.said().iter().any(|t| t.starts_with("rotation one five zero or ")), "it differs from the computed one");
    s.hear("temperature 16");
    s.pass(1.0);
    assert!(matches!(written(&s, "vr"), Some((_, Source::Computed))));
}

#[test]
fn load_figures_that_disagree_are_named_and_nothing_is_computed_from_them() {
    let mut s = begin(None, &[("fuel", 5_000.0.into())], &[]);
    s.pass(1.0);
    s.expect_said(&["The weights disagree"]);
    assert_eq!(written(&s, "vr"), None);
    // The pilot vouches for it.
    s.hear("weights checked");
    s.pass(1.0);
    assert_eq!(written(&s, "vr"), Some((Value::Number(tables(48_000.0).vr_kt), Source::Computed)));
    let by = |n: &Note| matches!(n, Note::SheetChecked { entry, by } if entry == "whole" && by == "pilot");
    assert!(s.notes.iter().any(by));
}

#[test]
fn an_impossible_value_is_refused_and_asked_for() {
    let mut s = begin(None, &[("empty", 900.0.into())], &[]);
    s.pass(4.0);
    s.expect_said(&["Too light", "No empty weight"]);
    assert_eq!(written(&s, "whole"), None, "never guessed");
}

#[test]
fn what_is_set_is_compared_with_the_sheet() {
    let mut s = plan();
    s.hear("to the lane");
    s.state(&[("flaps", 5.0.into())]);
    s.pass(1.0);
    s.state(&[("flaps", 12.0.into())]);
    s.pass(3.0);
    assert!(s.said().is_empty(), "a hand on its way");
    s.state(&[("flaps", 5.0.into())]);
    s.pass(4.0);
    s.expect_said(&["flap shows five, not twelve"]);
    s.state(&[("flaps", 12.0.into())]);
    assert!(s.notes.iter().any(|n| matches!(n, Note::SheetCompare { agrees: true, .. })));
}

#[test]
fn a_correction_gives_the_figures_back_too() {
    let mut s = plan();
    s.state(&[("weight", 57_000.0.into())]);
    s.hear("fuel 14000");
    s.hear("correction");
    s.pass(1.0);
    assert_eq!(written(&s, "fuel").map(|w| w.0), Some(Value::Number(9_000.0)));
    let values = BTreeMap::from([("fuel".to_string(), Value::Number(14_000.0))]);
    s.feed(&Input::Sheet { values, source: Source::Typed });
    assert_eq!(written(&s, "vr"), Some((Value::Number(tables(57_000.0).vr_kt), Source::Computed)));
}

#[test]
fn an_agreed_item_cross_checks_what_it_names() {
    let mut s = plan();
    s.hear("plan list");
    s.pass(4.0);
    s.hear(&format!("{}", tables(52_000.0).vr_kt));
    let by = |n: &Note| matches!(n, Note::SheetChecked { entry, by } if entry == "vr" && by == "pilot");
    assert!(s.notes.iter().any(by), "{:?}", s.notes);
}

#[test]
fn entered_from_outside_it_says_what_disagrees_and_assumes_the_rest() {
    let mut s = begin(Some("strip"), &[], &[("flaps", 5.0.into())]);
    s.pass(6.0);
    s.expect_said(&["Flaps five", "Done I take it, Plan list", "Ready in strip"]);
    let wanted = |n: &Note| matches!(n, Note::Survey { assumed, disagrees, .. } if assumed.contains(&"plan_list".into()) && disagrees.len() == 1);
    assert!(s.notes.iter().any(wanted), "{:?}", s.notes);
    assert!(matches!(written(&s, "cleared"), Some((Value::Bool(true), Source::Assumed))));
}

#[test]
fn a_survey_without_sight_says_so_and_is_ready_within_ten_seconds() {
    let mut s = plan();
    s.state(&[]);
    // The link stops: nothing comes any more.
    s.now += 4.0;
    s.hear("we are at the strip");
    while s.now < 14.0 {
        s.now += 0.5;
        s.feed(&Input::Tick);
    }
    assert!(s.said.contains(&"Blind".to_string()) && s.said.contains(&"Ready in strip".to_string()), "{:?}", s.said);
}

#[test]
fn what_was_jumped_over_is_not_called() {
    let mut s = begin(Some("strip"), &[], &[("speed", 80.0.into())]);
    s.pass(3.0);
    assert!(!s.said().contains(&"Fast".to_string()));
    s.hear("again from the strip");
    assert_eq!(s.places, ["lined_up"]);
    s.state(&[("speed", 0.0.into())]);
    s.pass(2.0);
    s.said();
    s.state(&[("speed", 60.0.into())]);
    s.expect_said(&["Fast"]);
}

#[test]
fn the_aircraft_makes_its_own_calls_and_we_step_in_where_it_is_silent() {
    let flying = || {
        let mut s = begin(Some("sky"), &[], &[("on_ground", false.into()), ("height", 20.0.into())]);
        s.pass(5.0);
        s.said();
        s
    };
    let crossed = |s: &mut Stage, callout: &str| s.feed(&Input::Crossed { callout: callout.into(), value: 50.0 });
    let mut s = flying();
    crossed(&mut s, "fifty");
    s.pass(0.5);
    s.state(&[("voice", true.into())]);
    s.pass(3.0);
    assert!(s.said().is_empty(), "it spoke itself");
    let mut s = flying();
    crossed(&mut s, "fifty");
    s.pass(1.0);
    assert!(s.said().is_empty());
    s.pass(1.5);
    s.expect_said(&["Fifty"]);
    assert!(s.not_done().iter().any(|n| n.contains("stayed silent")));
    let mut s = flying();
    crossed(&mut s, "sixty");
    s.pass(5.0);
    assert!(s.said().is_empty(), "nobody can tell, so it is never ours");
}

#[test]
fn what_cannot_be_seen_is_asked() {
    let mut s = plan();
    let none = BTreeMap::from([("door".to_string(), None)]);
    s.feed(&Input::State { delta: none });
    s.values.remove("door");
    s.hear("plan list");
    s.pass(5.0);
    s.expect_said(&["Plan list", "Door", "I cannot see Door"]);
    s.hear("closed");
    s.pass(2.0);
    assert!(s.items().contains(&("door".into(), "cannot_see".into())), "{:?}", s.items());
    assert!(s.said().contains(&"Rotation".to_string()));
}

#[test]
fn after_an_item_that_was_left_out_the_list_goes_on_behind_it() {
    let mut s = plan();
    s.hear("plan list");
    s.pass(4.0);
    s.hear("skip item");
    s.pass(0.5);
    s.hear("hold");
    s.pass(2.0);
    s.said();
    s.hear("resume");
    s.pass(3.0);
    assert!(!s.said().contains(&"Rotation".to_string()), "the skipped item is not asked again");
}

/// Every reason why there is no figure has words in `common`, and so has every quantity that it can name.
#[test]
fn every_problem_of_the_tables_is_worded() {
    use crate::core::physics::performance::{NoData, Problem, Quantity};
    let keys: Vec<&str> = crate::core::book::schema::WORDINGS.iter().map(|(key, _)| *key).collect();
    let all = [
        Problem::NoData(NoData { what: Quantity::Mass, value: 1.0, low: 0.0, high: 0.0 }),
        Problem::NoFlap { flap: 1, known: Vec::new() },
        Problem::TooShort { needed_m: 1.0, there_m: 0.0 },
        Problem::TooHeavy { what: Quantity::TakeoffMass, kg: 1.0, limit_kg: 0.0 },
        Problem::NoThrust { part_pct: 1.0, known: Vec::new() },
        Problem::TooHotToReduce { most_oat_c: 1.0 },
        Problem::SlipperyToReduce,
        Problem::TrimOutside { units: 1.0, low: 0.0, high: 0.0 },
        Problem::MinimumControl { vmcg_kt: 1.0, vr_kt: 0.0 },
        Problem::FlapLimit { vref_kt: 1.0, flap: 1 },
        Problem::NoDescent { from_ft: 1.0, to_ft: 2.0 },
        Problem::Inputs { wanted: 1 },
    ];
    for key in all.iter().map(Problem::key).chain(Quantity::WORDED.iter().map(|(_, key)| *key)) {
        assert!(keys.contains(&key), "{key}");
    }
}
