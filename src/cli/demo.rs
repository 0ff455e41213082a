//! `antiphon demo`.

use super::{CliResult, Failure};

/// A departure by voice with a synthetic captain.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon demo")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args, _models: Option<&std::path::Path>) -> CliResult {
    Err(Failure::new("not built yet"))
}
