//! `antiphon hear`.

use super::{CliResult, Failure};

/// Tell what was said in sound files.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon hear --json take-off.wav")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args, _models: Option<&std::path::Path>) -> CliResult {
    Err(Failure::new("not built yet"))
}
