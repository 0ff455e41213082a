//! What a debrief looks at: data of `phrasebooks/debrief.toml`, built in.

use serde::Deserialize;

const BUILT_IN: &str = include_str!("../../../../phrasebooks/debrief.toml");

/// The whole table.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Criteria {
    /// A lead over the next reading, nats, below which an utterance was understood narrowly.
    pub close_margin: f64,
    /// By what a flight is measured, in the order of the report.
    pub criteria: Vec<Criterion>,
    /// The aircraft's own lines in the timeline.
    pub staves: Vec<Stave>,
    /// Values written beside the time.
    pub beside: Vec<Beside>,
}

/// One measure.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Criterion {
    /// The name.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// What is counted.
    pub rule: Rule,
    /// The rule's limit, in the unit that the rule says.
    #[serde(default)]
    pub limit: f64,
    /// The rule's words.
    #[serde(default)]
    pub words: Vec<String>,
    /// Of a gate: the signal that falls.
    #[serde(default)]
    pub height: String,
    /// Of a gate: the value it falls through.
    #[serde(default)]
    pub falls_through: f64,
    /// Of a gate: the signal that is looked at.
    #[serde(default)]
    pub signal: String,
    /// Of a gate: its least value.
    #[serde(default)]
    pub at_least: Option<f64>,
    /// Of a gate: its greatest value.
    #[serde(default)]
    pub at_most: Option<f64>,
    /// How much one case weighs among the things to work on.
    pub weight: f64,
    /// What to do about it.
    pub advice: String,
    /// By what right.
    pub source: String,
    /// What is not certain about the source.
    #[serde(default)]
    pub doubt: Option<String>,
}

/// What is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Rule {
    /// The pilot's answers to challenges: begun at least `limit` s after the challenge ended.
    AnsweredAfter,
    /// His answers to items that a signal shows: not one of `words` alone.
    StatesValue,
    /// His answers: not contradicted by the aircraft.
    AgreedFirst,
    /// Items of his: settled without a second challenge.
    AskedOnce,
    /// Items: not skipped.
    NotSkipped,
    /// Checklists that began: complete, or still under way when the session ended.
    Completed,
    /// Deviations: back within `limit` s.
    DeviationClosed,
    /// Callouts whose last sound is due at the mark: over at most `limit` of the signal's unit after it.
    OverByMark,
    /// Callouts whose first sound is due at the mark: begun at most `limit` s after it.
    OnMark,
    /// Utterances: taken, and not asked for again.
    Understood,
    /// Each time `height` falls through `falls_through`: `signal` between `at_least` and `at_most`.
    Gate,
}

/// A line, or several, of the aircraft's own.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Stave {
    /// What people call it, with the unit.
    pub title: String,
    /// The signals.
    pub signals: Vec<String>,
    /// Drawn in steps.
    #[serde(default)]
    pub steps: bool,
    /// Its values are words, written into bands.
    #[serde(default)]
    pub words: bool,
}

/// A value beside the time.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Beside {
    /// The signal.
    pub signal: String,
    /// Not below this.
    pub from: f64,
    /// Its unit.
    pub unit: String,
}

impl Criteria {
    /// Those in the program.
    pub fn built_in() -> Self {
        toml::from_str(BUILT_IN).expect("a unit test reads it")
    }

    /// Names of the signals that are looked at, without those of callouts.
    pub fn signals(&self) -> impl Iterator<Item = &str> {
        let staves = self.staves.iter().flat_map(|s| s.signals.iter());
        let gates = self.criteria.iter().flat_map(|c| [&c.height, &c.signal]).filter(|s| !s.is_empty());
        staves.chain(gates).chain(self.beside.iter().map(|b| &b.signal)).map(String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_reads_and_every_criterion_has_a_source() {
        let c = Criteria::built_in();
        let mut ids: Vec<&str> = c.criteria.iter().map(|c| c.id.as_str()).collect();
        ids.sort_unstable();
        ids.dedup();
        assert_eq!(ids.len(), c.criteria.len());
        for c in &c.criteria {
            assert!(!c.source.is_empty() && !c.advice.is_empty() && c.weight > 0.0, "{}", c.id);
            assert_eq!(c.rule == Rule::Gate, !c.height.is_empty(), "{}", c.id);
        }
    }
}
