//! The worker program as seen from here: started, asked, waited for within a limit, and ended.

use super::vosk_talk::{Answer, Ask};
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// The worker's file name, beside the program's own.
pub const PROGRAM: &str = if cfg!(windows) { "antiphon-vosk.exe" } else { "antiphon-vosk" };
/// An answer longer than this is none of ours, bytes.
const LONGEST_ANSWER: u64 = 8 << 20;

/// How the worker is started.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Launch {
    /// The worker.
    pub program: PathBuf,
    /// The folder that holds libvosk; else the system's places are searched.
    pub library: Option<PathBuf>,
    /// The model's folder.
    pub model: PathBuf,
}

/// Why the worker gave no answer. One sentence each.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WorkerError {
    /// It is not there.
    #[error("the Vosk worker {0} is not there: build it with `make vosk`, or use --engine neural")]
    NoProgram(PathBuf),
    /// It cannot be started.
    #[error("the Vosk worker {path} does not start ({why}): build it again with `make vosk`")]
    NoStart {
        /// The worker.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// It starts without its library.
    #[error("the Vosk worker does not find its library ({0}): run `make vosk`")]
    NoLibrary(String),
    /// It ended.
    #[error("the Vosk worker stopped{}", if .0.is_empty() { String::new() } else { format!(" ({})", .0) })]
    Died(String),
    /// It did not answer in time.
    #[error("the Vosk worker did not answer within {} s", .0.as_secs_f64())]
    Slow(Duration),
    /// It answered something else.
    #[error(
        "the Vosk worker answered \u{201c}{0}\u{201d}: build it and the program from the same source with `make vosk`"
    )]
    Garbled(String),
    /// It refused.
    #[error("{0}")]
    Refused(String),
}

/// A running worker. It ends with this value.
#[derive(Debug)]
pub struct Worker {
    child: Child,
    asks: Sender<Vec<u8>>,
    answers: Receiver<String>,
    /// The last line of its standard error.
    complaint: Arc<Mutex<String>>,
}

impl Worker {
    /// Starts it; it has not been asked anything yet.
    ///
    /// # Errors
    /// [`WorkerError::NoProgram`], [`WorkerError::NoStart`].
    pub fn start(launch: &Launch) -> Result<Worker, WorkerError> {
        let mut command = Command::new(&launch.program);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
        if let Some(folder) = &launch.library {
            let name = match std::env::consts::OS {
                "windows" => "PATH",
                "macos" => "DYLD_LIBRARY_PATH",
                _ => "LD_LIBRARY_PATH",
            };
            command.env(name, first(folder, std::env::var_os(name).as_deref()));
        }
        let mut tries = 0;
        let mut child = loop {
            match command.spawn() {
                Ok(child) => break child,
                // It has just been written and someone still holds it open.
                Err(e) if e.kind() == std::io::ErrorKind::ExecutableFileBusy && tries < 20 => tries += 1,
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
                    return Err(WorkerError::NoProgram(launch.program.clone()));
                }
                Err(e) => return Err(WorkerError::NoStart { path: launch.program.clone(), why: e.to_string() }),
            }
            std::thread::sleep(Duration::from_millis(20));
        };
        let (Some(mut input), Some(output), Some(errors)) =
            (child.stdin.take(), child.stdout.take(), child.stderr.take())
        else {
            return Err(WorkerError::NoStart { path: launch.program.clone(), why: "it has no pipes".into() });
        };
        // A thread writes, so that a worker that does not read cannot hold us up; killing it ends the thread.
        let (asks, questions) = channel::<Vec<u8>>();
        std::thread::spawn(move || {
            for bytes in questions {
                if input.write_all(&bytes).and_then(|()| input.flush()).is_err() {
                    return;
                }
            }
        });
        let (send, answers) = channel();
        std::thread::spawn(move || {
            let mut output = BufReader::new(output);
            let mut line = Vec::new();
            while output.by_ref().take(LONGEST_ANSWER).read_until(b'\n', &mut line).is_ok_and(|n| n > 0) {
                if send.send(String::from_utf8_lossy(&line).trim_end().to_owned()).is_err() {
                    return;
                }
                line.clear();
            }
        });
        let complaint = Arc::new(Mutex::new(String::new()));
        let last = complaint.clone();
        std::thread::spawn(move || {
            for line in BufReader::new(errors).split(b'\n').map_while(Result::ok) {
                let line = String::from_utf8_lossy(&line).trim().to_owned();
                if !line.is_empty() {
                    *last.lock().unwrap_or_else(PoisonError::into_inner) = line;
                }
            }
        });
        Ok(Worker { child, asks, answers, complaint })
    }

    /// Asks, with the sound that belongs to [`Ask::Hear`]; does not wait.
    pub fn ask(&mut self, ask: &Ask, sound: &[i16]) {
        let mut bytes = serde_json::to_vec(ask).unwrap_or_default();
        bytes.push(b'\n');
        bytes.extend(sound.iter().flat_map(|s| s.to_le_bytes()));
        // If the thread is gone, so is the worker: the answer will tell.
        let _ = self.asks.send(bytes);
    }

    /// The answer to the oldest question still open.
    ///
    /// # Errors
    /// Every [`WorkerError`] but the first two. After anything but [`WorkerError::Refused`] the worker is of no more use.
    pub fn answer(&mut self, limit: Duration) -> Result<Answer, WorkerError> {
        match self.answers.recv_timeout(limit) {
            Ok(line) => match serde_json::from_str(&line) {
                Ok(Answer::Refused { why }) => Err(WorkerError::Refused(why)),
                Ok(answer) => Ok(answer),
                Err(_) => Err(WorkerError::Garbled(line.chars().take(60).collect())),
            },
            Err(RecvTimeoutError::Timeout) => Err(WorkerError::Slow(limit)),
            Err(RecvTimeoutError::Disconnected) => Err(self.death()),
        }
    }

    /// Proves that it runs and speaks the protocol, before any model is loaded.
    ///
    /// # Errors
    /// As [`answer`](Self::answer).
    pub fn greet(&mut self, limit: Duration) -> Result<(), WorkerError> {
        self.ask(&Ask::Words { words: Vec::new() }, &[]);
        match self.answer(limit) {
            Ok(_) | Err(WorkerError::Refused(_)) => Ok(()),
            Err(e) => Err(e),
        }
    }

    /// Whether it has ended, and why; at once.
    pub fn dead(&mut self) -> Option<WorkerError> {
        match self.child.try_wait() {
            Ok(None) => None,
            _ => Some(self.death()),
        }
    }

    fn death(&mut self) -> WorkerError {
        let _ = self.child.kill();
        let status = self.child.wait().ok();
        // What it wrote last may still be on its way through the pipe.
        for _ in 0..20 {
            if !self.complaint().is_empty() {
                break;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        let said = self.complaint();
        // The loader of Linux and of macOS; Windows tells by the status alone (STATUS_DLL_NOT_FOUND).
        let loader = ["error while loading shared libraries", "Library not loaded"].iter().any(|s| said.contains(s));
        if loader || status.and_then(|s| s.code()) == Some(0xC000_0135_u32 as i32) {
            return WorkerError::NoLibrary(said);
        }
        WorkerError::Died(if said.is_empty() { status.map_or_else(String::new, |s| s.to_string()) } else { said })
    }

    fn complaint(&self) -> String {
        self.complaint.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The number of its process.
    pub fn process(&self) -> u32 {
        self.child.id()
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A list of folders with this one before the others.
fn first(folder: &Path, others: Option<&std::ffi::OsStr>) -> std::ffi::OsString {
    let folders = std::iter::once(folder.to_path_buf()).chain(others.into_iter().flat_map(std::env::split_paths));
    // A folder whose name cannot stand in a list is the only one then.
    std::env::join_paths(folders).unwrap_or_else(|_| folder.into())
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;
    use std::time::Instant;

    /// A worker that is this shell script.
    fn fake(script: &str) -> (tempfile::TempDir, Launch) {
        let dir = tempfile::tempdir().unwrap();
        let program = dir.path().join("worker");
        std::fs::write(&program, format!("#!/bin/sh\n{script}\n")).unwrap();
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
        let launch = Launch { program, library: None, model: dir.path().to_path_buf() };
        (dir, launch)
    }

    fn check(script: &str, wanted: &str) {
        let (_dir, launch) = fake(script);
        let mut worker = Worker::start(&launch).unwrap();
        // More than a pipe holds: a worker that does not read must not hold us up.
        worker.ask(&Ask::Hear { samples: 100_000 }, &vec![0; 100_000]);
        let began = Instant::now();
        let told = match worker.answer(Duration::from_millis(1_500)) {
            Ok(answer) => format!("{answer:?}"),
            Err(e) => e.to_string(),
        };
        assert_eq!(told, wanted);
        assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
        drop(worker);
        assert!(began.elapsed() < Duration::from_secs(3), "{:?}", began.elapsed());
    }

    #[test]
    fn each_fault_has_its_sentence() {
        check(r#"echo '{"answer":"text","text":"gear up"}'; sleep 60"#, "Text { text: \"gear up\" }");
        check(r#"echo '{"answer":"refused","why":"no model is loaded"}'; sleep 60"#, "no model is loaded");
        check("exec sleep 60", "the Vosk worker did not answer within 1.5 s");
        check("echo 'ASSERTION_FAILED here' >&2; exit 3", "the Vosk worker stopped (ASSERTION_FAILED here)");
        check("exit 3", "the Vosk worker stopped (exit status: 3)");
        check("kill -9 $$", "the Vosk worker stopped (signal: 9 (SIGKILL))");
        check(
            "echo 'worker: error while loading shared libraries: libvosk.so: cannot open' >&2; exit 127",
            "the Vosk worker does not find its library (worker: error while loading shared libraries: libvosk.so: cannot \
             open): run `make vosk`",
        );
        check(
            "echo hello; sleep 60",
            "the Vosk worker answered \u{201c}hello\u{201d}: build it and the program from the same source with `make vosk`",
        );
    }

    #[test]
    fn a_worker_that_is_not_there() {
        let launch = Launch { program: "/nowhere/antiphon-vosk".into(), library: None, model: PathBuf::new() };
        assert!(matches!(Worker::start(&launch), Err(WorkerError::NoProgram(_))));
        let (dir, launch) = fake("");
        std::fs::set_permissions(&launch.program, std::fs::Permissions::from_mode(0o644)).unwrap();
        assert!(matches!(Worker::start(&launch), Err(WorkerError::NoStart { .. })), "{dir:?}");
    }

    #[test]
    fn the_library_folder_comes_first() {
        let (_dir, mut launch) = fake(r#"echo "{\"answer\":\"text\",\"text\":\"$LD_LIBRARY_PATH\"}"; sleep 60"#);
        launch.library = Some("/some/folder".into());
        if cfg!(target_os = "linux") {
            let mut worker = Worker::start(&launch).unwrap();
            let Ok(Answer::Text { text }) = worker.answer(Duration::from_secs(5)) else { panic!("no answer") };
            assert!(text == "/some/folder" || text.starts_with("/some/folder:"), "{text}");
        }
    }
}
