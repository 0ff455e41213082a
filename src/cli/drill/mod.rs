//! `antiphon drill`.

mod pilots;
mod told;

use super::wiring::{self, failure};
use super::{CliResult, Failure, Outcome};
use crate::core::radio::{Drill, Mode, Phrases, Plan, Progress, Prompt, Weights, mode_name};
use crate::edge::audio::{EAR_RATE, wav};
use crate::edge::radio::{Air, RadioEar};
use crate::edge::store::Places;
use pilots::{Pilot, Recording, Typist};
use std::path::{Path, PathBuf};

/// Practise radio phraseology: a controller speaks, you answer, every item is scored by the published rules.
///
/// For simulation and ground practice only, never for flight: what you say on the air is learnt from licensed
/// instruction. With --typed each line is one transmission of yours; an empty line is silence.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon drill --typed\n  antiphon drill --typed --rules uk --difficulty 3 --seed 7\n  antiphon drill --typed --mode numbers --count 20\n  antiphon drill --mic me.wav --speaker both.wav --seed 7\n\nYou may answer \"say again\", \"say again heading\", \"say again all after level\", \"standby\", \"unable\" and\n\"correction\" like on the air."
)]
pub struct Args {
    /// Whose rules: icao, easa, uk or faa.
    #[arg(long, value_name = "RULES", default_value = "icao")]
    rules: String,
    /// What is drilled: readback, numbers, words, check (radio checks) or position (position and departure reports).
    #[arg(long, value_name = "MODE", default_value = "readback")]
    mode: String,
    /// 1 one or two items, 2 two, 3 three and callsigns easily mistaken, 4 four, conditions and a controller who
    /// corrects himself.
    #[arg(long, value_name = "1-4", default_value_t = 2, value_parser = clap::value_parser!(u8).range(1..=4))]
    difficulty: u8,
    /// The same seed gives the same session.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
    /// How many exercises.
    #[arg(long, value_name = "N", default_value_t = 10)]
    count: usize,
    /// You type what you say.
    #[arg(long)]
    typed: bool,
    /// Your transmissions on a recording, one after another; a pause of eight seconds is no answer.
    #[arg(long, value_name = "FILE.wav", conflicts_with = "typed")]
    mic: Option<PathBuf>,
    /// Where the controller is heard, as he comes over the air: a WAV file (left you, right the controller).
    #[arg(long, value_name = "FILE.wav")]
    speaker: Option<PathBuf>,
    /// The controller's pace, words a minute. A hundred are the most that the rules allow.
    #[arg(long, value_name = "80-220", default_value_t = 100, value_parser = clap::value_parser!(u32).range(80..=220))]
    pace: u32,
    /// Do not show what the controller says: it is heard.
    #[arg(long, requires = "speaker")]
    unseen: bool,
    /// Where your weak points are kept, to come back more often; `off` keeps nothing. By default in the user's data
    /// folder, and `off` with --seed.
    #[arg(long, value_name = "FILE|off")]
    progress: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let phrases = Phrases::built_in().map_err(Failure::new)?;
    let regime = phrases.region(&args.rules).map_err(|near| wiring::unknown_rules(&args.rules, near))?;
    let mode = mode(&args.mode)?;
    if !args.typed && args.mic.is_none() {
        return Err(Failure::new(
            "a live microphone is not built into the drill yet; answer by typing, with --typed, or give --mic FILE.wav",
        ));
    }
    let file = kept(&args)?;
    let mut progress = file.as_deref().map(read).transpose()?.unwrap_or_default();
    let rules = phrases.rules(regime);
    let today = today();
    let seed = args.seed.unwrap_or_else(chance);
    let weights = if file.is_some() { progress.weights(rules.name, today) } else { Weights::new() };
    let plan = Plan { regime, mode, difficulty: args.difficulty, seed, count: args.count, weights };
    let mut drill = Drill::new(&phrases, plan).map_err(Failure::new)?;
    println!(
        "{}. {}, difficulty {}, seed {seed}. You are {}.",
        rules.title,
        mode_name(mode),
        args.difficulty,
        phrases.own
    );
    let how = if args.typed { "Type what you would say; an empty line is silence. " } else { "" };
    println!("{how}For simulation and ground practice only.\n");
    let places = Places::here(models);
    let mut air = match &args.speaker {
        Some(file) => {
            Some(Air::new(wiring::voices(&places, EAR_RATE), args.pace, seed, Some(file.as_path())).map_err(failure)?)
        }
        None => None,
    };
    let mut pilot: Box<dyn Pilot> = match &args.mic {
        Some(file) => {
            let sound = wav::read_16k(file).map_err(failure)?;
            for warning in &sound.warnings {
                eprintln!("antiphon: {warning}");
            }
            let models = places.models().map_err(failure)?;
            Box::new(Recording::new(RadioEar::open(&models, &phrases).map_err(failure)?, sound.samples))
        }
        None => Box::new(Typist::new()),
    };
    session(&phrases, &mut drill, pilot.as_mut(), &mut air, args.unseen)?;
    if let Some(air) = air {
        air.finish().map_err(failure)?;
    }
    println!();
    for line in told::summary(&phrases, drill.summary()) {
        println!("{line}");
    }
    if let Some(file) = file {
        progress.add(rules.name, drill.summary(), today);
        write(&file, &progress)?;
        for line in told::days(&progress) {
            println!("{line}");
        }
    }
    Ok(Outcome::Done)
}

/// Exercise after exercise, until the last or until the pilot leaves.
fn session(
    phrases: &Phrases,
    drill: &mut Drill<'_>,
    pilot: &mut dyn Pilot,
    air: &mut Option<Air>,
    unseen: bool,
) -> Result<(), Failure> {
    while let Some(prompt) = drill.begin() {
        match &prompt.card {
            Some(card) => println!("{:>2}  {card}", prompt.number),
            None => println!("{:>2}  {}", prompt.number, prompt.phase.replace('_', " ")),
        }
        if !prompt.controller.is_empty() {
            transmit(&prompt, &prompt.controller, air, unseen)?;
        }
        while let Some(expected) = drill.expected() {
            let Some(words) = pilot.answer(&expected, air.as_mut())? else { return Ok(()) };
            let Some(reply) = drill.answer(&words) else { break };
            for line in told::score(phrases, drill.rules(), &reply) {
                println!("{line}");
            }
            if let Some(model) = &reply.model {
                let model = if model.is_empty() { "(nothing: it was for someone else)" } else { model };
                println!("    say        {model}");
            }
            for said in &reply.controller {
                transmit(&prompt, said, air, unseen)?;
            }
        }
        println!();
    }
    Ok(())
}

/// The controller says something: it is shown, and heard where there is sound.
fn transmit(prompt: &Prompt, text: &str, air: &mut Option<Air>, unseen: bool) -> Result<(), Failure> {
    let shown = if unseen { "…" } else { text };
    println!("  {}: {shown}", prompt.station.to_uppercase());
    if let Some(air) = air {
        air.controller(text).map_err(failure)?;
    }
    Ok(())
}

fn mode(name: &str) -> Result<Mode, Failure> {
    if let Some((_, mode)) = Mode::ALL.iter().find(|m| m.0 == name) {
        return Ok(*mode);
    }
    let mut best = Mode::ALL[0].0;
    for (known, _) in Mode::ALL {
        if strsim::jaro_winkler(known, name) > strsim::jaro_winkler(best, name) {
            best = known;
        }
    }
    let all: Vec<&str> = Mode::ALL.iter().map(|m| m.0).collect();
    Err(Failure::new(format!("there is no drill \"{name}\": did you mean {best}? There are {}", all.join(", "))))
}

/// The file of progress, if one is kept.
fn kept(args: &Args) -> Result<Option<PathBuf>, Failure> {
    match &args.progress {
        Some(file) if file.as_os_str() == "off" => Ok(None),
        Some(file) => Ok(Some(file.clone())),
        None if args.seed.is_some() => Ok(None),
        None => Ok(Some(super::fly::data_folder()?.join("antiphon/radio-progress.json"))),
    }
}

fn read(file: &Path) -> Result<Progress, Failure> {
    let told = |why: String| {
        Failure::new(format!("{} cannot be read ({why}); move it away, or use --progress off", file.display()))
    };
    match std::fs::read_to_string(file) {
        Ok(text) => {
            let progress: Progress = serde_json::from_str(&text).map_err(|e| told(e.to_string()))?;
            if progress.antiphon_radio_progress != Progress::default().antiphon_radio_progress {
                return Err(told("it is of another version of the program".into()));
            }
            Ok(progress)
        }
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(Progress::default()),
        Err(e) => Err(told(e.to_string())),
    }
}

/// Written whole or not at all.
fn write(file: &Path, progress: &Progress) -> Result<(), Failure> {
    let told = |e: std::io::Error| {
        Failure::new(format!("{} cannot be written ({e}); choose another with --progress", file.display()))
    };
    if let Some(folder) = file.parent().filter(|f| !f.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(told)?;
    }
    let text = serde_json::to_string_pretty(progress).map_err(failure)?;
    let fresh = file.with_extension("new");
    std::fs::write(&fresh, text + "\n").map_err(told)?;
    std::fs::rename(&fresh, file).map_err(told)
}

/// Days since 1970-01-01, UTC as on the radio.
fn today() -> i64 {
    jiff::Timestamp::now().as_second().div_euclid(86_400)
}

/// A seed that differs from session to session; it is told, so that a session can be had again.
fn chance() -> u64 {
    jiff::Timestamp::now().as_millisecond().unsigned_abs() % 100_000
}
