//! `antiphon replay`.

use super::{CliResult, Failure};

/// Run a journal again and compare.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  antiphon replay journal.jsonl")]
pub struct Args {}

/// Runs it.
pub fn run(_args: Args) -> CliResult {
    Err(Failure::new("not built yet"))
}
