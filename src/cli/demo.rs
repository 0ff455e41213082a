//! `antiphon demo`.

use super::wiring::{self, failure};
use super::{CliResult, Failure, Outcome, telling};
use crate::core::book::Book;
use crate::core::crew::Crew;
use crate::core::crew::io::Input;
use crate::core::script::{Performance, Script};
use crate::core::time::{SessionTime, Wake};
use crate::edge::app::{App, Ears, News, Outside, Pace, Parts, Report, stage};
use crate::edge::audio::EAR_RATE;
use crate::edge::audio::recorder::Recorder;
use crate::edge::captain::Captains;
use crate::edge::store::{JournalFile, Places};
use std::path::{Path, PathBuf};
use std::sync::{Arc, mpsc};

/// A departure by voice, or with --full a whole flight: a synthetic captain speaks into the same ear, engine and voice
/// as you would.
///
/// Writes flight.wav (left the captain, right the crew), journal.jsonl and transcript.md.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  antiphon demo --out my-demo\n  antiphon demo --full --book saltmarsh-t4\n  \
                  antiphon demo --full --typed")]
pub struct Args {
    /// The book: a name or a folder.
    #[arg(long, value_name = "DIR", default_value = wiring::BOOK)]
    book: PathBuf,
    /// Where the results go.
    #[arg(long, value_name = "DIR", default_value = "antiphon-demo")]
    out: PathBuf,
    /// Gate to gate: from Harrow Point to Eastmere.
    #[arg(long)]
    full: bool,
    /// A session script of your own in place of the book's demo.
    #[arg(long, value_name = "FILE.toml", conflicts_with = "full")]
    script: Option<PathBuf>,
    /// The captain's words are typed and nothing sounds: seconds in place of minutes; no flight.wav.
    #[arg(long)]
    typed: bool,
    /// Another captain and another noise.
    #[arg(long, value_name = "N")]
    seed: Option<u64>,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let places = Places::here(models);
    let book = wiring::book(&places, &args.book)?;
    let file = match &args.script {
        Some(file) => file.clone(),
        None => {
            let demo = if args.full { "demo/full.toml" } else { "demo/departure.toml" };
            wiring::beside(&places, &args.book, demo)?
        }
    };
    let mut script = wiring::script(&file, &book)?;
    if let Some(seed) = args.seed {
        script.seed = seed;
    }
    std::fs::create_dir_all(&args.out)
        .map_err(|e| Failure::new(format!("{} cannot be made ({e}); choose another --out", args.out.display())))?;
    if args.typed {
        return typed(&args, &book, script);
    }
    let seed = script.seed;
    let ears = wiring::on_air(&places, Box::new(wiring::listener(&places, &book)?), script.radio.is_some())?;
    let mut voices = wiring::voices(&places, EAR_RATE);
    wiring::prepare(&mut voices, &book)?;
    let mut captains = Captains::new(wiring::cache());
    let captain = captains.pick(seed).to_string();
    println!("{}: the captain is played by {captain}. For simulation and ground practice only.\n", script.title);

    let link = stage::aircraft(&book, &script, seed).map_err(Failure)?;
    let path = args.out.join("journal.jsonl");
    let header = wiring::header(&book, &args.book, seed, &[("captain", &captain)]);
    let (send, news) = mpsc::channel();
    // A second handler cannot be set in one process; then Ctrl-C ends it as usual.
    let _ = ctrlc::set_handler(move || {
        let _ = send.send(News::Stop);
    });
    let noise = script.noise.as_ref().map(|n| wiring::cabin(seed, n.snr_db));
    let (arrangement, phase, sheet) = (script.arrangement, script.phase.clone(), script.sheet.clone());
    let radio: Option<Input> = script.radio.as_ref().map(Into::into);
    let parts = Parts {
        engine: Box::new(Crew::new(book.clone())),
        book: book.clone(),
        link: Box::new(link),
        ears: Ears::Sound(ears),
        speaker: Box::new(voices),
        pilot: Some(Performance::new(script)),
        captain: Some(Box::new(move |text| {
            captains.render(&captain, text).map(|p| p.samples.to_vec()).map_err(|e| e.to_string())
        })),
        noise: noise.map(|n| Box::new(n) as _),
        recording: None,
        recorder: Some(Recorder::create(&args.out.join("flight.wav"), EAR_RATE).map_err(failure)?),
        journal: JournalFile::create(&path, &header).map_err(Failure)?,
        pace: Pace::Fast,
        outside: Outside(Some(news)),
        told: Box::new(|line| println!("{}", telling::line(line))),
        watcher: None,
        until: None,
        ends_in: Vec::new(),
    };
    let app = App::new(parts, SessionTime::ZERO, Wake::default()).opening(radio.into_iter().collect());
    let report = app.run(arrangement, phase, sheet).map_err(failure)?;
    told(&args, &book, &report, "flight.wav, journal.jsonl, transcript.md")
}

/// The same without sound, as fast as it goes.
fn typed(args: &Args, book: &Arc<Book>, script: Script) -> CliResult {
    println!("{}: typed. For simulation and ground practice only.\n", script.title);
    let header = wiring::header(book, &args.book, script.seed, &[("captain", "typed")]);
    let journal = JournalFile::create(&args.out.join("journal.jsonl"), &header).map_err(Failure)?;
    let report = stage::silent(book.clone(), script, journal).map_err(Failure)?;
    report.lines.iter().for_each(|line| println!("{}", telling::line(line)));
    told(args, book, &report, "journal.jsonl, transcript.md")
}

/// The transcript, the summary, and whether all went well.
fn told(args: &Args, book: &Book, report: &Report, files: &str) -> CliResult {
    let transcript = args.out.join("transcript.md");
    std::fs::write(&transcript, telling::transcript(book, report))
        .map_err(|e| Failure::new(format!("{} cannot be written ({e})", transcript.display())))?;
    println!("\n{}", telling::summary(report));
    println!("{}: {files}", args.out.display());
    Ok(if telling::good(report) { Outcome::Done } else { Outcome::Problems })
}
