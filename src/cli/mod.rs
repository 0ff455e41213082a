#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "the command line prints and asks for files"
)]
//! One thin file a subcommand.

/// Like `println!`, which would panic where nobody reads any more.
macro_rules! outln {
    () => { $crate::cli::telling::out("") };
    ($($text:tt)*) => { $crate::cli::telling::out(format_args!($($text)*)) };
}
/// Like `print!`, in the same way.
macro_rules! outp {
    ($($text:tt)*) => {{ $crate::cli::telling::part(format_args!($($text)*)); }};
}

mod again;
mod aircraft;
mod buttons;
mod check;
mod coverage;
mod debrief;
mod demo;
mod doctor;
mod drill;
mod fly;
mod hear;
mod link;
mod listen;
mod outlet;
mod page;
mod repeat;
mod replay;
mod resume;
mod say;
mod sound;
mod tally;
mod telling;
mod voice;
mod wiring;

use crate::edge::native;
use clap::{Parser, Subcommand};
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Duration;

/// How long the end waits for a model that is at work; one that hangs must not keep the process.
const LAST_WORK: Duration = Duration::from_secs(3);

/// The second pilot for someone alone at a two-crew airliner simulation: offline, by voice.
///
/// For simulation and ground practice only, never for flight. Your operator's approved manuals, the
/// authorities and licensed instruction always come first.
#[derive(Debug, Parser)]
#[command(
    name = "antiphon",
    version,
    after_help = "Example:\n  antiphon demo\n\nExit status: 0 done, 1 the content or the flight has problems, 2 the command line or the machine has."
)]
struct Cli {
    /// Folder with the model files (else ANTIPHON_HOME, the XDG data folder, next to the program).
    #[arg(long, global = true, value_name = "DIR")]
    models: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Fly(Box<fly::Args>),
    Demo(demo::Args),
    Hear(hear::Args),
    Link(link::Args),
    Check(check::Args),
    Say(say::Args),
    Voice(voice::Args),
    Debrief(debrief::Args),
    Drill(drill::Args),
    Replay(replay::Args),
    Doctor(doctor::Args),
}

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// Exit status 0.
    Done,
    /// Exit status 1: the content or the flight has problems (already told).
    Problems,
}

/// Exit status 2: one sentence about the command line or the machine, with what to do next.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Failure(pub String);

impl Failure {
    /// From anything that can be told in a sentence.
    pub fn new(what: impl Into<String>) -> Self {
        Failure(what.into())
    }
}

/// What every subcommand returns.
pub type CliResult = Result<Outcome, Failure>;

/// Parses the command line, runs the subcommand and maps its outcome to the exit status.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let models = cli.models.as_deref();
    let result = match cli.command {
        Command::Fly(a) => fly::run(*a, models),
        Command::Demo(a) => demo::run(a, models),
        Command::Hear(a) => hear::run(a, models),
        Command::Link(a) => link::run(a, models),
        Command::Check(a) => check::run(a),
        Command::Say(a) => say::run(a, models),
        Command::Voice(a) => voice::run(a, models),
        Command::Debrief(a) => debrief::run(a),
        Command::Drill(a) => drill::run(a, models),
        Command::Replay(a) => replay::run(a),
        Command::Doctor(a) => doctor::run(a, models),
    };
    // A thread that still loads or runs a model (an utterance cut off, a short file) must not do so while the process ends.
    native::close(LAST_WORK);
    match result {
        Ok(Outcome::Done) => ExitCode::SUCCESS,
        Ok(Outcome::Problems) => ExitCode::from(1),
        Err(Failure(text)) => {
            eprintln!("antiphon: {text}");
            ExitCode::from(2)
        }
    }
}
