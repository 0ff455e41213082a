//! What several subcommands need: the book, the ear, the voices, the journal's header.

use super::Failure;
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::book::schema::{Part, Station};
use crate::core::crew::io::Input;
use crate::core::gate::{self, Turn};
use crate::core::grammar::{CallId, CallSet};
use crate::core::journal::{BookMark, Header, VERSION};
use crate::core::matcher::Thresholds;
use crate::core::radio::{Phrases, REGIONS};
use crate::core::script::{self, Script};
use crate::edge::app::SoundEar;
use crate::edge::audio::stream::Converter;
use crate::edge::audio::{EAR_RATE, level};
use crate::edge::captain::noise::Cabin;
use crate::edge::ear::{Launch, Listener, NeuralEar, PROGRAM, Reader, VoskEar};
use crate::edge::native::{Runtime, Vad, manifest};
use crate::edge::radio::{BothEars, RadioEar};
use crate::edge::speaker::cache::Cache;
use crate::edge::speaker::{Aloud, Manner, Speaker, Voices, Wire, clip, system};
use crate::edge::store::{Places, load_book};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The book that is flown unless told otherwise.
pub const BOOK: &str = "saltmarsh-t2";

/// Any error as the sentence of exit status 2.
pub fn failure(e: impl std::fmt::Display) -> Failure {
    Failure::new(e.to_string())
}

/// A book that can be flown; its warnings go to the terminal.
pub fn book(places: &Places, name: &Path) -> Result<Arc<Book>, Failure> {
    let (book, warnings) = load_book(places, name).map_err(failure)?;
    if !warnings.is_empty() {
        eprintln!("{}: {} warnings; antiphon check {} lists them", book.id, warnings.len(), name.display());
    }
    Ok(Arc::new(book))
}

/// A session script, not yet held against its book.
pub fn script(path: &Path) -> Result<Script, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|e| Failure::new(format!("{} cannot be read ({e}); check the path", path.display())))?;
    script::parse(&text).map_err(|p| problems(path, &p))
}

/// Whether a script and a book fit.
pub fn fits(path: &Path, script: &Script, book: &Book) -> Result<(), Failure> {
    let wrong = script::check(script, book, &|c| book.condition(c).map(drop));
    if wrong.is_empty() { Ok(()) } else { Err(problems(path, &wrong)) }
}

fn problems(path: &Path, all: &[script::Problem]) -> Failure {
    let told = |p: &script::Problem| format!("{}, line {}: {}", path.display(), p.line, p.sentence);
    Failure::new(all.iter().map(told).collect::<Vec<_>>().join("\n"))
}

/// The recognisers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Engine {
    /// The neural model, held to the book's calls.
    Neural,
    /// Vosk, as a program of its own.
    Vosk,
}

/// Vosk's library in the models folder; a system's own is found without us.
pub const LIBVOSK: &str = "vosk/libvosk.so";

/// The Vosk ear for a book, listening; the words of the book that the model lacks go to the terminal. `waits`: whether an
/// utterance may wait for a worker that is being started again.
pub fn vosk(
    places: &Places,
    book: &Book,
    model: Option<&Path>,
    settings: gate::Settings,
    waits: bool,
) -> Result<Listener<VoskEar>, Failure> {
    let models = places.models().map_err(failure)?;
    let model = model.map_or_else(|| models.join("vosk-model"), Path::to_path_buf);
    let beside = places.program.iter().flat_map(|p| p.ancestors().take(2)).map(|p| p.join(PROGRAM));
    let program = beside.clone().find(|p| p.is_file()).or_else(|| beside.into_iter().next());
    let library = match models.join(LIBVOSK).exists() {
        true => Some(manifest::verify(&models, LIBVOSK).map_err(failure)?),
        false => None,
    };
    let launch = Launch {
        program: program.unwrap_or_else(|| PROGRAM.into()),
        library: library.and_then(|l| l.parent().map(Path::to_path_buf)),
        model,
    };
    let (mut ear, unknown) = VoskEar::open(launch, &book.graph).map_err(failure)?;
    for word in &unknown {
        eprintln!("antiphon: {word}");
    }
    if !waits {
        ear.set_patience(std::time::Duration::ZERO);
    }
    let runtime = Runtime::open(&models).map_err(failure)?;
    let thresholds = ear.thresholds();
    Ok(Listener::new(Vad::open(&runtime).map_err(failure)?, ear, settings, thresholds))
}

/// Calls that must be heard whatever happens and that this ear cannot hear, by name.
pub fn deaf_to(book: &Book, ear: &VoskEar) -> Vec<String> {
    let needed = book.calls.iter().enumerate().filter(|(_, c)| c.always || c.critical);
    needed.filter(|(i, _)| ear.phrases(CallId(*i as u16)).is_empty()).map(|(_, c)| c.id.clone()).collect()
}

/// The calls that a pilot can make at any time, also while we speak.
pub fn always(book: &Book) -> CallSet {
    let ids = (0..book.calls.len()).map(|i| CallId(i as u16));
    ids.filter(|i| book.calls[i.0 as usize].always).collect()
}

/// The neural ear for a book, listening.
pub fn listener(places: &Places, book: &Book) -> Result<Listener, Failure> {
    let runtime = Runtime::open(&places.models().map_err(failure)?).map_err(failure)?;
    let vad = Vad::open(&runtime).map_err(failure)?;
    let ear = NeuralEar::open(&runtime, &book.graph).map_err(failure)?;
    Ok(Listener::new(vad, ear, gate::Settings::default(), Thresholds::default()))
}

/// The radio as the command line wants it.
pub fn radio(rules: Option<&str>, seed: Option<u64>, slips: bool) -> Result<Option<Input>, Failure> {
    let Some(rules) = rules else { return Ok(None) };
    let phrases = Phrases::built_in().map_err(Failure::new)?;
    phrases.region(rules).map_err(|near| unknown_rules(rules, near))?;
    let seed = seed.unwrap_or_else(|| jiff::Timestamp::now().as_millisecond().unsigned_abs() % 100_000);
    Ok(Some(Input::Radio { rules: rules.to_string(), seed, slips }))
}

/// There are no such rules.
pub fn unknown_rules(name: &str, near: &str) -> Failure {
    let all: Vec<&str> = REGIONS.iter().map(|r| r.0).collect();
    Failure::new(format!("there are no rules \"{name}\": did you mean {near}? There are {}", all.join(", ")))
}

/// The same ear with a second one beside it that hears readbacks, if the radio is on.
pub fn on_air(
    places: &Places,
    ear: Box<dyn SoundEar + Send>,
    radio: bool,
) -> Result<Box<dyn SoundEar + Send>, Failure> {
    if !radio {
        return Ok(ear);
    }
    let phrases = Phrases::built_in().map_err(Failure::new)?;
    let on_air = RadioEar::open(&places.models().map_err(failure)?, &phrases).map_err(failure)?;
    Ok(Box::new(BothEars::new(ear, on_air)))
}

/// What has become of a microphone: the state's name, and a line for the terminal.
pub fn microphone(turn: Turn) -> (&'static str, &'static str) {
    match turn {
        Turn::Lost => ("lost", "the microphone is gone: plug it in again, and it is taken up by itself"),
        Turn::Back => ("back", "the microphone is there again"),
        Turn::Muted => {
            ("muted", "the microphone gives pure silence: switch it on, at the headset or in the sound settings")
        }
        Turn::Unmuted => ("unmuted", "the microphone gives sound again"),
        Turn::Clipped => ("clipped", "the microphone is too loud and clips: turn it down in the sound settings"),
    }
}

/// What the conversion of a microphone at `rate` to what the ear wants holds back, ms.
pub fn to_ear_ms(rate: u32) -> f64 {
    Converter::new(rate, EAR_RATE).map_or(0.0, |c| c.delay_s() * 1000.0)
}

/// The voices, with what they have said before at hand.
pub fn voices(places: &Places, rate: u32) -> Voices {
    Voices::new(places.models(), rate, cache())
}

/// Who is the second pilot's voice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Voice {
    /// The neural voice.
    Neural,
    /// The operating system's, by its own name for it.
    System(Option<String>),
}

/// `neural`, `system` or `system:NAME`.
pub fn voice_choice(text: &str) -> Result<Voice, String> {
    match text.split_once(':') {
        None if text == "neural" => Ok(Voice::Neural),
        None if text == "system" => Ok(Voice::System(None)),
        Some(("system", name)) if !name.trim().is_empty() => Ok(Voice::System(Some(name.trim().into()))),
        _ => Err("a voice is neural, system, or system:NAME with a name that the system has".into()),
    }
}

/// How the system voice speaks.
#[derive(Debug, Clone, clap::Args)]
pub struct Spoken {
    /// Speed of the system voice in percent of its normal one.
    #[arg(long, value_name = "50-200", default_value = "100", value_parser = clap::value_parser!(u16).range(50..=200))]
    voice_rate: u16,
    /// Loudness of the system voice in percent.
    #[arg(long, value_name = "0-100", default_value = "100", value_parser = clap::value_parser!(u16).range(0..=100))]
    voice_volume: u16,
}

/// A speech service that has not come up by then counts as away.
const SERVICE_LIMIT: std::time::Duration = std::time::Duration::from_secs(5);

impl Spoken {
    /// The way to the system voice, or one clause why there is none.
    pub fn open(&self, voice: Option<String>) -> Result<Wire, String> {
        let (rate_percent, volume_percent) = (f32::from(self.voice_rate), f32::from(self.voice_volume));
        let manner = Manner { voice, rate_percent, volume_percent };
        let program = Places::here(None).program;
        let beside = program.iter().flat_map(|p| p.ancestors().take(2)).map(|p| p.join(system::PROGRAM));
        let worker = beside.clone().find(|p| p.is_file()).or_else(|| beside.into_iter().next());
        Wire::open(system::make(worker.unwrap_or_else(|| system::PROGRAM.into()), manner), SERVICE_LIMIT)
    }

    /// The system voice in place of a neural voice that cannot be had; `others` speaks for the other stations.
    pub fn in_place_of(&self, why: &str, others: Box<dyn Speaker>) -> Result<Aloud, String> {
        let wire = self.open(None).map_err(|too| format!("{why}; and the system voice is away too ({too})"))?;
        Ok(Aloud::in_place_of(why, wire, others, f32::from(self.voice_rate)))
    }

    /// The system voice for the second pilot, and `stand_in` for the others and in its place; for everyone where the
    /// stand-in makes no sound.
    pub fn aloud(&self, voice: Option<String>, stand_in: Box<dyn Speaker>, sounds: bool) -> Aloud {
        let instead = if sounds { "the neural voice speaks" } else { "the words are only shown" };
        Aloud::new(self.open(voice), stand_in, instead, !sounds, f32::from(self.voice_rate))
    }
}

/// The user's store of rendered phrases, or memory.
pub fn cache() -> Cache {
    Cache::user_folder().map_or_else(Cache::in_memory, |folder| Cache::in_folder(&folder))
}

/// Every callout whose words are fixed, so that it can be rendered before it is needed.
pub fn fixed_callouts(book: &Book) -> Vec<(Station, String)> {
    let fixed = |parts: &[Part]| match parts {
        [Part::Text(text)] => Some((Station::FlightDeck, text.clone())),
        _ => None,
    };
    book.callouts.iter().filter_map(|c| fixed(&c.say.parts)).collect()
}

/// Renders the fixed callouts.
pub fn prepare(voices: &mut dyn Speaker, book: &Book) -> Result<(), Failure> {
    let phrases = fixed_callouts(book);
    let bar = indicatif::ProgressBar::new(phrases.len() as u64).with_message("callouts rendered");
    let done = voices.prepare(&phrases, &mut |i, _| bar.set_position(i as u64));
    bar.finish_and_clear();
    done.map_err(failure)
}

/// Cabin noise so far under the level of a captain's voice.
pub fn cabin(seed: u64, snr_db: f64) -> impl FnMut(&mut [f32]) {
    let mut cabin = Cabin::new(seed);
    let gain = level::from_db(clip::LEVEL_DB - snr_db) as f32;
    move |block: &mut [f32]| block.iter_mut().for_each(|s| *s += gain * cabin.sample())
}

/// The journal's first line.
pub fn header(book: &Book, path: &Path, seed: u64, settings: &[(&str, &str)]) -> Header {
    let text = |v: &str| Value::Word(v.to_string());
    Header {
        antiphon_journal: VERSION,
        program: env!("CARGO_PKG_VERSION").into(),
        book: BookMark { id: book.id.clone(), hash: book.hash.clone(), path: path.display().to_string() },
        models: Vec::new(),
        settings: settings.iter().map(|(k, v)| ((*k).to_string(), text(v))).collect::<BTreeMap<_, _>>(),
        seed,
        started: jiff::Timestamp::now().to_string(),
    }
}

/// A file beside a book's own files.
pub fn beside(places: &Places, book: &Path, file: &str) -> Result<PathBuf, Failure> {
    Ok(places.book(book).map_err(failure)?.join(file))
}
