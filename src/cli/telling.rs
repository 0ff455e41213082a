//! A session told to people: lines, transcript, summary.

use crate::core::book::Book;
use crate::core::book::schema::{Due, Station};
use crate::edge::app::{Line, Report, Side};
use std::fmt::Write;

/// Prints a line; a reader that has left (`| head`) is no failure: what is done is still done, and its status told.
pub fn out(text: impl std::fmt::Display) {
    part(format_args!("{text}\n"));
}

/// Prints a text; whether somebody still reads.
pub fn part(text: impl std::fmt::Display) -> bool {
    use std::io::Write;
    let mut to = std::io::stdout();
    write!(to, "{text}").and_then(|()| to.flush()).is_ok()
}

fn who(side: Side) -> &'static str {
    match side {
        Side::Pilot => "pilot",
        Side::Crew(Station::FlightDeck) => "second pilot",
        Side::Crew(Station::Ground) => "ground",
        Side::Crew(Station::Cabin) => "cabin",
        Side::Crew(Station::Radio) => "radio",
        Side::Flight => "",
    }
}

fn clock(line: &Line) -> String {
    let s = line.at.secs();
    format!("{:02}:{:04.1}", (s / 60.0) as u32, s % 60.0)
}

/// One line for the terminal: the pilot on the left of the time, the crew on its right.
pub fn line(line: &Line) -> String {
    let time = clock(line);
    match line.side {
        Side::Pilot => format!("{:>62}  {time}", line.text),
        Side::Crew(_) => format!("{:>62}  {time}  {} ({})", "", line.text, who(line.side)),
        Side::Flight => format!("{:>62}  {time}  · {}", "", line.text),
    }
}

/// The transcript as a Markdown table: time in the middle, an answer below its call.
pub fn transcript(book: &Book, report: &Report) -> String {
    let mut out = format!("# {}\n\nFor simulation and ground practice only, never for flight.\n\n", book.title);
    out.push_str("| pilot | time | crew |\n|---:|:---:|:---|\n");
    for l in &report.lines {
        let text = l.text.replace('|', "\\|");
        let (left, right) = match l.side {
            Side::Pilot => (text, String::new()),
            Side::Crew(Station::FlightDeck) => (String::new(), text),
            Side::Crew(_) => (String::new(), format!("*{}:* {text}", who(l.side))),
            Side::Flight => (String::new(), format!("· {text}")),
        };
        let _ = writeln!(out, "| {left} | {} | {right} |", clock(l));
    }
    let _ = write!(out, "\n```\n{}```\n", summary(report));
    out
}

/// How it went, in a few lines.
pub fn summary(report: &Report) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "said {}   heard {}   wrong {}   refused {}",
        report.said,
        report.heard(),
        report.wrong(),
        report.refused()
    );
    if let Some(ms) = report.decision_ms() {
        let _ = writeln!(out, "decision, median: {ms:.0} ms of real time from the end of an utterance to its call");
    }
    for m in &report.marks {
        let end = if m.due == Due::End { "end" } else { "onset" };
        let off = m.actual - m.wanted;
        let _ =
            writeln!(out, "callout {:<16} {end:>5} at {:6.1}, due at {:6.1}: {off:+.2}", m.callout, m.actual, m.wanted);
    }
    for (list, state) in &report.checklists {
        let _ = writeln!(out, "checklist {list}: {state}");
    }
    for u in report.utterances.iter().filter(|u| u.wrong) {
        let said = u.said.as_deref().unwrap_or("?");
        let _ = writeln!(out, "heard wrong: \u{201c}{said}\u{201d} as {}", u.accepted.join(", "));
    }
    for u in report.utterances.iter().filter(|u| u.refused.is_some()) {
        let said = u.said.as_deref().unwrap_or("?");
        let why = u.refused.as_deref().unwrap_or("");
        let _ = writeln!(out, "refused: \u{201c}{said}\u{201d} ({why})");
    }
    for f in report.failures.iter().chain(&report.faults) {
        let _ = writeln!(out, "problem: {f}");
    }
    let ratio = report.session_s / report.wall_s.max(1e-3);
    let _ = writeln!(out, "{:.0} s of flight in {:.0} s: {ratio:.1} times real time", report.session_s, report.wall_s);
    out
}

/// Whether the flight has no problems: nothing wrong, nothing missed, every list complete.
pub fn good(report: &Report) -> bool {
    report.wrong() == 0
        && report.failures.is_empty()
        && report.faults.is_empty()
        && report.checklists.values().all(|s| s == "complete")
}
