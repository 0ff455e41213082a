//! `antiphon fly --repeat`: one phase again and again, each attempt reported, and all of them together.

use super::fly::{self, Args};
use super::outlet::Outlet;
use super::{CliResult, Failure, Outcome, aircraft, wiring};
use crate::core::aircraft::Value;
use crate::core::book::schema::Circumstance;
use crate::edge::app::practice::{self, Attempt};
use crate::edge::app::{Mark, Report};
use crate::edge::store::Places;
use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Runs all attempts, or as many as the pilot wants.
pub fn run(args: &Args, models: Option<&Path>, outlet: &Outlet) -> CliResult {
    if args.link.as_ref().is_some_and(|l| *l != aircraft::Choice::BuiltIn) {
        return Err(Failure::new("only the built-in aircraft can be put back to practise again; leave --link out"));
    }
    let book = wiring::book(&Places::here(models), args.book.as_deref().unwrap_or(Path::new(wiring::BOOK)))?;
    let phase = args.phase.clone().unwrap_or_default();
    let practice = practice::of(&book, &phase).map_err(Failure)?;
    let times = args.repeat.unwrap_or(1);
    let mut done: Vec<(Attempt, Report)> = Vec::new();
    for number in 1..=times {
        let attempt = practice::attempt(&book, practice, args.seed, number).map_err(Failure)?;
        outln!("\nattempt {number} of {times}: {}", told(&attempt));
        let report = fly::session(args, models, outlet, Some(&attempt))?;
        outln!("\n{}", one(&attempt, &report));
        done.push((attempt, report));
        if outlet.stopped() {
            break;
        }
    }
    outln!("{}", all(&done));
    let faults = done.iter().any(|(_, r)| !r.faults.is_empty());
    Ok(if faults { Outcome::Problems } else { Outcome::Done })
}

/// The journal of an attempt: its number before the ending.
pub fn numbered(path: &Path, number: u32) -> PathBuf {
    let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let ending = path.extension().map_or_else(String::new, |e| format!(".{}", e.to_string_lossy()));
    path.with_file_name(format!("{stem}-{number}{ending}"))
}

fn off(mark: &Mark) -> f64 {
    mark.actual - mark.wanted
}

/// The callout that was furthest off, in the unit of its signal.
fn worst(marks: &[Mark]) -> Option<&Mark> {
    marks.iter().max_by(|a, b| off(a).abs().total_cmp(&off(b).abs()))
}

/// One attempt in a few lines.
pub fn one(attempt: &Attempt, report: &Report) -> String {
    let mut out = String::new();
    let reached = attempt.until.contains(&report.phase);
    let end = if reached { format!("to {}", report.phase) } else { format!("ended in {}", report.phase) };
    let _ = writeln!(out, "attempt {}: {end} in {:.0} s; {}", attempt.number, report.session_s, told(attempt));
    for m in &report.marks {
        let _ = writeln!(out, "  callout {:<20} {:+.2} off {} {:.0}", m.callout, off(m), m.signal, m.wanted);
    }
    for (list, state) in &report.checklists {
        let _ = writeln!(out, "  checklist {list}: {state}");
    }
    for (item, state) in &report.items {
        let _ = writeln!(out, "  item {item}: {state}");
    }
    out
}

/// All attempts together.
pub fn all(done: &[(Attempt, Report)]) -> String {
    let mut out = String::new();
    let reached = done.iter().filter(|(a, r)| a.until.contains(&r.phase)).count();
    let _ = writeln!(out, "{} attempts, {reached} to their end", done.len());
    let mut seconds: Vec<f64> =
        done.iter().filter(|(a, r)| a.until.contains(&r.phase)).map(|(_, r)| r.session_s).collect();
    seconds.sort_by(f64::total_cmp);
    if let (Some(first), Some(last)) = (seconds.first(), seconds.last()) {
        let _ = writeln!(out, "time: {first:.0} to {last:.0} s, median {:.0} s", seconds[seconds.len() / 2]);
    }
    let mut by_callout: BTreeMap<&str, Vec<&Mark>> = BTreeMap::new();
    for m in done.iter().flat_map(|(_, r)| &r.marks) {
        by_callout.entry(&m.callout).or_default().push(m);
    }
    for (callout, marks) in by_callout {
        let own: Vec<Mark> = marks.iter().map(|m| (*m).clone()).collect();
        if let Some(w) = worst(&own) {
            let _ = writeln!(out, "callout {callout:<20} {} times, worst {:+.2} off {}", own.len(), off(w), w.signal);
        }
    }
    let mut lists: BTreeMap<&str, (usize, usize)> = BTreeMap::new();
    for (list, state) in done.iter().flat_map(|(_, r)| &r.checklists) {
        let (complete, begun) = lists.entry(list).or_default();
        *begun += 1;
        *complete += usize::from(state == "complete");
    }
    for (list, (complete, begun)) in lists {
        let _ = writeln!(out, "checklist {list}: complete in {complete} of {begun}");
    }
    out
}

/// What was drawn, for people.
fn told(attempt: &Attempt) -> String {
    attempt.drawn.iter().map(|(of, value)| words(*of, value)).collect::<Vec<_>>().join(", ")
}

/// A drawn circumstance for people.
fn words(of: Circumstance, value: &Value) -> String {
    match of {
        Circumstance::Mass => format!("{value} kg"),
        Circumstance::Fuel => format!("fuel {value} kg"),
        Circumstance::Oat => format!("{value} \u{b0}C"),
        Circumstance::Qnh => format!("{value} hPa"),
        Circumstance::WindFrom => format!("wind from {value}\u{b0}"),
        Circumstance::Wind => format!("wind {value} kt"),
        Circumstance::Surface => value.to_string(),
        Circumstance::Runway => format!("runway {value}"),
    }
}
