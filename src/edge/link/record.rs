//! A session of states in a file, and one played back as an aircraft.
//!
//! The file is what the simulator would send by the link protocol, each line with `at_s`, the moment of its arrival.

use super::live::{Hand, Live};
use super::{LinkNews, Tell};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::link::intake::{Event, Intake};
use crate::core::link::message::{Described, Message, PROTOCOL};
use crate::core::time::SessionTime;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::Path;
use std::time::{Duration, Instant};

#[derive(Serialize)]
struct Line<'a> {
    at_s: f64,
    #[serde(flatten)]
    message: &'a Message,
}

#[derive(Deserialize)]
struct At {
    at_s: f64,
}

/// Writes a session of states.
pub struct Writer {
    out: BufWriter<File>,
    began: Instant,
    flushed: Instant,
    described: BTreeSet<String>,
    path: String,
}

impl Writer {
    /// Begins a file.
    ///
    /// # Errors
    /// One sentence when it cannot be written.
    pub fn create(path: &Path) -> Result<Self, String> {
        let file = File::create(path)
            .map_err(|e| format!("{} cannot be written ({e}); choose another file", path.display()))?;
        let now = Instant::now();
        let path = path.display().to_string();
        let mut w = Writer { out: BufWriter::new(file), began: now, flushed: now, described: BTreeSet::new(), path };
        let program = "a recorded session".to_string();
        w.line(&Message::Hello { protocol: PROTOCOL, program, capabilities: Vec::new(), callouts: Vec::new() })?;
        Ok(w)
    }

    fn line(&mut self, message: &Message) -> Result<(), String> {
        let at_s = (self.began.elapsed().as_secs_f64() * 1e6).round() / 1e6;
        let text = serde_json::to_string(&Line { at_s, message }).unwrap_or_default();
        let mut done = writeln!(self.out, "{text}");
        if done.is_ok() && self.flushed.elapsed() > Duration::from_secs(1) {
            self.flushed = Instant::now();
            done = self.out.flush();
        }
        done.map_err(|e| format!("{} cannot be written any more ({e}); make room or choose another file", self.path))
    }

    /// Writes what bears on the state.
    ///
    /// # Errors
    /// One sentence when it cannot be written any more.
    pub fn write(&mut self, news: &LinkNews) -> Result<(), String> {
        match news {
            LinkNews::Frame { time_s, delta, .. } => {
                let new: Vec<&String> = delta.keys().filter(|n| !self.described.contains(*n)).collect();
                if !new.is_empty() {
                    let signals = new.iter().map(|n| ((*n).clone(), Described::default())).collect();
                    self.described.extend(new.into_iter().cloned());
                    self.line(&Message::Describe { signals })?;
                }
                self.line(&Message::State { time_s: *time_s, seq: None, values: delta.clone() })
            }
            LinkNews::Paused(paused) => self.line(&Message::Pause { paused: *paused }),
            LinkNews::Rate(rate) => self.line(&Message::Rate { rate: *rate }),
            LinkNews::Jumped => self.line(&Message::Reposition {}),
            _ => Ok(()),
        }
    }

    /// Completes the file.
    ///
    /// # Errors
    /// One sentence when it cannot be written.
    pub fn finish(mut self) -> Result<(), String> {
        self.out.flush().map_err(|e| format!("{} cannot be completed ({e}); make room", self.path))
    }
}

/// While a recorded clock stands, that is told this often.
const STANDS: Duration = Duration::from_millis(500);

struct NoHand;

impl Hand for NoHand {
    fn set(&mut self, _request: u64, control: &str, _to: &Value) -> Result<(), String> {
        Err(format!("{control} is of a recorded session, which cannot be moved"))
    }
}

/// Plays a file back as an aircraft, in its own time.
///
/// # Errors
/// One sentence when it cannot be read.
pub fn play(path: &Path, known: BTreeMap<String, ValueKind>, origin: SessionTime, tell: Tell) -> Result<Live, String> {
    let file = File::open(path).map_err(|e| format!("{} cannot be read ({e}); check the path", path.display()))?;
    std::thread::spawn(move || {
        let began = Instant::now();
        let mut intake = Intake::new(known);
        let (mut greeting, mut paused) = (None, false);
        for line in BufReader::new(file).split(b'\n') {
            let Ok(mut line) = line else { break };
            let at_s = serde_json::from_slice::<At>(&line).map_or(0.0, |a| a.at_s.clamp(0.0, 1e6));
            loop {
                let wait = Duration::from_secs_f64(at_s).saturating_sub(began.elapsed());
                std::thread::sleep(wait.min(STANDS));
                if wait <= STANDS {
                    break;
                }
                // A simulator whose clock stands is still there.
                if paused && !tell(LinkNews::Standing) {
                    return;
                }
            }
            line.push(b'\n');
            for event in intake.push(&line) {
                let news = match event {
                    Event::Greeted { program, callouts, .. } => {
                        greeting = Some(LinkNews::Up { program, callouts });
                        continue;
                    }
                    Event::Frame { time_s, delta } => {
                        if greeting.take().is_some_and(|g| !tell(g)) {
                            return;
                        }
                        LinkNews::Frame { arrived: Instant::now(), time_s, delta }
                    }
                    Event::Paused(now) => {
                        paused = now;
                        LinkNews::Paused(now)
                    }
                    Event::Rate(rate) => LinkNews::Rate(rate),
                    Event::Jumped => LinkNews::Jumped,
                    Event::Told(text) => LinkNews::Told(text),
                    Event::Leave | Event::Offers(_) | Event::Result { .. } | Event::Ping(_) | Event::Pong(_) => {
                        continue;
                    }
                };
                if !tell(news) {
                    return;
                }
            }
        }
        tell(LinkNews::Down { why: "the recorded session is over".into() });
    });
    Ok(Live::new(Box::new(NoHand), origin))
}
