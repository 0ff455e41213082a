//! What a user would otherwise reach for, on the same sounds: free transcription and a fuzzy match, and a general
//! recogniser held to the same grammar.
//!
//! Both are helped: they are given the true beginning and end of what was said, and no silence to fool them. The fuzzy match
//! always has the very sentence that was said among those that it compares with.

use super::corpus::Trial;
use super::hearing::Worker;
use super::noises::Scene;
use antiphon::core::grammar::{CallId, CallSet, Label, Meaning, WordGraph, accepts, expand};
use antiphon::core::search::Tokens;
use antiphon::core::words::{phones, readings};
use antiphon::edge::native::{Decoder, END, Encoder, Runtime};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Instant;

/// What a peer made of one clip.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Written {
    pub text: String,
    /// Its own certainty, on a scale of its own; higher is surer.
    pub sure: f64,
    pub took_ms: f64,
}

/// What is left before and after a clip, samples.
const AROUND: (usize, usize) = (3_200, 4_800);

fn window(scene: &Scene, (from, to): (usize, usize)) -> &[f32] {
    &scene.samples[from.saturating_sub(AROUND.0)..(to + AROUND.1).min(scene.samples.len())]
}

/// The same neural model, asked what it would write: the likeliest token again and again.
pub fn transcriber(models: &Path) -> Worker<Vec<Written>> {
    let runtime = Runtime::open(models).expect("the models are set up");
    let mut encoder = Encoder::open(&runtime).expect("the models are set up");
    let mut decoder = Decoder::open(&runtime).expect("the models are set up");
    let bytes = std::fs::read(models.join("moonshine-tiny-en/tokenizer.bin")).expect("the models are set up");
    let tokens = Tokens::parse(&bytes).expect("the token file is sound");
    Box::new(move |_, scene| {
        let mut all = Vec::new();
        for clip in &scene.clips {
            let sound = window(scene, *clip);
            let began = Instant::now();
            let encoded = encoder.encode(sound).expect("the models run");
            // The model's makers allow 6.5 tokens a second, or it may repeat itself for ever.
            let most = (sound.len() as f64 / 16_000.0 * 6.5) as usize + 2;
            let (mut next, mut sum) = ((0, 0.0), 0.0);
            let mut branches = decoder.begin(&encoded, &mut |l| next = likeliest(l)).expect("the models run");
            let mut written = Vec::new();
            while next.0 != END && written.len() < most {
                sum += next.1;
                written.push(next.0);
                let at = branches.len() - 1;
                let token = next.0;
                decoder.grow(&mut branches, &[(at, token)], &mut |_, l| next = likeliest(l)).expect("the models run");
            }
            let took_ms = began.elapsed().as_secs_f64() * 1000.0;
            all.push(Written { text: tokens.text(&written), sure: sum / written.len().max(1) as f64, took_ms });
        }
        all
    })
}

/// The likeliest token and its log probability.
fn likeliest(logits: &[f32]) -> (u32, f64) {
    let best = (0..logits.len()).max_by(|a, b| logits[*a].total_cmp(&logits[*b])).unwrap_or(0);
    let sum: f64 = logits.iter().map(|l| f64::from(l - logits[best]).exp()).sum();
    (best as u32, -sum.ln())
}

/// Sentences of each call that a transcript is compared with.
pub struct Sentences {
    all: Vec<Vec<(String, Meaning)>>,
}

/// The most sentences listed of a call.
const LISTED: usize = 400;

impl Sentences {
    pub fn new(graph: &WordGraph) -> Sentences {
        let list = |c: usize| {
            expand(graph, CallId(c as u16), LISTED).0.into_iter().map(|(words, m)| (words.join(" "), m)).collect()
        };
        Sentences { all: (0..graph.calls.len()).map(list).collect() }
    }

    /// The sentence nearest to a transcript, by `strsim`'s normalised Levenshtein distance, and how near. `said` stands among
    /// them whatever was listed.
    pub fn nearest(&self, live: &CallSet, text: &str, said: Option<(&str, &Meaning)>) -> Option<(Meaning, f64)> {
        let texts = plain(text);
        let listed = live.iter().flat_map(|c| self.all.get(c.0 as usize)).flatten().map(|(t, m)| (t.as_str(), m));
        let likeness =
            |sentence: &str| texts.iter().map(|t| strsim::normalized_levenshtein(t, sentence)).fold(0.0, f64::max);
        listed
            .chain(said)
            .map(|(sentence, meaning)| (meaning, likeness(sentence)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(m, s)| (m.clone(), s))
    }
}

/// A transcript in small letters without punctuation, its numbers in words, in every way in which they can be read.
fn plain(text: &str) -> BTreeSet<String> {
    let words: Vec<Vec<String>> = text
        .split_whitespace()
        .map(|w| w.trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase())
        .filter(|w| !w.is_empty())
        .map(|w| Some(readings(&w)).filter(|r| !r.is_empty()).unwrap_or(vec![w]))
        .collect();
    let most = words.iter().map(Vec::len).max().unwrap_or(0);
    (0..most).map(|k| words.iter().map(|w| w[k.min(w.len() - 1)].as_str()).collect::<Vec<_>>().join(" ")).collect()
}

/// PocketSphinx as a process of its own, held to what is live.
pub struct Sphinx {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
}

impl Sphinx {
    /// `None` if it has not been set up: `python3 models/setup.py --with bench`.
    pub fn start(models: &Path, graph: &WordGraph) -> Option<Sphinx> {
        let folder = models.join("pocketsphinx");
        if !folder.is_dir() {
            return None;
        }
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/ear/sphinx.py");
        let mut child = Command::new("python3")
            .arg(script)
            .arg(models)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("python3 starts");
        let to = child.stdin.take().expect("it is piped");
        let from = BufReader::new(child.stdout.take().expect("it is piped"));
        let mut sphinx = Sphinx { child, to, from };
        // Words that its dictionary lacks get our own guess at their sound.
        let words: Vec<(&str, String)> = graph
            .words
            .iter()
            .map(|w| (w.as_str(), phones(w).iter().map(|p| p.name()).collect::<Vec<_>>().join(" ")))
            .collect();
        let _: serde_json::Value = sphinx.ask(&serde_json::json!({ "words": words }));
        Some(sphinx)
    }

    fn ask<T: for<'d> Deserialize<'d>>(&mut self, what: &serde_json::Value) -> T {
        writeln!(self.to, "{what}").expect("it reads");
        self.to.flush().expect("it reads");
        let mut line = String::new();
        self.from.read_line(&mut line).expect("it answers");
        serde_json::from_str(&line).unwrap_or_else(|e| panic!("PocketSphinx answered \"{line}\": {e}"))
    }

    /// What it makes of every clip of a scene.
    pub fn hear(&mut self, graph: &WordGraph, trial: &Trial, scene: &Scene) -> Vec<Written> {
        let clips: Vec<Vec<i16>> =
            scene.clips.iter().map(|c| window(scene, *c).iter().map(|s| (s * 32_767.0) as i16).collect()).collect();
        self.ask(&serde_json::json!({ "grammar": jsgf(graph, &trial.live), "clips": clips }))
    }
}

impl Drop for Sphinx {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The live part of a graph as a JSGF grammar: one rule a node, alternatives that lead to the same node together.
pub fn jsgf(graph: &WordGraph, live: &CallSet) -> String {
    let calls: Vec<_> = live.iter().filter_map(|c| graph.calls.get(c.0 as usize)).collect();
    let starts: Vec<String> = calls.iter().map(|c| format!("<n{}>", c.entry.0)).collect();
    let mut text = format!("#JSGF V1.0;\ngrammar live;\npublic <call> = {};\n", starts.join(" | "));
    for call in calls {
        for node in call.entry.0..call.exit.0 {
            let mut ways: Vec<(Option<u32>, Vec<&str>)> = Vec::new();
            for arc in &graph.nodes[node as usize].arcs {
                let to = (arc.to != call.exit).then_some(arc.to.0);
                let word = match arc.label {
                    Label::Word(w) => graph.words[w.0 as usize].as_str(),
                    _ => "<NULL>",
                };
                match ways.iter_mut().find(|(t, _)| *t == to) {
                    Some((_, words)) => words.push(word),
                    None => ways.push((to, vec![word])),
                }
            }
            let ways: Vec<String> = ways
                .into_iter()
                .map(|(to, words)| match to {
                    Some(to) => format!("({}) <n{to}>", words.join(" | ")),
                    None => format!("({})", words.join(" | ")),
                })
                .collect();
            text.push_str(&format!("<n{node}> = {};\n", ways.join(" | ")));
        }
    }
    text
}

/// What words mean under what is live; the first call that has them.
pub fn means(graph: &WordGraph, live: &CallSet, text: &str) -> Option<Meaning> {
    let words: Vec<&str> = text.split_whitespace().collect();
    live.iter().find_map(|c| accepts(graph, c, &words).into_iter().next())
}
