//! `antiphon check --coverage`: what of a book journals and session scripts have exercised.

use super::wiring::{self, failure};
use super::{CliResult, Failure, Outcome};
use crate::core::book::Book;
use crate::core::journal::{Coverage, read};
use crate::edge::app::stage;
use crate::edge::store::{JournalFile, Places};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// A journal in memory.
#[derive(Clone, Default)]
struct Memory(Arc<Mutex<Vec<u8>>>);

impl std::io::Write for Memory {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().map_err(|_| std::io::ErrorKind::Other)?.extend_from_slice(bytes);
        Ok(bytes.len())
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Tells what of `name` was never exercised by the journals, the session scripts (acted out typed) and the folders of both.
pub fn run(places: &Places, name: &Path, sources: &[PathBuf]) -> CliResult {
    let book = wiring::book(places, name)?;
    let mut coverage = Coverage::default();
    let mut counted = 0;
    for file in files(sources)? {
        let script = file.extension().is_some_and(|e| e == "toml");
        let bytes = if script {
            acted(places, name, &file, &book)?
        } else {
            Some(std::fs::read(&file).map_err(|e| unreadable(&file, e))?)
        };
        let Some(bytes) = bytes else { continue };
        let journal = read(&bytes).map_err(|e| Failure::new(format!("{}: {e}", file.display())))?;
        counted += usize::from(coverage.add(&journal, &book));
    }
    if counted == 0 {
        let text = format!("none of these is a journal or a session script of {}: name some that are", book.id);
        return Err(Failure::new(text));
    }
    let (seen, all) = coverage.share(&book);
    outln!("{}: {seen} of {all} entries exercised by {counted} journals and scripts", book.id);
    for (name, why, seen) in coverage.explained(&book) {
        let told = if seen { "exercised, though the book says" } else { "not exercised:" };
        outln!("  {name}: {told} {why}");
    }
    let missing = coverage.missing(&book);
    for part in &missing {
        outln!("  never exercised: {part}");
    }
    if missing.is_empty() {
        outln!("  nothing is left unexercised without a reason");
        return Ok(Outcome::Done);
    }
    outln!("Fly it in a session script, or say why not with `unexercised = \"…\"` in the book.");
    Ok(Outcome::Problems)
}

fn unreadable(file: &Path, why: impl std::fmt::Display) -> Failure {
    Failure::new(format!("{} cannot be read ({why}); check the path", file.display()))
}

/// The files that are named, and those in and below folders that are named, in order.
fn files(sources: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut all = Vec::new();
    for source in sources {
        if !source.is_dir() {
            all.push(source.clone());
            continue;
        }
        let entries = std::fs::read_dir(source).map_err(|e| unreadable(source, e))?;
        let known = |p: &PathBuf| p.is_dir() || p.extension().is_some_and(|e| e == "toml" || e == "jsonl");
        let mut here: Vec<PathBuf> = entries.filter_map(|e| Some(e.ok()?.path())).filter(known).collect();
        here.sort();
        all.extend(files(&here)?);
    }
    Ok(all)
}

/// The journal of a session script, acted out without sound; nothing if it is for another book.
fn acted(places: &Places, name: &Path, file: &Path, book: &Arc<Book>) -> Result<Option<Vec<u8>>, Failure> {
    let script = wiring::script(file)?;
    let named = Path::new(&script.book).file_name().map_or_else(String::new, |n| n.to_string_lossy().into_owned());
    let base = if named == book.id {
        book.clone()
    } else if book.extends.contains(&named) {
        // The base of a book lies beside it, or on a shelf.
        let beside = name.parent().map(|p| p.join(&named)).filter(|p| p.is_dir());
        wiring::book(places, &beside.unwrap_or_else(|| PathBuf::from(&named)))?
    } else {
        return Ok(None);
    };
    let book = &base;
    wiring::fits(file, &script, book)?;
    let memory = Memory::default();
    let header = wiring::header(book, Path::new(&book.id), script.seed, &[]);
    let journal = JournalFile::to(memory.clone(), "memory", &header).map_err(failure)?;
    let report = stage::silent(book.clone(), script, journal).map_err(Failure)?;
    if let Some(f) = report.failures.first() {
        eprintln!("{}: {f}", file.display());
    }
    let bytes = memory.0.lock().map_or_else(|_| Vec::new(), |b| b.clone());
    Ok(Some(bytes))
}
