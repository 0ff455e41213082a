//! `antiphon say`.

use super::{CliResult, Failure};

/// Speak a text.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon say \"Gear up\"")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args, _models: Option<&std::path::Path>) -> CliResult {
    Err(Failure::new("not built yet"))
}
