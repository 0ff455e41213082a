//! What the program and its Vosk worker say to each other: one JSON object a line (docs/vosk.md), and what a model must be.

use serde::{Deserialize, Serialize};
use std::path::Path;

/// Names that models give to a word they do not know, in the order in which they are tried.
pub const UNKNOWN: [&str; 3] = ["[unk]", "<unk>", "<UNK>"];

/// The longest sound of one utterance, in samples: two minutes at 16 kHz.
pub const LONGEST: u32 = 120 * 16_000;

/// What the worker is asked to do. It answers each with one [`Answer`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
pub enum Ask {
    /// Load a model; once, and first.
    Load {
        /// Its folder.
        model: String,
        /// Samples a second of the sound that will come.
        rate: u32,
    },
    /// Which of these words does the model not know?
    Words {
        /// The words.
        words: Vec<String>,
    },
    /// From now on these can be said.
    Grammar {
        /// Sentences, words parted by single spaces. Not empty.
        phrases: Vec<String>,
    },
    /// What is said in the sound that follows the line: `samples` times two bytes, signed, low byte first.
    Hear {
        /// How many, at most [`LONGEST`].
        samples: u32,
    },
}

/// What the worker answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "snake_case")]
pub enum Answer {
    /// The model is loaded.
    Loaded {
        /// What it calls a word that it does not know, one of [`UNKNOWN`].
        unknown: String,
    },
    /// These words are not in the model's vocabulary.
    Missing {
        /// The words.
        words: Vec<String>,
    },
    /// The grammar is in use.
    Ready {
        /// How many sentences it has.
        phrases: usize,
    },
    /// What was said: words of the grammar, or nothing.
    Text {
        /// Parted by spaces.
        text: String,
    },
    /// It was not done. The worker goes on.
    Refused {
        /// One sentence.
        why: String,
    },
}

/// Proves that a folder is a Vosk model that takes a grammar, made for sound of `rate` samples a second. The library itself
/// aborts, or quietly hears badly, where this refuses.
///
/// # Errors
/// One sentence that says what to do next.
pub fn check_model(folder: &Path, rate: u32) -> Result<(), String> {
    if !folder.is_dir() {
        return Err(format!("there is no Vosk model {}: name a model's folder with --vosk-model", folder.display()));
    }
    let has = |names: &[&str]| names.iter().any(|name| folder.join(name).is_file());
    if !has(&["am/final.mdl", "final.mdl"]) {
        return Err(format!(
            "{} is no Vosk model, for it has no am/final.mdl: name the folder that holds `am`, `conf` and `graph`",
            folder.display()
        ));
    }
    if !has(&["graph/HCLr.fst", "HCLr.fst"]) || !has(&["graph/Gr.fst", "Gr.fst"]) {
        return Err(format!(
            "the Vosk model {} has a fixed graph and cannot be held to a grammar: use one with graph/HCLr.fst and graph/Gr.fst",
            folder.display()
        ));
    }
    let conf = ["conf/mfcc.conf", "mfcc.conf"].iter().find_map(|c| std::fs::read_to_string(folder.join(c)).ok());
    let Some(conf) = conf else {
        return Err(format!(
            "the Vosk model {} has no conf/mfcc.conf, so its sample rate is unknown: fetch the model again",
            folder.display()
        ));
    };
    match sample_rate(&conf) {
        Some(own) if own == f64::from(rate) => Ok(()),
        Some(own) => Err(format!(
            "the Vosk model {} is made for {own} samples a second and the sound has {rate}: use a model for {rate}",
            folder.display()
        )),
        None => Err(format!(
            "the sample rate in conf/mfcc.conf of the Vosk model {} is no number: fetch the model again",
            folder.display()
        )),
    }
}

/// The rate in a Kaldi feature configuration: 16,000 unless it says otherwise (FrameExtractionOptions, `samp_freq`).
fn sample_rate(conf: &str) -> Option<f64> {
    let lines = conf.lines().map(|l| l.split('#').next().unwrap_or("").trim());
    match lines.filter_map(|l| l.strip_prefix("--sample-frequency")).next_back() {
        None => Some(16_000.0),
        Some(value) => value.trim_start().strip_prefix('=')?.trim().parse().ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_object_a_line() {
        let check = |line: String, wanted: &str| assert_eq!(line, wanted);
        let ask = |a: &Ask| serde_json::to_string(a).unwrap();
        check(ask(&Ask::Load { model: "m".into(), rate: 16_000 }), r#"{"ask":"load","model":"m","rate":16000}"#);
        check(ask(&Ask::Grammar { phrases: vec!["a \"b\"".into()] }), r#"{"ask":"grammar","phrases":["a \"b\""]}"#);
        check(ask(&Ask::Hear { samples: 5 }), r#"{"ask":"hear","samples":5}"#);
        let text = serde_json::from_str::<Answer>(r#"{"answer":"text","text":"gear up"}"#).unwrap();
        assert_eq!(text, Answer::Text { text: "gear up".into() });
        assert!(serde_json::from_str::<Answer>(r#"{"answer":"song"}"#).is_err());
    }

    #[test]
    fn rates() {
        let check = |conf: &str, wanted| assert_eq!(sample_rate(conf), wanted, "{conf}");
        check("--use-energy=false\n", Some(16_000.0));
        check("--num-ceps=40\n--sample-frequency=8000 # telephone\n", Some(8_000.0));
        check("# --sample-frequency=8000\n", Some(16_000.0));
        check("--sample-frequency=fast\n", None);
    }

    #[test]
    fn each_wrong_model_has_its_sentence() {
        let dir = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| {
            let path = dir.path().join("m").join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, text).unwrap();
        };
        let check = |says: &str| {
            let told = check_model(&dir.path().join("m"), 16_000).unwrap_err();
            assert!(told.contains(says), "{told}");
        };
        check("there is no Vosk model");
        write("README", "");
        check("has no am/final.mdl");
        write("am/final.mdl", "");
        write("graph/HCLG.fst", "");
        check("has a fixed graph");
        write("graph/HCLr.fst", "");
        write("graph/Gr.fst", "");
        check("its sample rate is unknown");
        write("conf/mfcc.conf", "--sample-frequency=8000\n");
        check("made for 8000 samples a second and the sound has 16000");
        write("conf/mfcc.conf", "--sample-frequency=16000\n");
        check_model(&dir.path().join("m"), 16_000).unwrap();
    }
}
