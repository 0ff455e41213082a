//! What a reading must reach before it is acted on: values from a file, by kind of call and length.

use super::Candidate;
use serde::Deserialize;

/// The values in the program, as `models/thresholds.toml` has them.
const BUILT_IN: &str = include_str!("../../../models/thresholds.toml");

/// A file of thresholds that cannot be used: one sentence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the thresholds are not right: {0}")]
pub struct ThresholdsError(String);

/// What a reading is held to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// A call like any other.
    Ordinary,
    /// It answers something that is due.
    Due,
    /// One of its calls is critical.
    Critical,
}

/// What readings of up to so many words must reach, in nats.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bar {
    /// The most words; absent in the last.
    pub words: Option<usize>,
    /// The reading must score more than this.
    pub score: f64,
    /// It must lead the best reading with other calls by more than this.
    pub margin: f64,
    /// It must lead the best reading with the same calls and other values by more than this.
    pub slot_margin: f64,
}

/// What a reading of up to so many words that fails must reach to resemble a call, in nats.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Near {
    /// The most words; absent in the last.
    pub words: Option<usize>,
    /// It must score more than this.
    pub score: f64,
}

/// All that decides whether a reading is acted on.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thresholds {
    /// For calls like any other, shortest first.
    pub ordinary: Vec<Bar>,
    /// For what answers something.
    pub due: Vec<Bar>,
    /// For breaths with a critical call.
    pub critical: Vec<Bar>,
    /// For any call while the program itself speaks, and before an utterance is over.
    pub strict: Vec<Bar>,
    /// For what fails: near enough to ask for it again.
    pub resembling: Vec<Near>,
    /// A reading that answers nothing must lead one that is due and good enough itself by so much more, nats.
    #[serde(default)]
    pub awaited: f64,
}

impl Default for Thresholds {
    /// For the neural ear. The text in the program is tested; should it be damaged, nothing is accepted.
    fn default() -> Self {
        Self::parse(BUILT_IN).unwrap_or_else(|_| Self::flat((f64::INFINITY, 0.0), (f64::INFINITY, 0.0), f64::INFINITY))
    }
}

impl Thresholds {
    /// From TOML, as `models/thresholds.toml` shows it.
    ///
    /// # Errors
    /// It is no such TOML, a class has no band or its bands are out of order, or a value is not finite.
    pub fn parse(text: &str) -> Result<Self, ThresholdsError> {
        let all: Thresholds = toml::from_str(text).map_err(|e| ThresholdsError(e.message().trim().to_string()))?;
        let classes = [&all.ordinary, &all.due, &all.critical, &all.strict];
        for (class, bars) in ["ordinary", "due", "critical", "strict"].into_iter().zip(classes) {
            ordered(class, &bars.iter().map(|b| b.words).collect::<Vec<_>>())?;
            if bars.iter().any(|b| ![b.score, b.margin, b.slot_margin].iter().all(|v| v.is_finite())) {
                return Err(ThresholdsError(format!("give [[{class}]] finite numbers")));
            }
        }
        ordered("resembling", &all.resembling.iter().map(|n| n.words).collect::<Vec<_>>())?;
        if !all.resembling.iter().all(|n| n.score.is_finite()) {
            return Err(ThresholdsError("give [[resembling]] finite numbers".into()));
        }
        match all.awaited.is_finite() && all.awaited >= 0.0 {
            true => Ok(all),
            false => Err(ThresholdsError("give `awaited` a finite number from 0".into())),
        }
    }

    /// For typed and Vosk text, on the scale of [`super::match_text`]: the score is reached within the cost limit, the
    /// critical score within half of it. The margin stays below [`super::SPLIT`].
    pub fn text() -> Self {
        Self::flat((2.0, 1.5), (6.0, 1.5), -2.0)
    }

    /// The same for every length: (score, margin) of ordinary and due calls, of critical ones, and what resembles.
    pub(super) fn flat(plain: (f64, f64), critical: (f64, f64), resembling: f64) -> Self {
        let bar = |(score, margin)| vec![Bar { words: None, score, margin, slot_margin: margin }];
        let resembling = vec![Near { words: None, score: resembling }];
        let (ordinary, due, critical, strict) = (bar(plain), bar(plain), bar(critical), bar(critical));
        Thresholds { ordinary, due, critical, strict, resembling, awaited: 0.0 }
    }

    /// What a reading of so many words is held to. A critical call is never held to less than an ordinary one.
    pub fn bar(&self, class: Class, words: usize) -> Bar {
        let plain = band(&self.ordinary, words);
        match class {
            Class::Ordinary => plain,
            Class::Due => band(&self.due, words),
            Class::Critical => band(&self.critical, words).and(plain),
        }
    }

    /// Whether a reading that fails comes near enough to a call to ask for it again.
    pub fn resembles(&self, reading: &Candidate) -> bool {
        let words = reading.words();
        self.resembling.iter().find(|n| n.words.is_none_or(|w| words <= w)).is_some_and(|n| reading.score > n.score)
    }

    /// These with every call held to the strict values, too: while the program itself speaks, and before an utterance is over.
    #[must_use]
    pub fn strict(&self) -> Self {
        let mut lengths: Vec<Option<usize>> =
            [&self.ordinary, &self.critical, &self.strict].into_iter().flatten().map(|b| b.words).collect();
        // The last band, without a length, stands last.
        lengths.sort_by_key(|w| w.unwrap_or(usize::MAX));
        lengths.dedup();
        let all = |class: Class| -> Vec<Bar> {
            let bar = |words: &Option<usize>| {
                let most = words.unwrap_or(usize::MAX);
                Bar { words: *words, ..band(&self.strict, most).and(self.bar(class, most)) }
            };
            lengths.iter().map(bar).collect()
        };
        let plain = all(Class::Ordinary);
        Thresholds { ordinary: plain.clone(), due: plain, critical: all(Class::Critical), ..self.clone() }
    }

    /// These with every score moved by so many nats: for curves.
    #[must_use]
    pub fn shifted(&self, nats: f64) -> Self {
        let mut all = self.clone();
        for bar in all.ordinary.iter_mut().chain(&mut all.due).chain(&mut all.critical) {
            bar.score += nats;
        }
        all
    }
}

impl Bar {
    /// What holds a reading to both.
    fn and(self, other: Bar) -> Bar {
        Bar {
            words: self.words,
            score: self.score.max(other.score),
            margin: self.margin.max(other.margin),
            slot_margin: self.slot_margin.max(other.slot_margin),
        }
    }
}

/// The bar for readings of so many words.
fn band(bars: &[Bar], words: usize) -> Bar {
    let none = Bar { words: None, score: f64::INFINITY, margin: 0.0, slot_margin: 0.0 };
    bars.iter().find(|b| b.words.is_none_or(|w| words <= w)).copied().unwrap_or(none)
}

/// Bands must grow, and only the last, which takes the rest, has no length.
fn ordered(class: &str, words: &[Option<usize>]) -> Result<(), ThresholdsError> {
    let rising = words.windows(2).all(|w| w[0].is_some() && w[1].is_none_or(|b| w[0].is_some_and(|a| a < b)));
    match words.last() {
        Some(None) if rising => Ok(()),
        _ => Err(ThresholdsError(format!(
            "[[{class}]] needs its bands shortest first, and a last one without `words` for the rest"
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUND: &str = "[[ordinary]]\nwords = 2\nscore = 1\nmargin = 2\nslot_margin = 3\n[[ordinary]]\nscore = 5\n\
                         margin = 1\nslot_margin = 1\n[[due]]\nscore = 0\nmargin = 1\nslot_margin = 1\n[[critical]]\n\
                         words = 4\nscore = 4\nmargin = 4\nslot_margin = 4\n[[critical]]\nscore = 3\nmargin = 3\n\
                         slot_margin = 3\n[[strict]]\nscore = 4.5\nmargin = 2\n\
                         slot_margin = 2\n[[resembling]]\nscore = -1\n";

    /// Readings of so many words are held to this score and margin.
    fn held(t: &Thresholds, class: Class, words: usize, wanted: (f64, f64)) {
        let bar = t.bar(class, words);
        assert_eq!((bar.score, bar.margin), wanted, "{class:?} {words}");
    }

    #[test]
    fn the_bands_of_the_file() {
        let t = Thresholds::parse(SOUND).unwrap();
        let check = |class, words, wanted| held(&t, class, words, wanted);
        check(Class::Ordinary, 1, (1.0, 2.0));
        check(Class::Ordinary, 2, (1.0, 2.0));
        check(Class::Ordinary, 3, (5.0, 1.0));
        check(Class::Due, 9, (0.0, 1.0));
        // Never held to less than an ordinary call.
        check(Class::Critical, 2, (4.0, 4.0));
        check(Class::Critical, 4, (5.0, 4.0));
        check(Class::Critical, 5, (5.0, 3.0));
    }

    #[test]
    fn strict_holds_every_call_to_the_strict_values_and_its_own() {
        let t = Thresholds::parse(SOUND).unwrap().strict();
        let check = |class, words, wanted| held(&t, class, words, wanted);
        check(Class::Ordinary, 1, (4.5, 2.0));
        check(Class::Ordinary, 3, (5.0, 2.0));
        check(Class::Due, 1, (4.5, 2.0));
        check(Class::Critical, 1, (4.5, 4.0));
        check(Class::Critical, 9, (5.0, 3.0));
        for t in [Thresholds::parse(SOUND).unwrap(), Thresholds::default(), Thresholds::text()] {
            for (words, class) in (1..9).flat_map(|w| [(w, Class::Ordinary), (w, Class::Due), (w, Class::Critical)]) {
                let (usual, strict) = (t.bar(class, words), t.strict().bar(class, words));
                assert!(strict.score >= usual.score && strict.margin >= usual.margin, "{class:?} {words}");
            }
        }
    }

    #[test]
    fn the_text_in_the_program_is_sound_and_others_are_refused() {
        assert!(Thresholds::parse(BUILT_IN).is_ok());
        for (from, to) in [
            ("[[ordinary]]\nscore = 5\nmargin = 1\nslot_margin = 1\n", ""),
            ("words = 2\n", "words = 2\nscores = 1\n"),
            ("score = 0", "score = nan"),
            ("words = 4\n", ""),
            ("[[resembling]]", "[[resembled]]"),
            ("[[ordinary]]\nwords = 2", "awaited = -1\n[[ordinary]]\nwords = 2"),
            ("[[ordinary]]\nwords = 2", "awaited = inf\n[[ordinary]]\nwords = 2"),
        ] {
            assert!(SOUND.contains(from));
            assert!(Thresholds::parse(&SOUND.replace(from, to)).is_err(), "{from:?}");
        }
    }
}
