//! Whether our voices can be understood: the recogniser writes down freely what it hears, held to nothing.

use super::Captains;
use crate::core::book::schema::Station;
use crate::core::search::Tokens;
use crate::edge::audio::EAR_RATE;
use crate::edge::native::{self, Decoder, END, Encoder, Runtime};
use crate::edge::speaker::cache::Cache;
use crate::edge::speaker::voices::tests::programs_are_there;
use crate::edge::speaker::{Pcm, Speaker, Voices};

struct Writer {
    encoder: Encoder,
    decoder: Decoder,
    tokens: Tokens,
}

impl Writer {
    fn open(runtime: &Runtime) -> Self {
        let bytes = std::fs::read(runtime.models().join("moonshine-tiny-en/tokenizer.bin")).unwrap();
        Writer {
            encoder: Encoder::open(runtime).unwrap(),
            decoder: Decoder::open(runtime).unwrap(),
            tokens: Tokens::parse(&bytes).unwrap(),
        }
    }

    /// The likeliest text, token by token, in lower case without punctuation.
    fn write(&mut self, samples: &[f32]) -> String {
        let mut padded = vec![0.0; 3_200];
        padded.extend_from_slice(samples);
        padded.extend([0.0; 4_800]);
        let sound = self.encoder.encode(&padded).unwrap();
        let mut best = 0;
        let mut branches = self.decoder.begin(&sound, &mut |logits| best = largest(logits)).unwrap();
        let mut text = Vec::new();
        while best != END && text.len() < 60 {
            text.push(best);
            let from = branches.len() - 1;
            let token = best;
            self.decoder.grow(&mut branches, &[(from, token)], &mut |_, logits| best = largest(logits)).unwrap();
        }
        let said = self.tokens.text(&text).to_lowercase();
        let plain = |c: char| if c.is_alphanumeric() || c == ' ' { c } else { ' ' };
        said.chars().map(plain).collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

fn largest(logits: &[f32]) -> u32 {
    (0..logits.len() as u32).max_by(|a, b| logits[*a as usize].total_cmp(&logits[*b as usize])).unwrap_or(END)
}

/// What is called out on the way into the air, and a few more things that the first officer says.
const SAID: [&str; 16] = [
    "Thrust set",
    "Thrust not set",
    "Eighty knots",
    "One hundred knots",
    "V one",
    "Rotate",
    "Positive climb",
    "Gear up",
    "Engine one stable",
    "Engine two stable",
    "Flaps five selected",
    "Before start checklist complete",
    "APU available",
    "Say again",
    "Holding at fuel pumps",
    "Parking brake set",
];

/// Of what could have been said, the nearest in letters to what was written down.
fn nearest(written: &str) -> &'static str {
    let joined = |s: &str| s.to_lowercase().replace(' ', "");
    let like = |said: &str| strsim::normalized_levenshtein(&joined(said), &joined(written));
    SAID.iter().max_by(|a, b| like(a).total_cmp(&like(b))).unwrap()
}

/// What of [`SAID`] is taken for something else.
fn wrong(writer: &mut Writer, mut render: impl FnMut(&str) -> Pcm) -> Vec<String> {
    let mut wrong = Vec::new();
    for text in SAID {
        let written = writer.write(&render(text).samples);
        if nearest(&written) != text {
            wrong.push(format!("{text}: {written}"));
        }
    }
    wrong
}

fn writer() -> Option<(Runtime, Writer)> {
    let runtime = native::for_tests().filter(|_| programs_are_there())?;
    let writer = Writer::open(&runtime);
    Some((runtime, writer))
}

#[test]
fn the_first_officer_is_understood() {
    let Some((runtime, mut writer)) = writer() else { return };
    let mut voices = Voices::new(Ok(runtime.models().to_path_buf()), EAR_RATE, Cache::in_memory());
    let wrong = wrong(&mut writer, |text| voices.render(Station::FlightDeck, text).unwrap());
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn every_captain_is_mostly_understood() {
    let Some((_, mut writer)) = writer() else { return };
    let mut captains = Captains::new(Cache::in_memory());
    for voice in captains.names().to_vec() {
        // One or two of the sixteen are wrong when nothing holds the recogniser to the calls.
        let wrong = wrong(&mut writer, |text| captains.render(&voice, text).unwrap());
        assert!(wrong.len() <= 3, "{voice}: {wrong:?}");
    }
}
