//! What went on around a moment, in plain words.

use super::read::{Journal, Tail};
use super::record::Line;
use crate::core::aircraft::Value;
use crate::core::book::schema::Station;
use crate::core::crew::io::{Action, Input, Note};
use crate::core::grammar::CallSet;
use crate::core::matcher::{Heard, Unheard};
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, BTreeSet};

/// So far each way from the moment one looks, s.
pub const SPAN_S: f64 = 10.0;
/// At most so many signals and calls are listed.
const LIST_AT_MOST: usize = 16;

/// Reads "83.2", "1:23.2" or "1:02:03" as session time.
pub fn parse_time(text: &str) -> Option<SessionTime> {
    let mut total = 0.0;
    let parts: Vec<&str> = text.trim().split(':').collect();
    if parts.len() > 3 {
        return None;
    }
    for (i, part) in parts.iter().enumerate() {
        let last = i + 1 == parts.len();
        if !part.chars().all(|c| c.is_ascii_digit() || (last && c == '.')) {
            return None;
        }
        let n: f64 = part.parse().ok()?;
        if i > 0 && n >= 60.0 {
            return None;
        }
        total = total * 60.0 + n;
    }
    // A journal of more than a month is none.
    (total < 3e6).then(|| SessionTime::from_secs(total))
}

/// "1:23.2".
pub fn clock(at: SessionTime) -> String {
    let tenths = (at.0 + if at.0 < 0 { -50_000 } else { 50_000 }) / 100_000;
    let sign = if tenths < 0 { "-" } else { "" };
    let t = tenths.abs();
    format!("{sign}{}:{:02}.{}", t / 600, t / 10 % 60, t % 10)
}

/// Tells what the journal knows of the time around `at`; `calls` are the book's call names in order, for what was live.
///
/// One fact a line.
pub fn why(journal: &Journal, at: SessionTime, calls: &[String]) -> String {
    let mut scene = Scene::default();
    let mut lines = Vec::new();
    for entry in &journal.entries {
        let when = entry.line.stamp().at;
        if when > at.plus(SPAN_S) {
            break;
        }
        if when <= at {
            scene.take(&entry.line);
        }
        scene.learn(&entry.line);
        if at.since(when) <= SPAN_S {
            lines.extend(scene.tell(&entry.line).map(|t| format!("  {:>8}  {t}", clock(when))));
        }
    }
    let mut out = vec![scene.opening(at)];
    let last = journal.entries.last().map(|e| e.line.stamp().at);
    if let Some(last) = last.filter(|l| *l < at) {
        let how = if journal.tail == Tail::Ended { "ends" } else { "breaks off" };
        out.push(format!("The journal {how} before that, at {}.", clock(last)));
    }
    out.extend(scene.live(calls));
    if lines.is_empty() {
        out.push(format!("Nothing was heard, said or done within {SPAN_S} s of it."));
    } else {
        out.push(format!("Within {SPAN_S} s of it:"));
        out.append(&mut lines);
    }
    out.extend(scene.state());
    out.join("\n")
}

/// What is known while reading.
#[derive(Default)]
struct Scene {
    phase: Option<(String, SessionTime)>,
    calls: CallSet,
    due: CallSet,
    values: BTreeMap<String, Option<Value>>,
    changed: BTreeSet<String>,
    speech: BTreeMap<u64, (Station, String)>,
    requests: BTreeMap<u64, String>,
}

impl Scene {
    /// What held at the moment itself.
    fn take(&mut self, line: &Line) {
        match line {
            Line::In { input: Input::State { delta }, .. } => {
                self.values.extend(delta.iter().map(|(k, v)| (k.clone(), v.clone())));
            }
            Line::Out { stamp, action: Action::Note(Note::Phase { phase }), .. } => {
                self.phase = Some((phase.clone(), stamp.at));
            }
            Line::Out { action: Action::Listen { calls, due, .. }, .. } => {
                (self.calls, self.due) = (calls.clone(), due.clone());
            }
            _ => {}
        }
    }

    /// What later lines refer to by number.
    fn learn(&mut self, line: &Line) {
        match line.action() {
            Some(Action::Say(s)) => {
                self.speech.insert(s.id, (s.station, s.text.clone()));
            }
            Some(Action::Set { request, control, to }) => {
                self.requests.insert(*request, format!("{control} to {to}"));
            }
            _ => {}
        }
    }

    fn opening(&self, at: SessionTime) -> String {
        match &self.phase {
            Some((phase, since)) => {
                format!("At {} the flight was in the phase {phase}, since {}.", clock(at), clock(*since))
            }
            None => format!("At {} no phase had begun.", clock(at)),
        }
    }

    fn live(&self, names: &[String]) -> Option<String> {
        if self.calls.is_empty() {
            return Some("No call was live.".into());
        }
        let list = |set: &CallSet| {
            let all: Vec<String> = set
                .iter()
                .map(|c| names.get(c.0 as usize).cloned().unwrap_or_else(|| format!("call {}", c.0)))
                .collect();
            shortened(&all)
        };
        let due = if self.due.is_empty() { String::new() } else { format!(" An answer was due: {}.", list(&self.due)) };
        Some(format!("Live were {} calls: {}.{due}", self.calls.len(), list(&self.calls)))
    }

    fn state(&self) -> Option<String> {
        let all: Vec<String> = self
            .changed
            .iter()
            .filter_map(|k| match self.values.get(k)? {
                Some(Value::Number(n)) => Some(format!("{k} {}", libm::round(n * 100.0) / 100.0)),
                Some(v) => Some(format!("{k} {v}")),
                None => Some(format!("{k} unknown")),
            })
            .collect();
        (!all.is_empty()).then(|| format!("The aircraft then, of what changed about that time: {}.", shortened(&all)))
    }

    fn tell(&mut self, line: &Line) -> Option<String> {
        match line {
            Line::In { input, .. } => self.tell_input(input),
            Line::Out { action, .. } | Line::NotDone { action, .. } => tell_action(action),
            Line::Wake { .. } | Line::Measured { .. } => None,
            Line::End { .. } => Some("the session ended".into()),
        }
    }

    fn tell_input(&mut self, input: &Input) -> Option<String> {
        Some(match input {
            Input::Sheet { values, source } => {
                let all: Vec<String> = values.iter().map(|(k, v)| format!("{k} = {v}")).collect();
                format!("for the flight sheet ({}): {}", source.word(), all.join(", "))
            }
            Input::Begin { .. } => "the session began".into(),
            Input::Tick => return None,
            Input::Surprises { .. } => "distractions were asked for".into(),
            Input::Radio { rules, slips, .. } => {
                format!(
                    "the radio was switched on, by the rules of {rules}{}",
                    if *slips { ", with slips" } else { "" }
                )
            }
            Input::Speaking => return None,
            Input::Transmitted { words } if words.unreadable => "said on the radio: not understood".into(),
            Input::Transmitted { words } => format!("said on the radio: \"{}\"", words.text),
            Input::Heard { heard } => tell_heard(heard),
            Input::State { delta } => {
                self.changed.extend(delta.keys().cloned());
                return None;
            }
            Input::Crossed { callout, value } => format!("crossed: the mark of {callout}, at {value}"),
            Input::SpeechStarted { .. } => return None,
            Input::SpeechEnded { cut: false, .. } => return None,
            Input::SpeechEnded { id, cut: true } => match self.speech.get(id) {
                Some((_, text)) => format!("cut short or not spoken: \"{text}\""),
                None => format!("cut short or not spoken: speech {id}"),
            },
            Input::SetResult { failed: None, .. } => return None,
            Input::SetResult { request, failed: Some(why) } => {
                let what = self.requests.get(request).cloned().unwrap_or_else(|| format!("request {request}"));
                format!("the aircraft refused {what}: {why}")
            }
            Input::Link { up: true } => "the aircraft link came up".into(),
            Input::Link { up: false } => "the aircraft link went down".into(),
            Input::AircraftCalls { callouts } => {
                format!("the aircraft makes these callouts itself: {}", callouts.join(", "))
            }
            Input::Jumped => "time or place jumped".into(),
            Input::Anew => "what comes is flown anew".into(),
            Input::Device { device, state } => format!("{device}: {state}"),
            Input::Fault { room, message } => format!("fault in {room}: {message}"),
        })
    }
}

fn tell_heard(heard: &Heard) -> String {
    let best: Vec<String> = heard.ranked.iter().take(2).map(|c| format!("\"{}\" ({:.1})", c.text, c.score)).collect();
    match (heard.unheard, best.as_slice()) {
        (Some(Unheard::NothingSaid), _) => "heard: nothing said".into(),
        (Some(Unheard::TooFaint), _) => "heard: speech too faint to understand".into(),
        (Some(Unheard::MicrophoneDead), _) => "heard: the microphone gives nothing".into(),
        (None, []) => "heard: speech that is like no call".into(),
        (None, [only]) => format!("heard: {only}"),
        (None, [first, second, ..]) => format!("heard: {first}, next {second}"),
    }
}

fn tell_action(action: &Action) -> Option<String> {
    Some(match action {
        Action::Say(s) => format!("to say, {}: \"{}\"", name_of(s.station), s.text),
        Action::Hush { id: None } => "own talk stopped".into(),
        Action::Hush { id: Some(_) } => "one line of own talk stopped".into(),
        Action::Set { control, to, .. } => format!("set: {control} to {to}"),
        Action::Listen { .. } | Action::Watch { .. } => return None,
        Action::Readback { expect: None } => "the controller waits for no readback".into(),
        Action::Readback { expect: Some(e) } => {
            format!("the controller waits for a readback of {} items", e.items.len())
        }
        Action::Place { place } => format!("the aircraft is to be put to {place}"),
        Action::Note(note) => tell_note(note),
    })
}

fn tell_note(note: &Note) -> String {
    match note {
        Note::Phase { phase } => format!("phase: {phase}"),
        Note::Accepted { meaning, score } => {
            let slots: String = meaning.slots.iter().map(|(k, v)| format!(", {k} = {v}")).collect();
            format!("accepted: {}{slots} (score {score:.1})", meaning.call)
        }
        Note::Refused { reason, text } if text.is_empty() => format!("refused: {reason}"),
        Note::Refused { reason, text } => format!("refused: {reason} (\"{text}\")"),
        Note::Flow { flow, state } => format!("flow {flow}: {state}"),
        Note::Checklist { checklist, state } => format!("checklist {checklist}: {state}"),
        Note::Item { checklist, item, state, known, .. } => format!("item {checklist}/{item}: {state} ({known})"),
        Note::Callout { callout, value, wanted, .. } => match (value, wanted) {
            (Some(v), Some(w)) => format!("callout {callout}, at {v:.1}, due at {w:.1}"),
            (Some(v), None) => format!("callout {callout}, at {v:.1}"),
            _ => format!("callout {callout}"),
        },
        Note::Passed { callout, why } => format!("callout {callout}: not made by us ({why})"),
        Note::Limit { limit, over: true } => format!("limit {limit}: exceeded"),
        Note::Limit { limit, over: false } => format!("limit {limit}: back within"),
        Note::Sheet { entry, value, source, was } => {
            let source = source.map_or(String::new(), |s| format!(" ({})", s.word()));
            let was = was.as_ref().map_or(String::new(), |w| format!(", it was {w}"));
            format!("flight sheet: {entry} = {value}{source}{was}")
        }
        Note::SheetOpen { entry, why } => format!("flight sheet: {entry} has no value: {why}"),
        Note::SheetChecked { entry, by } => format!("flight sheet: {entry} cross-checked, by now by {by}"),
        Note::SheetCheck { entry, wrong: true, say } => format!("flight sheet: {entry} is wrong: \"{say}\""),
        Note::SheetCheck { entry, wrong: false, .. } => format!("flight sheet: {entry} is right again"),
        Note::SheetCompare { entry, agrees: true } => format!("flight sheet: {entry} agrees with the aircraft again"),
        Note::SheetCompare { entry, agrees: false } => {
            format!("flight sheet: {entry} does not agree with the aircraft")
        }
        Note::Reopened { what, because } => format!("open again: {what}, because of {because}"),
        Note::Assumed { what } => format!("taken as done: {what}"),
        Note::Survey { phase, disagrees, unseen, .. } => {
            format!("surveyed for {phase}: {} disagree, {} not seen", disagrees.len(), unseen.len())
        }
        Note::PutOff { what, state } => format!("put off: {what}: {state}"),
        Note::Briefing { briefing, topic, state } if topic.is_empty() => format!("briefing {briefing}: {state}"),
        Note::Briefing { briefing, topic, state } => format!("topic {briefing}/{topic}: {state}"),
        Note::Radio { clearance, state, text } if text.is_empty() => format!("radio, {clearance}: {state}"),
        Note::Radio { clearance, state, text } => format!("radio, {clearance}: {state} (\"{text}\")"),
        Note::Surprise { surprise } => format!("surprise: {surprise}"),
        Note::NotDone { what, why } => format!("NOT DONE: {what}: {why}"),
    }
}

fn name_of(station: Station) -> &'static str {
    match station {
        Station::FlightDeck => "flight deck",
        Station::Ground => "ground",
        Station::Cabin => "cabin",
        Station::Radio => "radio",
    }
}

fn shortened(all: &[String]) -> String {
    match all.get(..LIST_AT_MOST) {
        Some(first) if all.len() > LIST_AT_MOST => {
            format!("{} and {} more", first.join(", "), all.len() - LIST_AT_MOST)
        }
        _ => all.join(", "),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{read, toy};
    use super::*;
    use insta::assert_snapshot;
    use proptest::prelude::*;

    fn told(at: &str) -> String {
        let mut calls = vec!["call".to_string(); 71];
        calls[70] = "gear_up".into();
        why(&read(toy::session().as_bytes()).unwrap(), parse_time(at).unwrap(), &calls)
    }

    #[test]
    fn around_a_moment() {
        assert_snapshot!(told("3"), @r#"
        At 0:03.0 the flight was in the phase roll, since 0:00.0.
        Live were 2 calls: call, gear_up. An answer was due: gear_up.
        Within 10 s of it:
            0:00.0  the session began
            0:00.0  phase: roll
            0:02.5  heard: "gear up" (4.1)
            0:02.5  NOT DONE: gear up: there is no positive climb yet
            0:02.5  to say, flight deck: "No climb yet"
            0:04.0  to say, flight deck: "Eighty"
            0:04.0  callout eighty, at 81.2, due at 80.0
            0:07.0  heard: "gear up" (4.1)
            0:07.0  accepted: gear_up (score 4.1)
            0:07.0  to say, flight deck: "Gear up"
            0:07.0  set: gear_lever to up
        The aircraft then, of what changed about that time: ias_kt 0.3, vertical_speed_fpm 0.
        "#);
        assert_snapshot!(told("0:25"), @"
        At 0:25.0 the flight was in the phase roll, since 0:00.0.
        Live were 2 calls: call, gear_up. An answer was due: gear_up.
        Within 10 s of it:
            0:30.0  the session ended
        The aircraft then, of what changed about that time: ias_kt 81.25.
        ");
        assert_snapshot!(told("50"), @"
        At 0:50.0 the flight was in the phase roll, since 0:00.0.
        The journal ends before that, at 0:30.0.
        Live were 2 calls: call, gear_up. An answer was due: gear_up.
        Nothing was heard, said or done within 10 s of it.
        ");
    }

    #[test]
    fn every_kind_of_line_has_words() {
        let t = SessionTime::from_secs;
        let heard = |unheard, texts: &[&str]| Input::Heard {
            heard: Heard {
                revision: 1,
                ranked: texts
                    .iter()
                    .map(|t| crate::core::matcher::Candidate::new(vec![], 1.25, t.to_string()))
                    .collect(),
                unheard,
                typed: false,
                pushed: false,
                over_us: false,
                speech: (t(0.0), t(1.0)),
            },
        };
        let mut scene = Scene::default();
        scene.requests.insert(1, "gear_lever to up".into());
        scene.speech.insert(1, (Station::Ground, "hello".into()));
        let inputs = [
            heard(Some(Unheard::NothingSaid), &[]),
            heard(Some(Unheard::TooFaint), &[]),
            heard(Some(Unheard::MicrophoneDead), &[]),
            heard(None, &[]),
            heard(None, &["a"]),
            heard(None, &["a", "b", "c"]),
            Input::Crossed { callout: "v1".into(), value: 131.5 },
            Input::SpeechEnded { id: 1, cut: true },
            Input::SpeechEnded { id: 2, cut: true },
            Input::SetResult { request: 1, failed: Some("it is jammed".into()) },
            Input::SetResult { request: 9, failed: Some("it is jammed".into()) },
            Input::Link { up: true },
            Input::Link { up: false },
            Input::Jumped,
            Input::Fault { room: "ear".into(), message: "it stopped".into() },
        ];
        let said: Vec<String> = inputs.iter().filter_map(|i| scene.tell_input(i)).collect();
        assert_snapshot!(said.join("\n"), @r#"
        heard: nothing said
        heard: speech too faint to understand
        heard: the microphone gives nothing
        heard: speech that is like no call
        heard: "a" (1.2)
        heard: "a" (1.2), next "b" (1.2)
        crossed: the mark of v1, at 131.5
        cut short or not spoken: "hello"
        cut short or not spoken: speech 2
        the aircraft refused gear_lever to up: it is jammed
        the aircraft refused request 9: it is jammed
        the aircraft link came up
        the aircraft link went down
        time or place jumped
        fault in ear: it stopped
        "#);
        let w = |s: &str| s.to_string();
        let meaning = crate::core::grammar::Meaning { call: w("flaps"), slots: [(w("to"), Value::Number(5.0))].into() };
        let notes = [
            Note::Accepted { meaning, score: 2.0 },
            Note::Refused { reason: w("tie"), text: w("flaps") },
            Note::Flow { flow: w("after_start"), state: w("done") },
            Note::Checklist { checklist: w("before_taxi"), state: w("held") },
            Note::Item { checklist: w("l"), item: w("i"), state: w("agreed"), known: w("seen"), after_s: 1.0 },
            Note::Callout { callout: w("c"), value: None, wanted: None, speech: 1 },
            Note::Callout { callout: w("c"), value: Some(1.0), wanted: None, speech: 1 },
            Note::Limit { limit: w("egt"), over: true },
            Note::Limit { limit: w("egt"), over: false },
            Note::Sheet { entry: w("v1_kt"), value: Value::Number(131.0), source: None, was: None },
        ];
        let said: Vec<String> = notes.into_iter().filter_map(|n| tell_action(&Action::Note(n))).collect();
        assert_snapshot!(said.join("\n"), @r#"
        accepted: flaps, to = 5 (score 2.0)
        refused: tie ("flaps")
        flow after_start: done
        checklist before_taxi: held
        item l/i: agreed (seen)
        callout c
        callout c, at 1.0
        limit egt: exceeded
        limit egt: back within
        flight sheet: v1_kt = 131
        "#);
    }

    #[test]
    fn times_as_people_write_them() {
        let check = |text: &str, want: Option<f64>| assert_eq!(parse_time(text).map(SessionTime::secs), want, "{text}");
        check("83.2", Some(83.2));
        check("1:23.2", Some(83.2));
        check(" 1:02:03 ", Some(3723.0));
        check("90:00", Some(5400.0));
        for bad in ["", "-3", "1:60", "1:2:3:4", "x", "1.5:3", "nan", "1e9", "9999999999", "1:"] {
            check(bad, None);
        }
        assert_eq!(clock(SessionTime(83_249_999)), "1:23.2");
        assert_eq!(clock(SessionTime(59_960_000)), "1:00.0");
        assert_eq!(clock(SessionTime(-1_500_000)), "-0:01.5");
    }

    proptest! {
        #[test]
        fn any_moment_of_any_journal_is_told(at in 0.0..100.0f64, cut in 300usize..4000) {
            let whole = toy::session();
            let bytes = &whole.as_bytes()[..cut.min(whole.len())];
            prop_assert!(!why(&read(bytes).unwrap(), SessionTime::from_secs(at), &[]).is_empty());
        }

        #[test]
        fn no_time_panics(text in "[0-9:.]{0,12}") {
            let _ = parse_time(&text);
        }
    }
}
