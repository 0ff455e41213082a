//! `antiphon debrief`.

use super::telling::out;
use super::{CliResult, Failure, Outcome};
use crate::core::journal::debrief::criteria::Criteria;
use crate::core::journal::debrief::sheet::{Beside, page};
use crate::core::journal::debrief::text::summary;
use crate::core::journal::debrief::trend::Flight;
use crate::core::journal::debrief::{Debrief, debrief};
use crate::core::journal::read::glimpse;
use crate::edge::store::load_journal;
use std::path::{Component, Path, PathBuf};

/// Tell from a journal what went well, what did not, and what to work on.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon debrief journal.jsonl\n  antiphon debrief journal.jsonl --html debrief.html\n  antiphon debrief journal.jsonl --since flights/\n\nExit status: 0 done, 1 a journal that is damaged (what can be read is told), 2 no such journal, or none of ours."
)]
pub struct Args {
    /// A journal that fly or demo wrote.
    #[arg(value_name = "JOURNAL")]
    journal: PathBuf,
    /// Write one HTML file that needs nothing else; it plays the recording if one lies beside.
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// Compare with the earlier flights whose journals (*.jsonl) lie in this folder or one folder below.
    #[arg(long, value_name = "DIR")]
    since: Option<PathBuf>,
    /// The recording, if it is not beside the journal as flight.wav or under the journal's own name.
    #[arg(long, value_name = "FILE.wav")]
    record: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: Args) -> CliResult {
    let criteria = Criteria::built_in();
    let journal = load_journal(&args.journal).map_err(|e| Failure::new(with_glimpse(e, &args.journal)))?;
    let told = debrief(&journal, &criteria);
    let recording = match &args.record {
        Some(r) if !r.is_file() => {
            return Err(Failure::new(format!("there is no recording {}; check the path", r.display())));
        }
        Some(r) => Some(r.clone()),
        None => recording_of(&args.journal),
    };
    let flights = match &args.since {
        Some(folder) => {
            let (flights, passed_over) = earlier(folder, &args.journal, &told, &criteria)?;
            passed_over.iter().for_each(|p| eprintln!("antiphon: passed over: {p}"));
            if flights.is_empty() {
                eprintln!("antiphon: no earlier flight lies in {}", folder.display());
            }
            flights
        }
        None => Vec::new(),
    };
    out(summary(&told, &flights, recording.is_some()).trim_end());
    if let Some(file) = &args.html {
        let recording = recording.map(|r| address(file, &r));
        let html = page(&told, &criteria, &Beside { recording, flights });
        std::fs::write(file, html)
            .map_err(|e| Failure::new(format!("{} cannot be written ({e}); choose another --html", file.display())))?;
        out(format_args!("\n{}", file.display()));
    }
    Ok(if told.notices.is_empty() { Outcome::Done } else { Outcome::Problems })
}

/// What little can be told of a journal that cannot be read.
fn with_glimpse(sentence: String, path: &Path) -> String {
    match std::fs::read(path).ok().and_then(|bytes| glimpse(&bytes)) {
        Some(seen) => format!("{sentence} {seen}"),
        None => sentence,
    }
}

/// The recording beside a journal: under its own name, or as the demo calls it.
fn recording_of(journal: &Path) -> Option<PathBuf> {
    [journal.with_extension("wav"), journal.with_file_name("flight.wav")].into_iter().find(|p| p.is_file())
}

/// The flights before this one in a folder, oldest first, and a sentence on each file that is passed over.
fn earlier(
    folder: &Path,
    own: &Path,
    now: &Debrief,
    criteria: &Criteria,
) -> Result<(Vec<Flight>, Vec<String>), Failure> {
    let files = |dir: &Path| -> std::io::Result<Vec<PathBuf>> {
        std::fs::read_dir(dir)?.map(|e| e.map(|e| e.path())).collect()
    };
    let unreadable =
        |e| Failure::new(format!("{} cannot be read ({e}); give the folder of your journals", folder.display()));
    let mut paths = Vec::new();
    for path in files(folder).map_err(unreadable)? {
        if path.is_dir() {
            paths.extend(files(&path).unwrap_or_default());
        } else {
            paths.push(path);
        }
    }
    paths.retain(|p| p.extension().is_some_and(|e| e == "jsonl"));
    paths.sort();
    let own = own.canonicalize().ok();
    let when = |text: &str| text.parse::<jiff::Timestamp>().ok();
    let this = when(&now.started);
    let (mut flights, mut passed_over) = (Vec::new(), Vec::new());
    for path in paths.into_iter().filter(|p| p.canonicalize().ok() != own) {
        let journal = match load_journal(&path) {
            Ok(j) => j,
            Err(e) => {
                passed_over.push(e);
                continue;
            }
        };
        let started = when(&journal.header.started);
        if started.is_none() {
            passed_over.push(format!("{} does not say when it was flown", path.display()));
        } else if started < this {
            let name = path.strip_prefix(folder).unwrap_or(&path).display().to_string();
            flights.push((started, Flight::of(&name, &debrief(&journal, criteria))));
        }
    }
    flights.sort_by_key(|(t, _)| *t);
    Ok((flights.into_iter().map(|(_, f)| f).collect(), passed_over))
}

/// The address of `to` as a page at `page` writes it: relative, percent-encoded.
fn address(page: &Path, to: &Path) -> String {
    let whole = |p: &Path| std::path::absolute(p).unwrap_or_else(|_| p.to_path_buf());
    let folder = |p: &Path| p.parent().map_or_else(PathBuf::new, |f| f.canonicalize().unwrap_or_else(|_| f.into()));
    let (page, to) = (whole(page), whole(to));
    let (from, target) = (folder(&page), folder(&to));
    let common = from.components().zip(target.components()).take_while(|(a, b)| a == b).count();
    let up = std::iter::repeat_n("..".to_string(), from.components().count() - common);
    let down = target.components().skip(common).filter_map(|c| match c {
        Component::Normal(n) => Some(encoded(&n.to_string_lossy())),
        _ => None,
    });
    let name = to.file_name().map(|n| encoded(&n.to_string_lossy()));
    up.chain(down).chain(name).collect::<Vec<_>>().join("/")
}

/// RFC 3986, 2.3: all but the unreserved characters in percent.
fn encoded(part: &str) -> String {
    part.bytes()
        .map(|b| match b {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => char::from(b).to_string(),
            other => format!("%{other:02X}"),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_relative_and_safe() {
        let dir = tempfile::tempdir().unwrap();
        let d = dir.path();
        std::fs::create_dir_all(d.join("a b/c")).unwrap();
        let check = |page: &str, to: &str, want: &str| assert_eq!(address(&d.join(page), &d.join(to)), want);
        check("x.html", "flight.wav", "flight.wav");
        check("x.html", "a b/fl\u{ef}ght \"1\".wav", "a%20b/fl%C3%AFght%20%221%22.wav");
        check("a b/c/x.html", "flight#1.wav", "../../flight%231.wav");
    }

    #[test]
    fn earlier_flights_are_found_and_others_told() {
        let dir = tempfile::tempdir().unwrap();
        let d = dir.path();
        std::fs::create_dir(d.join("sub")).unwrap();
        let line = |started: &str| {
            format!(
                "{{\"antiphon_journal\":1,\"program\":\"0\",\"book\":{{\"id\":\"b\",\"hash\":\"\",\"path\":\"\"}},\"seed\":1,\"started\":\"{started}\"}}\n"
            )
        };
        let write = |name: &str, text: String| std::fs::write(d.join(name), text).unwrap();
        write("now.jsonl", line("2026-03-01T10:00:00Z"));
        write("b.jsonl", line("2026-02-01T10:00:00.5Z"));
        write("sub/a.jsonl", line("2026-01-01T10:00:00Z"));
        write("later.jsonl", line("2026-04-01T10:00:00Z"));
        write("odd.jsonl", line("yesterday"));
        write("foreign.jsonl", "x\n".into());
        write("notes.txt", "x".into());
        let criteria = Criteria::built_in();
        let own = d.join("now.jsonl");
        let now = debrief(&load_journal(&own).unwrap(), &criteria);
        let (flights, passed_over) = earlier(d, &own, &now, &criteria).unwrap();
        let names: Vec<&str> = flights.iter().map(|f| f.name.as_str()).collect();
        assert_eq!(names, ["sub/a.jsonl", "b.jsonl"]);
        assert_eq!(passed_over.len(), 2, "{passed_over:?}");
        assert!(earlier(&d.join("none"), &own, &now, &criteria).is_err());
    }

    #[test]
    fn a_newer_journal_is_told_with_what_it_says_of_itself() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("j.jsonl");
        std::fs::write(&path, "{\"antiphon_journal\":7,\"program\":\"9.0\",\"book\":{\"id\":\"t9\"}}\n{}\n").unwrap();
        let told = with_glimpse(load_journal(&path).unwrap_err(), &path).replace(&path.display().to_string(), "J");
        assert_eq!(
            told,
            "J: This journal has version 7 and this program reads up to version 1: read it with a newer antiphon. It says of itself: written by antiphon 9.0, book t9; 1 line after the first."
        );
    }
}
