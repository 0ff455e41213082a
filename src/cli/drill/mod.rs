//! `antiphon drill`.

mod channel;
mod pilots;
mod told;

use super::outlet::Outlet;
use super::sound::{self, End, Ends};
use super::wiring::{self, failure};
use super::{CliResult, Failure, Outcome};
use crate::core::radio::{Drill, Mode, Phrases, Plan, Progress, Prompt, Weights, mode_name};
use crate::edge::audio::{EAR_RATE, wav};
use crate::edge::radio::{Air, RadioEar};
use crate::edge::store::{Choices, Places};
use channel::{Booth, Channel, Sent};
use pilots::{Live, Pilot, Recording, Typist};
use std::path::{Path, PathBuf};

/// Practise radio phraseology: a controller speaks, you answer, every item is scored by the published rules.
///
/// For simulation and ground practice only, never for flight: what you say on the air is learnt from licensed
/// instruction. By voice you answer when he has ended; what you say is over with a pause, and eight seconds of quiet are no
/// answer. With --typed each line is one transmission of yours; an empty line is silence.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon drill\n  antiphon drill --mic \"usb headset\" --speaker \"usb headset\" --headset --unseen\n  antiphon drill --typed\n  antiphon drill --typed --rules uk --difficulty 3 --seed 7\n  antiphon drill --typed --mode numbers --count 20\n  antiphon drill --mic me.wav --speaker both.wav --seed 7\n\nYou may answer \"say again\", \"say again heading\", \"say again all after level\", \"standby\", \"unable\" and\n\"correction\" like on the air."
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
    /// Where you are heard: a microphone by its name or a part of it, default, or a WAV file with your transmissions one
    /// after another. Without it the microphone of last time, else the system's own.
    #[arg(long, value_name = "NAME|FILE.wav", conflicts_with = "typed", value_parser = sound::parse)]
    mic: Option<End>,
    /// Where the controller is heard, as he comes over the air: a loudspeaker by name, default, none, or a WAV file (left
    /// you, right the controller).
    #[arg(long, value_name = "NAME|FILE.wav|none", value_parser = sound::parse)]
    speaker: Option<End>,
    /// Your microphone cannot hear the controller: you are heard while he speaks, too.
    #[arg(long)]
    headset: bool,
    /// Record both sides (left you, right the controller).
    #[arg(long, value_name = "FILE.wav")]
    record: Option<PathBuf>,
    /// The controller's pace, words a minute. A hundred are the most that the rules allow.
    #[arg(long, value_name = "80-220", default_value_t = 100, value_parser = clap::value_parser!(u32).range(80..=220))]
    pace: u32,
    /// Do not show what the controller says: it is heard.
    #[arg(long)]
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
    let last = Choices::file().map(|f| Choices::read(&f)).unwrap_or_default();
    let ends = Ends::settle(args.mic.clone(), args.speaker.clone(), args.headset, args.typed, &last);
    if ends.mic == End::Nothing && !args.typed {
        return Err(Failure::new(
            "there is nothing to hear you by; name a microphone with --mic, or type with --typed",
        ));
    }
    if args.unseen && ends.speaker == End::Nothing {
        return Err(Failure::new("with --unseen the controller is only heard; say where, with --speaker"));
    }
    if args.record.is_some() && ends.speaker.file().is_some() {
        return Err(Failure::new("--speaker FILE.wav and --record write the same; give one of them"));
    }
    let file = kept(&args)?;
    let mut progress = file.as_deref().map(read).transpose()?.unwrap_or_default();
    let rules = phrases.rules(regime);
    let today = today();
    let seed = args.seed.unwrap_or_else(chance);
    let weights = if file.is_some() { progress.weights(rules.name, today) } else { Weights::new() };
    let plan = Plan { regime, mode, difficulty: args.difficulty, seed, count: args.count, weights };
    let mut drill = Drill::new(&phrases, plan).map_err(Failure::new)?;
    outln!(
        "{}. {}, difficulty {}, seed {seed}. You are {}.",
        rules.title,
        mode_name(mode),
        args.difficulty,
        phrases.own
    );
    let how = if args.typed { "Type what you would say; an empty line is silence. " } else { "" };
    outln!("{how}For simulation and ground practice only.\n");
    let places = Places::here(models);
    let record = args.record.as_deref().or(ends.speaker.file());
    let air = match ends.speaker != End::Nothing || record.is_some() {
        true => Some(Air::new(wiring::voices(&places, EAR_RATE), args.pace, seed, record).map_err(failure)?),
        false => None,
    };
    let ear = || -> Result<RadioEar, Failure> {
        RadioEar::open(&places.models().map_err(failure)?, &phrases).map_err(failure)
    };
    let mut pilot: Box<dyn Pilot> = match (args.typed, ends.mic.file()) {
        (true, _) => Box::new(Typist::new()),
        (false, None) => Box::new(Live::new(ear()?)),
        (false, Some(file)) => {
            let sound = wav::read_16k(file).map_err(failure)?;
            for warning in &sound.warnings {
                eprintln!("antiphon: {warning}");
            }
            Box::new(Recording::new(ear()?, sound.samples))
        }
    };
    // Who types ends a session by the end of his lines, or at once.
    let booth = match ends.live() {
        true => Some(Booth::open(&ends, &last, (!args.typed).then(Outlet::open))?),
        false => None,
    };
    let mut channel = Channel::new(air, booth, args.unseen);
    session(&phrases, &mut drill, pilot.as_mut(), &mut channel)?;
    channel.finish()?;
    outln!();
    for line in told::summary(&phrases, drill.summary()) {
        outln!("{line}");
    }
    if let Some(file) = file {
        progress.add(rules.name, drill.summary(), today);
        write(&file, &progress)?;
        for line in told::days(&progress) {
            outln!("{line}");
        }
    }
    Ok(Outcome::Done)
}

/// Exercise after exercise, until the last or until the pilot leaves.
fn session(
    phrases: &Phrases,
    drill: &mut Drill<'_>,
    pilot: &mut dyn Pilot,
    channel: &mut Channel,
) -> Result<(), Failure> {
    while let Some(prompt) = drill.begin() {
        match &prompt.card {
            Some(card) => outln!("{:>2}  {card}", prompt.number),
            None => outln!("{:>2}  {}", prompt.number, prompt.phase.replace('_', " ")),
        }
        if !prompt.controller.is_empty() && transmit(&prompt, &prompt.controller, channel)? == Sent::Left {
            return Ok(());
        }
        while let Some(expected) = drill.expected() {
            let Some(words) = pilot.answer(&expected, channel)? else { return Ok(()) };
            let Some(reply) = drill.answer(&words) else { break };
            for line in told::score(phrases, drill.rules(), &reply) {
                outln!("{line}");
            }
            if let Some(model) = &reply.model {
                let model = if model.is_empty() { "(nothing: it was for someone else)" } else { model };
                outln!("    say        {model}");
            }
            for said in &reply.controller {
                if transmit(&prompt, said, channel)? == Sent::Left {
                    return Ok(());
                }
            }
        }
        outln!();
        channel.pause();
    }
    Ok(())
}

/// The controller says something: it is shown, and heard where there is sound.
fn transmit(prompt: &Prompt, text: &str, channel: &mut Channel) -> Result<Sent, Failure> {
    let shown = if channel.unseen() { "…" } else { text };
    outln!("  {}: {shown}", prompt.station.to_uppercase());
    channel.controller(text)
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
