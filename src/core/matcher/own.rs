//! What is known of one pilot at one microphone, and what it changes about what was heard.
//!
//! Everything is learned from calls whose words are known. It is applied to readings before they are judged, and so stands
//! in the journal with them. A critical call is left exactly as the ear heard it, and nothing is ever put ahead of one.

use super::{Candidate, Class, Heard, Thresholds};
use crate::core::grammar::Meaning;
use crate::core::words::is_number_word;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The level that the ear is used to: RMS of the voiced part, dB of full scale.
const LEVEL_DB: f64 = -20.0;
/// The most that the level is changed by, dB: down, up.
const GAIN_DB: (f64, f64) = (-12.0, 18.0);
/// The most that the scores of a pilot are lifted, nats.
const MOST_LIFT: f64 = 1.5;
/// What nine of ten of his calls should be above their threshold, nats.
const SPARE: f64 = 1.0;
/// What the wording that he uses is favoured by, nats.
const FAVOUR: f64 = 0.7;
/// A call needs this share of its count in one wording to favour it.
const MAINLY: f64 = 0.5;
/// A critical reading within this of the best one leaves everything as it was heard, nats.
const CRITICAL_NEAR: f64 = 6.0;
/// What a correction in flight counts, against a call read in the enrolment.
const CORRECTION: u32 = 2;
/// The most that is counted of one wording, so that habits can change.
const MOST_COUNT: u32 = 20;

/// One pilot at one microphone.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Own {
    /// Which microphone, by its name; empty for recordings.
    #[serde(default)]
    pub microphone: String,
    /// What its sound is amplified by, dB.
    pub gain_db: f64,
    /// What is added to the score of readings without a critical call, nats: from 0 on.
    pub lift: f64,
    /// How often each call was said in which words; numbers are left out of them.
    #[serde(default)]
    pub wordings: BTreeMap<String, BTreeMap<String, u32>>,
}

/// A call that was read out, and what was heard.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    /// What was to be said.
    pub meaning: Meaning,
    /// What the ear made of it, untouched.
    pub heard: Heard,
    /// RMS of its voiced part, dB of full scale.
    pub level_db: f64,
}

impl Own {
    /// What the samples tell of a pilot. `critical` says of a call by name whether it is one.
    pub fn learn(samples: &[Sample], critical: &dyn Fn(&str) -> bool, thresholds: &Thresholds) -> Own {
        let mut own = Own::default();
        let mut levels: Vec<f64> = samples.iter().map(|s| s.level_db).filter(|l| l.is_finite()).collect();
        levels.sort_by(f64::total_cmp);
        if let Some(middle) = levels.get(levels.len() / 2) {
            own.gain_db = (LEVEL_DB - middle).clamp(GAIN_DB.0, GAIN_DB.1);
        }
        // By how much each call that was heard right is above what it must reach, and how far one that was not may come up.
        let (mut spare, mut room) = (Vec::new(), MOST_LIFT);
        for s in samples {
            let Some(best) = s.heard.ranked.first().filter(|b| !is_critical(b, critical)) else { continue };
            let above = best.score - thresholds.bar(Class::Ordinary, best.words()).score;
            if best.meanings.as_slice() == std::slice::from_ref(&s.meaning) {
                spare.push(above);
                own.count(&s.meaning.call, &best.text, 1);
            } else {
                room = room.min(-above);
            }
        }
        spare.sort_by(f64::total_cmp);
        if let Some(tenth) = spare.get(spare.len() / 10) {
            own.lift = (SPARE - tenth).min(room).clamp(0.0, MOST_LIFT);
        }
        own
    }

    /// He said that he had meant this, in these words.
    pub fn corrected(&mut self, call: &str, text: &str) {
        self.count(call, text, CORRECTION);
    }

    fn count(&mut self, call: &str, text: &str, n: u32) {
        let words = self.wordings.entry(call.to_string()).or_default().entry(wording(text)).or_default();
        *words = (*words + n).min(MOST_COUNT);
    }

    /// Whether this is how he says that call.
    fn favours(&self, call: &str, text: &str) -> bool {
        let Some(all) = self.wordings.get(call) else { return false };
        let sum: u32 = all.values().sum();
        all.get(&wording(text)).is_some_and(|n| f64::from(*n) > MAINLY * f64::from(sum))
    }

    /// What was heard, as this pilot at this microphone is to be taken. Typed words are left alone.
    #[must_use]
    pub fn applied(&self, mut heard: Heard, critical: &dyn Fn(&str) -> bool) -> Heard {
        let best = heard.ranked.iter().map(|c| c.score).fold(f64::NEG_INFINITY, f64::max);
        let near = |c: &Candidate| is_critical(c, critical) && c.score >= best - CRITICAL_NEAR;
        if heard.typed || heard.ranked.iter().any(near) {
            return heard;
        }
        let lift = self.lift.clamp(0.0, MOST_LIFT);
        for c in heard.ranked.iter_mut().filter(|c| !is_critical(c, critical)) {
            let favoured = matches!(c.meanings.as_slice(), [one] if self.favours(&one.call, &c.text));
            c.score += lift + if favoured { FAVOUR } else { 0.0 };
        }
        heard.ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
        heard
    }
}

fn is_critical(reading: &Candidate, critical: &dyn Fn(&str) -> bool) -> bool {
    reading.meanings.iter().any(|m| critical(&m.call))
}

/// Words without their numbers: how something is said, whatever the value.
fn wording(text: &str) -> String {
    text.split_whitespace().filter(|w| !is_number_word(w)).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::matcher::{Choice, choose};
    use crate::core::time::SessionTime;
    use proptest::prelude::*;

    fn meaning(call: &str) -> Meaning {
        Meaning { call: call.to_string(), slots: BTreeMap::new() }
    }

    fn heard(readings: &[(&str, f64, &str)]) -> Heard {
        let one =
            |(call, score, text): &(&str, f64, &str)| Candidate::new(vec![meaning(call)], *score, (*text).to_string());
        let speech = (SessionTime::ZERO, SessionTime::ZERO);
        let ranked = readings.iter().map(one).collect();
        Heard { revision: 1, ranked, unheard: None, typed: false, pushed: false, over_us: false, speech }
    }

    fn critical(call: &str) -> bool {
        call.starts_with("stop")
    }

    fn sample(call: &str, readings: &[(&str, f64, &str)], level_db: f64) -> Sample {
        Sample { meaning: meaning(call), heard: heard(readings), level_db }
    }

    #[test]
    fn a_faint_and_unclear_pilot_is_helped() {
        let t = Thresholds::flat((2.0, 1.5), (4.0, 3.0), -1.0);
        let samples: Vec<Sample> = (0..30).map(|_| sample("a", &[("a", 1.8, "alpha")], -35.0)).collect();
        let own = Own::learn(&samples, &critical, &t);
        assert_eq!((own.gain_db, own.lift), (15.0, 1.2));
        assert!(own.applied(heard(&[("a", 1.2, "alpha")]), &critical).ranked[0].score > 2.0);
        // A clear one is left as he is.
        let samples: Vec<Sample> = (0..30).map(|_| sample("a", &[("a", 9.0, "alpha")], -20.0)).collect();
        let own = Own::learn(&samples, &critical, &t);
        assert_eq!((own.gain_db, own.lift), (0.0, 0.0));
    }

    #[test]
    fn what_was_misheard_is_not_lifted_over_its_threshold() {
        let t = Thresholds::flat((2.0, 1.5), (4.0, 3.0), -1.0);
        let mut samples: Vec<Sample> = (0..29).map(|_| sample("a", &[("a", 1.0, "alpha")], -20.0)).collect();
        samples.push(sample("a", &[("b", 1.6, "beta")], -20.0));
        let own = Own::learn(&samples, &critical, &t);
        assert!((own.lift - 0.4).abs() < 1e-9, "{own:?}");
    }

    #[test]
    fn his_own_wording_wins_over_a_rival() {
        let mut own = Own::default();
        own.corrected("flaps", "set flaps five");
        let near = heard(&[("b", 5.0, "beta"), ("flaps", 4.8, "set flaps twenty")]);
        assert_eq!(own.applied(near.clone(), &critical).ranked[0].meanings, [meaning("flaps")]);
        // What he says another way as often is not favoured.
        own.corrected("flaps", "flaps five");
        assert_eq!(own.applied(near, &critical).ranked[0].meanings, [meaning("b")]);
    }

    proptest! {
        /// Whatever was learned: no critical call is acted on that would not have been acted on without it.
        #[test]
        fn a_critical_call_is_never_let_in_more_easily(
            lift in -9.0..9.0f64,
            counts in prop::collection::btree_map("stop|stop_all|a|b", prop::collection::btree_map("stop|all stop|alpha|beta", 1..9u32, 0..3), 0..4),
            readings in prop::collection::vec(("stop|stop_all|a|b", -3.0..14.0f64, "stop|all stop|alpha|beta"), 0..5),
        ) {
            use crate::core::grammar::{CallSet, NamedSlots, Rules, build, parse};
            let say = [("stop", "stop"), ("stop_all", "all stop"), ("a", "alpha"), ("b", "beta")];
            let calls = say.map(|(name, text)| (name.to_owned(), vec![parse(text).0]));
            let graph = build(&calls, &Rules::new(), &NamedSlots::new()).0;
            let own = Own { lift, wordings: counts, ..Own::default() };
            let mut readings = readings;
            readings.sort_by(|a, b| b.1.total_cmp(&a.1));
            let plain: Vec<(&str, f64, &str)> = readings.iter().map(|(c, s, t)| (c.as_str(), *s, t.as_str())).collect();
            let (before, after) = (heard(&plain), own.applied(heard(&plain), &critical));
            let acted = |h: &Heard| {
                let is = |c: crate::core::grammar::CallId| critical(&graph.calls[c.0 as usize].name);
                match choose(h, &graph, &CallSet::all(4), &CallSet::none(), is, &Thresholds::default()) {
                    Choice::Accept { meanings, .. } => meanings.iter().filter(|m| critical(&m.call)).count(),
                    Choice::Refuse { .. } => 0,
                }
            };
            prop_assert!(acted(&after) <= acted(&before), "{:?} became {:?}", before.ranked, after.ranked);
            // And one that was acted on still is.
            prop_assert_eq!(acted(&after), acted(&before));
        }
    }
}
