//! `antiphon hear`.

use super::wiring::{self, Engine};
use super::{CliResult, Failure, Outcome};
use crate::core::book::{Book, Severity};
use crate::core::gate::Settings;
use crate::core::grammar::{CallId, CallSet, Meaning};
use crate::core::matcher::{Choice, Heard, Own, choose};
use crate::edge::audio::{AudioError, wav};
use crate::edge::ear::enrolled::amplified;
use crate::edge::ear::{Listener, News, Reader};
use crate::edge::store::{Places, read_book};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Tell what was said in sound files.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon hear gear-up.wav\n  antiphon hear --context taxi --json one.wav two.wav\n  antiphon hear --segments --json flight.wav\n  antiphon hear --engine vosk --vosk-model my-model gear-up.wav"
)]
pub struct Args {
    /// The phrasebook: a folder, or the name of one that is found.
    #[arg(long, value_name = "DIR", default_value = "saltmarsh-t2")]
    book: PathBuf,
    /// What can be said: a phase of the book, one of its checklists or flows with its answers, or `all` calls.
    #[arg(long, value_name = "NAME", default_value = "all")]
    context: String,
    /// Which recogniser.
    #[arg(long, value_enum, default_value = "neural")]
    engine: Engine,
    /// The folder of a Vosk model, for --engine vosk; else `vosk-model` in the models folder.
    #[arg(long, value_name = "DIR")]
    vosk_model: Option<PathBuf>,
    /// Cut each file at its silences, one line a piece; without it a file is one utterance.
    #[arg(long)]
    segments: bool,
    /// Take the voice as the one that `antiphon voice` has learned.
    #[arg(long)]
    own: bool,
    /// One JSON object a line.
    #[arg(long)]
    json: bool,
    /// WAV files: any rate, any channels, 8 to 32 bits.
    #[arg(required = true, value_name = "FILE.wav")]
    files: Vec<PathBuf>,
}

/// A file that is one utterance must not be cut at a pause; this much is one breath.
const ONE_UTTERANCE_S: u64 = 30;

/// One line of output.
#[derive(Debug, Default, Serialize)]
struct Line {
    file: String,
    call: Option<String>,
    slots: BTreeMap<String, crate::core::aircraft::Value>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    calls: Vec<Meaning>,
    text: Option<String>,
    score: Option<f64>,
    margin: Option<f64>,
    reason: Option<String>,
    error: Option<String>,
    speech_end_s: Option<f64>,
    decision_ms: Option<f64>,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let failure = |e: &dyn std::fmt::Display| Failure::new(e.to_string());
    let places = Places::here(models);
    let book = readable(&places, &args.book)?;
    let live = context(&book, &args.context)?;
    let models = places.models().map_err(|e| failure(&e))?;
    let settings = if args.segments { Settings::default() } else { one_utterance() };
    match args.engine {
        Engine::Neural => {
            let listener = Listener::open(&models, &book.graph, settings).map_err(|e| failure(&e))?;
            files(&args, &book, &live, listener)
        }
        Engine::Vosk => {
            let listener = wiring::vosk(&places, &book, args.vosk_model.as_deref(), settings, true)?;
            files(&args, &book, &live, listener)
        }
    }
}

/// Listens to the files, one after the other.
fn files<E: Reader>(args: &Args, book: &Book, live: &CallSet, mut listener: Listener<E>) -> CliResult {
    let failure = |e: &dyn std::fmt::Display| Failure::new(e.to_string());
    let own = if args.own { super::voice::learned()? } else { Own::default() };
    let critical = super::voice::critical(book);
    let mut loud = Vec::new();
    let mut failed = None;
    for file in &args.files {
        let name = file.display().to_string();
        let lines = match wav::read_16k(file) {
            Ok(sound) => {
                amplified(&sound.samples, own.gain_db, &mut loud);
                let mut news = listen(&mut listener, live, &loud).map_err(|e| failure(&e))?;
                for (heard, _) in news.iter_mut().filter(|_| args.own) {
                    *heard = own.applied(heard.clone(), &critical);
                }
                for warning in &sound.warnings {
                    eprintln!("antiphon: {warning}");
                }
                let mut lines: Vec<Line> = news.into_iter().map(|n| line(&name, book, live, &listener, n)).collect();
                if !args.segments {
                    // More than one breath: the first that holds a call, or the first at all.
                    let best = lines.iter().position(|l| l.call.is_some()).unwrap_or(0);
                    lines = lines.drain(..).skip(best).take(1).collect();
                }
                if lines.is_empty() {
                    lines.push(Line { file: name, reason: Some("nothing said".into()), ..Line::default() });
                }
                lines
            }
            Err(e) => {
                failed = Some(matches!(e, AudioError::Read { .. }) || failed.unwrap_or(false));
                vec![Line { file: name, error: Some(e.to_string()), ..Line::default() }]
            }
        };
        for line in lines {
            outln!("{}", if args.json { json(&line)? } else { plain(&line) });
        }
    }
    match failed {
        None => Ok(Outcome::Done),
        Some(false) => Ok(Outcome::Problems),
        Some(true) => Err(Failure::new("not every file could be read; the lines say which, and why")),
    }
}

/// A book whose calls can be heard: it need not be fit to fly, and its author may just be trying its wordings.
fn readable(places: &Places, path: &Path) -> Result<Book, Failure> {
    let loaded = read_book(places, path).map_err(|e| Failure::new(e.to_string()))?;
    let errors = loaded.problems.iter().filter(|p| p.severity == Severity::Error).count();
    let check = format!("`antiphon check {}` tells what is wrong", path.display());
    if loaded.book.calls.is_empty() {
        return Err(Failure::new(format!("the book {} has no calls to listen for; {check}", path.display())));
    }
    if errors > 0 {
        eprintln!("antiphon: the book has {errors} errors and is heard as far as it goes; {check}");
    }
    Ok(loaded.book)
}

/// A file is one utterance from its first voiced moment to its last.
fn one_utterance() -> Settings {
    let longest = ONE_UTTERANCE_S * u64::from(crate::core::gate::RATE);
    Settings { ask_wait: longest, short_wait: longest, long_wait: longest, longest, ..Settings::default() }
}

/// Everything heard in one file.
fn listen<E: Reader>(
    listener: &mut Listener<E>,
    live: &CallSet,
    samples: &[f32],
) -> Result<Vec<(Heard, Duration)>, crate::edge::ear::EarError> {
    listener.reset();
    listener.listen(1, live);
    let mut news = listener.feed(samples)?;
    news.extend(listener.finish()?);
    for trouble in listener.ear_mut().trouble() {
        eprintln!("antiphon: {trouble}");
    }
    let heard = |n| if let News::Heard { heard, decision, .. } = n { Some((heard, decision)) } else { None };
    Ok(news.into_iter().filter_map(heard).collect())
}

fn line<E: Reader>(
    file: &str,
    book: &Book,
    live: &CallSet,
    listener: &Listener<E>,
    (heard, decision): (Heard, Duration),
) -> Line {
    let critical = |c: CallId| book.is_critical(c);
    let choice = choose(&heard, &book.graph, live, &CallSet::none(), critical, listener.thresholds());
    let mut line = Line {
        file: file.to_string(),
        score: heard.ranked.first().map(|c| c.score),
        margin: Some(heard.margin()).filter(|m| m.is_finite() && !heard.ranked.is_empty()),
        speech_end_s: Some(heard.speech.1.secs()),
        decision_ms: Some(decision.as_secs_f64() * 1000.0),
        ..Line::default()
    };
    match choice {
        Choice::Accept { meanings, score, .. } => {
            line.text =
                heard.ranked.iter().find(|c| meanings.iter().all(|m| c.meanings.contains(m))).map(|c| c.text.clone());
            line.score = Some(score);
            if let Some(first) = meanings.first() {
                line.call = Some(first.call.clone());
                line.slots = first.slots.clone();
            }
            if meanings.len() > 1 {
                line.calls = meanings;
            }
        }
        Choice::Refuse { reason, text, .. } => {
            line.text = text;
            line.reason = Some(reason.to_string());
        }
    }
    line
}

/// The calls that can be made in a context.
fn context(book: &Book, name: &str) -> Result<CallSet, Failure> {
    let calls = |keep: &dyn Fn(&crate::core::book::schema::Call) -> bool| -> CallSet {
        (0..book.calls.len()).filter(|i| keep(&book.calls[*i])).map(|i| CallId(i as u16)).collect()
    };
    // A hidden answer has its list's name before its own: outside that list the same words mean a hundred things.
    let hidden = |id: &str| id.contains('/');
    if name == "all" {
        return Ok(calls(&|c| !hidden(&c.id)));
    }
    if let Some(phase) = book.phase(name) {
        return Ok(calls(&|c| c.always || (!c.answer_only && (c.phases.is_empty() || c.phases.contains(&phase)))));
    }
    let of = format!("{name}/");
    let own = calls(&|c| c.id.starts_with(&of));
    if !own.is_empty() {
        return Ok(own.union(&calls(&|c| c.always || (c.answer_only && !hidden(&c.id)))));
    }
    let names: Vec<&str> = book.phases.iter().map(|p| p.id.as_str()).collect();
    let lists = book.checklists.iter().map(|c| c.id.as_str());
    let all: Vec<&str> = names.iter().copied().chain(lists).chain(["all"]).collect();
    let near = all.iter().min_by_key(|n| strsim::osa_distance(n, name)).copied().unwrap_or("all");
    Err(Failure::new(format!(
        "the book has no context `{name}`: did you mean `{near}`? Its phases are {}; `all` takes every call",
        names.join(", ")
    )))
}

fn json(line: &Line) -> Result<String, Failure> {
    serde_json::to_string(line).map_err(|e| Failure::new(format!("the result cannot be written as JSON ({e})")))
}

fn plain(line: &Line) -> String {
    let one = |call: &str, slots: &BTreeMap<String, crate::core::aircraft::Value>| {
        slots.iter().fold(call.to_string(), |s, (k, v)| format!("{s} {k}={v}"))
    };
    let what = match (&line.error, &line.call) {
        (Some(error), _) => error.clone(),
        (None, Some(call)) if line.calls.is_empty() => one(call, &line.slots),
        (None, Some(_)) => line.calls.iter().map(|m| one(&m.call, &m.slots)).collect::<Vec<_>>().join(" + "),
        (None, None) => format!("nothing ({})", line.reason.as_deref().unwrap_or("no reason")),
    };
    let text = line.text.as_deref().map_or(String::new(), |t| format!("  \"{t}\""));
    let score = match (line.score, line.margin) {
        (Some(s), Some(m)) => format!("  score {s:.1}, ahead by {m:.1}"),
        (Some(s), None) => format!("  score {s:.1}"),
        _ => String::new(),
    };
    let end = line.speech_end_s.map_or(String::new(), |s| format!("  until {s:.2} s"));
    format!("{}: {what}{text}{score}{end}", line.file)
}
