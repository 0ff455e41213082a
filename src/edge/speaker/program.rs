//! Voices that are programs of their own: started, given the text, waited for with a limit.

use super::{SpeakError, Synth};
use crate::edge::audio::wav::{self, Channel};
use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

/// Longest that a program may take for one sentence.
pub const LIMIT: Duration = Duration::from_secs(5);

/// Longest text we hand over, in characters; more is no sentence of a crew.
const LONGEST: usize = 1_000;

/// A voice of flite, espeak-ng or another program with the same manners.
pub struct Program {
    program: String,
    settings: Vec<String>,
    identity: String,
}

impl Program {
    /// `program` is `flite` or `espeak-ng`; `settings` precede the text.
    pub fn new(program: &str, settings: &[String]) -> Self {
        let identity = format!("{program} {}", settings.join(" "));
        Program { program: program.into(), settings: settings.to_vec(), identity }
    }
}

impl Synth for Program {
    fn identity(&self) -> &str {
        &self.identity
    }

    fn speak(&mut self, text: &str) -> Result<(u32, Vec<f32>), SpeakError> {
        let text = plain(text);
        if !text.chars().any(char::is_alphanumeric) {
            return Ok((16_000, Vec::new()));
        }
        let out = Scratch::new("wav");
        let mut command = Command::new(&self.program);
        command.args(&self.settings);
        let input = if self.program == "flite" {
            command.arg("-t").arg(&text).arg("-o").arg(&out.path);
            String::new()
        } else {
            command.arg("--stdin").arg("-w").arg(&out.path);
            text
        };
        let told = run(&self.program, command, &input, LIMIT)?;
        let wav = wav::read(&out.path, Channel::Mix, None).map_err(|_| SpeakError::Program {
            program: self.program.clone(),
            why: if told.is_empty() { "it left no sound".into() } else { told },
        })?;
        Ok((wav.rate, wav.samples))
    }
}

/// Text that every program takes: one line, plain punctuation, no control characters.
pub(super) fn plain(text: &str) -> String {
    let simple = |c: char| match c {
        '\u{2018}' | '\u{2019}' => '\'',
        '\u{2013}' | '\u{2014}' => ',',
        '\u{201c}' | '\u{201d}' | '"' => ' ',
        '\u{2026}' => '.',
        c if c.is_control() => ' ',
        c => c,
    };
    text.chars().map(simple).take(LONGEST).collect::<String>().trim().to_string()
}

/// Runs a program to its end with `input` on its standard input; gives what it printed (trimmed standard output, or
/// standard error if that is empty). An end with an error, or none within `limit`, is an error.
pub(super) fn run(name: &str, mut command: Command, input: &str, limit: Duration) -> Result<String, SpeakError> {
    let fault = |why: String| SpeakError::Program { program: name.into(), why };
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => SpeakError::NoProgram { program: name.into(), hint: hint(name) },
        _ => fault(e.to_string()),
    })?;
    let mut stdin = child.stdin.take();
    let input = input.as_bytes().to_vec();
    // Three pipes, three threads: none can fill up and stop the program.
    let writer = std::thread::spawn(move || {
        if let Some(pipe) = &mut stdin {
            // A program that does not read its input is no fault.
            let _ = pipe.write_all(&input);
        }
    });
    let out = collect(child.stdout.take());
    let err = collect(child.stderr.take());
    let status = wait(&mut child, limit);
    let status = match status {
        Ok(Some(status)) => status,
        other => {
            // The readers end with the pipes; they are not waited for, since a grandchild could hold them open.
            let _ = child.kill();
            let _ = child.wait();
            return Err(fault(match other {
                Err(e) => e.to_string(),
                _ => format!("no answer within {} s", limit.as_secs()),
            }));
        }
    };
    let _ = writer.join();
    let out = out.join().unwrap_or_default();
    let err = err.join().unwrap_or_default();
    if !status.success() {
        return Err(fault(err.lines().next().map_or_else(|| status.to_string(), |l| l.trim().to_string())));
    }
    Ok(if out.trim().is_empty() { err.trim().to_string() } else { out.trim().to_string() })
}

fn collect(pipe: Option<impl Read + Send + 'static>) -> std::thread::JoinHandle<String> {
    std::thread::spawn(move || {
        let mut bytes = Vec::new();
        if let Some(mut pipe) = pipe {
            // What was read before a fault is still worth showing.
            let _ = pipe.read_to_end(&mut bytes);
        }
        String::from_utf8_lossy(&bytes).into_owned()
    })
}

/// Waits for the end, at most `limit`.
fn wait(child: &mut Child, limit: Duration) -> std::io::Result<Option<ExitStatus>> {
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait()? {
            return Ok(Some(status));
        }
        if start.elapsed() > limit {
            return Ok(None);
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

fn hint(program: &str) -> String {
    if cfg!(target_os = "linux") {
        format!("on Debian: apt install {program}")
    } else if cfg!(target_os = "macos") {
        format!("for example: brew install {program}")
    } else {
        format!("from the {program} project, and put it on the PATH")
    }
}

/// A file name of our own in the temporary folder; the file goes with the value.
pub(super) struct Scratch {
    pub(super) path: PathBuf,
}

impl Scratch {
    pub(super) fn new(ending: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let n = COUNT.fetch_add(1, Ordering::Relaxed);
        Scratch { path: std::env::temp_dir().join(format!("antiphon-{}-{n}.{ending}", std::process::id())) }
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // It may never have come to be.
        let _ = std::fs::remove_file(&self.path);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::speaker::clip;

    #[test]
    fn texts_are_made_plain() {
        for (text, want) in [
            ("  Flaps five \n set ", "Flaps five   set"),
            ("captain\u{2019}s \u{2013} ready\u{2026}", "captain's , ready."),
            ("say \"again\"", "say  again"),
        ] {
            assert_eq!(plain(text), want);
        }
        assert_eq!(plain(&"a".repeat(5_000)).len(), LONGEST);
    }

    #[test]
    fn programs_speak() {
        if !crate::edge::speaker::voices::tests::programs_are_there() {
            return;
        }
        for (program, settings) in [("flite", ["-voice", "slt"]), ("espeak-ng", ["-v", "en-gb"])] {
            let mut voice = Program::new(program, &settings.map(String::from));
            for text in ["Ground, we are ready for push", "-v is no switch here", "caf\u{e9}; rm \u{2018}x\u{2019}"] {
                let (rate, samples) = voice.speak(text).unwrap();
                let pcm = clip::finish(rate, &samples, 16_000).unwrap();
                assert!((0.5..4.0).contains(&pcm.duration_s()), "{program} {text}: {} s", pcm.duration_s());
            }
            assert_eq!(voice.speak(" ... ").unwrap().1, Vec::<f32>::new());
        }
    }

    #[test]
    fn a_missing_program_is_a_sentence() {
        let said = Program::new("no-such-speaker", &[]).speak("hello").unwrap_err().to_string();
        assert!(said.starts_with("the program no-such-speaker is missing; install it ("), "{said}");
    }

    #[cfg(unix)]
    #[test]
    fn a_program_that_hangs_or_fails_is_a_sentence() {
        let mut sleeper = Command::new("sleep");
        sleeper.arg("30");
        let start = Instant::now();
        let said = run("sleep", sleeper, "", Duration::from_millis(100)).unwrap_err().to_string();
        assert!(start.elapsed() < Duration::from_secs(3));
        assert_eq!(said, "sleep cannot speak this (no answer within 0 s); try other words or another voice");
        let mut shell = Command::new("sh");
        shell.args(["-c", "echo out of breath >&2; exit 3"]);
        let said = run("sh", shell, "", LIMIT).unwrap_err().to_string();
        assert_eq!(said, "sh cannot speak this (out of breath); try other words or another voice");
    }
}
