//! Where the models and the phrasebooks lie.
//!
//! Looked for in this order: `--models`, the folder that `ANTIPHON_HOME` names, the XDG data folder, next to the program.

use crate::edge::native::manifest::Manifest;
use std::env;
use std::path::{Path, PathBuf};

/// How many folders above the program's own are looked at: enough for a program in `target/release/deps`.
const ANCESTORS: usize = 3;

/// Where to look. [`Places::here`] fills it from the environment; tests fill it by hand.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Places {
    /// `--models`.
    pub models: Option<PathBuf>,
    /// `ANTIPHON_HOME`.
    pub home: Option<PathBuf>,
    /// Our folder in the XDG data folder (`~/.local/share/antiphon`).
    pub data: Option<PathBuf>,
    /// The folder of the running program.
    pub program: Option<PathBuf>,
}

/// Nothing was found: one sentence with where it was looked for and what to do next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotFound {
    /// `--models` names a folder without models.
    #[error("{0} holds no models: run `make setup` and name its models/files, or leave --models out")]
    NoModelsIn(PathBuf),
    /// No models anywhere.
    #[error("no models in {}: run `make setup` in the source folder, or name the folder with --models", list(.0))]
    Models(Vec<PathBuf>),
    /// `--book` names a path that is not a folder.
    #[error("there is no folder {0}: name a phrasebook's folder, or a book by its name alone")]
    NoBookFolder(PathBuf),
    /// No book of that name anywhere.
    #[error("there is no phrasebook {name} in {}: name its folder with --book", list(looked))]
    Book {
        /// The name asked for.
        name: String,
        /// Where it was looked for.
        looked: Vec<PathBuf>,
    },
}

fn list(paths: &[PathBuf]) -> String {
    match paths {
        [] => "any place to look".to_string(),
        [one] => one.display().to_string(),
        [all @ .., last] => {
            let all: Vec<String> = all.iter().map(|p| p.display().to_string()).collect();
            format!("{} or {}", all.join(", "), last.display())
        }
    }
}

impl Places {
    /// The places of this run; `models` is what `--models` said.
    pub fn here(models: Option<&Path>) -> Self {
        let set = |name: &str| env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
        // XDG Base Directory Specification 0.8: a relative path in the variable is to be ignored.
        let data = set("XDG_DATA_HOME").filter(|p| p.is_absolute());
        let data = data.or_else(|| set("HOME").map(|home| home.join(".local/share")));
        let program = env::current_exe().ok().and_then(|p| p.canonicalize().ok());
        Places {
            models: models.map(Path::to_path_buf),
            home: set("ANTIPHON_HOME"),
            data: data.map(|d| d.join("antiphon")),
            program: program.and_then(|p| p.parent().map(Path::to_path_buf)),
        }
    }

    /// The program's folder and the few above it.
    fn beside(&self) -> impl Iterator<Item = &Path> {
        self.program.iter().flat_map(|p| p.ancestors().take(ANCESTORS + 1))
    }

    /// The models folder: the one that holds `onnxruntime` and the other folders of the manifest.
    ///
    /// # Errors
    /// [`NotFound::NoModelsIn`] if `--models` was given and holds none, else [`NotFound::Models`].
    pub fn models(&self) -> Result<PathBuf, NotFound> {
        if let Some(named) = &self.models {
            let found = [named.clone(), named.join("files")].into_iter().find(|p| holds_models(p));
            return found.ok_or_else(|| NotFound::NoModelsIn(named.clone()));
        }
        let mut looked = Vec::new();
        for home in self.home.iter().chain(&self.data) {
            looked.extend([home.join("models"), home.join("models/files")]);
        }
        looked.extend(self.home.clone());
        looked.extend(self.beside().map(|p| p.join("models/files")));
        looked.extend(self.program.iter().map(|p| p.join("models")));
        match looked.iter().find(|p| holds_models(p)) {
            Some(found) => Ok(found.clone()),
            None => Err(NotFound::Models(looked)),
        }
    }

    /// The folders in which books may lie, those that exist, in the order of looking.
    pub fn shelves(&self) -> Vec<PathBuf> {
        self.all_shelves().into_iter().filter(|p| p.is_dir()).collect()
    }

    fn all_shelves(&self) -> Vec<PathBuf> {
        let own = self.home.iter().chain(&self.data).map(PathBuf::as_path);
        own.chain(self.beside()).map(|p| p.join("phrasebooks")).collect()
    }

    /// The folder of a book: `book` itself if it is a folder, else the book of that name on a shelf.
    ///
    /// # Errors
    /// [`NotFound::NoBookFolder`] for a path that is no folder, [`NotFound::Book`] for an unknown name.
    pub fn book(&self, book: &Path) -> Result<PathBuf, NotFound> {
        if book.is_dir() {
            return Ok(book.to_path_buf());
        }
        if book.components().count() != 1 || !matches!(book.components().next(), Some(std::path::Component::Normal(_)))
        {
            return Err(NotFound::NoBookFolder(book.to_path_buf()));
        }
        let looked = self.all_shelves();
        match looked.iter().map(|shelf| shelf.join(book)).find(|p| p.is_dir()) {
            Some(found) => Ok(found),
            None => Err(NotFound::Book { name: book.display().to_string(), looked }),
        }
    }
}

/// A folder with at least one of the manifest's folders in it: a half-filled one is found too, so that the message can
/// name the very file that is missing.
fn holds_models(folder: &Path) -> bool {
    Manifest::embedded().folders().iter().any(|name| folder.join(name).is_dir())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder with these folders in it.
    fn tree(folders: &[&str]) -> tempfile::TempDir {
        let dir = tempfile::tempdir().unwrap();
        for folder in folders {
            std::fs::create_dir_all(dir.path().join(folder)).unwrap();
        }
        dir
    }

    /// Places below `dir`: home `h`, data `d`, program in `src/target/release`.
    fn places(dir: &Path) -> Places {
        Places {
            models: None,
            home: Some(dir.join("h")),
            data: Some(dir.join("d")),
            program: Some(dir.join("src/target/release")),
        }
    }

    fn check(folders: &[&str], named: Option<&str>, wanted: Result<&str, &str>) {
        let dir = tree(folders);
        let places = Places { models: named.map(|n| dir.path().join(n)), ..places(dir.path()) };
        let strip = |text: String| text.replace(&format!("{}/", dir.path().display()), "");
        let found = places.models().map(|p| strip(p.display().to_string())).map_err(|e| strip(e.to_string()));
        assert_eq!(found.as_deref().map_err(|e| e.as_str()), wanted);
    }

    #[test]
    fn models_are_found_in_order() {
        let everywhere = ["m/silero", "h/models/joe", "d/models/silero", "src/models/files/onnxruntime"];
        check(&everywhere, Some("m"), Ok("m"));
        check(&everywhere, None, Ok("h/models"));
        check(&everywhere[2..], None, Ok("d/models"));
        check(&everywhere[3..], None, Ok("src/models/files"));
        check(&["m/files/silero"], Some("m"), Ok("m/files"));
        check(&["h/onnxruntime"], None, Ok("h"));
        check(&["src/target/release/models/silero"], None, Ok("src/target/release/models"));
    }

    #[test]
    fn a_named_folder_without_models_is_not_replaced_by_another() {
        check(
            &["m/other", "h/models/joe"],
            Some("m"),
            Err("m holds no models: run `make setup` and name its models/files, or leave --models out"),
        );
    }

    #[test]
    fn not_found_lists_where_it_looked() {
        let dir = tree(&[]);
        let none = Places { home: Some(dir.path().join("h")), ..Places::default() };
        let told = none.models().unwrap_err().to_string().replace(&dir.path().display().to_string(), "");
        assert_eq!(
            told,
            "no models in /h/models, /h/models/files or /h: run `make setup` in the source folder, or name the folder \
             with --models"
        );
    }

    #[test]
    fn books_are_found_by_folder_and_by_name() {
        let dir = tree(&["h/phrasebooks/saltmarsh-t2", "src/phrasebooks/fenwick-t2", "mine"]);
        let places = places(dir.path());
        let ask = |name: &str| places.book(Path::new(name)).map(|p| p.strip_prefix(dir.path()).unwrap().to_path_buf());
        assert_eq!(ask("saltmarsh-t2"), Ok("h/phrasebooks/saltmarsh-t2".into()));
        assert_eq!(ask("fenwick-t2"), Ok("src/phrasebooks/fenwick-t2".into()));
        assert_eq!(ask(dir.path().join("mine").to_str().unwrap()), Ok("mine".into()));
        assert!(matches!(ask("no-such-book"), Err(NotFound::Book { .. })));
        assert!(matches!(ask("no/such/folder"), Err(NotFound::NoBookFolder(_))));
        assert_eq!(places.shelves(), [dir.path().join("h/phrasebooks"), dir.path().join("src/phrasebooks")]);
    }
}
