//! `antiphon voice`: the ear learns its pilot.

use super::sound::{self, End};
use super::{CliResult, Failure, Outcome, wiring};
use crate::core::book::{Book, ToRead};
use crate::core::gate;
use crate::core::grammar::{CallId, CallSet};
use crate::core::matcher::{Choice, Own, Sample, choose};
use crate::edge::audio::device::Way;
use crate::edge::audio::duplex::{Duplex, Told, Wanted};
use crate::edge::audio::{level, wav};
use crate::edge::ear::enrolled::amplified;
use crate::edge::ear::{Listener, News};
use crate::edge::store::{Choices, Places, own_file, read_own, write_own};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

/// Let the ear learn your voice: read thirty calls, two minutes.
///
/// It sets the level of your microphone, how sure the ear must be of you, and the wordings that you use, shows what it heard
/// before and after, and keeps that in a small file in your data folder for `fly`, with that microphone. It never makes it
/// easier for a critical call to be heard where none was made. What you correct in flight adds to it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon voice\n  antiphon voice --list\n  antiphon voice --wav my-recordings\n  antiphon voice --forget"
)]
pub struct Args {
    /// The phrasebook whose calls are read.
    #[arg(long, value_name = "DIR", default_value = wiring::BOOK)]
    book: PathBuf,
    /// The microphone, by name; else the one of last time, else the system's.
    #[arg(long, value_name = "NAME")]
    mic: Option<String>,
    /// Only print what is to be read, numbered.
    #[arg(long)]
    list: bool,
    /// Take recordings of them: 01.wav, 02.wav … in this folder; those that are missing are left out.
    #[arg(long, value_name = "FOLDER", conflicts_with = "mic")]
    wav: Option<PathBuf>,
    /// How many calls to read.
    #[arg(long, value_name = "N", default_value = "30", value_parser = clap::value_parser!(u16).range(5..=60))]
    calls: u16,
    /// Forget what is known of your voice.
    #[arg(long, conflicts_with_all = ["list", "wav", "mic"])]
    forget: bool,
}

/// How long a call is waited for before the next is shown, s.
const PATIENCE_S: u64 = 12;
/// A voice cannot be learned from fewer calls.
const FEWEST: usize = 5;

/// One call read, with its sound.
struct Read {
    sound: Vec<f32>,
    sample: Sample,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let file = own_file().ok_or_else(|| Failure::new("there is no home folder for what is kept; set XDG_DATA_HOME"))?;
    if args.forget {
        return match std::fs::remove_file(&file) {
            Ok(()) => told(&format!("{} is deleted: the ear takes you as anybody", file.display())),
            Err(_) => told("nothing is known of your voice"),
        };
    }
    let places = Places::here(models);
    let book = wiring::book(&places, &args.book)?;
    let lines = book.to_read(usize::from(args.calls));
    if args.list {
        for (i, line) in lines.iter().enumerate() {
            println!("{:02}  {}", i + 1, line.text);
        }
        return Ok(Outcome::Done);
    }
    let mut listener = wiring::listener(&places, &book)?;
    let (all, microphone) = match &args.wav {
        Some(folder) => (recorded(folder, &lines, &mut listener)?, String::new()),
        None => live(&args, &lines, &mut listener)?,
    };
    if all.len() < FEWEST {
        return Err(Failure::new(format!(
            "only {} of {} calls could be heard, too few to learn from: see to the level of the microphone (`antiphon doctor`) and read them again",
            all.len(),
            lines.len()
        )));
    }
    let own = learn(&book, &lines, &all, &mut listener, &microphone)?;
    write_own(&own, &file).map_err(Failure)?;
    told(&format!("kept in {}", file.display()))
}

fn told(text: &str) -> CliResult {
    println!("{text}");
    Ok(Outcome::Done)
}

/// Names of what is critical.
pub fn critical(book: &Book) -> impl Fn(&str) -> bool + '_ {
    |call| book.call(call).is_some_and(|c| book.is_critical(c))
}

/// Learns from what was read, shows before and after, and gives what is worth keeping.
fn learn(
    book: &Book,
    lines: &[ToRead],
    all: &[(usize, Read)],
    listener: &mut Listener,
    microphone: &str,
) -> Result<Own, Failure> {
    let is_critical = critical(book);
    let thresholds = listener.thresholds().clone();
    let samples: Vec<Sample> = all.iter().map(|(_, r)| r.sample.clone()).collect();
    // The level comes first, since the rest depends on it.
    let gain_db = Own::learn(&samples, &is_critical, &thresholds).gain_db;
    let mut louder = Vec::new();
    let mut sound = Vec::new();
    for (i, read) in all {
        amplified(&read.sound, gain_db, &mut sound);
        let heard = hear(listener, &lines[*i], &sound)?.map_or_else(|| read.sample.clone(), |s| s.sample);
        louder.push(Sample { meaning: read.sample.meaning.clone(), ..heard });
    }
    let mut tallies = [[0usize; 3]; 2];
    for (n, (i, read)) in all.iter().enumerate() {
        // Each call is judged by what the others told, or it would only find itself again.
        let others: Vec<Sample> = louder.iter().enumerate().filter(|(k, _)| *k != n).map(|(_, s)| s.clone()).collect();
        let of_others = Own::learn(&others, &is_critical, &thresholds);
        let now = Sample { heard: of_others.applied(louder[n].heard.clone(), &is_critical), ..louder[n].clone() };
        let verdicts = [&read.sample, &now].map(|s| verdict(book, &lines[*i], s, &thresholds));
        for (tally, v) in tallies.iter_mut().zip(verdicts) {
            tally[v] += 1;
        }
        if verdicts != [0, 0] {
            let text = |v: usize| ["right", "refused", "wrong"][v];
            println!("{:02}  {}: {}, now {}", i + 1, lines[*i].text, text(verdicts[0]), text(verdicts[1]));
        }
    }
    let mut own = Own::learn(&louder, &is_critical, &thresholds);
    own.gain_db = gain_db;
    own.microphone = microphone.to_string();
    let told = |t: [usize; 3]| format!("{} right, {} refused, {} wrong", t[0], t[1], t[2]);
    println!("\nbefore: {}\nafter:  {} (each judged by what the others told)", told(tallies[0]), told(tallies[1]));
    // More right at the price of more wrong is no gain.
    if tallies[1][2] > tallies[0][2] {
        own.lift = 0.0;
        println!("your calls are not lifted, since more would then be taken for others");
    }
    println!(
        "level: {gain_db:+.1} dB; your calls are lifted by {:.1} nats, critical ones by none; {} wordings noted",
        own.lift,
        own.wordings.len()
    );
    Ok(own)
}

/// 0 right, 1 refused, 2 wrong.
fn verdict(book: &Book, line: &ToRead, sample: &Sample, by: &crate::core::matcher::Thresholds) -> usize {
    let is = |c: CallId| book.is_critical(c);
    match choose(&sample.heard, &book.graph, &line.live, &CallSet::none(), is, by) {
        Choice::Accept { meanings, .. } if meanings.as_slice() == std::slice::from_ref(&line.meaning) => 0,
        Choice::Accept { .. } => 2,
        Choice::Refuse { .. } => 1,
    }
}

/// What was heard of one line; `None` if nothing was said.
fn hear(listener: &mut Listener, line: &ToRead, sound: &[f32]) -> Result<Option<Read>, Failure> {
    listener.reset();
    listener.listen(1, &line.live);
    let mut news = listener.feed(sound).map_err(wiring::failure)?;
    news.extend(listener.feed(&vec![0.0; gate::RATE as usize]).map_err(wiring::failure)?);
    news.extend(listener.finish().map_err(wiring::failure)?);
    let heard = news.into_iter().find_map(|n| match n {
        News::Heard { heard, .. } if heard.unheard.is_none() => Some(heard),
        _ => None,
    });
    let level_db = level::to_db(level::active_rms(sound, gate::RATE));
    Ok(heard
        .map(|heard| Read { sound: sound.to_vec(), sample: Sample { meaning: line.meaning.clone(), heard, level_db } }))
}

fn recorded(folder: &Path, lines: &[ToRead], listener: &mut Listener) -> Result<Vec<(usize, Read)>, Failure> {
    let mut all = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        let file = folder.join(format!("{:02}.wav", i + 1));
        if !file.exists() {
            continue;
        }
        let sound = wav::read_16k(&file).map_err(wiring::failure)?;
        match hear(listener, line, &sound.samples)? {
            Some(read) => all.push((i, read)),
            None => eprintln!("antiphon: nothing is heard in {}", file.display()),
        }
    }
    if all.is_empty() {
        return Err(Failure::new(format!(
            "{} holds no 01.wav, 02.wav … in which anything is said: `antiphon voice --list` tells what to record",
            folder.display()
        )));
    }
    Ok(all)
}

/// By the microphone, line by line.
fn live(args: &Args, lines: &[ToRead], listener: &mut Listener) -> Result<(Vec<(usize, Read)>, String), Failure> {
    let last = Choices::file().map(|f| Choices::read(&f)).unwrap_or_default();
    let mic = match args.mic.as_ref().or(last.mic.as_ref()) {
        Some(name) => sound::End::Named(name.clone()),
        None => End::Default,
    };
    let (send, pieces) = mpsc::channel();
    let told = move |told| {
        if let Told::Piece(piece) = told {
            let _ = send.send(piece.mic);
        }
    };
    let (_duplex, handle) = Duplex::open(mic.device(), Wanted::Nothing, told).map_err(wiring::failure)?;
    let known = handle.devices().mic;
    let name = known.as_ref().map(|(l, _)| l.id.clone()).unwrap_or_default();
    if let Some((device, _)) = &known {
        eprintln!("{}: {} ({})", Way::In.word(), device.name, device.id);
    }
    println!(
        "Read each line when it appears, as you would say it in flight; other words for the same call do as well.\n"
    );
    let mut all = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        println!("{:02} of {:02}   {}", i + 1, lines.len(), line.text);
        // What was said before the line was shown is not it.
        while pieces.try_recv().is_ok() {}
        listener.reset();
        listener.listen(1, &line.live);
        let mut sound = Vec::new();
        let mut over = false;
        while !over && sound.len() < (PATIENCE_S * u64::from(gate::RATE)) as usize {
            let piece = pieces.recv_timeout(Duration::from_secs(PATIENCE_S)).map_err(|_| {
                Failure::new(
                    "no sound arrives from the microphone: `antiphon doctor` lists the devices; name one with --mic",
                )
            })?;
            over = listener
                .feed(&piece)
                .map_err(wiring::failure)?
                .iter()
                .any(|n| matches!(n, News::Heard { heard, .. } if heard.unheard.is_none()));
            sound.extend(piece);
        }
        match hear(listener, line, &sound)? {
            Some(read) => all.push((i, read)),
            None => println!("          (nothing was heard; on to the next)"),
        }
    }
    Ok((all, name))
}

/// What is known of the pilot at this microphone, said aloud on the terminal; nothing if it was learned at another.
pub fn known(microphone: &str) -> Option<Own> {
    let file = own_file()?;
    match read_own(&file) {
        Ok(Some(own)) if own.microphone == microphone => {
            eprintln!(
                "your voice is known ({}): level {:+.1} dB, calls lifted by {:.1} nats",
                file.display(),
                own.gain_db,
                own.lift
            );
            Some(own)
        }
        Ok(Some(_)) => {
            eprintln!(
                "your voice was learned with another microphone and is not used; `antiphon voice` learns it with this one"
            );
            None
        }
        Ok(None) => None,
        Err(why) => {
            eprintln!("antiphon: {why}");
            None
        }
    }
}

/// What is known of the pilot, at whatever microphone.
pub fn learned() -> Result<Own, Failure> {
    let nothing = || Failure::new("nothing is known of your voice: run `antiphon voice` first, or leave --own away");
    let file = own_file().ok_or_else(nothing)?;
    read_own(&file).map_err(Failure)?.ok_or_else(nothing)
}

/// Adds what was corrected in a flight.
pub fn add(mut own: Own, corrected: &[(String, String)]) {
    let Some(file) = own_file().filter(|_| !corrected.is_empty()) else { return };
    for (call, words) in corrected {
        own.corrected(call, words);
    }
    match write_own(&own, &file) {
        Ok(()) => eprintln!("{} of your corrections are noted in {}", corrected.len(), file.display()),
        Err(why) => eprintln!("antiphon: {why}"),
    }
}
