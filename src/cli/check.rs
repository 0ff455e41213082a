//! `antiphon check`.

use super::{CliResult, Failure};

/// Check phrasebooks and say what is wrong and how to mend it.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon check phrasebooks/saltmarsh-t2")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args) -> CliResult {
    Err(Failure::new("not built yet"))
}
