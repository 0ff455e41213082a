//! `antiphon fly`.

use super::{CliResult, Failure};

/// Fly: the pilot speaks or types, the second pilot works.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon fly --typed")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args, _models: Option<&std::path::Path>) -> CliResult {
    Err(Failure::new("not built yet"))
}
