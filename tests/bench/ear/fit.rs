//! Sets the thresholds: from what the ear made of the tuning speakers' calls and of what was no call, and of nothing else.
//!
//! For each class and each band of length the pair of score and margins is taken that accepts most of what was right while
//! of the accepted calls at most 1 % are others than those said, and of the sounds that were no call at most 0.5 % are acted
//! on. Where a sample is too small to tell 1 % the count itself must be none. Critical calls: none wrong at all, and a
//! further nat on top. The search is over a fixed grid in a fixed order, so the same results give the same file.

use super::Bench;
use super::corpus::Trial;
use antiphon::core::grammar::CallId;
use antiphon::core::matcher::{Candidate, Heard};
use std::path::Path;

/// Bands: up to so many words; the last takes the rest.
const BANDS: [Option<usize>; 4] = [Some(1), Some(2), Some(4), None];
const SCORES: (f64, f64, f64) = (-6.0, 14.0, 0.25);
const MARGINS: [f64; 7] = [0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0];
/// Of what is accepted at most this share may be another call.
const WRONG: f64 = 0.01;
/// Of what is no call at most this share may be accepted.
const ACCEPTED: f64 = 0.005;
/// A critical call must be better by this than what the sample asks for, nats: it stands for what the sample did not hold.
const RESERVE: f64 = 1.0;
/// Bounds that no fit may leave: thresholds that a small sample would put anywhere.
const ORDINARY: (f64, f64) = (0.0, 8.0);
const CRITICAL: (f64, f64) = (4.0, 10.0);
/// Least margins of ordinary and of critical calls.
const LEAST_MARGIN: (f64, f64) = (1.0, 3.0);

/// One utterance whose best reading belongs to a class and a band.
struct Point {
    score: f64,
    /// Lead over the best reading with other calls, and over the best with the same calls and other values.
    lead: f64,
    slot_lead: f64,
    /// Whether the reading is what was said; `None` if nothing was.
    right: Option<bool>,
}

#[derive(Clone, Copy, PartialEq)]
enum Class {
    Ordinary,
    Due,
    Critical,
}

struct Bar {
    score: f64,
    margin: f64,
    slot_margin: f64,
    /// What the sample says of it: right and accepted, right, wrong and accepted, no call and accepted, no call.
    tally: [usize; 5],
}

/// Fits, writes the file, and tells.
pub fn write(bench: &Bench, file: &Path) {
    let mut text = HEAD.to_string();
    println!("\n| class | words | score | margin | of values | right kept | wrong | no call accepted |");
    println!("|---|---|---|---|---|---|---|---|");
    let mut near = f64::INFINITY;
    // What any call must reach over our own voice and before the end is what a critical one must reach.
    let mut strict = String::new();
    for (class, name) in [(Class::Ordinary, "ordinary"), (Class::Due, "due"), (Class::Critical, "critical")] {
        let mut from = 1;
        for band in BANDS {
            let within = |words: usize| words >= from && band.is_none_or(|b| words <= b);
            let bar = fit(&points(bench, class, &within), class);
            let up_to = band.map_or("more".to_string(), |b| b.to_string());
            let [kept, all, wrong, noise, none] = bar.tally;
            println!(
                "| {name} | {up_to} | {} | {} | {} | {kept} of {all} | {wrong} | {noise} of {none} |",
                bar.score, bar.margin, bar.slot_margin
            );
            let words = band.map_or(String::new(), |b| format!("words = {b}\n"));
            from = band.map_or(from, |b| b + 1);
            let values = format!(
                "{words}score = {:?}\nmargin = {:?}\nslot_margin = {:?}\n",
                bar.score, bar.margin, bar.slot_margin
            );
            text.push_str(&format!("\n[[{name}]]\n{values}"));
            if class == Class::Critical {
                strict.push_str(&format!("\n[[strict]]\n{values}"));
            }
            near = near.min(bar.score);
        }
    }
    text.push_str(&strict);
    text.push_str(&format!("\n[[resembling]]\nscore = {:?}\n", near - 3.0));
    std::fs::write(file, text).expect("the models folder can be written");
    println!("\nwritten: {}", file.display());
}

/// Utterances of this class and length.
fn points(bench: &Bench, class: Class, within: &dyn Fn(usize) -> bool) -> Vec<Point> {
    let mut all = Vec::new();
    for (trial, result) in bench.trials.iter().zip(&bench.results) {
        for told in &result.told {
            let Some((best, point)) = point(bench, trial, &told.heard) else { continue };
            if kind(bench, trial, best) == class && within(best.text.split_whitespace().count()) {
                all.push(point);
            }
        }
    }
    all
}

fn kind(bench: &Bench, trial: &Trial, reading: &Candidate) -> Class {
    let calls = || reading.meanings.iter().filter_map(|m| bench.book.graph.call(&m.call));
    let any = |is: &dyn Fn(CallId) -> bool| calls().any(is);
    if any(&|c| bench.critical.contains(c)) {
        Class::Critical
    } else if any(&|c| trial.due.contains(c)) {
        Class::Due
    } else {
        Class::Ordinary
    }
}

/// The best live reading of an utterance, and where it stands.
fn point<'a>(bench: &Bench, trial: &Trial, heard: &'a Heard) -> Option<(&'a Candidate, Point)> {
    let live = |c: &Candidate| {
        c.meanings.iter().all(|m| bench.book.graph.call(&m.call).is_some_and(|c| trial.live.contains(c)))
    };
    let best = heard.ranked.first().filter(|c| live(c))?;
    let names = |c: &Candidate| c.meanings.iter().map(|m| m.call.clone()).collect::<Vec<_>>();
    let lead = |same: bool| {
        let rivals = heard.ranked[1..].iter().filter(|c| (names(c) == names(best)) == same && live(c));
        // Readings with the same words are one to the ear: the one that is due is meant.
        let rivals = rivals.filter(|c| c.text != best.text);
        best.score - rivals.map(|c| c.score).fold(f64::NEG_INFINITY, f64::max)
    };
    let right = trial.expected.as_ref().map(|e| {
        let same_words = heard.ranked.iter().filter(|c| c.text == best.text);
        same_words.into_iter().any(|c| c.meanings.as_slice() == std::slice::from_ref(e))
    });
    Some((best, Point { score: best.score, lead: lead(false), slot_lead: lead(true), right }))
}

fn fit(points: &[Point], class: Class) -> Bar {
    let (low, high) = if class == Class::Critical { CRITICAL } else { ORDINARY };
    let least = if class == Class::Critical { LEAST_MARGIN.1 } else { LEAST_MARGIN.0 };
    let (from, to, step) = SCORES;
    let scores = (0..=((to - from) / step) as usize).map(|i| from + step * i as f64);
    let mut sound: Vec<Bar> = Vec::new();
    for score in scores.filter(|s| (low..=high).contains(s)) {
        for margin in MARGINS.into_iter().filter(|m| *m >= least) {
            for slot_margin in MARGINS.into_iter().filter(|m| *m >= margin) {
                let taken = |p: &&Point| p.score > score && p.lead > margin && p.slot_lead > slot_margin;
                let count = |right: Option<bool>| points.iter().filter(move |p| p.right == right);
                let tally = [
                    count(Some(true)).filter(taken).count(),
                    count(Some(true)).count(),
                    count(Some(false)).filter(taken).count(),
                    count(None).filter(taken).count(),
                    count(None).count(),
                ];
                let [kept, _, wrong, noise, none] = tally;
                let few = match class {
                    Class::Critical => wrong == 0 && noise == 0,
                    _ => wrong as f64 <= WRONG * (kept + wrong) as f64 && noise as f64 <= ACCEPTED * none as f64,
                };
                if few {
                    sound.push(Bar { score, margin, slot_margin, tally });
                }
            }
        }
    }
    // Those that keep most; of these the least margins; of these the score in the middle between what lets a fault in and
    // what turns a right one away.
    let most = sound.iter().map(|b| b.tally[0]).max().unwrap_or(0);
    sound.retain(|b| b.tally[0] == most);
    let margins = sound.iter().map(|b| b.margin + b.slot_margin).fold(f64::INFINITY, f64::min);
    sound.retain(|b| b.margin + b.slot_margin == margins);
    let middle = sound.len() / 2;
    // Nothing is sound: the strictest there is.
    let mut bar = if sound.is_empty() {
        let margin = MARGINS[MARGINS.len() - 1];
        Bar { score: high, margin, slot_margin: margin, tally: [0, 0, 0, 0, points.len()] }
    } else {
        sound.swap_remove(middle)
    };
    if class == Class::Critical {
        bar.score = (bar.score + RESERVE).clamp(low, high);
    }
    bar
}

const HEAD: &str = "\
# What a reading of the neural ear must reach before it is acted on. All in nats.
# Written by `cargo bench --bench ear -- --fit` from the tuning speakers alone; docs/benchmarks.md says how.
#
# `score`: the reading must score more than this: was it one of ours at all?
# `margin`: it must lead the best reading with other calls by more than this: which one was it?
# `slot_margin`: it must lead the best reading with the same calls and other values by more than this.
#
# Bands go by the words spoken, all calls of the breath together: the first band with at least so many words serves; the
# last has no `words` and takes the rest. A critical call (one that the book marks) is never held to less than an ordinary
# one. `due`: the reading answers something that was asked. `strict`: any call while the program itself speaks, and before an
# utterance is over. `resembling`: a reading that fails but scores more than this is near enough to a live call to ask for it
# again.
";
