//! From what happened to scores, remarks and the three things to work on.

use super::criteria::{Criteria, Criterion, Rule};
use super::{Case, Debrief, Item, Point, Remark, Score, plain, quantile, sorted};
use crate::core::time::SessionTime;

/// So many things to work on, at most.
const POINTS: usize = 3;
/// A gate counts only for an aircraft that came from so much above it (a part of the gate's height).
const FROM_ABOVE: f64 = 1.2;

/// Fills in `scores`, `remarks` and `work_on`.
pub(super) fn score(d: &mut Debrief, criteria: &Criteria) {
    let mut ranked: Vec<(f64, Point)> = Vec::new();
    for c in &criteria.criteria {
        let (of, missed) = cases(d, c);
        let worst = missed.iter().enumerate().max_by(|(i, a), (k, b)| a.excess.total_cmp(&b.excess).then(k.cmp(i)));
        if let Some((_, worst)) = worst {
            let point = Point {
                title: c.title.clone(),
                what: worst.what.clone(),
                advice: c.advice.clone(),
                at: worst.at,
                cases: missed.len(),
                source: c.source.clone(),
            };
            ranked.push((c.weight * missed.len() as f64, point));
        }
        d.scores.push(Score {
            id: c.id.clone(),
            title: c.title.clone(),
            met: of - missed.len(),
            of,
            source: c.source.clone(),
            doubt: c.doubt.clone(),
            missed,
        });
    }
    // Stable: of equal weight, the order of the table.
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    d.work_on = ranked.into_iter().take(POINTS).map(|(_, p)| p).collect();
    let rest = POINTS - d.work_on.len();
    let weakest = weakest(d, criteria);
    d.work_on.extend(weakest.into_iter().take(rest));
    d.remarks = remarks(d, criteria);
}

/// How many cases of a criterion there were, and those in which it was not met.
fn cases(d: &Debrief, c: &Criterion) -> (usize, Vec<Case>) {
    let own = || d.items.iter().filter(|i| i.response.is_some());
    let mut of = 0;
    let mut missed = Vec::new();
    let mut case = |met: bool, at: SessionTime, excess: f64, what: String| {
        of += 1;
        if !met {
            missed.push(Case { at, what, excess });
        }
    };
    match c.rule {
        Rule::AnsweredAfter => {
            for i in own() {
                let Some(after) = i.after_s else { continue };
                let what = if after < 0.0 {
                    format!("\u{201c}{}\u{201d} was answered {:.1} s before its challenge had ended", named(i), -after)
                } else {
                    format!("\u{201c}{}\u{201d} was answered {after:.1} s after its challenge", named(i))
                };
                case(after >= c.limit, i.response_at.unwrap_or(i.at), c.limit - after, what);
            }
        }
        Rule::StatesValue => {
            for i in own().filter(|i| i.known == "seen") {
                let words = i.response.as_deref().unwrap_or_default();
                let what = format!("\u{201c}{}\u{201d} was answered \u{201c}{words}\u{201d}", named(i));
                let bare = i.bare && c.words.iter().any(|w| w == words.trim());
                case(!bare, i.response_at.unwrap_or(i.at), 1.0, what);
            }
        }
        Rule::AgreedFirst => {
            for i in own() {
                let met = !i.contradicted && i.state != "contradicted";
                let what =
                    format!("the aircraft showed something else than was answered to \u{201c}{}\u{201d}", named(i));
                case(met, i.response_at.unwrap_or(i.at), 1.0, what);
            }
        }
        Rule::AskedOnce => {
            for i in own() {
                let what = format!("\u{201c}{}\u{201d} was challenged {} times", named(i), i.asked);
                case(i.asked <= 1, i.at, i.asked as f64, what);
            }
        }
        Rule::NotSkipped => {
            for i in &d.items {
                case(i.state != "skipped", i.at, 1.0, format!("\u{201c}{}\u{201d} was skipped", named(i)));
            }
        }
        Rule::Completed => {
            for l in &d.lists {
                let met = l.state == "complete" || (l.to.is_none() && l.state != "held");
                let what = format!("the {} was left {}", plain(&l.name), l.state);
                case(met, l.to.unwrap_or(l.from), 1.0, what);
            }
        }
        Rule::DeviationClosed => {
            for v in &d.deviations {
                let lasted = v.to.unwrap_or(d.end).since(v.from);
                let what = format!("{} lasted {lasted:.0} s", plain(&v.limit));
                case(v.to.is_some() && lasted <= c.limit, v.from, lasted, what);
            }
        }
        Rule::OverByMark | Rule::OnMark => {
            for x in &d.callouts {
                let Some(m) = x.mark.as_ref().filter(|m| m.end_due == (c.rule == Rule::OverByMark)) else { continue };
                let (by, unit) = match c.rule {
                    Rule::OnMark => (m.late_s, "s"),
                    _ => (m.actual.map(|a| a - m.wanted), "of the signal's unit"),
                };
                let Some(by) = by else { continue };
                let what = format!("\u{201c}{}\u{201d} came {by:.1} {unit} after its mark", x.text);
                case(by <= c.limit, x.at, by - c.limit, what);
            }
        }
        Rule::Understood => {
            for u in d.utterances.iter().filter(|u| !u.calls.is_empty() || u.asked_again) {
                let why = u.refused.as_deref().unwrap_or_default();
                let what = format!("\u{201c}{}\u{201d} had to be asked for again ({why})", u.text);
                case(!u.asked_again, u.speech.0, 1.0, what);
            }
        }
        Rule::Gate => {
            for at in d.series.falls(&c.height, c.falls_through, c.falls_through * FROM_ABOVE) {
                let Some(n) = d.series.number(&c.signal, at) else { continue };
                let under = c.at_least.map_or(0.0, |m| m - n);
                let over = c.at_most.map_or(0.0, |m| n - m);
                let excess = under.max(over);
                let what = format!("{} was {n:.0} at {:.0} ft", plain(&c.signal), c.falls_through);
                case(excess <= 0.0, at, excess, what);
            }
        }
    }
    (of, missed)
}

fn named(i: &Item) -> String {
    i.challenge.clone().unwrap_or_else(|| plain(&i.item))
}

/// Where nothing was wrong: still the weakest moments, said to be no more than that.
fn weakest(d: &Debrief, criteria: &Criteria) -> Vec<Point> {
    let mut out = Vec::new();
    let slowest = d.items.iter().filter_map(|i| Some((i, i.after_s?))).max_by(|a, b| a.1.total_cmp(&b.1));
    let median = quantile(&sorted(&d.answers), 0.5);
    if let (Some((i, after)), Some(median)) = (slowest, median)
        && after > median
    {
        out.push(Point {
            title: "The slowest answer".into(),
            what: format!("\u{201c}{}\u{201d} took {after:.1} s; the median is {median:.1} s", named(i)),
            advice: "Nothing was wrong with it; know where to look before the list comes to it.".into(),
            at: i.response_at.unwrap_or(i.at),
            cases: 0,
            source: "the flight itself; no published figure".into(),
        });
    }
    let taken = d.utterances.iter().filter(|u| !u.calls.is_empty());
    let narrow = taken.filter_map(|u| Some((u, u.margin?))).min_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((u, margin)) = narrow.filter(|(_, m)| *m < criteria.close_margin) {
        let next = u.next.as_deref().unwrap_or("something else");
        out.push(Point {
            title: "The narrowest understanding".into(),
            what: format!("\u{201c}{}\u{201d} was close to \u{201c}{next}\u{201d} ({margin:.1} nats)", u.text),
            advice: "It was taken; a steadier pace makes it surer.".into(),
            at: u.speech.0,
            cases: 0,
            source: "the flight itself; no published figure".into(),
        });
    }
    out
}

fn remarks(d: &Debrief, criteria: &Criteria) -> Vec<Remark> {
    let mut out: Vec<Remark> = Vec::new();
    for c in criteria.criteria.iter().filter(|c| c.rule == Rule::StatesValue) {
        for i in d.items.iter().filter(|i| i.bare && i.known == "seen") {
            let Some(words) = i.response.as_deref().filter(|w| c.words.iter().any(|b| b == w.trim())) else { continue };
            let text = format!("says nothing of what \u{201c}{}\u{201d} shows", named(i));
            out.push(Remark { at: i.response_at.unwrap_or(i.at), words: words.to_string(), text });
        }
    }
    for u in &d.utterances {
        let at = u.speech.0;
        let words = u.text.clone();
        match (&u.refused, u.margin) {
            (Some(why), _) if u.asked_again => out.push(Remark { at, words, text: format!("asked for again: {why}") }),
            (None, Some(m)) if !u.calls.is_empty() && m < criteria.close_margin => {
                let next = u.next.as_deref().unwrap_or("something else");
                let text = format!("understood narrowly: close to \u{201c}{next}\u{201d}");
                out.push(Remark { at, words, text });
            }
            _ => {}
        }
    }
    out.sort_by_key(|r| r.at);
    out
}
