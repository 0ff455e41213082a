//! `antiphon link`.

use super::telling::part;
use super::{CliResult, Failure, Outcome, aircraft, wiring};
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::link::cost::{self, Cost};
use crate::core::link::watch::{Shown, Watch};
use crate::core::sim::{Aircraft, Setup};
use crate::core::time::SessionTime;
use crate::edge::link::{BuiltIn, Link, LinkNews, Live, Tell, record};
use crate::edge::store::Places;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::{Duration, Instant};

/// Show what a link gives: signals live, with age and rate; what the book misses, and what that costs.
///
/// For simulation and ground practice only, never for flight. It watches, and moves nothing.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon link --link tcp:127.0.0.1:7310\n  antiphon link --link property:my-simulator.toml --for 30 --record flight.jsonl\n  antiphon fly --typed --link record:flight.jsonl\n\nExit status: 0 the aircraft was seen, 1 it was not, 2 the command line or the machine has problems."
)]
pub struct Args {
    /// The book: a name or a folder.
    #[arg(long, value_name = "DIR", default_value = wiring::BOOK)]
    book: PathBuf,
    /// The aircraft: built-in, tcp:HOST:PORT, property:FILE or record:FILE.
    #[arg(long, value_name = "LINK", default_value = "built-in", value_parser = aircraft::parse)]
    link: aircraft::Choice,
    /// End after so many seconds; else Ctrl-C ends it.
    #[arg(long = "for", value_name = "SECONDS", value_parser = seconds)]
    during: Option<f64>,
    /// Write the session of states to this file; `--link record:FILE` plays it back.
    #[arg(long, value_name = "FILE")]
    record: Option<PathBuf>,
}

fn seconds(text: &str) -> Result<f64, String> {
    let n = text.parse::<f64>().ok().filter(|n| *n > 0.0 && *n < 1e6);
    n.ok_or_else(|| format!("\u{201c}{text}\u{201d} is no number of seconds; write one as in 30"))
}

/// The table on a terminal is drawn anew this often.
const DRAW: Duration = Duration::from_millis(250);

enum Came {
    News(LinkNews),
    Stop,
}

struct Table<'a> {
    book: &'a Book,
    watch: Watch,
    state: String,
    offers: Option<Vec<String>>,
    /// What the link told last.
    told: Vec<String>,
    began: Instant,
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    let places = Places::here(models);
    let book = wiring::book(&places, &args.book)?;
    let mut writer = args.record.as_deref().map(record::Writer::create).transpose().map_err(Failure)?;
    let (send, came) = mpsc::channel();
    let stop = send.clone();
    // A second handler cannot be set in one process; then Ctrl-C ends it as usual.
    let _ = ctrlc::set_handler(move || drop(stop.send(Came::Stop)));
    let tell: Tell = Box::new(move |n| send.send(Came::News(n)).is_ok());
    // Held: the link ends with it.
    let _live: Option<Live> = match args.link {
        aircraft::Choice::BuiltIn => {
            stand(tell);
            None
        }
        ref choice => aircraft::open(choice, &book, SessionTime::ZERO, tell)?,
    };
    let screen = std::io::stdout().is_terminal();
    let mut table = Table {
        book: &book,
        watch: Watch::default(),
        state: "no aircraft in sight yet".into(),
        offers: None,
        told: Vec::new(),
        began: Instant::now(),
    };
    let end = args.during.map(|s| table.began + Duration::from_secs_f64(s));
    let (mut drawn, mut read) = (table.began, true);
    loop {
        let now = Instant::now();
        if end.is_some_and(|e| now >= e) {
            break;
        }
        if screen && now - drawn >= DRAW {
            drawn = now;
            // Home, the table with each line cleared to its end, and what is below.
            if !part(format_args!("\x1b[H{}\x1b[J", table.text().replace('\n', "\x1b[K\n"))) {
                read = false;
                break;
            }
        }
        let wait = end.map_or(DRAW, |e| (e - now).min(DRAW));
        match came.recv_timeout(wait) {
            Ok(Came::News(news)) => {
                if let Some(w) = &mut writer {
                    w.write(&news).map_err(Failure)?;
                }
                if let Some(line) = table.take(news)
                    && !screen
                    && !part(format_args!("{line}\n"))
                {
                    read = false;
                    break;
                }
            }
            Ok(Came::Stop) | Err(RecvTimeoutError::Disconnected) => break,
            Err(RecvTimeoutError::Timeout) => {}
        }
    }
    if screen {
        outp!("\x1b[H\x1b[J");
    }
    outp!("{}", table.text());
    if let Some(w) = writer {
        w.finish().map_err(Failure)?;
    }
    if !read {
        // Nobody reads any more: what was recorded is complete, and there is nobody to tell more.
        return Ok(Outcome::Done);
    }
    if table.watch.given().next().is_none() {
        outln!("\nNo aircraft was seen.");
        return Ok(Outcome::Problems);
    }
    outp!("{}", table.missing());
    Ok(Outcome::Done)
}

/// The built-in aircraft as it stands at the gate.
fn stand(tell: Tell) {
    std::thread::spawn(move || {
        let mut aircraft = Aircraft::tarn_t2(1);
        aircraft.place(&Setup::default());
        let mut link = BuiltIn::new(aircraft, SessionTime::ZERO);
        let mut heard = tell(LinkNews::Up { program: "the built-in aircraft".into(), callouts: Vec::new() });
        while heard {
            link.frame();
            let delta = link.values().iter().map(|(n, v)| (n.clone(), Some(v.clone()))).collect();
            heard = tell(LinkNews::Frame { arrived: Instant::now(), time_s: link.sim().secs(), delta });
            std::thread::sleep(Duration::from_micros(16_667));
        }
    });
}

impl Table<'_> {
    fn now(&self) -> SessionTime {
        SessionTime(self.began.elapsed().as_micros() as i64)
    }

    /// Takes news in; a line to tell.
    fn take(&mut self, news: LinkNews) -> Option<String> {
        let now = self.now();
        let line = match news {
            LinkNews::Frame { delta, .. } => {
                self.watch.frame(now, &delta);
                return None;
            }
            LinkNews::Standing => {
                self.watch.stands(now);
                return None;
            }
            LinkNews::Delay(_) | LinkNews::Result { .. } => return None,
            LinkNews::Offers(all) => {
                self.offers = Some(all);
                return None;
            }
            LinkNews::Up { program, callouts } => {
                self.state = format!("in sight: {program}");
                match callouts.is_empty() {
                    true => self.state.clone(),
                    false => format!("{}; it calls out itself: {}", self.state, callouts.join(", ")),
                }
            }
            LinkNews::Down { why } => {
                self.watch.lost();
                self.state = format!("out of sight: {why}");
                self.state.clone()
            }
            LinkNews::Paused(true) => "the simulator is paused".into(),
            LinkNews::Paused(false) => "the simulator goes on".into(),
            LinkNews::Rate(rate) => format!("the simulator runs at rate {rate}"),
            LinkNews::Jumped => "place or time has jumped".into(),
            LinkNews::Told(text) | LinkNews::Failed(text) => text,
        };
        let line = format!("{:8.1} s  {line}", now.secs());
        self.told.push(line.clone());
        Some(line)
    }

    fn text(&self) -> String {
        let now = self.now();
        let stale = |name: &str| self.book.signals.iter().find(|s| s.id == name).map_or(2.0, |s| s.stale_after_s);
        let all = self.watch.shown(now, stale);
        let mut out = format!("{}; {:.1} states a second\n\n", self.state, self.watch.rate_hz(now));
        let _ = writeln!(out, "{:<28} {:>14} {:>8} {:>8}", "signal", "value", "age, s", "per s");
        all.iter().for_each(|s| row(&mut out, s));
        let last = self.told.len().saturating_sub(5);
        if self.told.len() > last {
            out.push('\n');
            for t in &self.told[last..] {
                let _ = writeln!(out, "{t}");
            }
        }
        out
    }

    fn missing(&self) -> String {
        let given: BTreeSet<&str> = self.watch.given().collect();
        let mut out = String::new();
        let mut list = |title: &str, all: &[Cost]| {
            if !all.is_empty() {
                let _ = writeln!(out, "\n{title}");
                for c in all {
                    let _ = writeln!(out, "{:<28} {}", c.name, c.costs.join("; "));
                }
            }
        };
        let title = format!("{} uses these signals, and the link does not give them:", self.book.title);
        list(&title, &cost::signals(self.book, &given));
        if let Some(offers) = &self.offers {
            let offered: BTreeSet<&str> = offers.iter().map(String::as_str).collect();
            list("It moves these controls, and the link does not offer them:", &cost::controls(self.book, &offered));
        }
        if out.is_empty() {
            let _ = writeln!(out, "\nThe link gives every signal that {} uses.", self.book.title);
        }
        out
    }
}

fn row(out: &mut String, s: &Shown) {
    let value = match &s.value {
        Some(Value::Number(n)) => format!("{n:.2}"),
        Some(v) => v.to_string(),
        None => "unknown".into(),
    };
    let stale = if s.stale { "  stale" } else { "" };
    let _ = writeln!(out, "{:<28} {value:>14} {:>8.2} {:>8.1}{stale}", s.name, s.age_s, s.rate_hz);
}
