//! Every session script of `tests/sessions` and the demo's captain, typed and silent, in simulated time; each journal is
//! replayed.

use antiphon::core::book::Book;
use antiphon::core::crew::Crew;
use antiphon::core::journal::{BookMark, Header, Outcome, VERSION, read, replay};
use antiphon::core::script::{self, Script};
use antiphon::edge::app::{Report, stage};
use antiphon::edge::store::{JournalFile, Places, load_book};
use std::collections::BTreeMap;
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

fn check(path: &Path) {
    let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let (report, bytes, book) = act(read_script(path));
    let lines: Vec<String> =
        report.lines.iter().map(|l| format!("{:8.2} {:?}: {}", l.at.secs(), l.side, l.text)).collect();
    assert!(report.failures.is_empty(), "{name}: {:#?}\n{}", report.failures, lines.join("\n"));
    assert!(report.faults.is_empty(), "{name}: {:#?}", report.faults);
    let journal = read(&bytes).expect("a journal");
    let outcome = replay(&journal, &mut Crew::new(book));
    assert!(matches!(outcome, Outcome::Same { .. }), "{name}: {outcome:?}");
}

#[test]
fn every_script_is_met_and_replays() {
    let mut paths: Vec<PathBuf> = std::fs::read_dir(root().join("tests/sessions"))
        .expect("the folder is there")
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    paths.sort();
    assert!(paths.len() >= 20, "only {} scripts", paths.len());
    let failed: Vec<String> = paths
        .iter()
        .filter_map(|p| std::panic::catch_unwind(|| check(p)).err().map(|_| p.display().to_string()))
        .collect();
    assert!(failed.is_empty(), "{failed:#?}");
}

#[test]
fn the_demo_is_met_in_typed_words_too() {
    check(&root().join("phrasebooks/saltmarsh-t2/demo/departure.toml"));
}
