//! The Vosk worker: the only program that links libvosk. It reads questions from its standard input and answers on its
//! standard output, one JSON object a line (docs/vosk.md), until its input ends. `antiphon` starts it.
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a program of its own"
)]

use antiphon::edge::ear::vosk_talk::{Answer, Ask, LONGEST, UNKNOWN, check_model};
use std::io::{BufRead, Read, Write};
use std::path::Path;
use std::process::ExitCode;
use vosk::{LogLevel, Model, Recognizer};

/// A line longer than this is no question of ours, bytes.
const LONGEST_LINE: u64 = 64 << 20;

/// The library and what has been asked of it.
#[derive(Default)]
struct Worker {
    model: Option<(Model, u32)>,
    recognizer: Option<Recognizer>,
}

fn main() -> ExitCode {
    if std::env::args_os().len() > 1 {
        eprintln!("antiphon-vosk is started by `antiphon --engine vosk` and takes no arguments");
        return ExitCode::from(2);
    }
    vosk::set_log_level(LogLevel::Error);
    match talk(&mut std::io::stdin().lock(), &mut std::io::stdout().lock()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => {
            eprintln!("antiphon-vosk: {e}");
            ExitCode::from(2)
        }
    }
}

/// Answers until the input ends.
fn talk(input: &mut impl BufRead, output: &mut impl Write) -> std::io::Result<()> {
    let mut worker = Worker::default();
    let mut line = Vec::new();
    loop {
        line.clear();
        if input.by_ref().take(LONGEST_LINE).read_until(b'\n', &mut line)? == 0 {
            return Ok(());
        }
        let answer = match serde_json::from_slice::<Ask>(&line) {
            Ok(Ask::Hear { samples }) if samples > LONGEST => {
                std::io::copy(&mut input.by_ref().take(u64::from(samples) * 2), &mut std::io::sink())?;
                Err(format!("{samples} samples are more than {LONGEST}: part the sound"))
            }
            Ok(Ask::Hear { samples }) => {
                let mut bytes = vec![0; samples as usize * 2];
                input.read_exact(&mut bytes)?;
                let sound: Vec<i16> = bytes.chunks_exact(2).map(|b| i16::from_le_bytes([b[0], b[1]])).collect();
                worker.hear(&sound)
            }
            Ok(Ask::Load { model, rate }) => worker.load(&model, rate),
            Ok(Ask::Words { words }) => worker.missing(words),
            Ok(Ask::Grammar { phrases }) => worker.grammar(&phrases),
            Err(e) => Err(format!("this is no question of the protocol ({e})")),
        };
        serde_json::to_writer(&mut *output, &answer.unwrap_or_else(|why| Answer::Refused { why }))?;
        output.write_all(b"\n")?;
        output.flush()?;
    }
}

impl Worker {
    fn load(&mut self, folder: &str, rate: u32) -> Result<Answer, String> {
        check_model(Path::new(folder), rate)?;
        self.recognizer = None;
        let mut model = Model::new(folder)
            .ok_or_else(|| format!("the Vosk model {folder} does not load: fetch it again, it may be damaged"))?;
        // A name that the model does not have would be dropped from the grammar without a word.
        let unknown = UNKNOWN.into_iter().find(|name| model.find_word(name).is_some()).ok_or_else(|| {
            format!("the Vosk model {folder} has no word for the unknown ({}): use another model", UNKNOWN.join(", "))
        })?;
        self.model = Some((model, rate));
        Ok(Answer::Loaded { unknown: unknown.into() })
    }

    fn missing(&mut self, words: Vec<String>) -> Result<Answer, String> {
        let (model, _) = self.model.as_mut().ok_or("no model is loaded")?;
        Ok(Answer::Missing { words: words.into_iter().filter(|w| model.find_word(w).is_none()).collect() })
    }

    fn grammar(&mut self, phrases: &[String]) -> Result<Answer, String> {
        let (model, rate) = self.model.as_mut().ok_or("no model is loaded")?;
        // The library drops words that it does not know, which makes another sentence of what is left, and follows a null
        // pointer when nothing is left.
        let known: Vec<&String> =
            phrases.iter().filter(|p| p.split(' ').all(|w| !w.is_empty() && model.find_word(w).is_some())).collect();
        if known.is_empty() {
            return Err("a grammar without a sentence in words that the model knows cannot be listened for".into());
        }
        // The crate puts quotes around each phrase and escapes nothing.
        let escaped: Vec<String> = known.iter().map(|p| escape(p)).collect();
        self.recognizer = None;
        let recognizer = Recognizer::new_with_grammar(model, *rate as f32, &escaped);
        self.recognizer = Some(recognizer.ok_or("the library refuses the grammar")?);
        Ok(Answer::Ready { phrases: known.len() })
    }

    fn hear(&mut self, sound: &[i16]) -> Result<Answer, String> {
        let recognizer = self.recognizer.as_mut().ok_or("no grammar is in use")?;
        recognizer.reset();
        recognizer.accept_waveform(sound).map_err(|e| format!("the library refuses the sound ({e})"))?;
        // Only the final result counts, and no confidence: foreign speech has been seen with 1.0.
        let text = recognizer.final_result().single().map_or_else(String::new, |r| r.text.to_owned());
        Ok(Answer::Text { text })
    }
}

/// The text as it stands between the quotes of a JSON string.
fn escape(text: &str) -> String {
    let quoted = serde_json::Value::String(text.to_owned()).to_string();
    quoted[1..quoted.len() - 1].to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The answers to lines that need no model.
    #[test]
    fn nonsense_is_refused_and_the_worker_goes_on() {
        let input =
            b"\n{\"ask\":\"sing\"}\n{\"ask\":\"hear\",\"samples\":2}\nabcd{\"ask\":\"grammar\",\"phrases\":[]}\n\
                      {\"ask\":\"load\",\"model\":\"/nowhere\",\"rate\":16000}\n\xff\n";
        let mut output = Vec::new();
        talk(&mut &input[..], &mut output).unwrap();
        let output = String::from_utf8(output).unwrap();
        let lines: Vec<&str> = output.lines().collect();
        assert_eq!(lines.len(), 6, "{output}");
        assert!(lines.iter().all(|l| l.starts_with(r#"{"answer":"refused","why":""#)), "{output}");
        assert!(lines[2].contains("no grammar is in use") && lines[3].contains("no model is loaded"), "{output}");
    }

    #[test]
    fn quotes_are_escaped() {
        assert_eq!(escape("a \"b\" \\ \u{1}"), "a \\\"b\\\" \\\\ \\u0001");
        assert_eq!(escape("기어 올려"), "기어 올려");
    }
}
