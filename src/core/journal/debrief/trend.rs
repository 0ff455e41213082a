//! This flight beside earlier ones.

use super::{Debrief, quantile, sorted};
use serde::Serialize;

/// One flight in a few figures.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flight {
    /// The file's name, for people.
    pub name: String,
    /// When it was flown, as its journal has it.
    pub started: String,
    /// In the order of [`FIGURES`]; none where the flight had no case of it.
    pub figures: Vec<Option<f64>>,
}

/// What is compared: title, unit, and whether less is better.
pub const FIGURES: &[(&str, &str, bool)] = &[
    ("criteria met", "%", false),
    ("median answer", "s", true),
    ("items not agreed at first", "", true),
    ("asked to say again", "", true),
    ("deviations", "", true),
    ("not done", "", true),
];

impl Flight {
    /// From its debrief.
    pub fn of(name: &str, d: &Debrief) -> Self {
        let (met, of) = d.scores.iter().fold((0, 0), |(m, o), s| (m + s.met, o + s.of));
        let count = |n: usize| Some(n as f64);
        Flight {
            name: name.to_string(),
            started: d.started.clone(),
            figures: vec![
                (of > 0).then(|| 100.0 * met as f64 / of as f64),
                quantile(&sorted(&d.answers), 0.5),
                count(d.items.iter().filter(|i| i.contradicted || i.state == "contradicted").count()),
                count(d.utterances.iter().filter(|u| u.asked_again).count()),
                count(d.deviations.len()),
                count(d.refusals.iter().filter(|r| r.kind == "not done").count()),
            ],
        }
    }
}

/// What a figure has done against the mean of the flights before: a sentence, if there were any with it.
pub fn against(before: &[Flight], now: &Flight, figure: usize) -> Option<String> {
    let now = (*now.figures.get(figure)?)?;
    let old: Vec<f64> = before.iter().filter_map(|f| *f.figures.get(figure)?).collect();
    if old.is_empty() {
        return None;
    }
    let mean = old.iter().sum::<f64>() / old.len() as f64;
    let (title, unit, less) = FIGURES.get(figure)?;
    let word = match now.total_cmp(&mean) {
        std::cmp::Ordering::Equal => "as before",
        o if o.is_lt() == *less => "better",
        _ => "worse",
    };
    let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
    Some(format!("{title}: {now:.1}{unit}, before {mean:.1}{unit} ({word})"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_against_the_mean_before() {
        let flight = |x: Option<f64>, y: Option<f64>| Flight {
            name: "x".into(),
            started: String::new(),
            figures: vec![x, y, None, None, None, None],
        };
        let before = [flight(Some(80.0), Some(2.0)), flight(Some(90.0), None)];
        let check = |now: Flight, figure: usize, want: Option<&str>| {
            assert_eq!(against(&before, &now, figure).as_deref(), want);
        };
        check(flight(Some(95.0), None), 0, Some("criteria met: 95.0 %, before 85.0 % (better)"));
        check(flight(Some(85.0), None), 0, Some("criteria met: 85.0 %, before 85.0 % (as before)"));
        check(flight(None, Some(2.5)), 1, Some("median answer: 2.5 s, before 2.0 s (worse)"));
        check(flight(None, Some(1.5)), 1, Some("median answer: 1.5 s, before 2.0 s (better)"));
        check(flight(None, None), 1, None);
        check(flight(None, None), 2, None);
        check(flight(None, None), 99, None);
    }
}
