//! Reading books from the disk; `common` is in the program.

use super::Places;
use crate::core::book::{Book, Folder, Loaded, Problem, Severity, SourceFile, load};
use std::fs;
use std::path::Path;

/// The files of `phrasebooks/common` as they were when the program was built. A test compares the list with the folder.
const COMMON: &[(&str, &str)] = &[
    ("calls-crew.toml", include_str!("../../../phrasebooks/common/calls-crew.toml")),
    ("calls.toml", include_str!("../../../phrasebooks/common/calls.toml")),
    ("rules.toml", include_str!("../../../phrasebooks/common/rules.toml")),
    ("signals.toml", include_str!("../../../phrasebooks/common/signals.toml")),
    ("wording.toml", include_str!("../../../phrasebooks/common/wording.toml")),
];

/// Largest file of a book, bytes: far above any hand-written one.
const MAX_FILE: u64 = 4 << 20;

/// A book could not be read or cannot be flown: one sentence with what to do next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BookError {
    /// Nothing of that name or path.
    #[error(transparent)]
    NotFound(#[from] super::NotFound),
    /// A file or folder that cannot be read.
    #[error("{path} cannot be read ({why}): check that it is there, is text in UTF-8 and may be read by you")]
    Unreadable {
        /// Which.
        path: String,
        /// What the system said.
        why: String,
    },
    /// The folder has no `*.toml`.
    #[error("{0} holds no phrasebook: name a folder with *.toml files in it")]
    Empty(String),
    /// The book has errors.
    #[error(
        "the phrasebook {book} has {errors} and cannot be flown, the first being: {first}. Run `antiphon check {book}` for all of them"
    )]
    Faulty {
        /// Its path as it was asked for.
        book: String,
        /// "one error" or "3 errors".
        errors: String,
        /// The first of them.
        first: String,
    },
}

/// The folder of `common` out of the program.
pub fn common() -> Folder {
    let file = |(name, text): &(&str, &str)| SourceFile { name: format!("common/{name}"), text: (*text).to_string() };
    Folder { id: "common".into(), files: COMMON.iter().map(file).collect() }
}

/// Reads the `*.toml` files directly in `path`, sorted by name.
///
/// # Errors
/// [`BookError::Unreadable`] and [`BookError::Empty`].
pub fn read_folder(path: &Path) -> Result<Folder, BookError> {
    let unreadable = |p: &Path, why: String| BookError::Unreadable { path: p.display().to_string(), why };
    let mut paths = Vec::new();
    for entry in fs::read_dir(path).map_err(|e| unreadable(path, e.to_string()))? {
        let file = entry.map_err(|e| unreadable(path, e.to_string()))?.path();
        if file.extension().is_some_and(|e| e == "toml") && file.is_file() {
            paths.push(file);
        }
    }
    paths.sort();
    let id = path.canonicalize().ok().and_then(|p| Some(p.file_name()?.to_string_lossy().into_owned()));
    let id = id.unwrap_or_else(|| path.display().to_string());
    let mut files = Vec::new();
    for file in paths {
        let size = fs::metadata(&file).map_err(|e| unreadable(&file, e.to_string()))?.len();
        if size > MAX_FILE {
            return Err(unreadable(&file, format!("it has {size} bytes, and {MAX_FILE} are allowed")));
        }
        let text = fs::read_to_string(&file).map_err(|e| unreadable(&file, e.to_string()))?;
        files.push(SourceFile { name: file.display().to_string(), text });
    }
    if files.is_empty() { Err(BookError::Empty(path.display().to_string())) } else { Ok(Folder { id, files }) }
}

/// Loads a book from its folder or by its name, whatever is wrong with it.
///
/// # Errors
/// If there is no such book or a file of it cannot be read.
pub fn read_book(places: &Places, book: &Path) -> Result<Loaded, BookError> {
    let path = places.book(book)?;
    let folder = read_folder(&path)?;
    // The base of a book lies beside it, or on a shelf.
    let beside = path.canonicalize().ok().and_then(|p| p.parent().map(Path::to_path_buf));
    let fetch = |name: &str| {
        if name == "common" {
            return Some(common());
        }
        let near = beside.as_ref().map(|b| b.join(name)).filter(|p| p.is_dir());
        read_folder(&near.or_else(|| places.book(Path::new(name)).ok())?).ok()
    };
    Ok(load(&folder, &fetch))
}

/// Loads a book that can be flown, with its warnings.
///
/// # Errors
/// As [`read_book`], and [`BookError::Faulty`] if the book has errors.
pub fn load_book(places: &Places, book: &Path) -> Result<(Book, Vec<Problem>), BookError> {
    let loaded = read_book(places, book)?;
    let errors: Vec<&Problem> = loaded.problems.iter().filter(|p| p.severity == Severity::Error).collect();
    let Some(first) = errors.first() else { return Ok((loaded.book, loaded.problems)) };
    let errors = if errors.len() == 1 { "one error".to_string() } else { format!("{} errors", errors.len()) };
    let first = first.to_string().trim_end_matches('.').to_string();
    Err(BookError::Faulty { book: book.display().to_string(), errors, first })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shelf() -> std::path::PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks")
    }

    #[test]
    fn the_embedded_common_is_the_folder() {
        let folder = read_folder(&shelf().join("common")).unwrap();
        let names = |f: &Folder| -> Vec<String> {
            f.files.iter().map(|f| f.name.rsplit(['/', '\\']).next().unwrap_or_default().to_string()).collect()
        };
        assert_eq!(names(&common()), names(&folder), "add the new file to COMMON");
        for (a, b) in common().files.iter().zip(&folder.files) {
            assert_eq!(a.text, b.text, "{}", a.name);
        }
    }

    #[test]
    fn what_cannot_be_read_is_told_in_one_sentence() {
        let dir = tempfile::tempdir().unwrap();
        let check = |path: &Path, wanted: &str| {
            let told = load_book(&Places::default(), path).unwrap_err().to_string();
            assert!(told.contains(wanted) && !told.contains('\n'), "{told}");
        };
        check(dir.path(), "holds no phrasebook");
        check(&dir.path().join("none"), "there is no folder");
        check(Path::new("none"), "there is no phrasebook none");
        fs::write(dir.path().join("a.toml"), [0xff, 0xfe]).unwrap();
        check(dir.path(), "UTF-8");
        fs::write(dir.path().join("a.toml"), "[book]\ntitel = \"x\"\n").unwrap();
        check(dir.path(), "Run `antiphon check");
    }

    #[test]
    fn an_include_never_leaves_the_shelf() {
        let dir = tempfile::tempdir().unwrap();
        let book = dir.path().join("shelf/mine");
        fs::create_dir_all(&book).unwrap();
        fs::create_dir_all(dir.path().join("outside")).unwrap();
        fs::write(dir.path().join("outside/a.toml"), "[signals.secret]\nkind = \"number\"\n").unwrap();
        for name in ["../../outside", "..", "/etc", ".", ""] {
            fs::write(book.join("book.toml"), format!("[book]\ntitle = \"x\"\nextends = '{name}'\n")).unwrap();
            let loaded = read_book(&Places::default(), &book).unwrap();
            assert!(loaded.problems.iter().any(|p| p.id == "include-outside"), "{name}: {:?}", loaded.problems);
            assert_eq!(loaded.sources.len(), 1, "{name}");
        }
    }
}
