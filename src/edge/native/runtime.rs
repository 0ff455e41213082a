//! Loading the runtime library and models from it, with a time limit.

use super::manifest::{self, ModelProblem};
use super::work::{self, Model};
use ort::environment::Environment;
use ort::logging::LogLevel;
use ort::session::Session;
use ort::session::builder::SessionBuilder;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError, mpsc};
use std::time::Duration;

/// Where the library lies under the models folder.
#[cfg(target_os = "linux")]
const LIBRARY: &str = "onnxruntime/libonnxruntime.so.1.32.0";
#[cfg(target_os = "macos")]
const LIBRARY: &str = "onnxruntime/libonnxruntime.1.32.0.dylib";
#[cfg(target_os = "windows")]
const LIBRARY: &str = "onnxruntime/onnxruntime.dll";

/// A library that has not answered by then never will; loading takes about 50 ms.
const LIBRARY_LIMIT: Duration = Duration::from_secs(20);
/// The largest model loads in about a second.
const MODEL_LIMIT: Duration = Duration::from_secs(60);

/// What can be wrong with the native parts. Each is one sentence that says what to do next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NativeError {
    /// A file is not there, or not the one that the manifest lists.
    #[error(transparent)]
    File(#[from] ModelProblem),
    /// The library cannot be used: foreign, damaged or too old.
    #[error("{path} is not a usable ONNX Runtime 1.24 or later ({why}): run the set-up again")]
    Library {
        /// The file.
        path: PathBuf,
        /// What the loader said, shortened.
        why: String,
    },
    /// A model file is damaged or of another kind.
    #[error("the model {path} cannot be loaded ({why}): delete it and run the set-up again")]
    Model {
        /// The file.
        path: PathBuf,
        /// What the runtime said, shortened.
        why: String,
    },
    /// The loader hung.
    #[error("{0} did not load in time: close other programs and try again, or run the set-up again")]
    Slow(PathBuf),
    /// A model failed while running.
    #[error("the model failed while running ({0}): restart, and run the set-up again if it stays")]
    Run(String),
}

/// The first line of a foreign message, at most 160 characters.
pub(super) fn brief(text: impl ToString) -> String {
    text.to_string().lines().next().unwrap_or_default().trim().chars().take(160).collect()
}

pub(super) fn failed(e: ort::Error) -> NativeError {
    NativeError::Run(brief(e))
}

/// The loaded library and the folder of models. Cheap to clone; the library is loaded once a process.
#[derive(Debug, Clone)]
pub struct Runtime {
    env: Environment,
    models: PathBuf,
}

/// One environment a process is all that the library allows.
static LOADED: Mutex<Option<Environment>> = Mutex::new(None);

impl Runtime {
    /// Loads the library from `models` (the folder that holds `onnxruntime/`), or takes the one already loaded.
    ///
    /// # Errors
    /// [`NativeError::File`], [`NativeError::Library`] or, after 20 s, [`NativeError::Slow`].
    pub fn open(models: &Path) -> Result<Runtime, NativeError> {
        let path = models.join(LIBRARY);
        preflight(&path)?;
        match manifest::verify(models, LIBRARY) {
            // The manifest lists the library of one system; on another the pilot brings it, and only the preflight judges.
            Ok(_) | Err(ModelProblem::Unlisted(_)) => {}
            Err(problem) => return Err(problem.into()),
        }
        let mut loaded = LOADED.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(env) = &*loaded {
            return Ok(Runtime { env: env.clone(), models: models.to_path_buf() });
        }
        super::heap::keep_little();
        let library = path.clone();
        let env = within(LIBRARY_LIMIT, &path, move || {
            let _busy = work::begin();
            let builder = ort::init_from(&library).map_err(|e| brief(e.to_string()))?;
            // Every failure comes back as a result: the library's own lines on stderr would say it twice.
            let quiet = Arc::new(|_: LogLevel, _: &str, _: &str, _: &str, _: &str| {});
            builder.with_name("antiphon").with_telemetry(false).with_logger(quiet).build().map_err(brief)
        })?
        .map_err(|why| NativeError::Library { path, why })?;
        *loaded = Some(env.clone());
        Ok(Runtime { env, models: models.to_path_buf() })
    }

    /// Loads `file` (relative to the models folder, listed in the manifest) with `threads` threads inside an operation.
    ///
    /// # Errors
    /// [`NativeError::File`], [`NativeError::Model`] or, after 60 s, [`NativeError::Slow`].
    pub(super) fn session(&self, file: &str, threads: usize) -> Result<Model, NativeError> {
        self.load(manifest::verify(&self.models, file)?, threads)
    }

    /// Loads a model whatever it is.
    fn load(&self, path: PathBuf, threads: usize) -> Result<Model, NativeError> {
        let model = path.clone();
        self.commit(path, threads, move |mut builder| builder.commit_from_file(&model))
    }

    /// Loads a network that was built from the file `of` (relative to the models folder).
    ///
    /// # Errors
    /// [`NativeError::Model`] or, after 60 s, [`NativeError::Slow`].
    pub(super) fn built(&self, network: Vec<u8>, of: &str) -> Result<Model, NativeError> {
        self.commit(self.models.join(of), 2, move |mut builder| builder.commit_from_memory(&network))
    }

    fn commit(
        &self,
        path: PathBuf,
        threads: usize,
        load: impl FnOnce(SessionBuilder) -> Result<Session, ort::Error> + Send + 'static,
    ) -> Result<Model, NativeError> {
        let env = self.env.clone();
        within(MODEL_LIMIT, &path, move || {
            let _busy = work::begin();
            // Spinning threads would take a core from the simulator and gain nothing measurable.
            let build = || -> Result<Session, ort::Error> {
                let builder = Session::builder(&env)?
                    .with_intra_threads(threads)?
                    .with_intra_op_spinning(false)?
                    .with_inter_op_spinning(false)?
                    // No two utterances are of one length: kept buffers of every shape would grow to hundreds of megabytes.
                    .with_memory_pattern(false)?
                    .with_execution_providers([ort::ep::CPU::default().with_arena_allocator(false).build()])?;
                load(builder)
            };
            build().map(Model::new).map_err(brief)
        })?
        .map_err(|why| NativeError::Model { path, why })
    }

    /// The folder of models.
    pub fn models(&self) -> &Path {
        &self.models
    }
}

/// What can be told of the library without loading it: that it is there, whole enough and of this system's kind.
fn preflight(path: &Path) -> Result<(), NativeError> {
    let bad = |why: &str| Err(NativeError::Library { path: path.to_path_buf(), why: why.to_string() });
    let Ok(about) = std::fs::metadata(path) else { return Err(ModelProblem::Missing(path.to_path_buf()).into()) };
    if about.len() < 1_000_000 {
        return bad("the file is too short");
    }
    #[cfg(target_os = "linux")]
    {
        use std::io::Read;
        let mut head = [0; 4];
        let read = std::fs::File::open(path).and_then(|mut f| f.read_exact(&mut head));
        if read.is_err() || head != *b"\x7fELF" {
            return bad("the file is not a shared library");
        }
        if cut(path) {
            return bad("the file is cut short");
        }
    }
    Ok(())
}

/// Whether an ELF file is shorter than its section table says; mapping such a file can end the process.
#[cfg(target_os = "linux")]
fn cut(path: &Path) -> bool {
    use std::io::Read;
    let mut head = [0; 64];
    let Ok(mut file) = std::fs::File::open(path) else { return true };
    if file.read_exact(&mut head).is_err() {
        return true;
    }
    let number = |at: usize, n: usize| head[at..at + n].iter().rev().fold(0u64, |v, b| v << 8 | u64::from(*b));
    // ELF-64: e_shoff at 40, e_shentsize at 58, e_shnum at 60 (System V ABI, generic, chapter 4).
    let end = number(40, 8).saturating_add(number(58, 2) * number(60, 2));
    file.metadata().map_or(true, |m| m.len() < end)
}

/// Runs `work` on a thread of its own and waits at most `limit`; a panic there counts as a failure.
fn within<T: Send + 'static>(
    limit: Duration,
    path: &Path,
    work: impl FnOnce() -> Result<T, String> + Send + 'static,
) -> Result<Result<T, String>, NativeError> {
    let (tell, told) = mpsc::sync_channel(1);
    let spawned = std::thread::Builder::new().name("native-loader".into()).spawn(move || {
        let result = std::panic::catch_unwind(std::panic::AssertUnwindSafe(work));
        let _ = tell.send(result.unwrap_or_else(|_| Err("the loader gave up".into())));
    });
    if let Err(e) = spawned {
        return Ok(Err(brief(e)));
    }
    told.recv_timeout(limit).map_err(|_| NativeError::Slow(path.to_path_buf()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A folder of models in which the library is `bytes`.
    fn with_library(bytes: Option<&[u8]>) -> tempfile::TempDir {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("onnxruntime")).unwrap();
        if let Some(bytes) = bytes {
            std::fs::write(dir.path().join(LIBRARY), bytes).unwrap();
        }
        dir
    }

    #[test]
    fn a_bad_library_is_one_sentence() {
        let open = |bytes: Option<&[u8]>| Runtime::open(with_library(bytes).path()).unwrap_err();
        assert!(matches!(open(None), NativeError::File(ModelProblem::Missing(_))));
        assert!(open(Some(b"")).to_string().contains("too short"));
        assert!(open(Some(&vec![b'x'; 2_000_000])).to_string().contains("not a shared library"));
    }

    #[test]
    #[cfg(target_os = "linux")]
    fn a_cut_or_foreign_library_is_one_sentence() {
        let Some(good) = crate::edge::native::for_tests() else { return };
        let bytes = std::fs::read(good.models().join(LIBRARY)).unwrap();
        let e = Runtime::open(with_library(Some(&bytes[..bytes.len() / 2])).path()).unwrap_err();
        assert!(e.to_string().contains("cut short"), "{e}");
    }

    /// One byte other than it should be: the loader might take it, the manifest does not.
    #[test]
    #[cfg(target_os = "linux")]
    fn an_altered_library_or_model_is_one_sentence() {
        let Some(good) = crate::edge::native::for_tests() else { return };
        let altered = |file: &str| {
            let mut bytes = std::fs::read(good.models().join(file)).unwrap();
            let at = bytes.len() / 2;
            bytes[at] ^= 1;
            bytes
        };
        let dir = with_library(Some(&altered(LIBRARY)));
        let e = Runtime::open(dir.path()).unwrap_err();
        assert!(e.to_string().contains("has the SHA-256"), "{e}");

        let model = "silero/silero_vad_16k_op15.onnx";
        std::fs::create_dir(dir.path().join("silero")).unwrap();
        std::fs::write(dir.path().join(model), altered(model)).unwrap();
        let e = Runtime { env: good.env.clone(), models: dir.path().into() }.session(model, 1).map(|_| ()).unwrap_err();
        assert!(e.to_string().contains("has the SHA-256"), "{e}");
    }

    #[test]
    fn a_truncated_model_is_one_sentence() {
        let Some(good) = crate::edge::native::for_tests() else { return };
        let dir = tempfile::tempdir().unwrap();
        for file in [
            "moonshine-tiny-en/encoder_model.ort",
            "moonshine-tiny-en/decoder_model_merged.ort",
            "silero/silero_vad_16k_op15.onnx",
        ] {
            let bytes = std::fs::read(good.models().join(file)).unwrap();
            for keep in [0, 10, 1000, bytes.len() / 2, bytes.len() - 100] {
                let path = dir.path().join("model.").with_extension(&file[file.len() - 3..]);
                std::fs::write(&path, &bytes[..keep]).unwrap();
                let e = good.load(path, 1).map(|_| ()).expect_err(&format!("{file} cut to {keep} bytes loads"));
                let said = e.to_string();
                assert!(matches!(e, NativeError::Model { .. }) && !said.contains('\n'), "{said}");
            }
        }
        let unlisted = good.session("nothing.onnx", 1);
        assert!(matches!(unlisted, Err(NativeError::File(ModelProblem::Unlisted(_)))));
    }

    #[test]
    fn a_loader_that_hangs_or_panics_is_told() {
        let path = Path::new("lib");
        let slow = within(Duration::from_millis(20), path, || {
            std::thread::sleep(Duration::from_millis(300));
            Ok(())
        });
        assert_eq!(slow, Err(NativeError::Slow(path.into())));
        assert_eq!(
            within(Duration::from_secs(5), path, || -> Result<(), String> { panic!("no") }).unwrap(),
            Err("the loader gave up".into())
        );
    }
}
