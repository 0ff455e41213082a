//! The score for two voices.

use super::super::criteria::Criteria;
use super::super::{Debrief, Line, Mark, Side};
use super::moment;
use crate::core::book::schema::Station;
use crate::core::time::SessionTime;
use maud::{Markup, html};

/// An answer stands level with its call if it begins within so many seconds of it.
const LEVEL_S: f64 = 8.0;

/// One row: a call with its answer, or what happened to the flight.
enum Row<'a> {
    Voices { at: SessionTime, you: Option<&'a Line>, they: Option<&'a Line> },
    Flight(&'a Line),
}

fn rows(lines: &[Line]) -> Vec<Row<'_>> {
    let mut out: Vec<Row> = Vec::new();
    for l in lines {
        let pilot = match l.side {
            Side::Flight => {
                out.push(Row::Flight(l));
                continue;
            }
            Side::Pilot => true,
            Side::Crew(_) => false,
        };
        if let Some(Row::Voices { at, you, they }) = out.last_mut() {
            let free = if pilot { &mut *you } else { &mut *they };
            if free.is_none() && l.at.since(*at) <= LEVEL_S {
                *free = Some(l);
                continue;
            }
        }
        let (you, they) = if pilot { (Some(l), None) } else { (None, Some(l)) };
        out.push(Row::Voices { at: l.at, you, they });
    }
    out
}

/// The section.
pub(super) fn score(d: &Debrief, criteria: &Criteria, recording: Option<&str>) -> Markup {
    html! {
        div.score {
            div.you.head { "you" }
            div.mid.head { "time" }
            div.they.head { "the second pilot" }
            @for row in rows(&d.lines) {
                @match row {
                    Row::Voices { at, you, they } => {
                        div.you { @if let Some(l) = you { (words(l)) } }
                        div.mid { (moment(at, recording)) (state(d, criteria, at)) }
                        div.they { @if let Some(l) = they { (words(l)) } }
                    }
                    Row::Flight(l) => { (happened(l)) }
                }
            }
        }
    }
}

fn words(l: &Line) -> Markup {
    let who = match l.side {
        Side::Crew(Station::Ground) => "ground: ",
        Side::Crew(Station::Cabin) => "cabin: ",
        Side::Crew(Station::Radio) => "radio: ",
        _ => "",
    };
    html! {
        @if !who.is_empty() { span.who { (who) } }
        @match l.mark {
            Mark::Callout => span.callout { (l.text) },
            Mark::NotTaken => span.odd { "\u{2715} not taken: " (l.text) },
            _ => (l.text),
        }
    }
}

fn happened(l: &Line) -> Markup {
    let (class, sign) = match l.mark {
        Mark::Phase => ("all phase", ""),
        Mark::Deviation => ("all odd", "\u{25B2} "),
        Mark::NotAgreed => ("all odd", "\u{2260} "),
        Mark::NotDone => ("all odd", "\u{2715} "),
        _ => ("all", "\u{2014} "),
    };
    html! { div class=(class) { span { (sign) (l.text) } } }
}

/// The aircraft, in a few figures.
fn state(d: &Debrief, criteria: &Criteria, at: SessionTime) -> Markup {
    let shown = criteria.beside.iter().filter_map(|b| {
        let n = d.series.number(&b.signal, at)?;
        (n >= b.from).then(|| format!("{n:.0} {}", b.unit))
    });
    html! { @for s in shown { br; (s) } }
}
