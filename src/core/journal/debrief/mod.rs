//! The debrief: from a journal to what went well, what did not, and what to work on.
//!
//! [`debrief`] makes one value of a journal, without book, clock or file. [`text`] writes it for the terminal, [`sheet`] as
//! one HTML page, [`trend`] beside earlier flights. What is measured, and by what right, is data
//! (`phrasebooks/debrief.toml`); `docs/debrief.md` tells how each figure comes about.

pub mod criteria;
mod gather;
mod scores;
pub mod series;
pub mod sheet;
pub mod text;
pub mod trend;

#[cfg(test)]
mod tests;

use super::read::{FaultKind, Journal};
use crate::core::book::schema::Station;
use crate::core::time::SessionTime;
use criteria::Criteria;
use serde::Serialize;
use series::Series;

/// Everything a debrief tells. Times are of the session, and so offsets into a recording that began with it.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Debrief {
    /// The book's id.
    pub book: String,
    /// When it was flown, as the journal has it.
    pub started: String,
    /// Version of the program that flew it.
    pub program: String,
    /// What could not be read, and how the journal stops; empty when all is well.
    pub notices: Vec<String>,
    /// Time of the last line.
    pub end: SessionTime,
    /// Phases in order.
    pub phases: Vec<Span>,
    /// What was said, by whom, and what happened, in order.
    pub lines: Vec<Line>,
    /// The aircraft.
    pub series: Series,
    /// Checklists in the order of their beginning.
    pub lists: Vec<Span>,
    /// Every settled checklist item.
    pub items: Vec<Item>,
    /// Every callout.
    pub callouts: Vec<Callout>,
    /// Limits exceeded.
    pub deviations: Vec<Deviation>,
    /// What was not taken or not done, and why.
    pub refusals: Vec<Refusal>,
    /// Briefings with their topics, and commands that were put off.
    pub promises: Vec<Promise>,
    /// What the pilot said.
    pub utterances: Vec<Utterance>,
    /// The pilot's answers to challenges and questions: seconds from their end to his first sound.
    pub answers: Vec<Timed>,
    /// The second pilot's replies: seconds from the pilot's last sound to the first of the reply.
    pub replies: Vec<Timed>,
    /// Real time from the end of an utterance to its call, ms, where it was measured.
    pub decision_ms: Vec<f64>,
    /// About how things were said.
    pub remarks: Vec<Remark>,
    /// One for each criterion.
    pub scores: Vec<Score>,
    /// At most three.
    pub work_on: Vec<Point>,
}

/// Something with a beginning and, unless the session ended before, an end.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Span {
    /// Its name.
    pub name: String,
    /// When it began.
    pub from: SessionTime,
    /// When it ended.
    pub to: Option<SessionTime>,
    /// Of a checklist: its last state.
    pub state: String,
}

/// Whose line it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Side {
    /// The pilot's.
    Pilot,
    /// The second pilot's, or that of another of the program's people.
    Crew(Station),
    /// The flight itself.
    Flight,
}

/// What kind of line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Said.
    Said,
    /// Said, but not taken.
    NotTaken,
    /// A callout.
    Callout,
    /// A phase began.
    Phase,
    /// A checklist or flow began or ended.
    List,
    /// A limit was exceeded or came back.
    Deviation,
    /// Not agreed by the aircraft, or not seen.
    NotAgreed,
    /// Not done, or refused by the aircraft, or a room failed.
    NotDone,
}

/// One line of the score for two voices.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// When it began.
    pub at: SessionTime,
    /// Whose.
    pub side: Side,
    /// What kind.
    pub mark: Mark,
    /// The words.
    pub text: String,
}

/// A step of a briefing, or of a command that was put off until later.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Promise {
    /// When.
    pub at: SessionTime,
    /// `briefing` or `put off`.
    pub kind: &'static str,
    /// What, in words.
    pub what: String,
    /// What has become of it.
    pub state: String,
}

/// A checklist item.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    /// When it was settled.
    pub at: SessionTime,
    /// The list.
    pub checklist: String,
    /// The item.
    pub item: String,
    /// The words of the challenge, if they can be told.
    pub challenge: Option<String>,
    /// How often it was challenged since the item before.
    pub asked: usize,
    /// What the pilot answered, if it was his.
    pub response: Option<String>,
    /// When his answer began.
    pub response_at: Option<SessionTime>,
    /// From the end of the challenge to the first sound of his first answer, s; negative when he did not wait for the end.
    pub after_s: Option<f64>,
    /// Whether his answer had no value in it, only words.
    pub bare: bool,
    /// `agreed`, `cannot_see`, `skipped`; `contradicted` when it was left so.
    pub state: String,
    /// `seen`, `heard_only`, `simulated`.
    pub known: String,
    /// Whether an answer of his was contradicted before.
    pub contradicted: bool,
}

/// A callout.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Callout {
    /// When its due end sounded; when it was asked for, if it never did.
    pub at: SessionTime,
    /// Its name.
    pub callout: String,
    /// The words.
    pub text: String,
    /// Whether it was heard to its end.
    pub whole: bool,
    /// Its mark, if it has one.
    pub mark: Option<CalloutMark>,
}

/// A callout held against its mark.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CalloutMark {
    /// The signal.
    pub signal: String,
    /// Whether the words' end was due at the mark, not their beginning.
    pub end_due: bool,
    /// What the signal should have been.
    pub wanted: f64,
    /// What it was, if that is known.
    pub actual: Option<f64>,
    /// How much later than the signal passed its mark, s; negative if earlier.
    pub late_s: Option<f64>,
}

/// A limit that was exceeded.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Deviation {
    /// Its name.
    pub limit: String,
    /// When it was noted.
    pub from: SessionTime,
    /// When it came back.
    pub to: Option<SessionTime>,
    /// What the second pilot said, if it was his to say.
    pub said: Option<String>,
}

/// What became of an order or of words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Refusal {
    /// When.
    pub at: SessionTime,
    /// `not taken` (words), `not done` (an order), `refused` (by the aircraft), `fault` (a room failed).
    pub kind: &'static str,
    /// What.
    pub what: String,
    /// Why.
    pub why: String,
}

/// What the pilot said, once.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Utterance {
    /// First and last sound.
    pub speech: (SessionTime, SessionTime),
    /// The best reading's words.
    pub text: String,
    /// The calls that were taken from it.
    pub calls: Vec<String>,
    /// Why it was not taken.
    pub refused: Option<String>,
    /// Whether the second pilot asked for it again.
    pub asked_again: bool,
    /// Lead over the next reading with other words, nats; absent for typed words and when there was none.
    pub margin: Option<f64>,
    /// The next reading's words.
    pub next: Option<String>,
}

/// A span of time at a moment.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Timed {
    /// When it ended.
    pub at: SessionTime,
    /// How long, s.
    pub seconds: f64,
}

/// A remark on how something was said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remark {
    /// When.
    pub at: SessionTime,
    /// The words.
    pub words: String,
    /// The remark.
    pub text: String,
}

/// How often a criterion was met.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Score {
    /// The criterion's name.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// So often …
    pub met: usize,
    /// … of so many cases; 0 when there was none.
    pub of: usize,
    /// By what right.
    pub source: String,
    /// What is not certain about the source.
    pub doubt: Option<String>,
    /// The cases in which it was not met, in order.
    pub missed: Vec<Case>,
}

/// One case of a criterion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Case {
    /// The moment.
    pub at: SessionTime,
    /// What happened.
    pub what: String,
    /// How far from met; the greatest is shown.
    pub excess: f64,
}

/// Something to work on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Point {
    /// What people call it.
    pub title: String,
    /// What happened.
    pub what: String,
    /// What to do about it.
    pub advice: String,
    /// The moment to listen to.
    pub at: SessionTime,
    /// In how many cases; 0 where nothing was wrong and this is only the weakest moment.
    pub cases: usize,
    /// By what right.
    pub source: String,
}

/// Makes the debrief of a journal.
pub fn debrief(journal: &Journal, criteria: &Criteria) -> Debrief {
    let mut d = gather::gather(journal, criteria);
    d.notices = notices(journal);
    scores::score(&mut d, criteria);
    d
}

/// What could not be read, in sentences.
fn notices(journal: &Journal) -> Vec<String> {
    let mut out = Vec::new();
    let lines = |is: fn(&FaultKind) -> bool| -> Vec<usize> {
        journal.faults.iter().filter(|f| is(&f.what)).map(|f| f.line).collect()
    };
    let unreadable = lines(|k| matches!(k, FaultKind::Unreadable(_)));
    let changed = lines(|k| matches!(k, FaultKind::Changed));
    if let Some(first) = unreadable.first() {
        let n = unreadable.len();
        out.push(format!(
            "{n} of the journal's lines cannot be read, the first being line {first}; the debrief is of all the others."
        ));
    }
    if let Some(first) = changed.first() {
        out.push(format!(
            "The journal was changed since it was written, first at or just before line {first}: take its figures with care."
        ));
    }
    out.extend(journal.tail.sentence());
    out
}

/// A name of a book for people: "before_start_list" as "before start list".
pub fn plain(name: &str) -> String {
    name.replace('_', " ")
}

/// The `q`-th part (0 to 1) of sorted values; the nearest one, none of nothing.
pub fn quantile(sorted: &[f64], q: f64) -> Option<f64> {
    let i = libm::round(q.clamp(0.0, 1.0) * sorted.len().saturating_sub(1) as f64) as usize;
    sorted.get(i).copied()
}

/// Seconds, sorted.
pub fn sorted(all: &[Timed]) -> Vec<f64> {
    let mut s: Vec<f64> = all.iter().map(|t| t.seconds).collect();
    s.sort_by(f64::total_cmp);
    s
}
