//! Runs a journal's inputs through an engine and compares everything that comes out.

use super::canon;
use super::read::{Entry, FaultKind, Journal, Tail};
use super::record::{Line, Stamp, lines_of};
use crate::core::crew::io::{Engine, Step};
use crate::core::time::Wake;
use std::fmt;

/// What a replay showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// The same, to the last byte.
    Same {
        /// Inputs fed.
        inputs: u64,
        /// Actions compared.
        outputs: u64,
    },
    /// The first difference.
    Differs(Difference),
}

/// A difference between the journal and what the engine does now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// Line of the file, from 1. Of a missing line: the line that stands in its place (one past the last at the end).
    pub line: usize,
    /// Number of the input at which it shows.
    pub seq: u64,
    /// In what way.
    pub kind: Kind,
    /// What the engine says, in short.
    pub expected: Option<String>,
    /// What the journal says, in short.
    pub found: Option<String>,
    /// With [`Kind::Changed`]: the first output that then differs.
    pub leads_to: Option<Box<Difference>>,
}

/// In what way a journal differs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// An output says something else, at this place of the line (`action.text`).
    Altered(String),
    /// The engine puts something out that the journal lacks.
    Missing,
    /// The journal has an output that the engine does not give.
    Extra,
    /// Two outputs stand in the other order.
    Swapped,
    /// The numbers of inputs jump.
    InputMissing,
    /// The totals in the `end` line do not fit.
    Totals,
    /// The line cannot be read.
    Unreadable(String),
    /// The line reads well and the engine agrees with what comes until then, but the running sum does not.
    Changed,
}

impl fmt::Display for Difference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Difference { line, seq, kind, expected, found, leads_to } = self;
        let expected = expected.as_deref().unwrap_or("nothing");
        let found = found.as_deref().unwrap_or("nothing");
        match kind {
            Kind::Altered(path) => {
                write!(
                    f,
                    "line {line}, input {seq}: {path} differs: the engine gives {expected}, the journal has {found}."
                )
            }
            Kind::Missing => {
                write!(f, "line {line}, input {seq}: an output is missing here: the engine gives {expected}.")
            }
            Kind::Extra => write!(f, "line {line}, input {seq}: the engine does not give this output: {found}."),
            Kind::Swapped => {
                write!(
                    f,
                    "line {line}, input {seq}: two outputs are in the wrong order: {expected} comes before {found}."
                )
            }
            Kind::InputMissing => {
                write!(
                    f,
                    "line {line}: input {expected} should stand here and it is {found}: inputs are missing or out of order."
                )
            }
            Kind::Totals => {
                write!(f, "line {line}: the end line counts {found}, and {expected} stand above it: lines are missing.")
            }
            Kind::Unreadable(said) => write!(f, "line {line}: this is not a line of a journal ({said})."),
            Kind::Changed => {
                write!(
                    f,
                    "line {line}, input {seq}: this line, or one just before it, was changed since it was written: {found}."
                )
            }
        }?;
        match leads_to {
            Some(later) => write!(f, " The first output that then differs: {later}"),
            None => Ok(()),
        }
    }
}

/// Feeds the journal's inputs to `engine` (fresh, from the journal's book and seed) and tells the first difference.
///
/// The running sum finds an altered input at its own line; the engine finds what it does, even if the sum was mended.
/// Outputs of the very last input may be missing when the journal was broken off ([`Journal::tail`]).
pub fn replay(journal: &Journal, engine: &mut dyn Engine) -> Outcome {
    let run = run(journal, engine);
    let fault = journal.faults.first().map(|fault| {
        let entry = journal.entries.iter().find(|e| e.number >= fault.line);
        let found = entry.filter(|e| e.number == fault.line).map(|e| short(&e.line));
        let kind = match &fault.what {
            FaultKind::Unreadable(said) => Kind::Unreadable(said.clone()),
            FaultKind::Changed => Kind::Changed,
        };
        let seq = entry.map_or(run.inputs, |e| e.line.stamp().seq);
        let found = found.or(Some("the header".into()));
        Difference { line: fault.line, seq, kind, expected: None, found, leads_to: None }
    });
    match (run.first, fault) {
        // At the same line the engine's word says more.
        (Some(d), Some(f)) if f.line < d.line => Outcome::Differs(Difference { leads_to: Some(Box::new(d)), ..f }),
        (Some(d), _) | (None, Some(d)) => Outcome::Differs(d),
        (None, None) => Outcome::Same { inputs: run.inputs, outputs: run.outputs },
    }
}

/// What feeding a journal to an engine gave.
pub(super) struct Run {
    /// Inputs fed.
    pub inputs: u64,
    /// Actions that the journal and the engine agree on.
    pub outputs: u64,
    /// Where they first differ.
    pub first: Option<Difference>,
    /// What the last input's step still wanted to write when the journal stopped.
    pub pending: Vec<Line>,
    /// The engine's last deadline.
    pub wake: Wake,
}

/// Feeds all inputs, also after a difference, so that the engine ends where the journal does.
pub(super) fn run(journal: &Journal, engine: &mut dyn Engine) -> Run {
    let mut run = Run { inputs: 0, outputs: 0, first: None, pending: Vec::new(), wake: Wake::default() };
    let mut seq = 0;
    let mut outputs_above = 0;
    // Lines due next; reversed, so that the front is the last.
    let mut due: Vec<Due> = Vec::new();
    for (i, entry) in journal.entries.iter().enumerate() {
        match &entry.line {
            Line::In { stamp, input } => {
                run.note_missing(&mut due, entry.number);
                if stamp.seq != seq + 1 {
                    let (expected, found) = ((seq + 1).to_string(), format!("input {}", stamp.seq));
                    run.note(entry.number, stamp.seq, Kind::InputMissing, Some(expected), Some(found));
                }
                seq = stamp.seq;
                run.inputs += 1;
                let step = engine.handle(stamp.at, stamp.sim, input);
                due = run.due(*stamp, &step);
            }
            Line::Measured { stamp, .. } => run.check_seq(entry.number, stamp.seq, seq),
            Line::End { stamp, inputs, outputs } => {
                run.note_missing(&mut due, entry.number);
                run.check_seq(entry.number, stamp.seq, seq);
                if (*inputs, *outputs) != (run.inputs, outputs_above) {
                    let say = |i: u64, o: u64| Some(format!("{i} inputs and {o} outputs"));
                    let (expected, found) = (say(run.inputs, outputs_above), say(*inputs, *outputs));
                    run.note(entry.number, seq, Kind::Totals, expected, found);
                }
            }
            _ => {
                outputs_above += u64::from(entry.line.action().is_some());
                run.compare(&mut due, entry, journal.entries.get(i + 1), seq);
            }
        }
    }
    let last = journal.entries.last().map_or(1, |e| e.number);
    if journal.tail == Tail::Ended {
        run.note_missing(&mut due, last + 1);
    }
    run.pending = due.into_iter().rev().map(|d| d.line).collect();
    run
}

/// A line that the engine wants, with its canonical value.
struct Due {
    line: Line,
    text: String,
}

impl Run {
    fn due(&mut self, stamp: Stamp, step: &Step) -> Vec<Due> {
        let before = std::mem::replace(&mut self.wake, step.wake);
        let of = |line: Line| Due { text: canon::canonical(&value(&line)), line };
        lines_of(stamp, step, before).into_iter().rev().map(of).collect()
    }

    fn note(&mut self, line: usize, seq: u64, kind: Kind, expected: Option<String>, found: Option<String>) {
        self.first.get_or_insert(Difference { line, seq, kind, expected, found, leads_to: None });
    }

    /// Lines beside inputs carry the number of the input above them.
    fn check_seq(&mut self, line: usize, said: u64, seq: u64) {
        if said != seq {
            let (expected, found) = ((seq + 1).to_string(), format!("a line that belongs to input {said}"));
            self.note(line, said, Kind::InputMissing, Some(expected), Some(found));
        }
    }

    fn missing(&mut self, want: &Due, line: usize) {
        self.note(line, want.line.stamp().seq, Kind::Missing, Some(short(&want.line)), None);
    }

    fn note_missing(&mut self, due: &mut Vec<Due>, number: usize) {
        if let Some(d) = due.last() {
            self.missing(d, number);
        }
        due.clear();
    }

    fn compare(&mut self, due: &mut Vec<Due>, entry: &Entry, next: Option<&Entry>, seq: u64) {
        let found = Some(short(&entry.line));
        let line = entry.number;
        let Some(want) = due.pop() else {
            return self.note(line, seq, Kind::Extra, None, found);
        };
        if want.text == entry.text {
            self.outputs += u64::from(entry.line.action().is_some());
            return;
        }
        let same = |d: Option<&Due>, e: Option<&Entry>| match (d, e) {
            (Some(d), Some(e)) => same_but_for_place(&d.line, &e.line),
            _ => false,
        };
        let next_is_want = same(Some(&want), next);
        let is_after = same(due.last(), Some(entry));
        let expected = Some(short(&want.line));
        match (is_after, next_is_want) {
            (true, true) => {
                self.note(line, seq, Kind::Swapped, expected, found);
                due.pop();
                due.push(want);
            }
            (true, false) => {
                self.missing(&want, line);
                due.pop();
            }
            (false, true) => {
                self.note(line, seq, Kind::Extra, None, found);
                due.push(want);
            }
            (false, false) => {
                let (a, b) = (value(&want.line), value(&entry.line));
                let at = canon::first_difference(&a, &b);
                let (path, expected, found) = at.unwrap_or(("the text".into(), expected, found));
                self.note(line, seq, Kind::Altered(path), expected, found);
            }
        }
    }
}

/// Whether two outputs are the same but for their place `n` among the outputs of an input.
fn same_but_for_place(a: &Line, b: &Line) -> bool {
    match (a.action(), b.action()) {
        (Some(x), Some(y)) => x == y && a.stamp() == b.stamp(),
        _ => a == b,
    }
}

fn value(line: &Line) -> serde_json::Value {
    serde_json::to_value(line).unwrap_or_default()
}

/// A line in short, for a message: its body without stamp, at most 160 characters.
fn short(line: &Line) -> String {
    let mut v = value(line);
    let body = ["action", "wake", "input", "measured"].iter().find_map(|k| v.get_mut(*k).map(serde_json::Value::take));
    let text = canon::canonical(&body.unwrap_or(v));
    let text = if matches!(line, Line::Wake { .. }) { format!("wake {text}") } else { text };
    match text.char_indices().nth(160) {
        Some((i, _)) => format!("{}…", &text[..i]),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::super::read::read;
    use super::super::toy::{self, Toy};
    use super::*;
    use insta::assert_snapshot;

    /// Changes the rows of the toy session (row 0 is the header) and replays; `mend` writes fitting sums.
    fn tamper(mend: bool, change: impl FnOnce(&mut Vec<String>)) -> String {
        let mut rows: Vec<String> = toy::session().lines().map(str::to_string).collect();
        change(&mut rows);
        if mend {
            let mut sum = String::new();
            for row in &mut rows {
                let mut v: serde_json::Value = serde_json::from_str(row).unwrap();
                v.as_object_mut().unwrap().remove("sum");
                sum = canon::sum(&sum, &canon::canonical(&v));
                v["sum"] = sum.clone().into();
                *row = v.to_string();
            }
        }
        told(&(rows.join("\n") + "\n"))
    }

    fn told(text: &str) -> String {
        let journal = read(text.as_bytes()).unwrap();
        match replay(&journal, &mut Toy::default()) {
            Outcome::Same { inputs, outputs } => format!("no difference: {inputs} inputs, {outputs} outputs"),
            Outcome::Differs(d) => d.to_string(),
        }
    }

    fn row(rows: &[String], has: &str) -> usize {
        rows.iter().position(|r| r.contains(has)).unwrap()
    }

    fn alter(rows: &mut [String], has: &str, old: &str, new: &str) {
        let i = row(rows, has);
        assert!(rows[i].contains(old), "{}", rows[i]);
        rows[i] = rows[i].replacen(old, new, 1);
    }

    #[test]
    fn untouched_is_the_same_twice_over() {
        assert_snapshot!(told(&toy::session()), @"no difference: 11 inputs, 9 outputs");
        assert_eq!(toy::session(), toy::session());
        // Another spelling of the same JSON is no difference.
        assert_snapshot!(tamper(true, |_| ()), @"no difference: 11 inputs, 9 outputs");
        assert_snapshot!(tamper(false, |r| r[2] = r[2].replace("\":", "\" : ")), @"no difference: 11 inputs, 9 outputs");
    }

    #[test]
    fn an_altered_input_is_found() {
        assert_snapshot!(tamper(false, |r| alter(r, "81.25", "81.25", "78.25")), @r#"line 15, input 6: this line, or one just before it, was changed since it was written: {"delta":{"ias_kt":78.25},"in":"state"}. The first output that then differs: line 16, input 6: the engine does not give this output: {"expires_s":5.0,"id":2,"out":"say","priority":"routine","station":"flight_deck","text":"Eighty"}."#);
        assert_snapshot!(tamper(true, |r| alter(r, "81.25", "81.25", "78.25")), @r#"line 16, input 6: the engine does not give this output: {"expires_s":5.0,"id":2,"out":"say","priority":"routine","station":"flight_deck","text":"Eighty"}."#);
        assert_snapshot!(tamper(true, |r| alter(r, "81.25", "81.25", "81.5")), @"line 17, input 6: action.value differs: the engine gives 81.5, the journal has 81.25.");
        assert_snapshot!(tamper(false, |r| alter(r, "190.0", "190.0", "191.0")), @r#"line 29, input 11: this line, or one just before it, was changed since it was written: {"delta":{"ias_kt":191.0},"in":"state"}."#);
        assert_snapshot!(tamper(false, |r| alter(r, "antiphon_journal", "\"seed\":7", "\"seed\":8")), @"line 1, input 1: this line, or one just before it, was changed since it was written: the header.");
    }

    #[test]
    fn an_altered_output_is_found() {
        assert_snapshot!(tamper(false, |r| alter(r, "Eighty", "Eighty", "Ninety")), @r#"line 16, input 6: action.text differs: the engine gives "Eighty", the journal has "Ninety"."#);
        assert_snapshot!(tamper(true, |r| alter(r, "\"not_done\"", "positive", "negative")), @r#"line 9, input 3: action.why differs: the engine gives "there is no positive climb yet", the journal has "there is no negative climb yet"."#);
        assert_snapshot!(tamper(true, |r| alter(r, "gear_lever", "\"seq\":9", "\"seq\":8")), @"line 25, input 9: seq differs: the engine gives 9, the journal has 8.");
        assert_snapshot!(tamper(true, |r| alter(r, "\"session\":9000000", "9000000", "9000001")), @"line 26, input 9: wake.session differs: the engine gives 9000000, the journal has 9000001.");
    }

    #[test]
    fn every_deleted_line_is_found() {
        let n = toy::session().lines().count();
        for mend in [false, true] {
            for i in 1..n - 1 {
                let gone = toy::session().lines().nth(i).unwrap().to_string();
                // With mended sums, nothing but the sum guards what replay passes over.
                if mend && gone.contains("\"measured\"") {
                    continue;
                }
                let said = tamper(mend, |r| drop(r.remove(i)));
                assert!(said.starts_with(&format!("line {}", i + 1)), "without line {}: {said}", i + 1);
            }
        }
    }

    #[test]
    fn every_repeated_line_is_found() {
        let n = toy::session().lines().count();
        for i in 1..n {
            let said = tamper(false, |r| r.insert(i, r[i].clone()));
            assert!(said.starts_with(&format!("line {}", i + 2)), "line {} twice: {said}", i + 1);
        }
    }

    #[test]
    fn deleted_added_and_swapped_outputs_are_told_apart() {
        assert_snapshot!(tamper(false, |r| drop(r.remove(row(r, "Eighty")))), @r#"line 16, input 6: an output is missing here: the engine gives {"expires_s":5.0,"id":2,"out":"say","priority":"routine","station":"flight_deck","text":"Eighty"}."#);
        assert_snapshot!(tamper(true, |r| drop(r.remove(row(r, "gear_lever")))), @r#"line 25, input 9: an output is missing here: the engine gives {"control":"gear_lever","out":"set","request":1,"to":"up"}."#);
        assert_snapshot!(tamper(true, |r| drop(r.remove(row(r, "\"in\":\"tick\"")))), @r#"line 19, input 6: the engine does not give this output: wake {"session":null,"sim":null}."#);
        assert_snapshot!(
            tamper(false, |r| {
                let i = row(r, "Eighty");
                r.insert(i + 2, r[i].clone());
            }),
            @r#"line 18, input 6: the engine does not give this output: {"expires_s":5.0,"id":2,"out":"say","priority":"routine","station":"flight_deck","text":"Eighty"}."#
        );
        assert_snapshot!(
            tamper(true, |r| {
                let i = row(r, "Eighty");
                r.insert(i + 4, r[i].clone());
            }),
            @r#"line 20, input 7: the engine does not give this output: {"expires_s":5.0,"id":2,"out":"say","priority":"routine","station":"flight_deck","text":"Eighty"}."#
        );
        assert_snapshot!(
            tamper(true, |r| {
                let i = row(r, "Eighty");
                r.swap(i, i + 1);
            }),
            @r#"line 16, input 6: two outputs are in the wrong order: {"expires_s":5.0,"id":2,"out":"say","priority":"routine","station":"flight_deck","text":"Eighty"} comes before {"callout":"eighty","note":"callout","out":"note","speech":2,"value":81.25,"wanted":80.0}."#
        );
        assert_snapshot!(tamper(true, |r| alter(r, "\"end\"", "\"outputs\":9", "\"outputs\":10")), @"line 31: the end line counts 11 inputs and 10 outputs, and 11 inputs and 9 outputs stand above it: lines are missing.");
    }

    #[test]
    fn garbage_is_named() {
        assert_snapshot!(tamper(false, |r| r.insert(5, "}{".into())), @"line 6: this is not a line of a journal (expected value at column 1).");
        assert_snapshot!(tamper(false, |r| r.insert(5, "{\"kind\":\"song\",\"seq\":1,\"at\":0,\"sim\":0}".into())), @"line 6: this is not a line of a journal (unknown variant `song`, expected one of `in`, `out`, `not_done`, `wake`, `measured`, `end`).");
    }

    #[test]
    fn a_cut_journal_replays_to_where_it_was_cut() {
        let whole = toy::session();
        let first = whole.find("\n").unwrap() + 1;
        let from = whole[first..].find("\n").unwrap() + first + 1;
        for cut in from..whole.len() - 1 {
            let said = told(&whole[..cut]);
            assert!(said.starts_with("no difference"), "cut at {cut}: {said}");
        }
    }
}
