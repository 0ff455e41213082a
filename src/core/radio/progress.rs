//! What a pilot can and cannot yet, over days: what went wrong comes back soon, what went right ever later.

use super::clearance::Weights;
use super::summary::Summary;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Days until a kind of item is due again, by how often in a row it went right. Doubling intervals: common practice, no
/// source.
const DAYS: [i64; 6] = [0, 1, 2, 4, 8, 16];
/// How much more often comes what went wrong last time, and what is due.
const WEAK: u32 = 4;
const DUE: u32 = 2;

/// The version of the file.
pub const VERSION: u32 = 1;

/// One kind of item under one set of rules.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Standing {
    /// How many sessions in a row it went right; 0 is: went wrong last time.
    pub step: u8,
    /// The day on which it should come again, days since 1970-01-01.
    pub due: i64,
    /// How often right, in all.
    pub right: u32,
    /// How often not.
    pub faulty: u32,
}

/// One day's work.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Day {
    /// Exercises.
    pub exercises: u32,
    /// Of them right at once.
    pub right_at_once: u32,
}

/// All that is kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Progress {
    /// Of the file: [`VERSION`].
    pub antiphon_radio_progress: u32,
    /// `rules/kind` → how it stands.
    pub kinds: BTreeMap<String, Standing>,
    /// Day (days since 1970-01-01) → what was done.
    pub days: BTreeMap<i64, Day>,
}

impl Default for Progress {
    fn default() -> Self {
        Progress { antiphon_radio_progress: VERSION, kinds: BTreeMap::new(), days: BTreeMap::new() }
    }
}

impl Progress {
    /// What should come more often today, under these rules.
    pub fn weights(&self, rules: &str, today: i64) -> Weights {
        let own = format!("{rules}/");
        let weight = |s: &Standing| match s {
            s if s.step == 0 => WEAK,
            s if s.due <= today => DUE,
            _ => 1,
        };
        let mine = self.kinds.iter().filter_map(|(k, s)| Some((k.strip_prefix(&own)?.to_string(), weight(s))));
        mine.filter(|(_, w)| *w > 1).collect()
    }

    /// Adds a session.
    pub fn add(&mut self, rules: &str, summary: &Summary, today: i64) {
        let day = self.days.entry(today).or_default();
        day.exercises += summary.exercises + summary.unanswered;
        day.right_at_once += summary.right_at_once;
        for (kind, tally) in &summary.kinds {
            if tally.right + tally.faulty == 0 {
                continue;
            }
            let standing = self.kinds.entry(format!("{rules}/{kind}")).or_default();
            standing.right += tally.right;
            standing.faulty += tally.faulty;
            // Twice right on one day is no proof of memory.
            if tally.faulty > 0 {
                standing.step = 0;
            } else if standing.step == 0 || standing.due <= today {
                standing.step = (standing.step + 1).min(DAYS.len() as u8 - 1);
            }
            standing.due = today + DAYS[standing.step as usize];
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::summary::Tally;
    use super::*;

    fn session(kind: &str, right: u32, faulty: u32) -> Summary {
        let mut summary = Summary { exercises: 1, right_at_once: u32::from(faulty == 0), ..Summary::default() };
        summary.kinds.insert(kind.into(), Tally { right, faulty });
        summary
    }

    #[test]
    fn what_went_wrong_comes_back_and_what_went_right_ever_later() {
        let mut progress = Progress::default();
        progress.add("icao", &session("squawk", 2, 1), 100);
        assert_eq!(progress.weights("icao", 100).get("squawk"), Some(&WEAK));
        assert!(progress.weights("faa", 100).is_empty());
        let mut day = 100;
        let mut gaps = Vec::new();
        for _ in 0..6 {
            progress.add("icao", &session("squawk", 1, 0), day);
            let due = progress.kinds["icao/squawk"].due;
            assert!(progress.weights("icao", due - 1).is_empty());
            assert_eq!(progress.weights("icao", due).get("squawk"), Some(&DUE));
            gaps.push(due - day);
            day = due;
        }
        assert_eq!(gaps, [1, 2, 4, 8, 16, 16]);
        // Again on the same day: no further.
        let step = progress.kinds["icao/squawk"].step;
        progress.add("icao", &session("squawk", 1, 0), day - 1);
        assert_eq!(progress.kinds["icao/squawk"].step, step);
        assert_eq!(progress.days[&100], Day { exercises: 2, right_at_once: 1 });
    }

    #[test]
    fn it_is_written_and_read_again() {
        let mut progress = Progress::default();
        progress.add("uk", &session("qnh", 1, 1), 20_000);
        let text = serde_json::to_string(&progress).unwrap();
        assert_eq!(serde_json::from_str::<Progress>(&text).unwrap(), progress);
        insta::assert_snapshot!(text, @r#"{"antiphon_radio_progress":1,"kinds":{"uk/qnh":{"step":0,"due":20000,"right":1,"faulty":1}},"days":{"20000":{"exercises":1,"right_at_once":0}}}"#);
    }
}
