//! Brings an engine to where a journal stops.

use super::read::Journal;
use super::record::{Line, Recorder};
use super::replay::{Difference, run};
use crate::core::crew::io::{Action, Engine, Input};
use crate::core::time::{SessionTime, SimTime, Wake};

/// Where a journal stops, and what is needed to go on from there.
#[derive(Debug, Clone)]
pub struct Resumed {
    /// Session time of the last line; the resumed session's clock goes on from here.
    pub at: SessionTime,
    /// Simulator's time of the last line.
    pub sim: SimTime,
    /// The engine's last deadline.
    pub wake: Wake,
    /// Highest id of a speech so far.
    pub last_speech: Option<u64>,
    /// Highest number of a set request so far.
    pub last_request: Option<u64>,
    /// Speech that was asked for and whose end was never journaled: tell the engine that it was cut.
    pub open_speech: Vec<u64>,
    /// Set requests that were never answered.
    pub open_requests: Vec<u64>,
    /// The actions in force that replace each other: the last `Listen` and the last `Watch`.
    pub standing: Vec<Action>,
    /// Goes on with the numbers and the sum of the journal.
    pub recorder: Recorder,
    /// Cut the file to this many bytes before going on, so that a half line goes.
    pub keep_bytes: u64,
    /// Lines that the kill kept from being written: write them first. Their actions were never carried out, and are not to be.
    pub owed: Vec<String>,
    /// The first difference between the journal and the engine's answers: then the engine is not quite where the session was.
    pub differs: Option<Difference>,
}

/// Feeds every input of `journal` to `engine` (fresh, from the journal's book and seed).
pub fn resume(journal: &Journal, engine: &mut dyn Engine) -> Resumed {
    let run = run(journal, engine);
    let last = journal.entries.last().map(|e| e.line.stamp());
    let mut book = Ledger::default();
    for e in &journal.entries {
        match &e.line {
            Line::In { input, .. } => book.input(input),
            line => line.action().into_iter().for_each(|a| book.action(a)),
        }
    }
    run.pending.iter().filter_map(Line::action).for_each(|a| book.action(a));
    let outputs = journal.entries.iter().filter(|e| e.line.action().is_some()).count() as u64;
    let seq =
        journal.entries.iter().rev().find(|e| matches!(e.line, Line::In { .. })).map_or(0, |e| e.line.stamp().seq);
    let mut recorder = Recorder { seq, inputs: run.inputs, outputs, wake: run.wake, sum: journal.sum.clone() };
    let owed = recorder.owed(&run.pending);
    Resumed {
        at: last.map_or(SessionTime::ZERO, |s| s.at),
        sim: last.map_or(SimTime::ZERO, |s| s.sim),
        wake: run.wake,
        last_speech: book.last_speech,
        last_request: book.last_request,
        open_speech: book.open_speech,
        open_requests: book.open_requests,
        standing: book.listen.into_iter().chain(book.watch).chain(book.readback).collect(),
        recorder,
        keep_bytes: journal.whole_bytes,
        owed,
        differs: run.first,
    }
}

/// What was asked for and not yet answered.
#[derive(Default)]
struct Ledger {
    last_speech: Option<u64>,
    last_request: Option<u64>,
    open_speech: Vec<u64>,
    open_requests: Vec<u64>,
    listen: Option<Action>,
    watch: Option<Action>,
    readback: Option<Action>,
}

impl Ledger {
    fn input(&mut self, input: &Input) {
        match input {
            Input::SpeechEnded { id, .. } => self.open_speech.retain(|x| x != id),
            Input::SetResult { request, .. } => self.open_requests.retain(|x| x != request),
            _ => {}
        }
    }
    fn action(&mut self, action: &Action) {
        match action {
            Action::Say(s) => {
                self.last_speech = self.last_speech.max(Some(s.id));
                self.open_speech.push(s.id);
            }
            Action::Set { request, .. } => {
                self.last_request = self.last_request.max(Some(*request));
                self.open_requests.push(*request);
            }
            Action::Listen { .. } => self.listen = Some(action.clone()),
            Action::Watch { .. } => self.watch = Some(action.clone()),
            Action::Readback { .. } => self.readback = Some(action.clone()),
            Action::Hush { .. } | Action::Place { .. } | Action::Note(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::{Tail, read};
    use super::super::replay::{Outcome, replay};
    use super::super::toy::{self, Toy};
    use super::*;

    /// Cuts the session after `cut` bytes, resumes, plays the inputs that are left, and gives the whole file.
    fn go_on(cut: usize) -> (String, Resumed) {
        let whole = toy::session();
        let journal = read(&whole.as_bytes()[..cut]).unwrap();
        let mut engine = Toy::default();
        let mut back = resume(&journal, &mut engine);
        let mut text = whole[..back.keep_bytes as usize].to_string();
        if !text.ends_with('\n') {
            text.push('\n');
        }
        let told = back.clone();
        let mut lines = std::mem::take(&mut back.owed);
        let done = engine.inputs as usize;
        for (s, input) in &toy::inputs()[done..] {
            let (at, sim) = (SessionTime::from_secs(*s), SimTime::from_secs(*s * 2.0));
            lines.push(back.recorder.input(at, sim, input).unwrap());
            lines.extend(back.recorder.step(at, sim, &engine.handle(at, sim, input)).unwrap());
        }
        lines.push(back.recorder.end(SessionTime::from_secs(30.0), SimTime::from_secs(60.0)));
        for l in lines {
            text.push_str(&l);
            text.push('\n');
        }
        (text, told)
    }

    #[test]
    fn a_journal_cut_anywhere_goes_on_as_one_whole_journal() {
        let whole = toy::session();
        let first = whole.find('\n').unwrap();
        // The `measured` line just before the end is not written again.
        let last = whole.find("{\"kind\":\"measured\"").unwrap();
        let wanted: Vec<&str> = whole[..last].lines().collect();
        for cut in first + 1..last {
            let (text, back) = go_on(cut);
            assert_eq!(back.differs, None, "cut at {cut}");
            let journal = read(text.as_bytes()).unwrap();
            assert_eq!(journal.faults, [], "cut at {cut}");
            assert_eq!(journal.tail, Tail::Ended);
            assert_eq!(replay(&journal, &mut Toy::default()), Outcome::Same { inputs: 11, outputs: 9 }, "cut at {cut}");
            assert!(text.lines().zip(&wanted).all(|(a, b)| a == *b), "cut at {cut}");
        }
    }

    #[test]
    fn what_is_open_is_told() {
        let whole = toy::session();
        let cut = whole.find("\"in\":\"set_result\"").unwrap();
        let (_, back) = go_on(cut);
        assert_eq!((back.last_speech, back.last_request), (Some(3), Some(1)));
        assert_eq!((back.open_speech, back.open_requests), (vec![2, 3], vec![1]));
        assert_eq!(back.at, SessionTime::from_secs(7.0));
        assert_eq!(back.sim, SimTime::from_secs(14.0));
        assert_eq!(back.wake.session, Some(SessionTime::from_secs(9.0)));
        assert!(matches!(back.standing.as_slice(), [Action::Listen { revision: 1, .. }]));
    }

    #[test]
    fn a_changed_journal_is_resumed_and_told() {
        let text = toy::session().replace("81.25", "78.25");
        let back = resume(&read(text.as_bytes()).unwrap(), &mut Toy::default());
        assert!(back.differs.is_some());
    }
}
