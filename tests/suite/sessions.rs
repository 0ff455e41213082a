//! Every session script of `tests/sessions` and the demo's captain, typed and silent, in simulated time; each journal is
//! replayed.

use crate::schema;
use antiphon::core::book::Book;
use antiphon::core::crew::Crew;
use antiphon::core::journal::{BookMark, Coverage, Header, Outcome, VERSION, read, replay};
use antiphon::core::script::{self, Script};
use antiphon::edge::app::{Report, stage};
use antiphon::edge::store::{JournalFile, Places, load_book};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// A journal in memory.
#[derive(Clone, Default)]
pub struct Memory(Arc<Mutex<Vec<u8>>>);

impl Write for Memory {
    fn write(&mut self, buf: &[u8]) -> std::io::Result<usize> {
        self.0.lock().expect("one writer").extend_from_slice(buf);
        Ok(buf.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Memory {
    pub fn bytes(&self) -> Vec<u8> {
        self.0.lock().expect("one writer").clone()
    }
}

pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

pub fn book(name: &str) -> Arc<Book> {
    let path = root().join("phrasebooks").join(name);
    let (book, _) = load_book(&Places::here(None), &path).unwrap_or_else(|e| panic!("{name}: {e}"));
    Arc::new(book)
}

pub fn read_script(path: &Path) -> Script {
    let text = std::fs::read_to_string(path).expect("the script is there");
    script::parse(&text).unwrap_or_else(|p| panic!("{}: {p:#?}", path.display()))
}

pub fn header(book: &Book) -> Header {
    Header {
        antiphon_journal: VERSION,
        program: env!("CARGO_PKG_VERSION").into(),
        book: BookMark { id: book.id.clone(), hash: book.hash.clone(), path: String::new() },
        models: Vec::new(),
        settings: BTreeMap::new(),
        seed: 1,
        started: "2026-01-01T00:00:00Z".into(),
    }
}

/// Acts a script out and gives its report and journal.
pub fn act(script: Script) -> (Report, Vec<u8>, Arc<Book>) {
    let book = book(&script.book);
    let wrong = script::check(&script, &book, &|c| book.condition(c).map(drop));
    assert!(wrong.is_empty(), "{wrong:#?}");
    let memory = Memory::default();
    let journal = JournalFile::to(memory.clone(), "memory", &header(&book)).expect("begins");
    let report = stage::silent(book.clone(), script, journal).expect("runs");
    (report, memory.bytes(), book)
}

/// Flies a script: met, the same when replayed, and every line as the schema tells. The kinds of lines go into `seen`.
fn check(path: &Path, schema: &Value, seen: &Mutex<BTreeSet<String>>) -> Vec<u8> {
    let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let began = std::time::Instant::now();
    let (report, bytes, book) = act(read_script(path));
    let lines: Vec<String> =
        report.lines.iter().map(|l| format!("{:8.2} {:?}: {}", l.at.secs(), l.side, l.text)).collect();
    assert!(report.failures.is_empty(), "{name}: {:#?}\n{}", report.failures, lines.join("\n"));
    assert!(report.faults.is_empty(), "{name}: {:#?}", report.faults);
    let journal = read(&bytes).expect("a journal");
    let outcome = replay(&journal, &mut Crew::new(book));
    assert!(matches!(outcome, Outcome::Same { .. }), "{name}: {outcome:?}");
    let mut kinds = BTreeSet::new();
    schema::judge(schema, &bytes, &mut kinds).unwrap_or_else(|e| panic!("{name}, {e}"));
    seen.lock().expect("kinds").append(&mut kinds);
    eprintln!("{:6.2} s {name}", began.elapsed().as_secs_f64());
    bytes
}

/// The scripts in a folder and in those below it.
fn scripts(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).expect("the folder is there").map(|e| e.expect("an entry").path());
    let (folders, files): (Vec<_>, Vec<_>) = entries.partition(|p| p.is_dir());
    let here = files.into_iter().filter(|p| p.extension().is_some_and(|e| e == "toml"));
    here.chain(folders.iter().flat_map(|f| scripts(f))).collect()
}

/// Every session script, the departure and the whole flights of all books: met, replayed, and together nothing of any book
/// is left that was never exercised and has no reason why.
#[test]
fn every_script_is_met_and_replays_and_nothing_is_left_out() {
    let mut paths = scripts(&root().join("tests/sessions"));
    paths.sort();
    assert!(paths.len() >= 200, "only {} scripts", paths.len());
    let demos =
        ["fenwick-t2/demo/full", "saltmarsh-t2/demo/departure", "saltmarsh-t2/demo/full", "saltmarsh-t4/demo/full"];
    paths.extend(demos.map(|d| root().join("phrasebooks").join(d).with_extension("toml")));
    // The longest, which stand at the end, are begun first.
    let rest = Mutex::new(paths);
    let done = Mutex::new((Vec::new(), Vec::new()));
    let (schema, seen) = (schema::schema(), Mutex::new(BTreeSet::new()));
    let work = || {
        while let Some(path) = { rest.lock().expect("a list").pop() } {
            let told = std::panic::catch_unwind(|| check(&path, &schema, &seen));
            let mut done = done.lock().expect("results");
            match told {
                Ok(journal) => done.0.push(journal),
                Err(_) => done.1.push(path.display().to_string()),
            }
        }
    };
    std::thread::scope(|s| {
        s.spawn(work);
        s.spawn(work);
    });
    let (journals, failed) = done.into_inner().expect("results");
    assert!(failed.is_empty(), "{failed:#?}");
    // Nearly all kinds of lines occur.
    let seen = seen.into_inner().expect("kinds");
    assert!(seen.len() >= 40, "{seen:?}");
    for name in ["saltmarsh-t2", "saltmarsh-t4", "fenwick-t2"] {
        let (book, mut coverage) = (book(name), Coverage::default());
        let counted = journals.iter().filter(|j| coverage.add(&read(j).expect("a journal"), &book)).count();
        let missing: Vec<String> = coverage.missing(&book).iter().map(ToString::to_string).collect();
        assert!(counted > 0 && missing.is_empty(), "{name} has never shown {missing:#?}");
        let idle: Vec<_> = coverage.explained(&book).into_iter().filter(|(.., seen)| *seen).collect();
        assert!(idle.is_empty(), "{name} says why these are not exercised, and they are: {idle:#?}");
    }
}
