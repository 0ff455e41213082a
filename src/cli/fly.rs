//! `antiphon fly`.

use super::sound::{self, End, Ends, Live};
use super::wiring::{self, failure};
use super::{CliResult, Failure, Outcome, telling};
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::crew::Crew;
use crate::core::crew::io::{Action, Input};
use crate::core::journal::{Journal, Line as Entry, resume};
use crate::core::script::Performance;
use crate::core::sim::{Aircraft, Place, Setup};
use crate::core::time::{SessionTime, Wake};
use crate::edge::app::{App, Ears, News, Outside, Pace, Parts};
use crate::edge::audio::recorder::Recorder;
use crate::edge::audio::{EAR_RATE, wav};
use crate::edge::link::BuiltIn;
use crate::edge::speaker::{Silent, Speaker};
use crate::edge::store::{Choices, JournalFile, Places, load_journal};
use std::collections::BTreeMap;
use std::io::BufRead;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{self, Sender};

/// Fly: you speak or type, the second pilot does the other half.
///
/// For simulation and ground practice only, never for flight. With --typed each line you type is what you say; a line
/// like `thrust_lever_1_pct = 90` is your own hand on a control of the built-in aircraft.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon fly\n  antiphon fly --mic \"usb headset\" --speaker \"usb headset\" --headset\n  antiphon fly --typed\n  antiphon fly --mic captain.wav --speaker crew.wav --journal flight.jsonl\n  antiphon fly --typed --phase line_up"
)]
pub struct Args {
    /// The book: a name or a folder.
    #[arg(long, value_name = "DIR", default_value = wiring::BOOK)]
    book: PathBuf,
    /// The aircraft.
    #[arg(long, value_name = "LINK", default_value = "built-in", value_parser = ["built-in"])]
    link: String,
    /// Where you are heard: a microphone by its name or a part of it, default, a WAV file, or none. Without it the one of
    /// last time, else the system's own.
    #[arg(long, value_name = "NAME|FILE.wav|none", value_parser = sound::parse)]
    mic: Option<End>,
    /// Where the crew speaks: a loudspeaker by name, default, a WAV file (left you, right the crew), or none.
    #[arg(long, value_name = "NAME|FILE.wav|none", value_parser = sound::parse)]
    speaker: Option<End>,
    /// Your microphone cannot hear the crew: everything you say counts while they speak.
    #[arg(long)]
    headset: bool,
    /// You type what you say.
    #[arg(long)]
    typed: bool,
    /// A session script for your hands and words, beside what you say yourself.
    #[arg(long, value_name = "FILE.toml")]
    hands: Option<PathBuf>,
    /// Where everything is written down; by default in the user's data folder.
    #[arg(long, value_name = "FILE")]
    journal: Option<PathBuf>,
    /// Record both sides.
    #[arg(long, value_name = "FILE.wav")]
    record: Option<PathBuf>,
    /// The phase to begin in.
    #[arg(long, value_name = "NAME")]
    phase: Option<String>,
    /// Go on where this journal stops.
    #[arg(long, value_name = "JOURNAL", conflicts_with_all = ["phase", "journal"])]
    resume: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let places = Places::here(models);
    let last = Choices::file().map(|f| Choices::read(&f)).unwrap_or_default();
    let silent = args.typed || args.hands.is_some();
    let ends = Ends::settle(args.mic.clone(), args.speaker.clone(), args.headset, silent, &last);
    let (mic, speaker) = (ends.mic.file(), ends.speaker.file());
    if ends.mic == End::Nothing && !silent {
        return Err(Failure::new(
            "there is nothing to hear you by; name a microphone with --mic, or type with --typed",
        ));
    }
    if args.record.is_some() && speaker.is_some() {
        return Err(Failure::new("--speaker FILE.wav and --record write the same; give one of them"));
    }
    let book = wiring::book(&places, &args.book)?;
    let phase = args.phase.clone();
    if let Some(p) = &phase
        && book.phase(p).is_none()
    {
        let all: Vec<&str> = book.phases.iter().map(|p| p.id.as_str()).collect();
        return Err(Failure::new(format!("the book has no phase \u{201c}{p}\u{201d}; it has {}", all.join(", "))));
    }
    let hands = match &args.hands {
        Some(path) => Some(wiring::script(path, &book)?),
        None => None,
    };
    let sound = mic.map(wav::read_16k).transpose().map_err(failure)?;
    for w in sound.iter().flat_map(|s| &s.warnings) {
        eprintln!("antiphon: {w}");
    }
    let record = args.record.as_deref().or(speaker);
    let (send, news) = mpsc::channel();
    let live = ends.live().then(|| Live::open(&ends, send.clone())).transpose()?;
    if let Some(live) = &live {
        live.remember(&ends, &last);
        eprint!("{}", live.told());
    }
    let voice: Box<dyn Speaker> = if record.is_some() || live.is_some() {
        let mut voices = wiring::voices(&places, live.as_ref().map_or(EAR_RATE, Live::rate));
        wiring::prepare(&mut voices, &book)?;
        match &live {
            Some(live) => live.voice(Box::new(voices)),
            None => Box::new(voices),
        }
    } else {
        Box::new(Silent)
    };
    let ears = match (&sound, &live) {
        (Some(_), _) => Ears::Sound(Box::new(wiring::listener(&places, &book)?)),
        (None, Some(live)) if ends.mic != End::Nothing => {
            live.ears(Box::new(wiring::listener(&places, &book)?), record.is_some(), send.clone())?
        }
        (None, _) => Ears::Typed,
    };
    let mut crew = Crew::new(book.clone());
    let (journal, begin) = match &args.resume {
        Some(path) => go_on(path, &book, &mut crew)?,
        None => {
            let path = args.journal.clone().map_or_else(default_journal, Ok)?;
            let header = wiring::header(&book, &args.book, 1, &[]);
            eprintln!("journal: {}", path.display());
            (JournalFile::create(&path, &header).map_err(Failure)?, Begin::Fresh)
        }
    };
    stop_on_interrupt(send.clone());
    let pace = if sound.is_some() && live.is_none() { Pace::Fast } else { Pace::Live };
    if args.typed {
        type_into(send);
    }
    // A recording is over with its last word and a while for the answer.
    let until = sound.as_ref().map(|s| SessionTime::from_secs(s.samples.len() as f64 / f64::from(EAR_RATE) + 10.0));
    let link = match (&begin, &hands) {
        (Begin::Resumed { at, values, .. }, _) => rebuilt(values, *at),
        (Begin::Fresh, Some(h)) => crate::edge::app::stage::aircraft(&h.world, h.seed).map_err(Failure)?,
        (Begin::Fresh, None) => placed(&book, phase.as_deref()),
    };
    let (arrangement, sheet) = hands.as_ref().map_or_else(Default::default, |h| (h.arrangement, h.sheet.clone()));
    let parts = Parts {
        engine: Box::new(crew),
        book: book.clone(),
        link: Box::new(link),
        ears,
        speaker: voice,
        pilot: hands.map(Performance::new),
        captain: None,
        noise: None,
        recording: sound.map(|s| s.samples.into()),
        recorder: record.map(|r| Recorder::create(r, EAR_RATE)).transpose().map_err(failure)?,
        journal,
        pace,
        outside: Outside(Some(news)),
        told: Box::new(|line| println!("{}", telling::line(line))),
        until,
    };
    println!("{}. For simulation and ground practice only. Ctrl-C ends and keeps everything.\n", book.title);
    let report = match begin {
        Begin::Fresh => App::new(parts, SessionTime::ZERO, Wake::default()).run(arrangement, phase, sheet),
        Begin::Resumed { at, wake, owed, standing, .. } => App::new(parts, at, wake).resume(owed, standing),
    }
    .map_err(failure)?;
    println!("\n{}", telling::summary(&report));
    Ok(if report.faults.is_empty() { Outcome::Done } else { Outcome::Problems })
}

/// How a session begins.
enum Begin {
    Fresh,
    Resumed { at: SessionTime, wake: Wake, owed: Vec<Input>, standing: Vec<Action>, values: BTreeMap<String, Value> },
}

fn go_on(path: &Path, book: &Arc<Book>, crew: &mut Crew) -> Result<(JournalFile, Begin), Failure> {
    let journal = load_journal(path).map_err(Failure)?;
    if journal.header.book.hash != book.hash {
        return Err(Failure::new(format!(
            "{} was flown with another {} than this; give the book it was flown with, by --book",
            path.display(),
            journal.header.book.id
        )));
    }
    let resumed = resume(&journal, crew);
    let file = JournalFile::resume(path, &resumed).map_err(Failure)?;
    let cut = resumed.open_speech.iter().map(|id| Input::SpeechEnded { id: *id, cut: true });
    let lost = resumed
        .open_requests
        .iter()
        .map(|r| Input::SetResult { request: *r, failed: Some("the session was interrupted".into()) });
    let begin = Begin::Resumed {
        at: resumed.at,
        wake: resumed.wake,
        owed: cut.chain(lost).collect(),
        standing: resumed.standing.clone(),
        values: last_state(&journal),
    };
    Ok((file, begin))
}

fn last_state(journal: &Journal) -> BTreeMap<String, Value> {
    let mut values = BTreeMap::new();
    for e in &journal.entries {
        if let Entry::In { input: Input::State { delta }, .. } = &e.line {
            for (name, value) in delta {
                match value {
                    Some(v) => values.insert(name.clone(), v.clone()),
                    None => values.remove(name),
                };
            }
        }
    }
    values
}

/// The built-in aircraft as nearly as its controls tell: it cannot be put back into the air where it was.
fn rebuilt(values: &BTreeMap<String, Value>, at: SessionTime) -> BuiltIn {
    let mut aircraft = Aircraft::tarn_t2(1);
    let running = ["engine_running_1", "engine_running_2"].iter().any(|s| values.get(*s) == Some(&Value::Bool(true)));
    let place = if running { Place::LinedUp } else { Place::ColdAtStand };
    let mut setup = Setup { place, ..Setup::default() };
    if let Some(kg) = values.get("mass_kg").and_then(Value::number) {
        setup.mass_kg = kg;
    }
    aircraft.place(&setup);
    // Readings cannot be set, and some controls refuse: what stands stands.
    for (name, value) in values {
        let _ = aircraft.set(name, value);
    }
    BuiltIn::new(aircraft, at)
}

/// The built-in aircraft where a phase finds it: on the runway for the phases in which pf and pm are flight roles.
fn placed(book: &Book, phase: Option<&str>) -> BuiltIn {
    let mut aircraft = Aircraft::tarn_t2(1);
    let flying = phase.and_then(|p| book.phase(p)).is_some_and(|p| book.roles.flight_roles_in.contains(&p));
    let place = if flying { Place::LinedUp } else { Place::ColdAtStand };
    aircraft.place(&Setup { place, ..Setup::default() });
    BuiltIn::new(aircraft, SessionTime::ZERO)
}

fn default_journal() -> Result<PathBuf, Failure> {
    let home = || std::env::var_os("HOME").map(|h| PathBuf::from(h).join(".local/share"));
    let data = std::env::var_os("XDG_DATA_HOME").map(PathBuf::from).filter(|p| p.is_absolute()).or_else(home);
    let data =
        data.ok_or_else(|| Failure::new("there is no home folder for the journal; name a file with --journal"))?;
    let name = jiff::Timestamp::now().strftime("%Y-%m-%d-%H%M%S.jsonl").to_string();
    Ok(data.join("antiphon/journals").join(name))
}

fn stop_on_interrupt(send: Sender<News>) {
    // A second handler cannot be set in one process; then Ctrl-C ends it as usual.
    let _ = ctrlc::set_handler(move || {
        let _ = send.send(News::Stop);
    });
}

/// Lines from the terminal; its end ends the session.
fn type_into(send: Sender<News>) {
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let line = line.trim().to_string();
            if !line.is_empty() && send.send(News::Typed(line)).is_err() {
                return;
            }
        }
        let _ = send.send(News::Stop);
    });
}
