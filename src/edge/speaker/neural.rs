//! The neural voice: phonemes from the program `espeak-ng`, sound from the model.

use super::program::{self, plain};
use super::{SpeakError, Synth};
use crate::edge::native::manifest::{self, Manifest};
use crate::edge::native::{Runtime, Voice};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const MODEL: &str = "joe/en_US-joe-medium.onnx";
const DESCRIPTION: &str = "joe/en_US-joe-medium.onnx.json";

/// The part of the model's description that we use.
#[derive(Debug, Deserialize)]
struct Description {
    audio: DescribedAudio,
    espeak: DescribedEspeak,
    phoneme_id_map: BTreeMap<String, Vec<i64>>,
}

#[derive(Debug, Deserialize)]
struct DescribedAudio {
    sample_rate: u32,
}

#[derive(Debug, Deserialize)]
struct DescribedEspeak {
    voice: String,
}

/// The first officer's voice. The model is loaded at the first phrase that is not in the cache.
pub struct Neural {
    models: PathBuf,
    description: Description,
    pace: f32,
    identity: String,
    voice: Option<Voice>,
}

impl Neural {
    /// Finds the voice in the folder of models. `pace` stretches its speech: 1 is its own, 1.2 is slower.
    pub fn open(models: &Path, pace: f32) -> Result<Self, SpeakError> {
        let path = manifest::verify(models, DESCRIPTION)?;
        manifest::verify(models, MODEL)?;
        let file = path.display().to_string();
        let text = std::fs::read_to_string(&path)
            .map_err(|e| SpeakError::Description { file: file.clone(), why: e.to_string() })?;
        let description = describe(&file, &text)?;
        let hash = Manifest::embedded().file(MODEL).map_or("", |f| &f.sha256);
        let identity = format!("neural {hash} pace {pace} noise 0 {}", description.espeak.voice);
        Ok(Neural { models: models.into(), description, pace, identity, voice: None })
    }

    /// The text as phonemes of the International Phonetic Alphabet, with the punctuation that the model knows.
    pub fn phonemes(&self, text: &str) -> Result<String, SpeakError> {
        let mut out = String::new();
        for (clause, mark) in clauses(&plain(text)) {
            let mut command = Command::new("espeak-ng");
            command.args(["-q", "--ipa", "-v", &self.description.espeak.voice, "--stdin"]);
            let ipa = program::run("espeak-ng", command, &clause, program::LIMIT)?;
            if !out.is_empty() {
                out.push(' ');
            }
            out.push_str(&tidy(&ipa));
            out.push(mark);
        }
        Ok(out)
    }

    /// The ids that the model reads: start, then every phoneme followed by a pad, then end. What it does not know is
    /// left out.
    pub fn ids(&self, phonemes: &str) -> Vec<i64> {
        let map = &self.description.phoneme_id_map;
        let of = |c: &str| map.get(c).map_or(&[] as &[i64], Vec::as_slice);
        let mut ids = of("^").to_vec();
        ids.extend(of("_"));
        for c in phonemes.chars() {
            let id = of(c.encode_utf8(&mut [0; 4]));
            if !id.is_empty() {
                ids.extend(id);
                ids.extend(of("_"));
            }
        }
        ids.extend(of("$"));
        ids
    }
}

impl Synth for Neural {
    fn identity(&self) -> &str {
        &self.identity
    }

    fn speak(&mut self, text: &str) -> Result<(u32, Vec<f32>), SpeakError> {
        if !text.chars().any(char::is_alphanumeric) {
            return Ok((Voice::RATE, Vec::new()));
        }
        let ids = self.ids(&self.phonemes(text)?);
        let voice = match &mut self.voice {
            Some(voice) => voice,
            none => none.insert(Voice::open(&Runtime::open(&self.models)?)?),
        };
        // Without noise the same words give the same sound.
        Ok((Voice::RATE, voice.speak(&ids, [0.0, self.pace, 0.0])?))
    }
}

/// Splits at punctuation, which the phoneme program would swallow. Each part has its mark; a missing last one is a stop.
fn clauses(text: &str) -> Vec<(String, char)> {
    let mut out: Vec<(String, char)> = Vec::new();
    let mut part = String::new();
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        let ends = matches!(c, '.' | ',' | ';' | ':' | '!' | '?');
        // Inside a figure (118.1) it is no end.
        if ends && chars.peek().is_none_or(|n| n.is_whitespace()) {
            push(&mut out, &mut part, c);
        } else {
            part.push(c);
        }
    }
    push(&mut out, &mut part, '.');
    out
}

fn push(out: &mut Vec<(String, char)>, part: &mut String, mark: char) {
    let clause = std::mem::take(part);
    if clause.chars().any(char::is_alphanumeric) {
        out.push((clause.trim().to_string(), mark));
    }
}

/// One line, without the notes about languages that the program puts in brackets.
fn tidy(ipa: &str) -> String {
    let mut out = String::with_capacity(ipa.len());
    let mut depth = 0;
    for c in ipa.chars() {
        match c {
            '(' => depth += 1,
            ')' => depth = (depth - 1).max(0),
            _ if depth > 0 => {}
            c if c.is_whitespace() => {
                if !out.is_empty() && !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            c => out.push(c),
        }
    }
    out.trim_end().to_string()
}

/// Reads the model's description.
fn describe(file: &str, text: &str) -> Result<Description, SpeakError> {
    let described = |why: String| SpeakError::Description { file: file.into(), why };
    let description: Description = serde_json::from_str(text).map_err(|e| described(e.to_string()))?;
    if description.audio.sample_rate != Voice::RATE {
        return Err(described(format!("it says {} samples a second", description.audio.sample_rate)));
    }
    Ok(description)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::speaker::{clip, voices};
    use proptest::prelude::*;

    #[test]
    fn clauses_keep_their_marks() {
        let check = |text: &str, want: &[(&str, char)]| {
            let got = clauses(text);
            assert_eq!(got.iter().map(|(c, m)| (c.as_str(), *m)).collect::<Vec<_>>(), want, "{text}");
        };
        check("Rotate", &[("Rotate", '.')]);
        check("Flaps five, set.", &[("Flaps five", ','), ("set", '.')]);
        check("Ready? On 118.1!", &[("Ready", '?'), ("On 118.1", '!')]);
        check(" ... ", &[]);
    }

    #[test]
    fn language_notes_go() {
        assert_eq!(tidy("ˈeɪ (fr)bɔ̃(en-us)\n bˈiː\n"), "ˈeɪ bɔ̃ bˈiː");
    }

    proptest! {
        #[test]
        fn any_text_is_split(text in any::<String>()) {
            let words = |s: &str| s.chars().filter(|c| c.is_alphanumeric()).collect::<String>();
            prop_assert_eq!(clauses(&text).iter().map(|c| words(&c.0)).collect::<String>(), words(&text));
            tidy(&text);
        }
    }

    /// The voice, where models and programs are set up.
    fn voice() -> Option<Neural> {
        let models = crate::edge::native::for_tests()?.models().to_path_buf();
        voices::tests::programs_are_there().then(|| Neural::open(&models, 1.0).unwrap())
    }

    #[test]
    fn phonemes_become_ids() {
        let Some(voice) = voice() else { return };
        let ipa = voice.phonemes("V one, rotate.").unwrap();
        assert!(ipa.starts_with("vˈiː wˌʌn,") && ipa.ends_with('.'), "{ipa}");
        let ids = voice.ids(&ipa);
        // Start, pad, …, pad, end, with pads between.
        assert_eq!((ids[0], ids[1], ids[ids.len() - 2], ids[ids.len() - 1]), (1, 0, 0, 2));
        assert!(ids[1..ids.len() - 1].iter().step_by(2).all(|id| *id == 0), "{ids:?}");
        assert_eq!(ids.len(), 3 + 2 * ipa.chars().count(), "every phoneme of English is known");
    }

    #[test]
    fn callouts_have_a_callouts_length_and_are_always_the_same() {
        let Some(mut voice) = voice() else { return };
        for (text, least, most) in [("V one", 0.3, 1.0), ("Rotate", 0.3, 1.0), ("Positive climb", 0.6, 1.6)] {
            let (rate, a) = voice.speak(text).unwrap();
            let pcm = clip::finish(rate, &a, rate).unwrap();
            assert!((least..most).contains(&pcm.duration_s()), "{text}: {} s", pcm.duration_s());
            let again = voice.speak(text).unwrap().1;
            let pcm2 = clip::finish(rate, &again, rate).unwrap();
            assert_eq!(pcm.samples.len(), pcm2.samples.len());
        }
    }

    #[test]
    fn no_model_is_a_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let said = Neural::open(folder.path(), 1.0).map(|_| ()).unwrap_err().to_string();
        assert!(said.contains("is missing: run "), "{said}");
        let said = |text: &str| describe("joe.json", text).map(|_| ()).unwrap_err().to_string();
        insta::assert_snapshot!(said("{}"), @"joe.json is not a voice description we can use (missing field `audio` at line 1 column 2): run the set-up again");
        let other = r#"{"audio": {"sample_rate": 16000}, "espeak": {"voice": "en"}, "phoneme_id_map": {}}"#;
        insta::assert_snapshot!(said(other), @"joe.json is not a voice description we can use (it says 16000 samples a second): run the set-up again");
    }
}
