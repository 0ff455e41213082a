//! `antiphon doctor`.

use super::{CliResult, Failure};

/// Look at the machine and say what is missing.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon doctor")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args, _models: Option<&std::path::Path>) -> CliResult {
    Err(Failure::new("not built yet"))
}
