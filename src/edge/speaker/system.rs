//! The voice of the operating system, by way of the worker `antiphon-voice`: the program itself is not linked to any speech
//! service, so it starts where there is none.

use super::service::{Hints, Make, Manner, Service};
use serde::{Deserialize, Serialize};
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{self, Receiver};

/// The worker's file name.
pub const PROGRAM: &str = if cfg!(windows) { "antiphon-voice.exe" } else { "antiphon-voice" };

/// An order to the worker, a line of JSON.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ask {
    /// First: how it is to speak.
    Open(Manner),
    /// Speak this in place of what sounds.
    Speak(String),
    /// Be silent.
    Stop,
}

/// What the worker answers, a line of JSON: one to each order, and the ends of words when they come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Answer {
    /// It is done.
    Open,
    /// It speaks; the end will have this key.
    Taken(String),
    /// It could not be done: one clause.
    Failed(String),
    /// Words with this key have ended.
    Ended(String),
}

struct System {
    child: Child,
    orders: ChildStdin,
    answers: Receiver<Answer>,
}

impl System {
    fn ask(&mut self, ask: &Ask) -> Result<Answer, String> {
        let gone = || "its program has ended".to_string();
        let line = serde_json::to_string(ask).map_err(|e| e.to_string())?;
        writeln!(self.orders, "{line}").and_then(|()| self.orders.flush()).map_err(|_| gone())?;
        match self.answers.recv() {
            Ok(Answer::Failed(why)) => Err(why),
            Ok(answer) => Ok(answer),
            Err(_) => Err(gone()),
        }
    }
}

impl Service for System {
    fn speak(&mut self, text: &str) -> Result<String, String> {
        match self.ask(&Ask::Speak(text.into()))? {
            Answer::Taken(key) => Ok(key),
            other => Err(format!("it answers {other:?}")),
        }
    }

    fn stop(&mut self) -> Result<(), String> {
        self.ask(&Ask::Stop).map(drop)
    }
}

impl Drop for System {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Makes the system voice by the worker at `program`: to be called on its thread.
pub fn make(program: PathBuf, manner: Manner) -> Make {
    Box::new(move |hints: Hints| {
        let mut command = Command::new(&program);
        command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().map_err(|e| match e.kind() {
            std::io::ErrorKind::NotFound => {
                format!("its program {} is not beside this one; build it with cargo build --bins", program.display())
            }
            _ => format!("{} does not start: {e}", program.display()),
        })?;
        let (Some(orders), Some(told)) = (child.stdin.take(), child.stdout.take()) else {
            return Err("its program has no pipes".into());
        };
        let (send, answers) = mpsc::channel();
        std::thread::spawn(move || {
            for line in BufReader::new(told).lines() {
                let Ok(line) = line else { break };
                match serde_json::from_str(&line) {
                    Ok(Answer::Ended(key)) => hints.ended(key),
                    Ok(answer) => {
                        if send.send(answer).is_err() {
                            break;
                        }
                    }
                    Err(_) => break,
                }
            }
        });
        let mut system = System { child, orders, answers };
        system.ask(&Ask::Open(manner)).map_err(|why| match why.as_str() {
            "its program has ended" => {
                "its program does not start: on Linux install the speech service (libspeechd2, speech-dispatcher)"
                    .into()
            }
            _ => why,
        })?;
        Ok(Box::new(system))
    })
}

#[cfg(all(test, unix))]
mod tests {
    use super::super::{Manner, Wire};
    use super::*;
    use std::os::unix::fs::PermissionsExt;
    use std::time::Duration;

    fn opened(script: &str) -> Result<Wire, String> {
        let dir = tempfile::tempdir().unwrap();
        let program = dir.path().join(PROGRAM);
        std::fs::write(&program, format!("#!/bin/sh\n{script}\n")).unwrap();
        std::fs::set_permissions(&program, std::fs::Permissions::from_mode(0o755)).unwrap();
        Wire::open(make(program, Manner::default()), Duration::from_secs(3))
    }

    #[test]
    fn a_worker_that_does_not_start_ends_or_hangs_is_a_clause() {
        let said = |script: &str| opened(script).map(drop).unwrap_err();
        // As the loader ends a program whose library is missing.
        assert!(said("exit 127").contains("install the speech service"));
        assert_eq!(said("read a; echo '{\"failed\":\"no voice\"}'; read b"), "no voice");
        assert_eq!(said("sleep 60"), "it does not answer within 3 s");
        let missing = make("/nonexistent/antiphon-voice".into(), Manner::default());
        let said = Wire::open(missing, Duration::from_secs(3)).map(drop).unwrap_err();
        assert!(said.contains("is not beside this one"), "{said}");
    }

    #[test]
    fn a_worker_that_is_killed_over_a_sentence_is_told() {
        let wire = opened("read a; echo '\"open\"'; read b; exit 1").unwrap();
        wire.speak(1, "V one");
        let told = wire.wait(Duration::from_secs(3));
        assert_eq!(told, Some(super::super::service::Told::Failed { why: "its program has ended".into() }));
    }
}
