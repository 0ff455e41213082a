//! An ear that knows its pilot.

use crate::core::grammar::CallSet;
use crate::core::matcher::Own;
use crate::core::radio::Exercise;
use crate::edge::app::{EarNews, SoundEar};
use crate::edge::audio::level;
use std::collections::BTreeSet;

/// Another ear, with the level set and the readings taken as this pilot's.
pub struct OwnEar {
    ear: Box<dyn SoundEar + Send>,
    own: Own,
    /// Names of critical calls.
    critical: BTreeSet<String>,
    sound: Vec<f32>,
}

/// The louder or softer sound, without clipping over.
pub fn amplified(samples: &[f32], gain_db: f64, into: &mut Vec<f32>) {
    let gain = level::from_db(gain_db) as f32;
    into.clear();
    into.extend(samples.iter().map(|s| (s * gain).clamp(-1.0, 1.0)));
}

impl OwnEar {
    /// Puts what is known before an ear.
    pub fn new(ear: Box<dyn SoundEar + Send>, own: Own, critical: BTreeSet<String>) -> OwnEar {
        OwnEar { ear, own, critical, sound: Vec::new() }
    }

    fn told(&self, news: Vec<EarNews>) -> Vec<EarNews> {
        let one = |news| match news {
            EarNews::Heard { at, heard, decision_ms } => {
                let heard = self.own.applied(heard, &|call| self.critical.contains(call));
                EarNews::Heard { at, heard, decision_ms }
            }
            other => other,
        };
        news.into_iter().map(one).collect()
    }
}

impl SoundEar for OwnEar {
    fn listen(&mut self, revision: u32, live: &CallSet, due: &CallSet) {
        self.ear.listen(revision, live, due);
    }
    fn feed(&mut self, samples: &[f32]) -> Vec<EarNews> {
        let mut sound = std::mem::take(&mut self.sound);
        amplified(samples, self.own.gain_db, &mut sound);
        let news = self.ear.feed(&sound);
        self.sound = sound;
        self.told(news)
    }
    fn saying(&mut self, words: Option<&str>) -> Vec<EarNews> {
        let news = self.ear.saying(words);
        self.told(news)
    }
    fn readback(&mut self, expect: Option<&Exercise>) {
        self.ear.readback(expect);
    }
    fn push(&mut self, held: bool) -> Vec<EarNews> {
        let news = self.ear.push(held);
        self.told(news)
    }
    fn microphone(&mut self, block: &mut [f32]) {
        self.ear.microphone(block);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::grammar::Meaning;
    use crate::core::matcher::{Candidate, Heard};
    use crate::core::time::SessionTime;

    /// Tells the loudest sample as the score of a call.
    struct Loudest;

    impl SoundEar for Loudest {
        fn listen(&mut self, _: u32, _: &CallSet, _: &CallSet) {}
        fn feed(&mut self, samples: &[f32]) -> Vec<EarNews> {
            let score = f64::from(samples.iter().fold(0.0f32, |a, b| a.max(*b)));
            let meanings = vec![Meaning { call: "a".into(), slots: Default::default() }];
            let ranked = vec![Candidate::new(meanings, score, "alpha".into())];
            let now = (SessionTime::ZERO, SessionTime::ZERO);
            let heard =
                Heard { revision: 1, ranked, unheard: None, typed: false, pushed: false, over_us: false, speech: now };
            vec![EarNews::Heard { at: SessionTime::ZERO, heard, decision_ms: 0.0 }]
        }
    }

    #[test]
    fn level_and_scores_are_the_pilots_own() {
        let score = |critical: &[&str]| {
            let own = Own { gain_db: 20.0 * 2f64.log10(), lift: 1.0, ..Own::default() };
            let critical = critical.iter().map(|c| (*c).to_string()).collect();
            let news = OwnEar::new(Box::new(Loudest), own, critical).feed(&[0.1, 0.25, -0.3]);
            let [EarNews::Heard { heard, .. }] = news.as_slice() else { panic!("{news:?}") };
            heard.ranked[0].score
        };
        assert!((score(&[]) - 1.5).abs() < 1e-6);
        assert!((score(&["a"]) - 0.5).abs() < 1e-6);
    }
}
