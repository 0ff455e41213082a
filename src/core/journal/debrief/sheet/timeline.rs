//! The flight over time, as staves: what the aircraft did, and what was said and called on it.

use super::super::criteria::{Criteria, Stave};
use super::super::{Debrief, Mark, Side, plain};
use crate::core::aircraft::Value;
use crate::core::journal::why::clock;
use crate::core::time::SessionTime;
use maud::{Markup, html};
use std::fmt::Write;

const LEFT: f64 = 120.0;
const WIDTH: f64 = 1064.0;
const RIGHT: f64 = 16.0;
const STAVE: f64 = 76.0;
const ROW: f64 = 22.0;
/// Callouts come close to each other: so many rows of their words.
const CALL_ROWS: usize = 5;
const CALL_ROW: f64 = 14.0;
/// Width of a letter, for finding room.
const LETTER: f64 = 6.2;
/// State comes 20 times a second when it changes: across a longer gap the old value stood.
const GAP_S: f64 = 0.5;

/// Session time to a place from left to right.
#[derive(Clone, Copy)]
struct Scale(f64);

impl Scale {
    fn x(self, at: SessionTime) -> f64 {
        LEFT + WIDTH * (at.secs() / self.0).clamp(0.0, 1.0)
    }
}

/// The picture.
pub(super) fn timeline(d: &Debrief, criteria: &Criteria) -> Markup {
    let scale = Scale(d.end.secs().max(1.0));
    let mut y = 30.0;
    let mut parts: Vec<Markup> = vec![spans(y, "phase", &phases(d), scale, false)];
    y += ROW + 8.0;
    for s in &criteria.staves {
        let height = if s.words { ROW } else { STAVE };
        parts.push(if s.words { words(d, s, y, scale) } else { curves(d, s, y, scale) });
        y += height + 10.0;
    }
    let staves_end = y;
    let (calls, height) = callouts(d, y, scale);
    parts.push(calls);
    y += height + 6.0;
    parts.push(ticks(d, y, "you", scale));
    y += ROW;
    parts.push(ticks(d, y, "second pilot", scale));
    y += ROW + 6.0;
    let lists: Vec<_> = d.lists.iter().map(|l| (plain(&l.name), l.from, l.to.unwrap_or(d.end))).collect();
    parts.push(spans(y, "checklists", &lists, scale, false));
    y += ROW + 6.0;
    let bad: Vec<_> = d.deviations.iter().map(|v| (plain(&v.limit), v.from, v.to.unwrap_or(d.end))).collect();
    parts.push(spans(y, "deviations", &bad, scale, true));
    y += ROW + 8.0;
    let total = LEFT + WIDTH + RIGHT;
    html! {
        svg viewBox=(format!("0 0 {total} {y}")) role="img" aria-labelledby="timeline-title" {
            title id="timeline-title" { "Speed, altitude, thrust and configuration over the session, with calls, callouts, checklists and deviations" }
            (axis(scale, y))
            @for p in &parts { (p) }
            @for c in &d.callouts {
                @let x = format!("{:.1}", scale.x(c.at));
                line.mark x1=(x) x2=(x) y1="60" y2=(staves_end) {}
            }
            line id="head" visibility="hidden" x1="0" x2="0" y1="20" y2=(y) data-from=(LEFT) data-width=(WIDTH) {}
        }
    }
}

fn phases(d: &Debrief) -> Vec<(String, SessionTime, SessionTime)> {
    d.phases.iter().map(|p| (plain(&p.name), p.from, p.to.unwrap_or(d.end))).collect()
}

fn label(y: f64, text: &str) -> Markup {
    html! { text.soft x=(LEFT - 10.0) y=(y) text-anchor="end" { (text) } }
}

fn axis(scale: Scale, bottom: f64) -> Markup {
    let wanted = scale.0 / 12.0;
    let steps = [10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0];
    let step = steps.into_iter().find(|s| *s >= wanted).unwrap_or(7200.0);
    let n = (scale.0 / step) as usize;
    html! {
        @for i in 0..=n {
            @let at = SessionTime::from_secs(i as f64 * step);
            @let x = format!("{:.1}", scale.x(at));
            line.rule x1=(x) x2=(x) y1="20" y2=(bottom) {}
            text.soft x=(x) y="14" text-anchor="middle" { (clock(at).trim_end_matches(".0")) }
        }
    }
}

/// Bars with names, as far as there is room for names.
fn spans(y: f64, title: &str, all: &[(String, SessionTime, SessionTime)], scale: Scale, bad: bool) -> Markup {
    let class = if bad { "bad" } else { "band" };
    html! {
        (label(y + 15.0, title))
        @for (i, (name, from, to)) in all.iter().enumerate() {
            @let next = all.get(i + 1).map_or(LEFT + WIDTH, |n| scale.x(n.1));
            @let x = scale.x(*from).min(LEFT + WIDTH - 2.0);
            @let w = (scale.x(*to) - x).max(2.0);
            rect class=(class) x=(format!("{x:.1}")) y=(y) width=(format!("{w:.1}")) height=(if bad { 8.0 } else { ROW }) {
                title { (name) ", " (clock(*from)) " to " (clock(*to)) }
            }
            @if bad && x + name.len() as f64 * LETTER < LEFT + WIDTH {
                text.odd x=(format!("{x:.1}")) y=(y + 20.0) { (name) }
            } @else if name.len() as f64 * LETTER < w - 6.0 {
                text x=(format!("{:.1}", x + 4.0)) y=(y + 15.0) { (name) }
            } @else if x + w + name.len() as f64 * LETTER < next - 6.0 {
                text x=(format!("{:.1}", x + w + 4.0)) y=(y + 15.0) { (name) }
            }
        }
        @if all.is_empty() { text.soft x=(LEFT + 4.0) y=(y + 15.0) { "none" } }
    }
}

/// A signal of words: a band for each.
fn words(d: &Debrief, s: &Stave, y: f64, scale: Scale) -> Markup {
    let mut bands: Vec<(String, SessionTime, SessionTime)> = Vec::new();
    for (at, value) in s.signals.first().map_or(&[][..], |n| d.series.of(n)) {
        if let Some(last) = bands.last_mut() {
            last.2 = *at;
        }
        let name = match value {
            Some(Value::Bool(true)) => "on".to_string(),
            Some(Value::Bool(false)) => "off".to_string(),
            Some(v) => v.to_string(),
            None => "unknown".to_string(),
        };
        bands.push((name, *at, d.end));
    }
    spans(y, &s.title, &bands, scale, false)
}

/// A number or several, as lines.
fn curves(d: &Debrief, s: &Stave, y: f64, scale: Scale) -> Markup {
    let all = || s.signals.iter().flat_map(|n| d.series.of(n)).filter_map(|(_, v)| v.as_ref()?.number());
    let low = all().fold(0.0, f64::min);
    let high = all().fold(f64::NEG_INFINITY, f64::max);
    let known = high.is_finite();
    let high = if known && high > low { high } else { low + 1.0 };
    let place = |v: f64| y + STAVE - STAVE * (v - low) / (high - low);
    html! {
        (label(y + STAVE / 2.0 + 4.0, &s.title))
        line.rule x1=(LEFT) x2=(LEFT + WIDTH) y1=(y + STAVE) y2=(y + STAVE) {}
        line.rule x1=(LEFT) x2=(LEFT + WIDTH) y1=(y) y2=(y) {}
        @if known {
            @for (i, name) in s.signals.iter().enumerate() {
                path class=(if i == 0 { "line" } else { "line second" }) d=(path(d, name, s.steps, scale, &place)) {
                    title { (plain(name)) }
                }
            }
            text.soft x=(LEFT + 4.0) y=(y + 11.0) { (format!("{high:.0}")) }
            text.soft x=(LEFT + 4.0) y=(y + STAVE - 3.0) { (format!("{low:.0}")) }
        } @else { text.soft x=(LEFT + 4.0) y=(y + STAVE / 2.0) { "no source" } }
    }
}

/// At most a few points for each unit of width, whatever the length of the flight.
fn path(d: &Debrief, signal: &str, steps: bool, scale: Scale, place: &dyn Fn(f64) -> f64) -> String {
    let mut out = String::new();
    let mut pen: Option<(SessionTime, f64, f64)> = None;
    // Of one column: its first, least, greatest and last height.
    let mut column: Option<(i64, Vec<f64>)> = None;
    let flush = |column: &mut Option<(i64, Vec<f64>)>, out: &mut String| {
        let Some((x, ys)) = column.take() else { return };
        let (least, most) = ys.iter().fold((f64::MAX, f64::MIN), |(a, b), y| (a.min(*y), b.max(*y)));
        let mut keep = vec![ys[0], least, most, ys[ys.len() - 1]];
        keep.dedup();
        for y in keep {
            let _ = write!(out, "L{x} {y:.1}");
        }
    };
    for (at, value) in d.series.of(signal) {
        let x = libm::round(scale.x(*at));
        let Some(n) = value.as_ref().and_then(Value::number) else {
            flush(&mut column, &mut out);
            if let Some((_, _, y)) = pen.take() {
                let _ = write!(out, "L{x} {y:.1}");
            }
            continue;
        };
        let y = place(n);
        match pen {
            None => {
                flush(&mut column, &mut out);
                let _ = write!(out, "M{x} {y:.1}");
            }
            Some((before, _, old)) if steps || at.since(before) > GAP_S => {
                flush(&mut column, &mut out);
                let _ = write!(out, "L{x} {old:.1}L{x} {y:.1}");
            }
            Some(_) => match &mut column {
                Some((column_x, ys)) if *column_x == x as i64 => ys.push(y),
                _ => {
                    flush(&mut column, &mut out);
                    column = Some((x as i64, vec![y]));
                }
            },
        }
        pen = Some((*at, x, y));
    }
    flush(&mut column, &mut out);
    if let Some((_, _, y)) = pen {
        let _ = write!(out, "L{:.0} {y:.1}", scale.x(d.end));
    }
    out
}

/// The callouts' words in as many rows as they need, and the height of it.
fn callouts(d: &Debrief, y: f64, scale: Scale) -> (Markup, f64) {
    let mut free = [LEFT; CALL_ROWS];
    let mut named = Vec::new();
    for c in &d.callouts {
        let (x, w) = (scale.x(c.at), c.text.len() as f64 * LETTER + 8.0);
        // Near the end the words stand before their place.
        let from = if x + w > LEFT + WIDTH + RIGHT { x - w } else { x };
        let row = free.iter().position(|f| from >= *f);
        if let Some(row) = row {
            free[row] = from + w;
        }
        named.push((x, from, row, c));
    }
    let rows = named.iter().filter_map(|n| n.2).max().map_or(1, |r| r + 1);
    let picture = html! {
        (label(y + 15.0, "callouts"))
        @for (x, from, row, c) in named {
            circle.bar cx=(format!("{x:.1}")) cy=(y + 2.0) r="3" { title { (c.text) ", " (clock(c.at)) } }
            @if let Some(row) = row {
                text x=(format!("{:.1}", from + 3.0)) y=(y + 17.0 + CALL_ROW * row as f64) { (c.text) }
            }
        }
    };
    (picture, ROW + CALL_ROW * (rows - 1) as f64)
}

fn ticks(d: &Debrief, y: f64, title: &str, scale: Scale) -> Markup {
    let pilot = title == "you";
    let ours = d.lines.iter().filter(|l| match l.side {
        Side::Pilot => pilot,
        Side::Crew(_) => !pilot,
        Side::Flight => false,
    });
    html! {
        (label(y + 15.0, title))
        line.rule x1=(LEFT) x2=(LEFT + WIDTH) y1=(y + 11.0) y2=(y + 11.0) {}
        @for l in ours {
            @let x = format!("{:.1}", scale.x(l.at));
            line class=(if pilot { "yours" } else { "theirs" }) x1=(x) x2=(x) y1=(y + 5.0) y2=(y + 17.0) {
                title { (l.text) ", " (clock(l.at)) }
            }
            @if l.mark == Mark::NotTaken { text.odd x=(x) y=(y + 6.0) text-anchor="middle" { "\u{2715}" } }
        }
    }
}
