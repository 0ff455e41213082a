//! `antiphon fly`.

use super::outlet::Outlet;
use super::resume::{self, Begin};
use super::sound::{self, End, Ends, Live};
use super::wiring::{self, Engine, failure};
use super::{CliResult, Failure, Outcome, again, aircraft, buttons, page, repeat, telling};
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::crew::Crew;
use crate::core::crew::io::{Arrangement, Input};
use crate::core::gate;
use crate::core::grammar::CallId;
use crate::core::journal::corrections;
use crate::core::page::Rooms;
use crate::core::script::Performance;
use crate::core::sim::{Aircraft, Place, Setup};
use crate::core::time::{SessionTime, Wake};
use crate::edge::app::practice::{self, Attempt};
use crate::edge::app::{App, Ears, News, Outside, Pace, Parts, Report, SoundEar, stage};
use crate::edge::audio::duplex::Wanted;
use crate::edge::audio::recorder::Recorder;
use crate::edge::audio::{EAR_RATE, wav};
use crate::edge::buttons::Wish;
use crate::edge::ear::enrolled::OwnEar;
use crate::edge::link::{BuiltIn, Link};
use crate::edge::native;
use crate::edge::speaker::{Silent, Speaker};
use crate::edge::store::{Choices, JournalFile, Places, load_journal};
use std::collections::BTreeMap;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::mpsc;

/// Fly: you speak or type, the second pilot does the other half.
///
/// For simulation and ground practice only, never for flight. With --typed each line you type is what you say; a line
/// like `thrust_lever_1_pct = 90` is your own hand on a control of the built-in aircraft.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon fly\n  antiphon fly --mic \"usb headset\" --speaker \"usb headset\" --headset\n  antiphon fly --typed\n  antiphon fly --mic captain.wav --speaker crew.wav --journal flight.jsonl\n  antiphon fly --typed --phase line_up\n  antiphon fly --surprises 7\n  antiphon fly --right-seat --first-officer --monitoring\n  antiphon fly --repeat 5 --phase approach --seed 7\n  antiphon fly --typed --link tcp:127.0.0.1:7310\n  antiphon fly --typed --voice system --voice-rate 120"
)]
pub struct Args {
    /// The book: a name or a folder. Without it the one of last time, else saltmarsh-t2; with --resume the journal's.
    #[arg(long, value_name = "DIR")]
    pub(super) book: Option<PathBuf>,
    /// The aircraft: built-in, a simulator (tcp:HOST:PORT, or property:FILE by a link file), or a recorded session (record:FILE).
    /// Without it the one of last time, else built-in.
    #[arg(long, value_name = "LINK", value_parser = aircraft::parse)]
    pub(super) link: Option<aircraft::Choice>,
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
    /// A button, remembered: talk=enter, talk=signal:NAME, hold=signal:NAME, talk=none. One on a controller is learnt by
    /// antiphon doctor --button talk.
    #[arg(long, value_name = "DOES=WHERE")]
    button: Vec<Wish>,
    /// Which recogniser hears you.
    #[arg(long, value_enum, default_value = "neural")]
    engine: Engine,
    /// The folder of a Vosk model, for --engine vosk; else `vosk-model` in the models folder.
    #[arg(long, value_name = "DIR")]
    vosk_model: Option<PathBuf>,
    /// Who is the second pilot's voice: neural, system (the operating system's own, aloud and in real time only) or
    /// system:NAME.
    #[arg(long, value_name = "neural|system[:NAME]", default_value = "neural", value_parser = wiring::voice_choice)]
    voice: wiring::Voice,
    #[command(flatten)]
    spoken: wiring::Spoken,
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
    /// Where the page for tablet and phone is served. Without it: on this machine only, at 127.0.0.1:7319 or a free port.
    #[arg(long, value_name = "ADDR|off", default_value = "usual", hide_default_value = true)]
    page: page::Choice,
    /// The phase to begin in: the aircraft is looked at, what disagrees is told, the rest is taken for granted.
    #[arg(long, value_name = "NAME")]
    pub(super) phase: Option<String>,
    /// A flight sheet: `entry = value`, one a line, with the entries of the book.
    #[arg(long, value_name = "FILE.toml")]
    sheet: Option<PathBuf>,
    /// Human distractions: a late runway, new load figures, a caller. The same seed draws the same.
    #[arg(long, value_name = "SEED")]
    surprises: Option<u64>,
    /// You sit on the right, in place of the left.
    #[arg(long)]
    right_seat: bool,
    /// You are the first officer, in place of the captain.
    #[arg(long)]
    first_officer: bool,
    /// You monitor, and the second pilot flies, through the autopilot only.
    #[arg(long)]
    monitoring: bool,
    /// A controller clears you, by these rules: icao, easa, uk or faa. Who has the radio reads back; what was cleared is known
    /// once it has been read back.
    #[arg(long, value_name = "RULES", num_args = 0..=1, require_equals = true, default_missing_value = "icao", conflicts_with = "resume")]
    radio: Option<String>,
    /// Decides what the controller clears; by chance unless given.
    #[arg(long, value_name = "N", requires = "radio")]
    radio_seed: Option<u64>,
    /// The second pilot's own readbacks are wrong now and then: say "negative" when you hear it.
    #[arg(long, requires = "radio")]
    slips: bool,
    /// Go on where this journal stops.
    #[arg(long, value_name = "JOURNAL", conflicts_with_all = ["phase", "journal", "sheet", "surprises", "right_seat", "first_officer", "monitoring"])]
    resume: Option<PathBuf>,
    /// Practise the phase of --phase so many times: weight, wind, runway and weather are drawn anew each time, and each
    /// attempt is reported.
    #[arg(long, value_name = "N", requires = "phase", conflicts_with = "resume", value_parser = clap::value_parser!(u32).range(1..=100))]
    pub(super) repeat: Option<u32>,
    /// What --repeat draws: the same number draws the same.
    #[arg(long, value_name = "N", default_value_t = 1, requires = "repeat")]
    pub(super) seed: u64,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let outlet = Outlet::open();
    if args.repeat.is_some() {
        return repeat::run(&args, models, &outlet);
    }
    let report = session(&args, models, &outlet, None)?;
    outln!("\n{}", telling::summary(&report));
    Ok(if report.faults.is_empty() { Outcome::Done } else { Outcome::Problems })
}

/// One session, to its end.
pub(super) fn session(
    args: &Args,
    models: Option<&Path>,
    outlet: &Outlet,
    attempt: Option<&Attempt>,
) -> Result<Report, Failure> {
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
    // Neither practice nor a script nor a journal is what a pilot comes back to; nor is what is typed by a program.
    let alive = ends.live() || (args.typed && std::io::stdin().is_terminal());
    let remembers = alive && attempt.is_none() && args.hands.is_none() && args.resume.is_none();
    let flown = again::settle(args.book.as_deref(), args.link.as_ref(), &last, remembers, &places);
    let broken_off = args.resume.as_deref().map(resume::BrokenOff::load).transpose()?;
    let folder = match (&broken_off, &args.book) {
        (Some(session), None) => session.book(),
        _ => flown.book.clone(),
    };
    eprint!("{}", flown.told);
    let book = wiring::book(&places, &folder)?;
    let last = if remembers { again::remember(&flown, &last) } else { last };
    let phase = args.phase.clone();
    if let Some(p) = &phase
        && book.phase(p).is_none()
    {
        let all: Vec<&str> = book.phases.iter().map(|p| p.id.as_str()).collect();
        return Err(Failure::new(format!("the book has no phase \u{201c}{p}\u{201d}; it has {}", all.join(", "))));
    }
    let hands = match &args.hands {
        Some(path) => {
            let script = wiring::script(path)?;
            wiring::fits(path, &script, &book)?;
            Some(script)
        }
        None => None,
    };
    let radio = wiring::radio(args.radio.as_deref(), args.radio_seed, args.slips)?;
    let sound = mic.map(wav::read_16k).transpose().map_err(failure)?;
    for w in sound.iter().flat_map(|s| &s.warnings) {
        eprintln!("antiphon: {w}");
    }
    // Each attempt has its own.
    let own = |path: &Path| attempt.map_or_else(|| path.to_path_buf(), |a| repeat::numbered(path, a.number));
    let record = args.record.as_deref().or(speaker).map(own);
    let record = record.as_deref();
    let system = match &args.voice {
        wiring::Voice::System(name) => Some(name.clone()),
        wiring::Voice::Neural => None,
    };
    if system.is_some() && (record.is_some() || sound.is_some()) {
        return Err(Failure::new(
            "the system voice speaks aloud and gives no samples, so it can be neither recorded nor run ahead of time; use --voice neural with a WAV file",
        ));
    }
    let buttons = buttons::settle(&last, &args.button, &book)?;
    let (send, news) = mpsc::channel();
    let devices = ends.live().then(|| Live::open(&ends, send.clone())).transpose()?;
    if let Some(devices) = &devices {
        let known = devices.known();
        ends.remember(&known, &buttons, &last);
        eprint!("{}{}", sound::told(&known), buttons::told(&buttons));
    }
    let loudspeaker = devices.as_ref().filter(|_| ends.speaker.device() != Wanted::Nothing);
    let voice: Box<dyn Speaker> = match (system.clone(), loudspeaker) {
        // Through a loudspeaker of ours the others speak, and the neural voice in place of the system's.
        (Some(name), Some(out)) => {
            Box::new(args.spoken.aloud(name, out.voice(Box::new(wiring::voices(&places, out.rate()))), true))
        }
        (Some(name), None) => Box::new(args.spoken.aloud(name, Box::new(Silent), false)),
        (None, _) if record.is_some() || devices.is_some() => {
            let mut voices = wiring::voices(&places, devices.as_ref().map_or(EAR_RATE, Live::rate));
            let ready = wiring::prepare(&mut voices, &book);
            match (&devices, ready) {
                (None, ready) => {
                    ready?;
                    Box::new(voices)
                }
                (Some(devices), Ok(())) => devices.voice(Box::new(voices)),
                (Some(devices), Err(Failure(why))) if record.is_none() && loudspeaker.is_some() => {
                    Box::new(args.spoken.in_place_of(&why, devices.voice(Box::new(voices))).map_err(failure)?)
                }
                (Some(_), Err(why)) => return Err(why),
            }
        }
        (None, _) => Box::new(Silent),
    };
    let hears = args.engine == Engine::Neural && (sound.is_some() || (devices.is_some() && ends.mic != End::Nothing));
    let learned =
        hears.then(|| super::voice::known(&devices.as_ref().map(Live::microphone).unwrap_or_default())).flatten();
    let ears = match (&sound, &devices) {
        (None, None) => Ears::Typed,
        (None, _) if ends.mic == End::Nothing => Ears::Typed,
        (heard, devices) => {
            // A recording cannot hear us, nor can a headset's microphone.
            let hears_us =
                heard.is_none() && !ends.headset && (system.is_some() || ends.speaker.device() != Wanted::Nothing);
            let mut ear = ear(args, &places, &book, heard.is_some(), hears_us)?;
            if let Some(voice) = &learned {
                let critical = book.calls.iter().enumerate().filter(|(i, _)| book.is_critical(CallId(*i as u16)));
                ear = Box::new(OwnEar::new(ear, voice.clone(), critical.map(|(_, c)| c.id.clone()).collect()));
            }
            let ear = wiring::on_air(&places, ear, radio.is_some())?;
            match devices {
                Some(devices) if heard.is_none() => devices.ears(ear, record.is_some(), ends.headset, send.clone())?,
                _ => Ears::Sound(ear),
            }
        }
    };
    native::give_back();
    let mut crew = Crew::new(book.clone());
    let path = match (&args.resume, &args.journal) {
        (Some(path), _) => path.clone(),
        (None, Some(path)) => own(path),
        (None, None) => own(&default_journal()?),
    };
    let (journal, begin) = match broken_off {
        Some(session) => resume::go_on(&session, &book, &mut crew)?,
        None => {
            let path = path.clone();
            let header = wiring::header(&book, &folder, args.seed, &[]);
            eprintln!("journal: {}", path.display());
            (JournalFile::create(&path, &header).map_err(Failure)?, Begin::Fresh)
        }
    };
    let stood_in = crew.phase().to_string();
    outlet.lead(send.clone(), args.typed);
    let origin = if let Begin::Resumed { at, .. } = &begin { *at } else { SessionTime::ZERO };
    let tell = send.clone();
    let live = aircraft::open(&flown.link, &book, origin, Box::new(move |n| tell.send(News::Link(n)).is_ok()))?;
    let pace = if sound.is_some() && live.is_none() && devices.is_none() { Pace::Fast } else { Pace::Live };
    let rooms = Rooms {
        aircraft: flown.link.told(),
        ear: match (mic, &devices) {
            (Some(file), _) => file.display().to_string(),
            (None, Some(_)) if ends.mic != End::Nothing => "microphone".into(),
            _ => "typed words".into(),
        },
        voice: match (record, &devices, &args.voice) {
            (_, _, wiring::Voice::System(_)) => "the system's voice".into(),
            (_, Some(_), _) => "loudspeaker".into(),
            (Some(file), ..) => file.display().to_string(),
            (None, None, _) => "silent".into(),
        },
        talk: devices.is_some() && ears.hears_sound(),
    };
    let wanted = if args.page == page::Choice::Usual && pace == Pace::Fast { page::Choice::Off } else { args.page };
    let (served, watcher) = page::serve(wanted, &book, rooms, &send)?;
    if pace == Pace::Live {
        buttons::watch(&buttons, !args.typed, &send)?;
    }
    // A recording is over with its last word and a while for the answer.
    let until = match attempt {
        Some(a) => Some(SessionTime::from_secs(a.limit_s)),
        None => sound.as_ref().map(|s| SessionTime::from_secs(s.samples.len() as f64 / f64::from(EAR_RATE) + 10.0)),
    };
    let link: Box<dyn Link> = match (live, &begin, &hands) {
        (Some(live), ..) => Box::new(live),
        (None, ..) if let Some(a) = attempt => Box::new(practice::aircraft(&book, a, args.seed).map_err(Failure)?),
        (None, Begin::Resumed { at, sim, values, .. }, _) => {
            Box::new(resume::rebuilt(&book, values, (*at, *sim), &stood_in)?)
        }
        (None, Begin::Fresh, Some(h)) => Box::new(stage::aircraft(&book, h, h.seed).map_err(Failure)?),
        (None, Begin::Fresh, None) => Box::new(placed(&book, phase.as_deref())?),
    };
    let given = Arrangement { left_seat: !args.right_seat, captain: !args.first_officer, flying: !args.monitoring };
    let (arrangement, mut sheet) =
        hands.as_ref().map_or_else(|| (given, BTreeMap::new()), |h| (h.arrangement, h.sheet.clone()));
    let mut opening: Vec<Input> =
        radio.or_else(|| hands.as_ref()?.radio.as_ref().map(Into::into)).into_iter().collect();
    let surprises = args.surprises.or_else(|| hands.as_ref()?.surprises);
    opening.extend(surprises.map(|seed| Input::Surprises { seed }));
    // Whoever hears this knows that the loudspeaker works; an answer is welcome and not waited for.
    let aloud = loudspeaker.is_some() || system.is_some();
    opening.extend(aloud.then(|| Input::Device { device: "sound".into(), state: "check".into() }));
    if let Some(path) = &args.sheet {
        sheet.extend(plan(path, &book)?);
    }
    sheet.extend(attempt.iter().flat_map(|a| a.sheet.clone()));
    let parts = Parts {
        engine: Box::new(crew),
        book: book.clone(),
        link,
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
        told: Box::new(|line| outln!("{}", telling::line(line))),
        watcher,
        until,
        ends_in: attempt.map_or_else(Vec::new, |a| a.until.clone()),
    };
    outln!("{}. For simulation and ground practice only. Ctrl-C ends and keeps everything.\n", book.title);
    let app = |at, wake| App::new(parts, at, wake).with_buttons(buttons::signals(&buttons));
    let report = match begin {
        Begin::Fresh => app(SessionTime::ZERO, Wake::default()).opening(opening).run(arrangement, phase, sheet),
        Begin::Resumed { at, wake, owed, standing, .. } => app(at, wake).resume(owed, standing),
    }
    .map_err(failure)?;
    drop(served);
    if let (Some(voice), Ok(journal)) = (learned, load_journal(&path)) {
        super::voice::add(voice, &corrections(&journal, &book));
    }
    Ok(report)
}

/// The ear that was asked for, listening. `waits`: whether an utterance may wait for a worker that is being started again.
/// `hears_us`: whether its microphone can hear what we say.
fn ear(
    args: &Args,
    places: &Places,
    book: &Book,
    waits: bool,
    hears_us: bool,
) -> Result<Box<dyn SoundEar + Send>, Failure> {
    if args.engine == Engine::Neural {
        let mut listener = wiring::listener(places, book)?;
        if hears_us {
            listener.hears_us(&wiring::always(book));
        }
        return Ok(Box::new(listener));
    }
    let settings = gate::Settings::default();
    let mut listener = wiring::vosk(places, book, args.vosk_model.as_deref(), settings, waits)?;
    let deaf = wiring::deaf_to(book, listener.ear_mut());
    if !deaf.is_empty() {
        return Err(Failure::new(format!(
            "with this Vosk model nobody would be heard saying {}, which must always be heard: give them wordings in words that it knows, or use --engine neural",
            deaf.join(", ")
        )));
    }
    if hears_us {
        listener.hears_us(&wiring::always(book));
    }
    Ok(Box::new(listener))
}

/// A flight sheet from a file.
fn plan(path: &Path, book: &Book) -> Result<BTreeMap<String, Value>, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|e| Failure::new(format!("{} cannot be read ({e}); check the path", path.display())))?;
    let told = |wrong: Vec<String>| {
        let lines: Vec<String> = wrong.iter().map(|w| format!("{}: {w}", path.display())).collect();
        Failure::new(lines.join("\n"))
    };
    book.read_sheet(&text).map_err(told)
}

/// The built-in aircraft where a phase finds it.
fn placed(book: &Book, phase: Option<&str>) -> Result<BuiltIn, Failure> {
    let mut aircraft = Aircraft::named(&book.aircraft, 1).map_err(failure)?;
    let place = phase.map_or(Ok(Place::ColdAtStand), |p| stage::place(book, p)).map_err(Failure)?;
    aircraft.place(&Setup { place, ..aircraft.usual() });
    Ok(BuiltIn::new(aircraft, SessionTime::ZERO))
}

fn default_journal() -> Result<PathBuf, Failure> {
    let name = jiff::Timestamp::now().strftime("%Y-%m-%d-%H%M%S.jsonl").to_string();
    Ok(data_folder()?.join("antiphon/journals").join(name))
}

/// The user's folder for what programs keep.
pub(super) fn data_folder() -> Result<PathBuf, Failure> {
    let home = || std::env::var_os("HOME").map(|h| PathBuf::from(h).join(".local/share"));
    let data = std::env::var_os("XDG_DATA_HOME").map(PathBuf::from).filter(|p| p.is_absolute()).or_else(home);
    data.ok_or_else(|| Failure::new("there is no home folder for what is kept; set XDG_DATA_HOME, or name a file"))
}
