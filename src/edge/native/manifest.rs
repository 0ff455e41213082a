//! What set-up brings (`models/manifest.toml`, embedded here), and proof that a file on disk is the one that was meant.
//!
//! A file's size is looked at every time. Its SHA-256 is computed once and then vouched for by a stamp beside it
//! (`NAME.verified`: hash, size and time of change in nanoseconds), which set-up writes too; any change of size or time
//! makes the stamp void. The doctor hashes without asking the stamp.

use serde::Deserialize;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, OnceLock, PoisonError};
use std::time::UNIX_EPOCH;

const TEXT: &str = include_str!("../../../models/manifest.toml");

/// The whole manifest.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// Version of the format: 1.
    pub schema: u32,
    /// Debian packages, by name only.
    pub debian: Vec<DebianPackage>,
    /// Python packages that carry models and the native library.
    #[serde(rename = "package")]
    pub packages: Vec<Package>,
}

/// When a package is needed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// To fly.
    Run,
    /// To build from source.
    Build,
    /// For the Vosk ear alone.
    Vosk,
    /// For the tests alone.
    Test,
    /// What a benchmark compares with.
    Bench,
}

fn run() -> Stage {
    Stage::Run
}

/// A Debian package.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DebianPackage {
    /// Debian's name for it.
    pub name: String,
    /// The program whose presence shows that it is there.
    #[serde(default)]
    pub program: Option<String>,
    /// Or the file.
    #[serde(default)]
    pub file: Option<PathBuf>,
    /// When it is needed.
    #[serde(rename = "for")]
    pub stage: Stage,
    /// What it is for.
    pub what: String,
    /// Its terms.
    pub licence: String,
    /// What is not certain about them.
    #[serde(default)]
    pub doubt: Option<String>,
}

/// A Python package: fetched as a wheel, never run.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Package {
    /// Its name in the registry.
    pub name: String,
    /// Its exact version.
    pub version: String,
    /// The wheel's file name.
    pub wheel: String,
    /// The wheel's length in bytes.
    pub size: u64,
    /// The wheel's SHA-256, hex.
    pub sha256: String,
    /// The platform tag to ask for; absent if any.
    #[serde(default)]
    pub platform: Option<String>,
    /// The Python version to ask for; absent if any.
    #[serde(default)]
    pub python: Option<String>,
    /// The Python ABI to ask for; absent if any.
    #[serde(default)]
    pub abi: Option<String>,
    /// When it is needed; to fly, if it says nothing.
    #[serde(rename = "for", default = "run")]
    pub stage: Stage,
    /// What it is for.
    pub what: String,
    /// Its terms.
    pub licence: String,
    /// What is not certain about them.
    #[serde(default)]
    pub doubt: Option<String>,
    /// What is taken out of it.
    #[serde(rename = "file")]
    pub files: Vec<ModelFile>,
}

/// One file of a package.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModelFile {
    /// Its path in the wheel.
    pub from: String,
    /// Its path below the models folder, with `/`.
    pub to: String,
    /// Its length in bytes.
    pub size: u64,
    /// Its SHA-256, hex.
    pub sha256: String,
    /// Whether it is a licence or the like, which no flight needs.
    #[serde(default)]
    pub notice: bool,
}

/// What can be wrong with a file. Each is one sentence that says what to do next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ModelProblem {
    /// The manifest does not know it.
    #[error("{0} is not listed in models/manifest.toml: add it there before loading it")]
    Unlisted(String),
    /// It is not there.
    #[error("{0} is missing: run `make setup`, or name the models folder with --models")]
    Missing(PathBuf),
    /// It cannot be read.
    #[error("{path} cannot be read ({why}): mend that, or delete it and run `make setup`")]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// It is shorter or longer than it should be.
    #[error("{path} has {found} bytes instead of {expected}: delete it and run `make setup`")]
    WrongSize {
        /// The file.
        path: PathBuf,
        /// Bytes it should have.
        expected: u64,
        /// Bytes it has.
        found: u64,
    },
    /// It is another file.
    #[error("{path} has the SHA-256 {found} instead of {expected}: delete it and run `make setup`")]
    WrongHash {
        /// The file.
        path: PathBuf,
        /// The hash it should have.
        expected: String,
        /// The hash it has.
        found: String,
    },
}

impl Manifest {
    /// The manifest that this program was built with.
    pub fn embedded() -> &'static Manifest {
        static PARSED: OnceLock<Manifest> = OnceLock::new();
        PARSED.get_or_init(|| toml::from_str(TEXT).expect("a test parses models/manifest.toml"))
    }

    /// The file that belongs at `to` below the models folder.
    pub fn file(&self, to: &str) -> Option<&ModelFile> {
        self.packages.iter().flat_map(|p| &p.files).find(|f| f.to == to)
    }

    /// The top folders of the files, in the manifest's order: what makes a folder a models folder.
    pub fn folders(&self) -> Vec<&str> {
        let mut all = Vec::new();
        let flown = self.packages.iter().filter(|p| p.stage == Stage::Run);
        for (folder, _) in flown.flat_map(|p| &p.files).filter_map(|f| f.to.split_once('/')) {
            if !all.contains(&folder) {
                all.push(folder);
            }
        }
        all
    }

    /// The package whose file belongs at `to`.
    pub fn package_of(&self, to: &str) -> Option<&Package> {
        self.packages.iter().find(|p| p.files.iter().any(|f| f.to == to))
    }
}

/// The path of the file `to` in the models folder `models`, proven to be the one of the manifest. Cheap after the first
/// time: the hash is vouched for by the stamp, or remembered while the program runs.
///
/// # Errors
/// Every [`ModelProblem`].
pub fn verify(models: &Path, to: &str) -> Result<PathBuf, ModelProblem> {
    verify_listed(Manifest::embedded(), models, to, false)
}

/// Like [`verify`], but hashes the file whatever its stamp says.
///
/// # Errors
/// Every [`ModelProblem`].
pub fn verify_fully(models: &Path, to: &str) -> Result<PathBuf, ModelProblem> {
    verify_listed(Manifest::embedded(), models, to, true)
}

/// What this process has hashed: path and stamp text.
static HASHED: Mutex<BTreeSet<(PathBuf, String)>> = Mutex::new(BTreeSet::new());

fn verify_listed(manifest: &Manifest, models: &Path, to: &str, fully: bool) -> Result<PathBuf, ModelProblem> {
    let wanted = manifest.file(to).ok_or_else(|| ModelProblem::Unlisted(to.to_string()))?;
    let path = models.join(to);
    let about = match std::fs::metadata(&path) {
        Ok(about) if about.is_file() => about,
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(unreadable(&path, &e)),
        _ => return Err(ModelProblem::Missing(path)),
    };
    if about.len() != wanted.size {
        return Err(ModelProblem::WrongSize { path, expected: wanted.size, found: about.len() });
    }
    // A file from before 1970, or on a system without times, has no stamp and is hashed once a process.
    let changed = about.modified().ok().and_then(|t| t.duration_since(UNIX_EPOCH).ok()).map_or(0, |d| d.as_nanos());
    let stamp = format!("{} {} {changed}\n", wanted.sha256, wanted.size);
    let stamp_path = models.join(format!("{to}.verified"));
    let stamped = changed != 0 && std::fs::read_to_string(&stamp_path).is_ok_and(|s| s == stamp);
    let key = (path, stamp);
    if !fully && (stamped || HASHED.lock().unwrap_or_else(PoisonError::into_inner).contains(&key)) {
        return Ok(key.0);
    }
    let found = sha256(&key.0).map_err(|e| unreadable(&key.0, &e))?;
    if found != wanted.sha256 {
        let _ = std::fs::remove_file(&stamp_path);
        return Err(ModelProblem::WrongHash { path: key.0, expected: wanted.sha256.clone(), found });
    }
    if !stamped {
        // A folder that cannot be written only costs another hash at the next start.
        let _ = std::fs::write(&stamp_path, &key.1);
    }
    HASHED.lock().unwrap_or_else(PoisonError::into_inner).insert(key.clone());
    Ok(key.0)
}

fn unreadable(path: &Path, error: &std::io::Error) -> ModelProblem {
    ModelProblem::Unreadable { path: path.to_path_buf(), why: error.to_string() }
}

/// SHA-256 of a file, hex.
fn sha256(path: &Path) -> std::io::Result<String> {
    let mut file = std::fs::File::open(path)?;
    let mut hash = Sha256::new();
    let mut block = vec![0; 1 << 20];
    loop {
        match file.read(&mut block)? {
            0 => break,
            n => hash.update(&block[..n]),
        }
    }
    Ok(hash.finalize().iter().map(|b| format!("{b:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A manifest with one file, `ear/model.bin`, that holds "abc".
    fn small() -> Manifest {
        // SHA-256 of "abc": FIPS 180-2, appendix B.1.
        let sha256 = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad".to_string();
        let file = ModelFile { from: "x".into(), to: "ear/model.bin".into(), size: 3, sha256, notice: false };
        let mut manifest = Manifest::embedded().clone();
        manifest.packages.truncate(1);
        manifest.packages[0].files = vec![file];
        manifest
    }

    /// A models folder in which that file holds `bytes`.
    fn folder(bytes: Option<&[u8]>) -> tempfile::TempDir {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("ear")).unwrap();
        if let Some(bytes) = bytes {
            std::fs::write(dir.path().join("ear/model.bin"), bytes).unwrap();
        }
        dir
    }

    fn check(bytes: Option<&[u8]>, wanted: &str) {
        let dir = folder(bytes);
        let told = match verify_listed(&small(), dir.path(), "ear/model.bin", false) {
            Ok(path) => path.display().to_string(),
            Err(problem) => problem.to_string(),
        };
        assert_eq!(told.replace(&dir.path().display().to_string(), "M"), wanted);
    }

    #[test]
    fn each_fault_is_one_sentence() {
        check(Some(b"abc"), "M/ear/model.bin");
        check(None, "M/ear/model.bin is missing: run `make setup`, or name the models folder with --models");
        check(Some(b"abcd"), "M/ear/model.bin has 4 bytes instead of 3: delete it and run `make setup`");
        check(
            Some(b"abd"),
            "M/ear/model.bin has the SHA-256 a52d159f262b2c6ddb724a61840befc36eb30c88877a4030b65cbe86298449c9 instead of \
             ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad: delete it and run `make setup`",
        );
        let problem = verify_listed(&small(), Path::new("."), "ear/other.bin", false).unwrap_err();
        assert_eq!(problem, ModelProblem::Unlisted("ear/other.bin".into()));
    }

    #[test]
    fn the_stamp_vouches_until_the_file_changes() {
        let (dir, manifest) = (folder(Some(b"abc")), small());
        let (model, stamp) = (dir.path().join("ear/model.bin"), dir.path().join("ear/model.bin.verified"));
        let ask = |fully| verify_listed(&manifest, dir.path(), "ear/model.bin", fully);
        ask(false).unwrap();
        let first = std::fs::read_to_string(&stamp).unwrap();
        assert!(first.starts_with(&manifest.packages[0].files[0].sha256));

        // Same size, other content, other time: the stamp is void.
        std::fs::write(&model, b"xyz").unwrap();
        let later = std::time::SystemTime::now() + std::time::Duration::from_secs(5);
        std::fs::File::options().write(true).open(&model).unwrap().set_modified(later).unwrap();
        assert!(matches!(ask(false), Err(ModelProblem::WrongHash { .. })));
        assert!(!stamp.exists(), "the void stamp stayed");

        // A stamp that vouches for a wrong file convinces the quick look, not the full one.
        let about = std::fs::metadata(&model).unwrap();
        let nanos = about.modified().unwrap().duration_since(UNIX_EPOCH).unwrap().as_nanos();
        std::fs::write(&stamp, format!("{} 3 {nanos}\n", manifest.packages[0].files[0].sha256)).unwrap();
        ask(false).unwrap();
        assert!(matches!(ask(true), Err(ModelProblem::WrongHash { .. })));
    }

    #[test]
    fn the_embedded_manifest_is_whole() {
        let manifest = Manifest::embedded();
        assert_eq!(manifest.schema, 1);
        let mut places = BTreeSet::new();
        for package in &manifest.packages {
            // A wheel, or a package of npm, which writes its names otherwise.
            let npm = package.wheel == format!("{}-{}.tgz", package.name, package.version);
            let named = package.wheel.starts_with(&package.name.replace('-', "_"));
            assert!(npm || named, "{}", package.wheel);
            assert!(npm || package.wheel.contains(&format!("-{}-", package.version)), "{}", package.wheel);
            let hashes = package.files.iter().map(|f| &f.sha256).chain([&package.sha256]);
            for hash in hashes {
                assert!(hash.len() == 64 && hash.bytes().all(|b| b.is_ascii_hexdigit()), "{hash}");
            }
            for file in &package.files {
                assert!(places.insert(&file.to), "{} is listed twice", file.to);
                assert!(!file.to.starts_with('/') && !file.to.contains(".."), "{}", file.to);
                assert_eq!(manifest.package_of(&file.to), Some(package));
            }
        }
        for package in &manifest.debian {
            assert!(package.program.is_some() != package.file.is_some(), "{}: name a program or a file", package.name);
        }
        assert!(manifest.folders().contains(&"onnxruntime"));
    }
}
