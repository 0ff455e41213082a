//! `antiphon drill`.

mod told;

use super::wiring::failure;
use super::{CliResult, Failure, Outcome};
use crate::core::radio::{Drill, Mode, Phrases, Plan, Progress, Prompt, REGIONS, Weights, Words, mode_name};
use std::io::{BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Practise radio phraseology: a controller speaks, you answer, every item is scored by the published rules.
///
/// For simulation and ground practice only, never for flight: what you say on the air is learnt from licensed
/// instruction. With --typed each line is one transmission of yours; an empty line is silence.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon drill --typed\n  antiphon drill --typed --rules uk --difficulty 3 --seed 7\n  antiphon drill --typed --mode numbers --count 20\n\nYou may answer \"say again\", \"say again heading\", \"say again all after level\", \"standby\", \"unable\" and\n\"correction\" like on the air."
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
    /// Where your weak points are kept, to come back more often; `off` keeps nothing. By default in the user's data
    /// folder, and `off` with --seed.
    #[arg(long, value_name = "FILE|off")]
    progress: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: Args) -> CliResult {
    let phrases = Phrases::built_in().map_err(Failure::new)?;
    let regime = phrases.region(&args.rules).map_err(|near| {
        let all: Vec<&str> = REGIONS.iter().map(|r| r.0).collect();
        Failure::new(format!(
            "there are no rules \"{}\": did you mean {near}? There are {}",
            args.rules,
            all.join(", ")
        ))
    })?;
    let mode = mode(&args.mode)?;
    if !args.typed {
        return Err(Failure::new("sound devices are not built in yet; answer by typing, with --typed"));
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
    println!("Type what you would say; an empty line is silence. For simulation and ground practice only.\n");
    let mut typist = Typist::new();
    session(&phrases, &mut drill, &mut typist)?;
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
fn session(phrases: &Phrases, drill: &mut Drill<'_>, typist: &mut Typist) -> Result<(), Failure> {
    while let Some(prompt) = drill.begin() {
        show(&prompt);
        loop {
            let Some(words) = typist.answer()? else { return Ok(()) };
            let Some(reply) = drill.answer(&words) else { break };
            for line in told::score(phrases, drill.rules(), &reply) {
                println!("{line}");
            }
            if let Some(model) = &reply.model {
                let model = if model.is_empty() { "(nothing: it was for someone else)" } else { model };
                println!("    say        {model}");
            }
            for said in &reply.controller {
                println!("  {}: {said}", prompt.station.to_uppercase());
            }
            if reply.over {
                break;
            }
        }
        println!();
    }
    Ok(())
}

fn show(prompt: &Prompt) {
    match &prompt.card {
        Some(card) => println!("{:>2}  {card}", prompt.number),
        None => {
            println!("{:>2}  {}", prompt.number, prompt.phase.replace('_', " "));
            println!("  {}: {}", prompt.station.to_uppercase(), prompt.controller);
        }
    }
}

/// The pilot at the keyboard.
struct Typist {
    lines: std::io::Lines<std::io::StdinLock<'static>>,
    /// Whether a person types: only then does it mean anything how long it took.
    person: bool,
}

impl Typist {
    fn new() -> Self {
        let input = std::io::stdin();
        let person = input.is_terminal();
        Typist { lines: input.lock().lines(), person }
    }

    /// What was typed; `None` at the end.
    fn answer(&mut self) -> Result<Option<Words>, Failure> {
        print!("  YOU: ");
        // If the terminal is gone, reading will tell.
        let _ = std::io::stdout().flush();
        let began = Instant::now();
        let Some(line) = self.lines.next() else {
            println!();
            return Ok(None);
        };
        let text = line.map_err(failure)?.trim().to_string();
        if !self.person {
            println!("{text}");
        }
        let latency_s = self.person.then(|| began.elapsed().as_secs_f64());
        Ok(Some(Words { text, latency_s, ..Words::default() }))
    }
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
