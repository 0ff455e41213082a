//! The tables.

use super::super::trend::{FIGURES, Flight, against};
use super::super::{Debrief, Item, Timed, plain, quantile, sorted};
use super::moment;
use crate::core::journal::why::clock;
use maud::{Markup, html};

/// Width of a column of the distribution, s, and how many there are.
const COLUMN_S: f64 = 0.5;
const COLUMNS: usize = 16;

/// The flight in a few figures, each with its unit in words; what there was none of is left out.
pub(super) fn glance(d: &Debrief) -> Markup {
    let mut all: Vec<(&str, String)> = Vec::new();
    let agreed = d.items.iter().filter(|i| i.state == "agreed" && !i.contradicted).count();
    if !d.items.is_empty() {
        all.push(("items agreed at once", format!("{agreed} of {}", d.items.len())));
    }
    if let Some(s) = quantile(&sorted(&d.answers), 0.5) {
        all.push(("your answers, median", format!("{s:.1} s")));
    }
    let late = d.callouts.iter().filter_map(|c| c.mark.as_ref()?.late_s).max_by(|a, b| a.abs().total_cmp(&b.abs()));
    if let Some(s) = late {
        all.push(("callouts, furthest off", format!("{} s", signed(s))));
    }
    all.push(("deviations", d.deviations.len().to_string()));
    all.push(("not taken, not done", d.refusals.len().to_string()));
    html! { dl.glance { @for (title, value) in all { div { dt { (title) } dd { (value) } } } } }
}

/// A difference with its sign; what rounds to nought is no negative nought.
fn signed(n: f64) -> String {
    format!("{:+.2}", libm::round(n * 100.0) / 100.0 + 0.0)
}

/// By what the flight was measured.
pub(super) fn scores(d: &Debrief, recording: Option<&str>) -> Markup {
    let none: Vec<&str> = d.scores.iter().filter(|s| s.of == 0).map(|s| s.title.as_str()).collect();
    html! {
        section aria-labelledby="measured" {
            h2 id="measured" { "Measured by" }
            ul.measures { @for s in d.scores.iter().filter(|s| s.of > 0) { li data-criterion=(s.id) {
                span.title { (s.title) }
                span.met { span.odd[s.met < s.of] { (s.met) " of " (s.of) } }
                span.missed { @for c in &s.missed { span title=(c.what) { (moment(c.at, recording)) } " " } }
                small { (s.source) @if let Some(doubt) = &s.doubt { " (" (doubt) ")" } }
            } } }
            @if !none.is_empty() { p.soft { "No case of: " (none.join(", ")) "." } }
        }
    }
}

/// Every item.
pub(super) fn lists(d: &Debrief, recording: Option<&str>) -> Markup {
    html! {
        section aria-labelledby="lists" {
            h2 id="lists" { "Checklists" }
            @if d.items.is_empty() { p { "No item was settled." } }
            @else {
                p { span.known.seen { "seen" } ": a signal shows it. " span.known.heard_only { "heard only" } ": your word. "
                    span.known.simulated { "simulated" } ": no source." }
                div.wide tabindex="0" role="region" aria-label="checklist items" { table id="items" {
                    thead { tr {
                        th scope="col" { "at" } th scope="col" { "challenge" } th scope="col" { "your answer" }
                        th.n scope="col" { "after" } th scope="col" { "aircraft" } th scope="col" { "known" }
                    } }
                    tbody { @for (n, i) in d.items.iter().enumerate() {
                        @if n == 0 || d.items[n - 1].checklist != i.checklist {
                            tr.list { th colspan="6" scope="colgroup" { (plain(&i.checklist)) } }
                        }
                        (item(d, i, recording))
                    } }
                } }
            }
        }
    }
}

fn item(d: &Debrief, i: &Item, recording: Option<&str>) -> Markup {
    let quick = d.scores.iter().any(|s| s.missed.iter().any(|m| s.id == "looked" && Some(m.at) == i.response_at));
    let state = match (i.state.as_str(), i.contradicted) {
        ("agreed", false) => "agreed".to_string(),
        ("agreed", true) => "\u{2260} agreed at last".to_string(),
        ("contradicted", _) => "\u{2260} not agreed".to_string(),
        (other, _) => format!("\u{2715} {}", plain(other)),
    };
    html! {
        tr data-item=(format!("{}/{}", i.checklist, i.item)) {
            td { (moment(i.response_at.unwrap_or(i.at), recording)) }
            td { (i.challenge.clone().unwrap_or_else(|| plain(&i.item))) @if i.asked > 1 { " " span.odd { "\u{00D7}" (i.asked) } } }
            td { @match &i.response { Some(r) => (r), None => span.soft { "(not yours)" } } }
            td.n { @if let Some(s) = i.after_s {
                @if quick { span.odd { "\u{25C6} " (format!("{s:.1}")) " s, quick" } } @else { (format!("{s:.1} s")) }
            } }
            td { span.odd[i.state != "agreed" || i.contradicted] { (state) } }
            td { span class=(format!("known {}", i.known)) { (plain(&i.known)) } }
        }
    }
}

/// Briefings, and what was put off until later; nothing where there was neither.
pub(super) fn promises(d: &Debrief, recording: Option<&str>) -> Markup {
    html! {
        @if !d.promises.is_empty() { section aria-labelledby="promises" {
            h2 id="promises" { "Briefings and what was put off" }
            div.wide tabindex="0" role="region" aria-label="briefings and commands put off" { table {
                thead { tr { th scope="col" { "at" } th scope="col" { "kind" } th scope="col" { "what" } th scope="col" { "became" } } }
                tbody { @for p in &d.promises { tr data-promise=(p.kind) {
                    td { (moment(p.at, recording)) } td { (p.kind) } td { (p.what) }
                    td { span.odd[matches!(p.state.as_str(), "contradicted" | "dropped" | "cancelled")] { (p.state) } }
                } } }
            } }
        } }
    }
}

/// Callouts and deviations.
pub(super) fn callouts(d: &Debrief, recording: Option<&str>) -> Markup {
    html! {
        section aria-labelledby="callouts" {
            h2 id="callouts" { "Callouts and deviations" }
            @if d.callouts.is_empty() { p { "No callout was made." } }
            @else { div.wide tabindex="0" role="region" aria-label="callouts" { table id="marks" {
                thead { tr {
                    th scope="col" { "at" } th scope="col" { "callout" } th scope="col" { "due" } th.n scope="col" { "mark" }
                    th.n scope="col" { "was" } th.n scope="col" { "error" } th.n scope="col" { "late by" }
                } }
                tbody { @for c in &d.callouts { tr data-callout=(c.callout) {
                    td { (moment(c.at, recording)) }
                    td { (c.text) @if !c.whole { " " span.odd { "(cut)" } } }
                    @match &c.mark {
                        Some(m) => {
                            td { @if m.end_due { "its end" } @else { "its beginning" } }
                            td.n { (format!("{:.1}", m.wanted)) }
                            @match m.actual {
                                Some(a) => { td.n { (format!("{a:.1}")) } td.n.error { (signed(a - m.wanted)) } }
                                None => { td.n { "not known" } td.n {} }
                            }
                            td.n { @if let Some(s) = m.late_s { (signed(s)) " s" } }
                        }
                        None => { td { "on its condition" } td {} td {} td {} td {} }
                    }
                } } }
            } } }
            @if d.deviations.is_empty() { p { "No limit was exceeded." } }
            @else { div.wide tabindex="0" role="region" aria-label="deviations" { table id="deviations" {
                thead { tr { th scope="col" { "at" } th scope="col" { "deviation" } th.n scope="col" { "lasted" } th scope="col" { "caught by" } } }
                tbody { @for v in &d.deviations { tr {
                    td { (moment(v.from, recording)) }
                    td { span.odd { "\u{25B2} " (plain(&v.limit)) } }
                    td.n { @match v.to { Some(t) => (format!("{:.1} s", t.since(v.from))), None => "to the end" } }
                    td { @match &v.said { Some(s) => { "the second pilot: \u{201c}" (s) "\u{201d}" } None => "nobody aloud" } }
                } } }
            } } }
        }
    }
}

/// What was not taken, not done, and how things were said.
pub(super) fn refused(d: &Debrief, recording: Option<&str>) -> Markup {
    html! {
        section aria-labelledby="refused" {
            h2 id="refused" { "Not taken, not done" }
            @if d.refusals.is_empty() { p { "Everything was taken and done." } }
            @else { div.wide tabindex="0" role="region" aria-label="not taken and not done" { table id="refusals" {
                thead { tr { th scope="col" { "at" } th scope="col" { "" } th scope="col" { "what" } th scope="col" { "why" } } }
                tbody { @for r in &d.refusals { tr {
                    td { (moment(r.at, recording)) } td { span.odd { "\u{2715} " (r.kind) } } td { (r.what) } td { (r.why) }
                } } }
            } } }
            h3 { "How it was said" }
            @if d.remarks.is_empty() { p { "Nothing to remark." } }
            @else { div.wide tabindex="0" role="region" aria-label="remarks" { table id="remarks" {
                thead { tr { th scope="col" { "at" } th scope="col" { "you said" } th scope="col" { "remark" } } }
                tbody { @for r in &d.remarks { tr { td { (moment(r.at, recording)) } td { (r.words) } td { (r.text) } } } }
            } } }
        }
    }
}

/// How long answers took.
pub(super) fn times(d: &Debrief) -> Markup {
    html! {
        section aria-labelledby="times" {
            h2 id="times" { "How long answers took" }
            (distribution("Your answers, from the end of the challenge to your first sound", &d.answers, "yours"))
            (distribution("Replies to you, from your last sound to the first of the reply", &d.replies, "theirs"))
        }
    }
}

fn distribution(title: &str, all: &[Timed], id: &str) -> Markup {
    let sorted = sorted(all);
    let mut counts = [0usize; COLUMNS];
    for s in &sorted {
        counts[((s / COLUMN_S).max(0.0) as usize).min(COLUMNS - 1)] += 1;
    }
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    let q = |q| quantile(&sorted, q).unwrap_or_default();
    html! {
        h3 { (title) }
        @if sorted.is_empty() { p { "None." } }
        @else {
            p id=(format!("answers-{id}")) { (sorted.len()) ", median " b { (format!("{:.1} s", q(0.5))) } ", nine in ten within "
                (format!("{:.1} s", q(0.9))) ", slowest " (format!("{:.1} s", q(1.0))) "; below, how many in each half second." }
            svg viewBox="0 0 680 120" role="img" aria-label=(format!("{title}: distribution in half seconds")) style="max-width:44rem" {
                @for (i, n) in counts.iter().enumerate() {
                    @let (x, h) = (10.0 + 41.0 * i as f64, 74.0 * *n as f64 / most as f64);
                    rect.bar x=(x) y=(format!("{:.1}", 94.0 - h)) width="36" height=(format!("{h:.1}")) {}
                    @if *n > 0 { text x=(x + 18.0) y=(format!("{:.1}", 90.0 - h)) text-anchor="middle" { (n) } }
                    text.soft x=(x - 2.0) y="110" text-anchor="middle" { (i as f64 * COLUMN_S) @if i + 1 == COLUMNS { "+" } }
                }
                line.rule x1="4" x2="676" y1="94" y2="94" {}
            }
        }
    }
}

/// Beside earlier flights.
pub(super) fn before(d: &Debrief, flights: &[Flight]) -> Markup {
    let now = Flight::of("this flight", d);
    let cell = |f: &Flight, i: usize| {
        f.figures.get(i).copied().flatten().map_or("\u{2013}".to_string(), |v| format!("{v:.1}"))
    };
    html! {
        section aria-labelledby="before" {
            h2 id="before" { "Beside earlier flights" }
            ul { @for line in (0..FIGURES.len()).filter_map(|i| against(flights, &now, i)) { li { (line) } } }
            div.wide tabindex="0" role="region" aria-label="earlier flights" { table id="flights" {
                thead { tr { th scope="col" { "flown" } th scope="col" { "journal" }
                    @for (title, unit, _) in FIGURES { th.n scope="col" { (title) @if !unit.is_empty() { ", " (unit) } } } } }
                tbody { @for f in flights.iter().chain([&now]) { tr {
                    td { (f.started.split('T').next().unwrap_or_default()) } td { (f.name) }
                    @for i in 0..FIGURES.len() { td.n { (cell(f, i)) } }
                } }
                tr { td {} td.soft { "course" } @for i in 0..FIGURES.len() { td { (course(flights, &now, i)) } } } }
            } }
            p.soft { "Session of " (clock(d.end)) "; means of earlier flights leave out those without a case." }
        }
    }
}

/// A figure's course over the flights, as a small line.
fn course(flights: &[Flight], now: &Flight, figure: usize) -> Markup {
    let all: Vec<(usize, f64)> = flights
        .iter()
        .chain([now])
        .enumerate()
        .filter_map(|(i, f)| Some((i, f.figures.get(figure).copied().flatten()?)))
        .collect();
    let low = all.iter().map(|p| p.1).fold(f64::MAX, f64::min);
    let high = all.iter().map(|p| p.1).fold(f64::MIN, f64::max);
    let span = if high > low { high - low } else { 1.0 };
    let place = |(i, v): &(usize, f64)| {
        let x = 4.0 + 82.0 * *i as f64 / flights.len().max(1) as f64;
        format!("{x:.1},{:.1}", 20.0 - 16.0 * (v - low) / span)
    };
    let points: Vec<String> = all.iter().map(place).collect();
    html! {
        @if all.len() > 1 {
            svg viewBox="0 0 90 24" style="width:90px;margin-left:auto" aria-hidden="true" { polyline.line points=(points.join(" ")) {} }
        }
    }
}
