//! `antiphon say`.

use super::wiring::{self, Voice};
use super::{CliResult, Failure, Outcome};
use crate::edge::audio::recorder::write_mono;
use crate::edge::speaker::cache::Cache;
use crate::edge::speaker::service::Told;
use crate::edge::speaker::{Silent, Voices};
use crate::edge::store::Places;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Samples per second of the file.
const RATE: u32 = 22_050;

/// Speak a text.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  antiphon say --out positive.wav \"Positive climb\"\n  antiphon say --voice ground --out push.wav \"Ready to push\"\n  antiphon say --voice system \"Positive climb\""
)]
pub struct Args {
    /// Who speaks; an unknown name lists them all. `system` or `system:NAME` is the operating system's voice, aloud.
    #[arg(long, value_name = "NAME", default_value = "first-officer")]
    voice: String,
    #[command(flatten)]
    spoken: wiring::Spoken,
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
    if let Ok(Voice::System(name)) = wiring::voice_choice(&args.voice) {
        return aloud(&args, name);
    }
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
    outln!("{}: {:.2} s, {} says \"{text}\"", out.display(), pcm.duration_s(), args.voice);
    Ok(Outcome::Done)
}

/// Speaks by the system voice, and waits until it has ended.
fn aloud(args: &Args, name: Option<String>) -> CliResult {
    if args.out.is_some() {
        return Err(Failure::new(
            "the system voice gives no samples, so --out cannot be written; choose another voice",
        ));
    }
    let away = |why: String| Failure::new(format!("the system voice is away ({why}); choose another with --voice"));
    let text = args.text.join(" ");
    if Silent::estimate_s(&text) == 0.0 {
        return Err(Failure::new("there are no words to say; write them after the options"));
    }
    let wire = args.spoken.open(name).map_err(away)?;
    wire.speak(1, &text);
    // Twice the length at the slowest, and a while for a service that has just been started.
    let mut limit = Duration::from_secs_f64(10.0 + 4.0 * Silent::estimate_s(&text));
    loop {
        match wire.wait(limit) {
            Some(Told::Ended { .. }) => return Ok(Outcome::Done),
            Some(Told::Failed { why }) => return Err(away(why)),
            Some(Told::Taken { .. }) => limit = Duration::from_secs_f64(2.0 + 4.0 * Silent::estimate_s(&text)),
            Some(Told::Open) => {}
            None => return Err(away("it has not told in time that it has spoken".into())),
        }
    }
}
