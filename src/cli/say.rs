//! `antiphon say`.

use super::{CliResult, Failure, Outcome};
use crate::edge::audio::recorder::write_mono;
use crate::edge::speaker::Voices;
use crate::edge::speaker::cache::Cache;
use crate::edge::store::Places;
use std::path::{Path, PathBuf};

/// Samples per second of the file.
const RATE: u32 = 22_050;

/// Speak a text.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  antiphon say --out positive.wav \"Positive climb\"\n  antiphon say --voice ground --out push.wav \"Ready to push\""
)]
pub struct Args {
    /// Who speaks; an unknown name lists them all.
    #[arg(long, value_name = "NAME", default_value = "first-officer")]
    voice: String,
    /// Write the sound to this WAV file.
    #[arg(long, value_name = "FILE.wav")]
    out: Option<PathBuf>,
    /// The words; several arguments are one text.
    #[arg(required = true, value_name = "TEXT")]
    text: Vec<String>,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let failure = |e: &dyn std::fmt::Display| Failure::new(e.to_string());
    let mut voices = Voices::new(Places::here(models).models(), RATE, Cache::in_memory());
    voices.table().get(&args.voice).map_err(|e| failure(&e))?;
    let text = args.text.join(" ");
    if !text.chars().any(char::is_alphanumeric) {
        return Err(Failure::new("there are no words to say; write them after the options"));
    }
    let Some(out) = args.out else {
        return Err(Failure::new("sound devices are not built in yet; write to a file with --out FILE.wav"));
    };
    let pcm = voices.render_with(&args.voice, &text).map_err(|e| failure(&e))?;
    write_mono(&out, pcm.rate, &pcm.samples).map_err(|e| failure(&e))?;
    println!("{}: {:.2} s, {} says \"{text}\"", out.display(), pcm.duration_s(), args.voice);
    Ok(Outcome::Done)
}
