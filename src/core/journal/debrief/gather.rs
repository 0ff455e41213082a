//! One walk through the journal.

use super::criteria::Criteria;
use super::series::Series;
use super::{
    Callout, CalloutMark, Debrief, Deviation, Item, Line, Mark, Promise, Refusal, Side, Span, Timed, Utterance, plain,
};
use crate::core::aircraft::Value;
use crate::core::book::schema::{Due, Station};
use crate::core::crew::io::{Action, Crossing, Input, Note, Speech};
use crate::core::journal::read::Journal;
use crate::core::journal::record::Line as Entry;
use crate::core::matcher::{Heard, Reason};
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// Walks.
pub(super) fn gather(journal: &Journal, criteria: &Criteria) -> Debrief {
    let mut w = Walk::default();
    w.d.book = journal.header.book.id.clone();
    w.d.started = journal.header.started.clone();
    w.d.program = journal.header.program.clone();
    for signal in criteria.signals() {
        w.d.series.keep(signal);
    }
    for entry in &journal.entries {
        let stamp = entry.line.stamp();
        w.at = stamp.at;
        w.d.end = w.d.end.max(stamp.at);
        match &entry.line {
            Entry::In { input, .. } => w.input(input),
            Entry::Out { action, .. } | Entry::NotDone { action, .. } => w.action(action),
            Entry::Measured { measured, .. } => {
                w.d.decision_ms.extend(measured.get("decision_ms").and_then(Value::number));
                if let Some(s) = measured.get("voice_delay_s").and_then(Value::number) {
                    w.delays.insert(stamp.at, s);
                }
            }
            Entry::Wake { .. } | Entry::End { .. } => {}
        }
    }
    w.finish()
}

/// Speech of the program's people.
struct Spoken {
    speech: Speech,
    began: Option<SessionTime>,
    ended: Option<SessionTime>,
    whole: bool,
    callout: bool,
}

/// An answer that has been taken and not yet settled.
#[derive(Clone)]
struct Answer {
    words: String,
    at: SessionTime,
    bare: bool,
}

/// A callout, until it is known when it sounded.
struct Called {
    at: SessionTime,
    callout: String,
    wanted: Option<f64>,
    speech: u64,
    crossing: Option<Crossing>,
}

#[derive(Default)]
struct Walk {
    d: Debrief,
    at: SessionTime,
    spoken: BTreeMap<u64, Spoken>,
    requests: BTreeMap<u64, String>,
    crossings: BTreeMap<String, Crossing>,
    called: Vec<Called>,
    /// How much later than it was played a callout was heard, s, where that was measured.
    delays: BTreeMap<SessionTime, f64>,
    /// Of the present input, if it was heard: which utterance.
    heard: Option<usize>,
    /// Whether the second pilot's reply to it has been asked for.
    replies: Vec<(u64, SessionTime)>,
    /// A limit that was noted in this step and whose words come next.
    noted: Option<usize>,
    /// By `list/item`.
    answers: BTreeMap<String, Answer>,
    first_after: BTreeMap<String, f64>,
    contradicted: BTreeMap<String, Item>,
    /// The first sentence that belongs to the present item.
    since: u64,
    last_id: u64,
    /// The present input is what the pilot said on the radio.
    transmitted: bool,
}

impl Walk {
    fn line(&mut self, side: Side, mark: Mark, text: impl Into<String>) {
        self.d.lines.push(Line { at: self.at, side, mark, text: text.into() });
    }

    fn refusal(&mut self, kind: &'static str, what: impl Into<String>, why: impl Into<String>) {
        let (what, why) = (what.into(), why.into());
        if kind != "not taken" {
            self.line(Side::Flight, Mark::NotDone, format!("{kind}: {what} ({why})"));
        }
        self.d.refusals.push(Refusal { at: self.at, kind, what, why });
    }

    fn input(&mut self, input: &Input) {
        self.heard = None;
        self.noted = None;
        self.transmitted = matches!(input, Input::Transmitted { .. });
        match input {
            Input::State { delta } => self.d.series.take(self.at, delta),
            Input::Heard { heard } => self.hear(heard),
            Input::SpeechStarted { id } => {
                if let Some(s) = self.spoken.get_mut(id) {
                    s.began = Some(self.at);
                    let mark = if s.callout { Mark::Callout } else { Mark::Said };
                    let (side, text) = (Side::Crew(s.speech.station), s.speech.text.clone());
                    self.line(side, mark, text);
                }
            }
            Input::SpeechEnded { id, cut } => {
                if let Some(s) = self.spoken.get_mut(id) {
                    s.ended = Some(self.at);
                    s.whole = !cut;
                }
            }
            Input::SetResult { request, failed: Some(why) } => {
                let what = self.requests.get(request).cloned().unwrap_or_else(|| format!("request {request}"));
                self.refusal("refused", what, why.clone());
            }
            Input::Link { up } => {
                let text = if *up { "the aircraft link came up" } else { "the aircraft link went down" };
                self.line(Side::Flight, Mark::NotDone, text);
            }
            Input::Jumped => self.line(Side::Flight, Mark::NotDone, "time or place jumped"),
            Input::Anew => self.line(Side::Flight, Mark::NotDone, "from here it is flown anew"),
            Input::Device { device, state } => self.line(Side::Flight, Mark::NotDone, format!("{device}: {state}")),
            Input::Fault { room, message } => self.refusal("fault", room.clone(), message.clone()),
            Input::Sheet { values, .. } => {
                for (entry, value) in values {
                    self.line(Side::Flight, Mark::NotDone, format!("you wrote on the sheet: {entry} {value}"));
                }
            }
            // Nothing that a pilot would look up afterwards.
            _ => {}
        }
    }

    fn hear(&mut self, heard: &Heard) {
        let best = heard.ranked.first();
        // Another meaning of the same words is told apart by what is due, not by the ear.
        let next = best.and_then(|b| heard.ranked.iter().find(|c| c.text != b.text));
        self.heard = Some(self.d.utterances.len());
        self.d.utterances.push(Utterance {
            speech: heard.speech,
            text: best.map_or_else(String::new, |c| c.text.clone()),
            calls: Vec::new(),
            refused: None,
            asked_again: false,
            margin: best.zip(next).filter(|_| !heard.typed).map(|(b, n)| b.score - n.score),
            next: next.map(|c| c.text.clone()),
        });
    }

    fn utterance(&mut self) -> Option<&mut Utterance> {
        self.d.utterances.get_mut(self.heard?)
    }

    fn action(&mut self, action: &Action) {
        match action {
            Action::Say(speech) => self.say(speech),
            Action::Set { request, control, to } => {
                self.requests.insert(*request, format!("{} to {to}", plain(control)));
            }
            Action::Watch { crossings } => {
                for c in crossings {
                    self.d.series.keep(&c.signal);
                    self.crossings.insert(c.callout.clone(), c.clone());
                }
            }
            Action::Note(note) => self.note(note),
            Action::Hush { .. } | Action::Listen { .. } | Action::Readback { .. } | Action::Place { .. } => {}
        }
    }

    fn say(&mut self, speech: &Speech) {
        let spoken = Spoken { speech: speech.clone(), began: None, ended: None, whole: false, callout: false };
        self.spoken.insert(speech.id, spoken);
        self.last_id = speech.id;
        if let Some(i) = self.noted.take() {
            self.d.deviations[i].said = Some(speech.text.clone());
        }
        let Some(u) = self.utterance() else { return };
        let over = u.speech.1;
        if u.refused.is_some() {
            u.asked_again = true;
        } else if !u.calls.is_empty() && self.replies.last().is_none_or(|(_, t)| *t != over) {
            self.replies.push((speech.id, over));
        }
    }

    fn note(&mut self, note: &Note) {
        match note {
            Note::Phase { phase } => {
                close(&mut self.d.phases, self.at);
                self.d.phases.push(span(phase, self.at, "begun"));
                self.line(Side::Flight, Mark::Phase, plain(phase));
            }
            Note::Accepted { meaning, .. } => {
                let bare = meaning.slots.is_empty();
                let Some(u) = self.utterance() else { return };
                u.calls.push(meaning.call.clone());
                let (words, at) = (u.text.clone(), u.speech.0);
                if u.calls.len() == 1 {
                    self.d.lines.push(Line { at, side: Side::Pilot, mark: Mark::Said, text: words.clone() });
                }
                if meaning.call.contains('/') {
                    self.answers.insert(meaning.call.clone(), Answer { words, at, bare });
                }
            }
            Note::Refused { reason, text } => {
                let reason = Reason::told(reason).to_string();
                let Some(u) = self.utterance() else { return };
                u.refused = Some(reason.clone());
                let at = u.speech.0;
                if text.is_empty() && u.text.is_empty() {
                    return self.refusal("not taken", "(no words)", reason);
                }
                let words = if text.is_empty() { u.text.clone() } else { text.clone() };
                let shown = format!("{words} ({reason})");
                self.d.lines.push(Line { at, side: Side::Pilot, mark: Mark::NotTaken, text: shown });
                self.refusal("not taken", words, reason);
            }
            Note::Flow { flow, state } => {
                self.line(Side::Flight, Mark::List, format!("{}: {state}", plain(flow)));
            }
            Note::Checklist { checklist, state } => self.checklist(checklist, state),
            Note::Item { checklist, item, state, known, after_s } => {
                self.item(checklist, item, state, known, *after_s);
            }
            Note::Callout { callout, wanted, speech, .. } => {
                if let Some(s) = self.spoken.get_mut(speech) {
                    s.callout = true;
                }
                let crossing = self.crossings.get(callout).filter(|_| wanted.is_some()).cloned();
                self.called.push(Called {
                    at: self.at,
                    callout: callout.clone(),
                    wanted: *wanted,
                    speech: *speech,
                    crossing,
                });
            }
            Note::Limit { limit, over: true } => {
                self.noted = Some(self.d.deviations.len());
                self.d.deviations.push(Deviation { limit: limit.clone(), from: self.at, to: None, said: None });
                self.line(Side::Flight, Mark::Deviation, format!("{}: exceeded", plain(limit)));
            }
            Note::Limit { limit, over: false } => {
                if let Some(d) = self.d.deviations.iter_mut().rev().find(|d| d.limit == *limit && d.to.is_none()) {
                    d.to = Some(self.at);
                }
                self.line(Side::Flight, Mark::Deviation, format!("{}: back within", plain(limit)));
            }
            Note::NotDone { what, why } => self.refusal("not done", what.clone(), why.clone()),
            Note::Briefing { briefing, topic, state } => {
                let mut what = plain(briefing);
                if topic.is_empty() {
                    self.line(Side::Flight, Mark::Phase, format!("{what}: {state}"));
                } else {
                    what = format!("{what}, {}", plain(topic));
                }
                self.d.promises.push(Promise { at: self.at, kind: "briefing", what, state: plain(state) });
            }
            Note::PutOff { what, state } => {
                let promise = Promise { at: self.at, kind: "put off", what: what.clone(), state: plain(state) };
                self.d.promises.push(promise);
            }
            Note::Radio { clearance, state, text } => self.radio(clearance, state, text),
            Note::Surprise { surprise } => self.line(Side::Flight, Mark::Phase, plain(surprise)),
            Note::SheetCheck { entry, wrong: true, say } => self.refusal("flight sheet", plain(entry), say.clone()),
            Note::SheetCompare { entry, agrees: false } => {
                self.refusal("flight sheet", plain(entry), "the aircraft shows another value");
            }
            Note::Reopened { what, because } => {
                self.line(Side::Flight, Mark::NotDone, format!("open again: {} ({because})", plain(what)));
            }
            Note::SheetOpen { .. }
            | Note::SheetChecked { .. }
            | Note::SheetCheck { .. }
            | Note::SheetCompare { .. }
            | Note::Assumed { .. }
            | Note::Survey { .. } => {}
            Note::Passed { .. } | Note::Sheet { .. } => {}
        }
    }

    /// The controller's own words are heard as speech; what the pilot said on the radio is a line of his.
    fn radio(&mut self, clearance: &str, state: &str, text: &str) {
        if self.transmitted && !text.is_empty() {
            self.line(Side::Pilot, Mark::Said, format!("{text} (on the radio)"));
        }
        let what = match state {
            "given" => return,
            "asked_again" => "not read back rightly, the controller asked again",
            "silence" => "no answer, the controller asked again",
            "missed" => "read back wrongly by the second pilot, and nobody noticed before the controller",
            "caught" => "the second pilot's wrong readback was caught by you",
            other => other,
        };
        if matches!(state, "asked_again" | "silence" | "missed" | "given_up") {
            return self.refusal("radio", plain(clearance), what);
        }
        self.line(Side::Flight, Mark::List, format!("{}: {}", plain(clearance), what.replace('_', " ")));
    }

    fn checklist(&mut self, checklist: &str, state: &str) {
        let over = matches!(state, "complete" | "cancelled");
        match self.d.lists.iter_mut().rev().find(|l| l.name == checklist && l.to.is_none()) {
            Some(l) if state != "begun" => {
                l.state = state.to_string();
                l.to = over.then_some(self.at);
            }
            _ => self.d.lists.push(span(checklist, self.at, state)),
        }
        // What was asked before it was held is asked anew.
        self.since = self.last_id;
        self.line(Side::Flight, Mark::List, format!("{}: {state}", plain(checklist)));
    }

    fn item(&mut self, checklist: &str, item: &str, state: &str, known: &str, after_s: f64) {
        let key = format!("{checklist}/{item}");
        let asked_at = self.at.plus(-after_s);
        let answer = self.answers.remove(&key);
        if let Some(a) = &answer {
            let after = a.at.since(asked_at);
            self.first_after.entry(key.clone()).or_insert(after);
            self.d.answers.push(Timed { at: a.at, seconds: after });
        }
        let (challenge, asked) = self.challenge(asked_at);
        let before = self.contradicted.remove(&key);
        let row = Item {
            at: self.at,
            checklist: checklist.to_string(),
            item: item.to_string(),
            challenge,
            asked: asked.max(before.as_ref().map_or(0, |b| b.asked)),
            response: answer.as_ref().map(|a| a.words.clone()).or(before.as_ref().and_then(|b| b.response.clone())),
            response_at: answer.as_ref().map(|a| a.at).or(before.as_ref().and_then(|b| b.response_at)),
            after_s: self.first_after.get(&key).copied(),
            bare: answer.as_ref().map_or(before.as_ref().is_some_and(|b| b.bare), |a| a.bare),
            state: state.to_string(),
            known: known.to_string(),
            contradicted: before.is_some(),
        };
        if state != "agreed" {
            self.line(Side::Flight, Mark::NotAgreed, format!("{}: {}", plain(item), plain(state)));
        }
        if state == "contradicted" {
            self.contradicted.insert(key, row);
            return;
        }
        self.first_after.remove(&key);
        self.since = self.last_id;
        self.d.items.push(row);
    }

    /// The words of the challenge that ended at `asked_at`, and how often they were said since the item before.
    fn challenge(&self, asked_at: SessionTime) -> (Option<String>, usize) {
        let deck = |s: &&Spoken| s.speech.station == Station::FlightDeck;
        let own = || self.spoken.range(self.since + 1..).map(|(_, s)| s).filter(deck);
        let exact = own().find(|s| s.ended == Some(asked_at));
        // Answered into: then it is the last that had begun.
        let found = exact.or_else(|| own().rfind(|s| s.began.is_some_and(|b| b <= asked_at)));
        let Some(found) = found else { return (None, 1) };
        let asked =
            own().filter(|s| s.speech.text == found.speech.text && s.began.is_some_and(|b| b <= asked_at)).count();
        (Some(found.speech.text.clone()), asked.max(1))
    }

    fn finish(mut self) -> Debrief {
        close(&mut self.d.phases, self.d.end);
        // Left contradicted when the session ended.
        let left: Vec<Item> = std::mem::take(&mut self.contradicted).into_values().collect();
        self.d.items.extend(left);
        self.d.items.sort_by_key(|i| i.at);
        for (id, over) in std::mem::take(&mut self.replies) {
            if let Some(began) = self.spoken.get(&id).and_then(|s| s.began) {
                self.d.replies.push(Timed { at: began, seconds: began.since(over) });
            }
        }
        for c in std::mem::take(&mut self.called) {
            let row = self.callout(c);
            self.d.callouts.push(row);
        }
        self.d.answers.sort_by_key(|a| a.at);
        self.d.lines.sort_by_key(|l| l.at);
        self.d
    }

    fn callout(&self, c: Called) -> Callout {
        let spoken = self.spoken.get(&c.speech);
        let end_due = c.crossing.as_ref().is_some_and(|x| x.due == Due::End);
        let sounded = spoken.and_then(|s| if end_due { s.ended.filter(|_| s.whole) } else { s.began });
        let mark = c.wanted.zip(c.crossing).map(|(wanted, x)| {
            let series: &Series = &self.d.series;
            let delay_s = |t: SessionTime| self.delays.range(t.plus(-0.1)..=t).next_back().map_or(0.0, |(_, s)| *s);
            let sounded = sounded.map(|t| t.plus(delay_s(t)));
            let actual = sounded.and_then(|t| series.number(&x.signal, t));
            let passed = sounded.and_then(|t| series.passed(&x.signal, wanted, x.rising, t));
            let late_s = sounded.zip(passed).map(|(t, p)| t.since(p));
            CalloutMark { signal: x.signal, end_due, wanted, actual, late_s }
        });
        Callout {
            at: sounded.unwrap_or(c.at),
            callout: c.callout,
            text: spoken.map_or_else(String::new, |s| s.speech.text.clone()),
            whole: spoken.is_some_and(|s| s.whole),
            mark,
        }
    }
}

fn span(name: &str, from: SessionTime, state: &str) -> Span {
    Span { name: name.to_string(), from, to: None, state: state.to_string() }
}

fn close(spans: &mut [Span], at: SessionTime) {
    if let Some(last) = spans.last_mut() {
        last.to.get_or_insert(at);
    }
}
