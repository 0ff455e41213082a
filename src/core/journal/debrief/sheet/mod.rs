//! The debrief as one HTML page that needs nothing else: a score for two voices.
//!
//! The pilot's lines stand on the left of the time, the second pilot's on its right, an answer level with its call; the
//! aircraft is the thin line between. Shape and word carry every meaning beside colour.

mod score;
mod tables;
mod timeline;

use super::criteria::Criteria;
use super::trend::Flight;
use super::{Debrief, Point};
use crate::core::journal::why::clock;
use crate::core::time::SessionTime;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const STYLE: &str = include_str!("sheet.css");
const SCRIPT: &str = include_str!("sheet.js");
/// Nothing from outside but the recording, even if something had slipped in.
const POLICY: &str =
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; media-src 'self' file:; img-src data:";

/// What stands beside the page.
#[derive(Debug, Clone, Default)]
pub struct Beside {
    /// Address of the recording, relative to the page; it began with the session.
    pub recording: Option<String>,
    /// Earlier flights, oldest first.
    pub flights: Vec<Flight>,
}

/// The whole page.
pub fn page(d: &Debrief, criteria: &Criteria, beside: &Beside) -> String {
    let recording = beside.recording.as_deref();
    let title = format!("Debrief: {}", d.book);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body data-end=(d.end.secs()) {
                header {
                    h1 { "Debrief" }
                    p.soft {
                        (d.book) ", " time datetime=(d.started) { (d.started.split('.').next().unwrap_or_default().trim_end_matches('Z').replace('T', " ")) " UTC" }
                        ", " (clock(d.end)) " of session"
                    }
                    @for n in &d.notices { p.notice { (n) } }
                    (tables::glance(d))
                    nav aria-label="parts of this page" {
                        a href="#work" { "to work on" }
                        a href="#measured" { "measured" }
                        a href="#flight" { "flight" }
                        a href="#voices" { "voices" }
                        a href="#lists" { "checklists" }
                        a href="#callouts" { "callouts" }
                        a href="#refused" { "not done" }
                        a href="#times" { "answers" }
                        @if !beside.flights.is_empty() { a href="#before" { "earlier flights" } }
                    }
                }
                @if let Some(url) = recording {
                    div.player { audio id="sound" controls preload="metadata" src=(url) aria-label="recording of this session" {} }
                }
                main {
                    section aria-labelledby="work" {
                        h2 id="work" { "To work on" }
                        (points(d, recording))
                    }
                    (tables::scores(d, recording))
                    section aria-labelledby="flight" {
                        h2 id="flight" { "The flight" }
                        div.wide.timeline tabindex="0" role="region" aria-label="timeline, scrolls sideways" {
                            (timeline::timeline(d, criteria))
                        }
                    }
                    section aria-labelledby="voices" {
                        h2 id="voices" { "Two voices" }
                        (score::score(d, criteria, recording))
                    }
                    (tables::lists(d, recording))
                    (tables::promises(d, recording))
                    (tables::callouts(d, recording))
                    (tables::refused(d, recording))
                    (tables::times(d))
                    @if !beside.flights.is_empty() { (tables::before(d, &beside.flights)) }
                }
                footer {
                    p { "For simulation and ground practice only, never for flight." }
                    p { "Made from the journal of antiphon " (d.program) ". Moments are offsets into the session"
                        @if recording.is_some() { " and into its recording" } "." }
                }
                @if recording.is_some() { script { (PreEscaped(SCRIPT)) } }
            }
        }
    }
    .into_string()
}

fn points(d: &Debrief, recording: Option<&str>) -> Markup {
    let point = |p: &Point| {
        html! {
            li {
                h3 { (p.title) }
                p.what { (p.what) @if p.cases > 1 { ", the worst of " (p.cases) } "." }
                p { (moment(p.at, recording)) " " (p.advice) }
                p { small { "By: " (p.source) "." } }
            }
        }
    };
    html! {
        @if d.work_on.is_empty() { p { "Nothing stood out: too little was said or done." } }
        @else { ol.points { @for p in &d.work_on { (point(p)) } } }
    }
}

/// A moment, as a way into the recording if there is one.
fn moment(at: SessionTime, recording: Option<&str>) -> Markup {
    let text = clock(at);
    match recording {
        Some(url) => html! {
            a.moment href=(format!("{url}#t={:.1}", (at.secs() - 1.0).max(0.0))) data-at=(format!("{:.3}", at.secs()))
                aria-label=(format!("listen at {text}")) { (text) }
        },
        None => html! { time.moment { (text) } },
    }
}
