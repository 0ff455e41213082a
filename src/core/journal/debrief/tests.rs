//! A made-up session, told.

use super::*;
use crate::core::aircraft::Value;
use crate::core::book::schema::{Due, Priority};
use crate::core::crew::io::{Action, Arrangement, Crossing, Engine, Input, Note, Speech, Step};
use crate::core::grammar::Meaning;
use crate::core::journal::{Line, read, toy};
use crate::core::matcher::Candidate;
use crate::core::time::{SimTime, Wake};
use std::collections::BTreeMap;

/// Plays the steps that it was given.
struct Played(std::vec::IntoIter<Vec<Action>>);

impl Engine for Played {
    fn handle(&mut self, _: SessionTime, _: SimTime, _: &Input) -> Step {
        Step { actions: self.0.next().unwrap_or_default(), wake: Wake::default() }
    }
}

fn say(id: u64, text: &str) -> Action {
    let (station, priority) = (Station::FlightDeck, Priority::Routine);
    Action::Say(Speech { id, station, text: text.into(), priority, expires_s: 9.0 })
}

fn heard(from: f64, to: f64, readings: &[(&str, &str, f64)]) -> Input {
    let t = SessionTime::from_secs;
    let meaning = |call: &str| Meaning { call: call.into(), slots: BTreeMap::new() };
    let ranked = readings
        .iter()
        .map(|(call, text, score)| Candidate::new(vec![meaning(call)], *score, text.to_string()))
        .collect();
    toy::heard(ranked, (t(from), t(to)))
}

fn accepted(call: &str) -> Action {
    Action::Note(Note::Accepted { meaning: Meaning { call: call.into(), slots: BTreeMap::new() }, score: 5.0 })
}

fn item(item: &str, state: &str, after_s: f64) -> Action {
    let w = |s: &str| s.to_string();
    Action::Note(Note::Item { checklist: w("l"), item: w(item), state: w(state), known: w("seen"), after_s })
}

fn list(state: &str) -> Action {
    Action::Note(Note::Checklist { checklist: "l".into(), state: state.into() })
}

fn state(pairs: &[(&str, f64)]) -> Input {
    toy::state(pairs)
}

/// (time, input, what the engine does).
fn session() -> Vec<(f64, Input, Vec<Action>)> {
    let (started, ended) = (|id| Input::SpeechStarted { id }, |id| Input::SpeechEnded { id, cut: false });
    let w = |s: &str| s.to_string();
    let v1 =
        Crossing { callout: w("v1"), signal: w("ias_kt"), value: 130.0, rising: true, due: Due::End, text: w("V one") };
    let called = Note::Callout { callout: w("v1"), value: Some(127.0), wanted: Some(130.0), speech: 6 };
    let begin = Input::Begin { arrangement: Arrangement::default(), phase: None, sheet: BTreeMap::new() };
    let put_off = |state: &str| Action::Note(Note::PutOff { what: w("flaps five"), state: w(state) });
    let briefing = |topic: &str, state: &str| {
        Action::Note(Note::Briefing { briefing: w("way_out"), topic: w(topic), state: w(state) })
    };
    let limit = |over| Action::Note(Note::Limit { limit: w("taxi_speed"), over });
    vec![
        (0.0, begin, vec![Action::Note(Note::Phase { phase: w("taxi") })]),
        (1.0, heard(0.2, 0.9, &[("list", "read it", 6.0)]), vec![accepted("list"), list("begun"), say(1, "The list")]),
        (1.5, started(1), vec![]),
        (2.0, ended(1), vec![say(2, "Flaps")]),
        (2.0, started(2), vec![]),
        (2.5, ended(2), vec![]),
        // Too quick, bare, and wrong.
        (
            3.5,
            heard(2.9, 3.2, &[("l/flaps", "checked", 6.0), ("x", "cabin", 4.5)]),
            vec![accepted("l/flaps"), item("flaps", "contradicted", 1.0), say(3, "Flaps show 0")],
        ),
        (3.6, started(3), vec![]),
        (4.6, ended(3), vec![]),
        (
            7.0,
            heard(6.0, 6.6, &[("l/flaps", "flaps five", 9.0)]),
            vec![accepted("l/flaps"), item("flaps", "agreed", 4.5), say(4, "Trim")],
        ),
        (7.1, started(4), vec![]),
        (7.5, ended(4), vec![]),
        (15.5, Input::Tick, vec![say(5, "Trim")]),
        (15.5, started(5), vec![]),
        (16.0, ended(5), vec![]),
        (18.5, heard(17.5, 18.0, &[("l/trim", "four", 9.0)]), vec![accepted("l/trim"), item("trim", "agreed", 2.5)]),
        (18.6, Input::Tick, vec![list("complete"), Action::Watch { crossings: vec![v1] }]),
        (20.0, state(&[("ias_kt", 125.0), ("radio_height_ft", 0.0)]), vec![limit(true), say(7, "Taxi speed")]),
        (20.1, state(&[("ias_kt", 127.0)]), vec![Action::Note(called), say(6, "V one")]),
        (20.1, started(6), vec![]),
        (20.2, state(&[("ias_kt", 129.0)]), vec![]),
        (20.25, ended(6), vec![]),
        (20.3, state(&[("ias_kt", 131.0)]), vec![]),
        (33.0, Input::Tick, vec![limit(false)]),
        (
            35.0,
            heard(34.0, 34.8, &[("y", "mumble", 1.0)]),
            vec![Action::Note(Note::Refused { reason: w("no such call"), text: w("mumble") }), say(8, "Say again")],
        ),
        (36.0, Input::Tick, vec![Action::Note(Note::NotDone { what: w("gear up"), why: w("no climb") })]),
        (37.0, Input::Tick, vec![put_off("waits"), briefing("", "begun"), briefing("runway", "contradicted")]),
        (38.0, Input::Tick, vec![put_off("dropped")]),
        (40.0, state(&[("radio_height_ft", 700.0), ("vertical_speed_fpm", -1400.0), ("bank_deg", 0.0)]), vec![]),
        (41.0, state(&[("radio_height_ft", 499.0)]), vec![]),
    ]
}

fn told() -> Debrief {
    let (inputs, steps): (Vec<_>, Vec<_>) = session().into_iter().map(|(t, i, a)| ((t, i), a)).unzip();
    let text = toy::write(&inputs, &mut Played(steps.into_iter()));
    debrief(&read(text.as_bytes()).unwrap(), &Criteria::built_in())
}

#[test]
fn items_carry_their_answer_and_its_time() {
    let d = told();
    let rows: Vec<_> = d
        .items
        .iter()
        .map(|i| {
            (i.challenge.as_deref(), i.asked, i.after_s.map(|s| (s * 10.0).round() / 10.0), i.contradicted, &*i.state)
        })
        .collect();
    assert_eq!(rows, [(Some("Flaps"), 1, Some(0.4), true, "agreed"), (Some("Trim"), 2, Some(1.5), false, "agreed"),]);
    assert_eq!(d.items[0].response.as_deref(), Some("flaps five"));
    assert_eq!(d.answers.len(), 3);
    assert_eq!(d.lists[0].state, "complete");
    assert_eq!(d.replies[0], Timed { at: SessionTime::from_secs(1.5), seconds: 0.6 });
}

#[test]
fn a_callout_is_held_against_its_mark() {
    let d = told();
    let c = &d.callouts[0];
    let m = c.mark.as_ref().unwrap();
    assert_eq!((c.at, c.whole, m.end_due, m.wanted), (SessionTime::from_secs(20.25), true, true, 130.0));
    assert!((m.actual.unwrap() - 130.0).abs() < 1e-9 && m.late_s.unwrap().abs() < 1e-9, "{m:?}");
}

/// Through a loudspeaker that sounds 50 ms late, the same words are over at 131 knots, not at 130.
#[test]
fn a_callout_is_over_when_it_is_heard_not_when_it_is_played() {
    let (inputs, steps): (Vec<_>, Vec<_>) = session().into_iter().map(|(t, i, a)| ((t, i), a)).unzip();
    let text = toy::write(&inputs, &mut Played(steps.into_iter()));
    let mut journal = read(text.as_bytes()).unwrap();
    let measured = journal.entries.iter_mut().find_map(|e| match &mut e.line {
        Line::Measured { stamp, measured } => Some((stamp, measured)),
        _ => None,
    });
    let (stamp, measured) = measured.expect("a measurement");
    stamp.at = SessionTime::from_secs(20.25);
    measured.insert("voice_delay_s".into(), Value::Number(0.05));
    let d = debrief(&journal, &Criteria::built_in());
    let m = d.callouts[0].mark.as_ref().unwrap();
    assert!((m.actual.unwrap() - 131.0).abs() < 1e-9 && (m.late_s.unwrap() - 0.05).abs() < 1e-9, "{m:?}");
}

#[test]
fn deviations_refusals_and_remarks() {
    let d = told();
    let v = &d.deviations[0];
    assert_eq!((v.said.as_deref(), v.to.map(|t| t.since(v.from))), (Some("Taxi speed"), Some(13.0)));
    let refusals: Vec<_> = d.refusals.iter().map(|r| (r.kind, &*r.what, &*r.why)).collect();
    assert_eq!(refusals, [("not taken", "mumble", "no such call"), ("not done", "gear up", "no climb")]);
    let remarks: Vec<_> = d.remarks.iter().map(|r| (&*r.words, &*r.text)).collect();
    assert_eq!(
        remarks,
        [
            ("checked", "understood narrowly: close to \u{201c}cabin\u{201d}"),
            ("mumble", "asked for again: no such call"),
        ]
    );
}

#[test]
fn briefings_and_what_was_put_off_are_told() {
    let d = told();
    let promises: Vec<_> = d.promises.iter().map(|p| (p.at.secs(), p.kind, &*p.what, &*p.state)).collect();
    assert_eq!(
        promises,
        [
            (37.0, "put off", "flaps five", "waits"),
            (37.0, "briefing", "way out", "begun"),
            (37.0, "briefing", "way out, runway", "contradicted"),
            (38.0, "put off", "flaps five", "dropped"),
        ]
    );
    let page = sheet::page(&d, &Criteria::built_in(), &sheet::Beside::default());
    assert_eq!(page.matches("data-promise").count(), 4);
    assert!(
        text::summary(&d, &[], false).contains("put off     0:38.0  flaps five: dropped"),
        "{}",
        text::summary(&d, &[], false)
    );
}

#[test]
fn scores_and_what_to_work_on() {
    let d = told();
    let all: Vec<_> = d.scores.iter().filter(|s| s.of > 0).map(|s| (&*s.id, s.met, s.of)).collect();
    assert_eq!(
        all,
        [
            ("looked", 1, 2),
            ("states_value", 2, 2),
            ("agreed", 1, 2),
            ("first_asking", 1, 2),
            ("no_skip", 2, 2),
            ("completed", 1, 1),
            ("deviation", 0, 1),
            ("decision_speed", 1, 1),
            ("understood", 4, 5),
            ("sink_500", 0, 1),
            ("bank_500", 1, 1),
        ]
    );
    let points: Vec<_> = d.work_on.iter().map(|p| (&*p.title, p.at.secs(), p.cases)).collect();
    assert_eq!(
        points,
        [("Sink rate at 500 ft", 41.0, 1), ("Deviations put right", 20.0, 1), ("Right at the first answer", 6.0, 1),]
    );
}

#[test]
fn any_beginning_of_a_journal_is_debriefed() {
    let (inputs, steps): (Vec<_>, Vec<_>) = session().into_iter().map(|(t, i, a)| ((t, i), a)).unzip();
    let whole = toy::write(&inputs, &mut Played(steps.into_iter()));
    let criteria = Criteria::built_in();
    let header = whole.find('\n').unwrap() + 1;
    for cut in (header..whole.len() - 1).step_by(37) {
        let d = debrief(&read(&whole.as_bytes()[..cut]).unwrap(), &criteria);
        assert_eq!(d.notices.len(), 1, "{cut}");
        assert!(d.work_on.len() <= 3);
        assert!(!text::summary(&d, &[], false).is_empty());
        assert!(sheet::page(&d, &criteria, &sheet::Beside::default()).contains("</html>"));
    }
    let changed = whole.replacen("\"read it\"", "\"read at\"", 1);
    let d = debrief(&read(changed.as_bytes()).unwrap(), &criteria);
    assert_eq!(d.notices.len(), 1, "{:?}", d.notices);
    assert!(d.notices[0].starts_with("The journal was changed since it was written"), "{:?}", d.notices);
}

#[test]
fn words_of_a_journal_cannot_leave_their_place_in_the_page() {
    let criteria = Criteria::built_in();
    let mut d = told();
    let evil = "</script><img src=x onerror=alert(1)>&\"'";
    d.lines[0].text = evil.into();
    d.items[0].response = Some(evil.into());
    d.book = evil.into();
    d.refusals[0].what = evil.into();
    d.promises[0].what = evil.into();
    d.lists[0].name = evil.into();
    d.phases[0].name = evil.into();
    let beside = sheet::Beside { recording: Some("a\"b'<c>.wav".into()), flights: vec![] };
    let page = sheet::page(&d, &criteria, &beside);
    assert!(!page.contains("<img"), "not escaped");
    assert_eq!(page.matches("</script>").count(), 1);
    assert!(page.contains("&lt;img src=x"));
    assert!(!page.contains("src=\"a\"b"));
}
