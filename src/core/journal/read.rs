//! From lines back to the session. Never panics, whatever the bytes are.

use super::canon;
use super::record::{Header, Line, VERSION};
use serde_json::Value;

/// A journal that has been read.
#[derive(Debug, Clone)]
pub struct Journal {
    /// The first line.
    pub header: Header,
    /// The lines after it that could be read, in order.
    pub entries: Vec<Entry>,
    /// Lines that could not be read, or that are not as they were written; in order of lines.
    pub faults: Vec<Fault>,
    /// How it stops.
    pub tail: Tail,
    /// Bytes up to the end of the last whole line: where a resumed session goes on writing.
    pub whole_bytes: u64,
    /// The running sum at that place.
    pub(super) sum: String,
}

/// One readable line.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Its number in the file; the header is line 1.
    pub number: usize,
    /// What it says.
    pub line: Line,
    /// Its canonical text without the running sum, for comparing.
    pub(super) text: String,
}

/// A line that is not as the program wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Its number in the file.
    pub line: usize,
    /// What is wrong.
    pub what: FaultKind,
}

/// What is wrong with a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FaultKind {
    /// It is no line of a journal at all: what the parser said.
    Unreadable(String),
    /// It reads well, but it, or one just before it, was changed, removed or added since it was written.
    Changed,
}

/// How a journal stops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tail {
    /// With an `end` line.
    Ended,
    /// After a whole line, but without an `end` line: the program was killed.
    Open,
    /// In the middle of line `line`: the program was killed while it wrote.
    Cut {
        /// The number of the broken line.
        line: usize,
    },
}

impl Tail {
    /// A sentence, unless it ended in order.
    pub fn sentence(self) -> Option<String> {
        match self {
            Tail::Ended => None,
            Tail::Open => {
                Some("The journal has no end line: the session was broken off; all that is there was read.".into())
            }
            Tail::Cut { line } => Some(format!(
                "The journal breaks off in the middle of line {line}: the session was broken off; all lines before it were read."
            )),
        }
    }
}

/// Why nothing at all can be made of a file.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// No bytes.
    #[error("This journal is empty: the session was broken off before its first line was written.")]
    Empty,
    /// The first line is not a header.
    #[error(
        "This file is not a journal of antiphon: its first line does not say \"antiphon_journal\"; give a file that fly or demo wrote."
    )]
    Foreign,
    /// Written by a later program.
    #[error(
        "This journal has version {found} and this program reads up to version {reads}: read it with a newer antiphon."
    )]
    Newer {
        /// The version in the file.
        found: u64,
        /// The newest that we read.
        reads: u32,
    },
    /// The header says that it is one, but lacks something.
    #[error("The first line of this journal is damaged ({0}): take another copy of the file.")]
    Header(String),
}

/// Reads a whole file.
pub fn read(bytes: &[u8]) -> Result<Journal, Unreadable> {
    if bytes.is_empty() {
        return Err(Unreadable::Empty);
    }
    let mut rows = bytes.split_inclusive(|b| *b == b'\n');
    let first = rows.next().unwrap_or_default();
    let mut sum = String::new();
    let (header, sound) = read_header(first, &mut sum)?;
    let mut journal = Journal {
        header,
        entries: Vec::new(),
        faults: if sound { Vec::new() } else { vec![Fault { line: 1, what: FaultKind::Changed }] },
        tail: Tail::Open,
        whole_bytes: first.len() as u64,
        sum,
    };
    for (number, row) in (2..).zip(rows) {
        let whole = row.ends_with(b"\n");
        match read_line(row, &mut journal.sum) {
            Ok((line, text, sound)) => {
                if !sound {
                    journal.faults.push(Fault { line: number, what: FaultKind::Changed });
                }
                journal.tail = if matches!(line, Line::End { .. }) { Tail::Ended } else { Tail::Open };
                journal.entries.push(Entry { number, line, text });
                journal.whole_bytes += row.len() as u64;
            }
            Err(_) if !whole => journal.tail = Tail::Cut { line: number },
            Err(said) => {
                journal.faults.push(Fault { line: number, what: FaultKind::Unreadable(said) });
                journal.tail = Tail::Open;
                journal.whole_bytes += row.len() as u64;
            }
        }
    }
    Ok(journal)
}

/// What a journal that cannot be read says of itself, in a sentence; none of what is no journal.
pub fn glimpse(bytes: &[u8]) -> Option<String> {
    let mut rows = bytes.split(|b| *b == b'\n').filter(|r| !r.is_empty());
    let header: Value = serde_json::from_slice(rows.next()?).ok()?;
    header.get("antiphon_journal")?;
    let text = |v: Option<&Value>, name: &str| Some(format!("{name} {}", v?.as_str()?));
    let says = [
        text(header.get("program"), "written by antiphon"),
        text(header.pointer("/book/id"), "book"),
        text(header.get("started"), "flown"),
    ];
    let says: Vec<String> = says.into_iter().flatten().collect();
    let n = rows.count();
    let lines = if n == 1 { "line" } else { "lines" };
    (!says.is_empty()).then(|| format!("It says of itself: {}; {n} {lines} after the first.", says.join(", ")))
}

fn read_header(row: &[u8], sum: &mut String) -> Result<(Header, bool), Unreadable> {
    let (value, _, sound) = open(row, sum).map_err(|_| Unreadable::Foreign)?;
    let Some(version) = value.get("antiphon_journal") else { return Err(Unreadable::Foreign) };
    match version.as_u64() {
        Some(v) if v > u64::from(VERSION) => return Err(Unreadable::Newer { found: v, reads: VERSION }),
        Some(v) if v > 0 => {}
        _ => return Err(Unreadable::Header("its version is no whole number from 1".into())),
    }
    let header = serde_json::from_value(value).map_err(|e| Unreadable::Header(e.to_string()))?;
    Ok((header, sound))
}

fn read_line(row: &[u8], sum: &mut String) -> Result<(Line, String, bool), String> {
    let mut after = sum.clone();
    let (value, text, sound) = open(row, &mut after)?;
    let line = serde_json::from_value(value).map_err(|e| e.to_string())?;
    *sum = after;
    Ok((line, text, sound))
}

/// Parses a row, takes its sum off, and says whether it follows from the sum before; with the canonical text of the rest.
/// The sum *found* is carried on, so that one change is told once.
fn open(row: &[u8], sum: &mut String) -> Result<(Value, String, bool), String> {
    let text = std::str::from_utf8(row).map_err(|_| "not UTF-8 text".to_string())?;
    let mut value: Value = serde_json::from_str(text).map_err(|e| plain(&e))?;
    let Some(map) = value.as_object_mut() else { return Err("not a JSON object".into()) };
    let said = match map.remove("sum") {
        Some(Value::String(s)) => s,
        _ => String::new(),
    };
    let rest = canon::canonical(&value);
    let due = canon::sum(sum, &rest);
    let sound = said == due;
    *sum = if said.is_empty() { due } else { said };
    Ok((value, rest, sound))
}

/// What the parser said, without its "at line 1 column N": the row has its own number.
fn plain(e: &serde_json::Error) -> String {
    let text = e.to_string();
    match text.rfind(" at line ") {
        Some(i) => format!("{} at column {}", &text[..i], e.column()),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use super::super::toy;
    use super::*;
    use insta::assert_snapshot;
    use proptest::prelude::*;

    fn told(bytes: &[u8]) -> String {
        match read(bytes) {
            Err(e) => e.to_string(),
            Ok(j) => {
                let mut all: Vec<String> = j.faults.iter().map(|f| format!("{f:?}")).collect();
                all.extend(j.tail.sentence());
                format!("{} lines; {}", j.entries.len(), all.join("; "))
            }
        }
    }

    #[test]
    fn foreign_and_newer_files_are_told() {
        assert_snapshot!(told(b""), @"This journal is empty: the session was broken off before its first line was written.");
        assert_snapshot!(told(b"\x00\xff\n"), @r#"This file is not a journal of antiphon: its first line does not say "antiphon_journal"; give a file that fly or demo wrote."#);
        assert_snapshot!(told(b"{\"version\":1}\n"), @r#"This file is not a journal of antiphon: its first line does not say "antiphon_journal"; give a file that fly or demo wrote."#);
        assert_snapshot!(told(b"{\"antiphon_journal\":7}\n"), @"This journal has version 7 and this program reads up to version 1: read it with a newer antiphon.");
        assert_snapshot!(told(b"{\"antiphon_journal\":1}\n"), @"The first line of this journal is damaged (missing field `program`): take another copy of the file.");
        assert_snapshot!(told(b"{\"antiphon_journal\":\"one\"}\n"), @"The first line of this journal is damaged (its version is no whole number from 1): take another copy of the file.");
    }

    #[test]
    fn a_whole_journal_reads_back() {
        let j = read(toy::session().as_bytes()).unwrap();
        assert_eq!(j.faults, []);
        assert_eq!(j.tail, Tail::Ended);
        assert_eq!(j.whole_bytes, toy::session().len() as u64);
        assert_eq!(j.header, toy::header());
    }

    #[test]
    fn every_cut_is_tolerated_and_told() {
        let whole = toy::session();
        let header = whole.find('\n').unwrap() + 1;
        for cut in header..whole.len() - 1 {
            let j = read(&whole.as_bytes()[..cut]).unwrap();
            assert_eq!(j.faults, [], "cut at {cut}");
            assert!(j.tail.sentence().is_some(), "cut at {cut}");
            assert!(j.whole_bytes <= cut as u64);
        }
        let cut = whole.len() - 20;
        assert_snapshot!(told(&whole.as_bytes()[..cut]), @"29 lines; The journal breaks off in the middle of line 31: the session was broken off; all lines before it were read.");
    }

    #[test]
    fn garbage_between_lines_is_named_and_the_rest_read() {
        let whole = toy::session();
        let mut rows: Vec<&str> = whole.lines().collect();
        let n = rows.len();
        rows.insert(4, "%% not ours %%");
        let j = read((rows.join("\n") + "\n").as_bytes()).unwrap();
        assert_eq!(j.entries.len(), n - 1);
        assert_eq!(j.faults.len(), 1);
        assert_snapshot!(format!("{:?}", j.faults[0]), @r#"Fault { line: 5, what: Unreadable("expected value at column 1") }"#);
    }

    proptest! {
        #[test]
        fn never_panics_on_bytes(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = read(&bytes);
        }

        #[test]
        fn never_panics_on_a_damaged_journal(at in 0usize..4000, put in any::<u8>(), cut in 0usize..4000) {
            let mut bytes = toy::session().into_bytes();
            let n = bytes.len();
            bytes[at % n] = put;
            bytes.truncate(n - cut % n);
            let _ = read(&bytes);
        }

        #[test]
        fn any_json_value_on_a_line_is_read_or_named(text in r#"\{("kind"|"seq"|"at"|"sim"|"input"|"in"|"out"|"in"|[0-9]|[:,{}\[\]]|null|true){0,12}\}"#) {
            let whole = toy::session();
            let bytes = format!("{}\n{text}\n", whole.lines().next().unwrap());
            let j = read(bytes.as_bytes()).unwrap();
            prop_assert_eq!(j.entries.len() + j.faults.len(), 1);
        }
    }
}
