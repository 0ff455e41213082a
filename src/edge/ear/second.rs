//! A second opinion: another model, asked about the few readings between which the first is in doubt.

use super::neural::EarError;
use crate::core::matcher::Candidate;
use crate::core::search::{Token, Tokens};
use crate::core::words::written;
use crate::edge::native::manifest::{ModelProblem, verify};
use crate::edge::native::{NativeError, Runtime, Second};
use std::fmt;
use std::thread::JoinHandle;

/// What a nat of the other model's strain takes off a reading's score, nats.
const SHARE: f64 = 0.35;
/// What is put on again, nats: so much the strain costs where a reading is as good as its score.
const CREDIT: f64 = 6.0;
/// Readings so far behind the best, nats, and more than so many texts are not asked about.
const BEHIND: f64 = 12.0;
const MOST: usize = 8;

/// The texts of the readings that matter, best first, each once.
pub(super) fn texts(ranked: &[Candidate]) -> Vec<&str> {
    let least = ranked.first().map_or(0.0, |c| c.score - BEHIND);
    let mut texts: Vec<&str> = Vec::new();
    for c in ranked.iter().filter(|c| c.score >= least) {
        if !texts.contains(&c.text.as_str()) && texts.len() < MOST {
            texts.push(&c.text);
        }
    }
    texts
}

/// The readings by both models. What was not asked about counts as the worst that was.
pub(super) fn weighed(ranked: &mut [Candidate], asked: &[(String, f64)]) {
    let worst = asked.iter().map(|a| a.1).fold(0.0, f64::max);
    for c in ranked.iter_mut() {
        let strain = asked.iter().find(|a| a.0 == c.text).map_or(worst, |a| a.1);
        c.score += CREDIT - SHARE * strain;
    }
    ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
}

/// The file of its tokens.
const TOKENS: &str = "whisper-tiny-en/vocabulary.txt";

/// The other model, loaded beside what else is done until it is first asked.
pub(super) struct Opinion {
    state: State,
}

enum State {
    Loading(JoinHandle<Result<Asked, EarError>>),
    Ready(Box<Asked>),
    /// It is not set up, or has failed: the first model decides alone.
    Absent,
}

/// The model with its tokens.
struct Asked {
    model: Second,
    tokens: Tokens,
    /// Begin and "no time signs"; end.
    signs: ([Token; 2], Token),
}

impl fmt::Debug for Opinion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Opinion")
    }
}

impl Opinion {
    /// Begins to load the model, if it is set up.
    ///
    /// # Errors
    /// A file of it is there but not the one that is meant.
    pub fn open(runtime: &Runtime) -> Result<Opinion, EarError> {
        let runtime = runtime.clone();
        match verify(runtime.models(), TOKENS).map_err(NativeError::from) {
            Err(NativeError::File(ModelProblem::Missing(_))) => return Ok(Opinion { state: State::Absent }),
            other => other?,
        };
        let loading = std::thread::Builder::new().name("second-opinion".into()).spawn(move || load(&runtime));
        let loading = loading.map_err(|e| NativeError::Run(e.to_string()))?;
        Ok(Opinion { state: State::Loading(loading) })
    }

    /// How much it minds writing each text for this sound, nats; `None` if there is no other model, or a text is too long.
    ///
    /// # Errors
    /// It cannot be loaded, or failed.
    pub fn of(&mut self, samples: &[f32], texts: &[&str]) -> Result<Option<Vec<f64>>, EarError> {
        if let State::Loading(_) = self.state
            && let State::Loading(loading) = std::mem::replace(&mut self.state, State::Absent)
        {
            let loaded =
                loading.join().map_err(|_| NativeError::Run("the second model's loader broke off".into()))??;
            self.state = State::Ready(Box::new(loaded));
        }
        let State::Ready(asked) = &mut self.state else { return Ok(None) };
        let forms: Vec<(usize, String)> =
            texts.iter().enumerate().flat_map(|(i, t)| forms(t).into_iter().map(move |f| (i, f))).collect();
        let (of, rows): (Vec<usize>, Vec<Vec<Token>>) =
            forms.iter().map(|(i, form)| (*i, asked.row(form))).filter(|(_, row)| row.len() <= Second::LONGEST).unzip();
        let mut least = vec![f64::INFINITY; texts.len()];
        for (i, strain) in of.iter().zip(asked.model.strains(samples, &rows, asked.signs.0.len())?) {
            least[*i] = least[*i].min(f64::from(strain));
        }
        // A text too long for it leaves it without an opinion on any.
        Ok(Some(least).filter(|all| all.iter().all(|s| s.is_finite())))
    }
}

fn load(runtime: &Runtime) -> Result<Asked, EarError> {
    let path = verify(runtime.models(), TOKENS).map_err(NativeError::from)?;
    let text = std::fs::read_to_string(&path).map_err(|_| EarError::NoTokens(path.clone()))?;
    let tokens = Tokens::of_lines(&text)?;
    let sign = |name: &str| tokens.named(name).ok_or_else(|| EarError::NoTokens(path.clone()));
    let signs = ([sign("<|startoftranscript|>")?, sign("<|notimestamps|>")?], sign("<|endoftext|>")?);
    Ok(Asked { model: Second::open(runtime)?, tokens, signs })
}

impl Asked {
    fn row(&self, text: &str) -> Vec<Token> {
        let (begin, end) = self.signs;
        let mut row = begin.to_vec();
        parts(text).iter().for_each(|part| row.extend(self.tokens.encode(part)));
        row.push(end);
        row
    }
}

/// The ways a call may be written: as it is spoken and in digits, with a capital, with and without a full stop.
fn forms(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    for mut form in [text.to_string(), written(text)] {
        if let Some(first) = form.get_mut(..1) {
            first.make_ascii_uppercase();
        }
        if !all.contains(&form) {
            all.push(format!("{form}."));
            all.push(form);
        }
    }
    all
}

/// The parts of a text that are split into tokens each by itself: a word, a number or other signs, with the space before it;
/// what follows an apostrophe is one of its own.
fn parts(text: &str) -> Vec<String> {
    const AFTER_APOSTROPHE: [&str; 7] = ["s", "t", "re", "ve", "m", "ll", "d"];
    let kind = |c: char| match c {
        c if c.is_alphabetic() => 0,
        c if c.is_numeric() => 1,
        _ => 2,
    };
    let mut parts: Vec<String> = Vec::new();
    let text: Vec<char> = std::iter::once(' ').chain(text.chars()).collect();
    let mut at = 0;
    while at < text.len() {
        let from = at;
        if text[at] == '\'' {
            let word: String = text[at + 1..].iter().take_while(|c| c.is_alphabetic()).collect();
            if let Some(tail) = AFTER_APOSTROPHE.iter().find(|t| **t == word) {
                parts.push(format!("'{tail}"));
                at += 1 + tail.len();
                continue;
            }
        }
        at += usize::from(text[at] == ' ' && text.get(at + 1).is_some_and(|c| *c != ' '));
        let of = kind(text[at]);
        at += 1;
        while text.get(at).is_some_and(|c| *c != ' ' && kind(*c) == of) {
            at += 1;
        }
        parts.push(text[from..at].iter().collect());
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_other_model_settles_what_the_first_leaves_open() {
        let reading = |text: &str, score: f64| Candidate::new(Vec::new(), score, text.to_string());
        let mut ranked = vec![
            reading("sixteen", 6.0),
            reading("sixty", 5.8),
            reading("sixty", 5.0),
            reading("six", 1.0),
            reading("nine", -9.0),
        ];
        assert_eq!(texts(&ranked), ["sixteen", "sixty", "six"]);
        let asked: Vec<(String, f64)> =
            [("sixteen", 20.0), ("sixty", 4.0), ("six", 10.0)].map(|(t, s)| (t.to_string(), s)).to_vec();
        weighed(&mut ranked, &asked);
        let told: Vec<(&str, i64)> =
            ranked.iter().map(|c| (c.text.as_str(), (c.score * 10.0).round() as i64)).collect();
        assert_eq!(told, [("sixty", 104), ("sixty", 96), ("sixteen", 50), ("six", 35), ("nine", -100)]);
        assert_eq!(texts(&[]), [""; 0]);
    }

    #[test]
    fn forms_of_a_call() {
        assert_eq!(forms("gear up"), ["Gear up.", "Gear up"]);
        assert_eq!(forms("flaps five"), ["Flaps five.", "Flaps five", "Flaps 5.", "Flaps 5"]);
        assert_eq!(forms(""), [".", ""]);
    }

    /// Against the library `tokenizers` 0.23.3 of PyPI with the model's own `tokenizer.json`; besides these, 10,844 texts of the
    /// ear's benchmark were split alike.
    #[test]
    fn tokens_are_those_of_the_models_own_program() {
        let Some(runtime) = crate::edge::native::for_tests() else { return };
        let asked = load(&runtime).expect("the second model is set up");
        for (text, wanted) in [
            ("Set flight level 191.", &[5345, 5474, 1241, 31009, 13][..]),
            ("What's the QNH, 1013?", &[1867, 338, 262, 1195, 33863, 11, 8949, 18, 30]),
            ("I've lined up runway 27L.", &[314, 1053, 16566, 510, 23443, 2681, 43, 13]),
        ] {
            let row = asked.row(text);
            assert_eq!(&row[2..row.len() - 1], wanted, "{text}");
            assert_eq!((row[0], row[1], row[row.len() - 1]), (50257, 50362, 50256));
        }
    }

    #[test]
    fn a_model_that_is_not_set_up_has_no_opinion_and_an_altered_one_is_told() {
        let Some(good) = crate::edge::native::for_tests() else { return };
        let dir = tempfile::tempdir().unwrap();
        let put = |file: &str, bytes: &[u8]| {
            let path = dir.path().join(file);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        };
        let library = "onnxruntime/libonnxruntime.so.1.32.0";
        put(library, &std::fs::read(good.models().join(library)).unwrap());
        let runtime = Runtime::open(dir.path()).unwrap();
        assert_eq!(Opinion::open(&runtime).unwrap().of(&[0.0; 1600], &["set"]).unwrap(), None);
        let mut words = std::fs::read(good.models().join(TOKENS)).unwrap();
        words[1000] ^= 1;
        put(TOKENS, &words);
        assert!(Opinion::open(&runtime).unwrap_err().to_string().contains("has the SHA-256"));
    }

    proptest! {
        #[test]
        fn parts_are_the_text(text in "[a-z' 0-9.,é]{0,30}") {
            prop_assert_eq!(parts(&text).concat(), format!(" {text}"));
        }
    }
}
