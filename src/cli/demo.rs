//! `antiphon demo`.

use super::wiring::{self, failure};
use super::{CliResult, Failure, Outcome, tally, telling};
use crate::core::book::Book;
use crate::core::crew::Crew;
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
    /// The book, a name or a folder: saltmarsh-t2, or with --script that of the script, unless you say.
    #[arg(long, value_name = "DIR")]
    book: Option<PathBuf>,
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
    let file = match &args.script {
        Some(file) => file.clone(),
        None => {
            let demo = if args.full { "demo/full.toml" } else { "demo/departure.toml" };
            let book = args.book.clone().unwrap_or_else(|| wiring::BOOK.into());
            wiring::beside(&places, &book, demo)?
        }
    };
    let mut script = wiring::script(&file)?;
    let name = args.book.clone().unwrap_or_else(|| PathBuf::from(&script.book));
    let book = wiring::book(&places, &name)?;
    wiring::fits(&file, &script, &book)?;
    if let Some(seed) = args.seed {
        script.seed = seed;
    }
    std::fs::create_dir_all(&args.out)
        .map_err(|e| Failure::new(format!("{} cannot be made ({e}); choose another --out", args.out.display())))?;
    if args.typed {
        return typed(&args, &name, &book, script);
    }
    let seed = script.seed;
    let touches = touches(&script);
    let ears = wiring::on_air(&places, Box::new(wiring::listener(&places, &book)?), script.radio.is_some())?;
    let mut voices = wiring::voices(&places, EAR_RATE);
    wiring::prepare(&mut voices, &book)?;
    let mut captains = Captains::new(wiring::cache());
    let captain = captains.pick(seed).to_string();
    outln!("{}: the captain is played by {captain}. For simulation and ground practice only.\n", script.title);

    let link = stage::aircraft(&book, &script, seed).map_err(Failure)?;
    let path = args.out.join("journal.jsonl");
    let header = wiring::header(&book, &name, seed, &[("captain", &captain)]);
    let (send, news) = mpsc::channel();
    // A second handler cannot be set in one process; then Ctrl-C ends it as usual.
    let _ = ctrlc::set_handler(move || {
        let _ = send.send(News::Stop);
    });
    let noise = script.noise.as_ref().map(|n| wiring::cabin(seed, n.snr_db));
    let (arrangement, phase, sheet) = (script.arrangement, script.phase.clone(), script.sheet.clone());
    let opening = script.opening();
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
        told: Box::new(|line| outln!("{}", telling::line(line))),
        watcher: None,
        until: None,
        ends_in: Vec::new(),
    };
    let app = App::new(parts, SessionTime::ZERO, Wake::default()).opening(opening);
    let report = app.run(arrangement, phase, sheet).map_err(failure)?;
    told(&args, &book, &report, touches, "flight.wav, journal.jsonl, transcript.md")
}

/// The same without sound, as fast as it goes.
fn typed(args: &Args, name: &Path, book: &Arc<Book>, script: Script) -> CliResult {
    outln!("{}: typed. For simulation and ground practice only.\n", script.title);
    let touches = touches(&script);
    let header = wiring::header(book, name, script.seed, &[("captain", "typed")]);
    let journal = JournalFile::create(&args.out.join("journal.jsonl"), &header).map_err(Failure)?;
    let report = stage::silent(book.clone(), script, journal).map_err(Failure)?;
    report.lines.iter().for_each(|line| outln!("{}", telling::line(line)));
    told(args, book, &report, touches, "journal.jsonl, transcript.md")
}

/// Taps on the page that a script needs.
fn touches(script: &Script) -> usize {
    script.steps.iter().filter(|s| s.touch.is_some()).count()
}

/// The transcript, the summary, and whether all went well.
fn told(args: &Args, book: &Book, report: &Report, touches: usize, files: &str) -> CliResult {
    let transcript = args.out.join("transcript.md");
    std::fs::write(&transcript, telling::transcript(book, report))
        .map_err(|e| Failure::new(format!("{} cannot be written ({e})", transcript.display())))?;
    outln!("\n{}", telling::summary(report));
    outln!("{}", tally::line(book, report, touches));
    outln!("{}: {files}", args.out.display());
    Ok(if telling::good(report) { Outcome::Done } else { Outcome::Problems })
}
