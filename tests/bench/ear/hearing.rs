//! Runs trials through the real listener, and remembers what it heard on disk as long as the ear stays the same.

use super::corpus::{Around, Clip, Trial, made};
use super::noises::{self, Noise, Scene};
use super::speakers::Studio;
use antiphon::core::gate::Settings;
use antiphon::core::grammar::{CallId, CallSet, Meaning, WordGraph};
use antiphon::core::matcher::{Choice, Heard, Reason, Thresholds, choose};
use antiphon::edge::audio::wav;
use antiphon::edge::ear::{Listener, News};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// What works through trials on one thread.
pub type Worker<T> = Box<dyn FnMut(&Trial, &Scene) -> T>;

/// The name under which results of the ear are kept.
const OURS: &str = "listener";

/// One utterance as the listener told it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Told {
    /// Endpoint, s from the scene's start.
    pub at_s: f64,
    pub decision_ms: f64,
    pub whole: bool,
    pub heard: Heard,
}

/// A scene heard.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Result {
    /// First and last voiced moment of each clip, s.
    pub clips: Vec<(f64, f64)>,
    pub length_s: f64,
    pub told: Vec<Told>,
}

/// What was made of a scene under some thresholds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    Right,
    /// Something else was accepted.
    Wrong,
    Refused,
    /// No utterance was noticed at all.
    Missed,
}

/// Sound that the trials share.
pub struct Backgrounds {
    pub babble: Vec<Vec<f32>>,
    pub own: Vec<Vec<f32>>,
}

/// A trial's sound.
pub fn scene(trial: &Trial, studio: &Studio, back: &Backgrounds) -> Scene {
    let clips: Vec<Vec<f32>> = trial
        .clips
        .iter()
        .map(|c| match c {
            Clip::Spoken(line) => match trial.around {
                Around::Room => noises::reverberate(&studio.sound(line), trial.seed),
                _ => studio.sound(line),
            },
            Clip::Recorded(files) => {
                let mut all = Vec::new();
                for f in files {
                    all.extend(wav::read_16k(f).map(|w| w.samples).unwrap_or_default());
                    all.extend(vec![0.0; 1_920]);
                }
                antiphon::edge::speaker::clip::finish(16_000, &all, 16_000).map_or(all, |p| p.samples.to_vec())
            }
            Clip::Made(kind, seed) => made(*kind, *seed),
        })
        .collect();
    let make = |n: usize| match trial.around {
        Around::Noise(kind, _) => noises::noise(kind, n, trial.seed, &back.babble),
        Around::Quiet | Around::Room => noises::floor(n, trial.seed),
    };
    let snr = f64::from(trial.around.db().unwrap_or(45));
    if let Around::Noise(Noise::OwnVoice, _) = trial.around {
        return noises::over_us(&clips, 0.8, trial.seed, &back.own, snr, trial.gain_db);
    }
    noises::scene(&clips, 0.8, &make, snr, trial.gain_db)
}

/// Hears scenes, and remembers.
pub struct Hearing<'a> {
    pub folder: PathBuf,
    pub models: PathBuf,
    pub studio: &'a Studio,
    pub back: &'a Backgrounds,
    /// Says which ear: results of another are not used.
    pub edition: String,
}

/// A hash over everything that decides what an ear hears: its sources, its thresholds and the models' manifest.
pub fn edition() -> String {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files =
        ["models/manifest.toml", "models/thresholds.toml", "src/edge/audio/echo.rs"].map(|f| top.join(f)).to_vec();
    for room in ["gate", "grammar", "matcher", "search", "words"] {
        collect(&top.join("src/core").join(room), &mut files);
    }
    for room in ["ear", "native"] {
        collect(&top.join("src/edge").join(room), &mut files);
    }
    files.sort();
    let mut hash = Sha256::new();
    for f in files {
        hash.update(std::fs::read(&f).unwrap_or_default());
    }
    hex(&hash.finalize())
}

/// Files of those rooms that decide nothing of what is heard.
const BESIDE: [&str; 5] = ["likeness.rs", "live.rs", "enrolled.rs", "tests.rs", "wired.rs"];

fn collect(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            collect(&path, into);
        } else if path.file_name().is_some_and(|n| !BESIDE.iter().any(|b| n == *b)) {
            into.push(path);
        }
    }
}

pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().take(16).map(|b| format!("{b:02x}")).collect()
}

impl Hearing<'_> {
    fn path(&self, trial: &Trial, graph: &str, engine: &str) -> PathBuf {
        let mut hash = Sha256::new();
        // Another ear does not change with ours.
        let edition = if engine == OURS { self.edition.as_str() } else { "" };
        let what = format!(
            "{engine} {edition} {graph} {:?} {:?} {} {} {:?}",
            trial.clips,
            trial.around,
            trial.gain_db,
            trial.seed,
            trial.live.iter().collect::<Vec<_>>()
        );
        hash.update(what);
        self.folder.join(format!("{}.json", hex(&hash.finalize())))
    }

    /// What the listener makes of every trial, in order.
    pub fn all(&self, graph: &WordGraph, name: &str, trials: &[Trial]) -> Vec<Result> {
        self.each(trials, name, OURS, &|| {
            let mut listener = Listener::open(&self.models, graph, Settings::default()).expect("the models are set up");
            Box::new(move |trial: &Trial, scene: &Scene| hear(&mut listener, trial, scene))
        })
    }

    /// Runs `make`'s worker over trials on two threads, unless the result is remembered.
    pub fn each<T: Send + Clone + Serialize + for<'d> Deserialize<'d>>(
        &self,
        trials: &[Trial],
        graph: &str,
        engine: &str,
        make: &(dyn Fn() -> Worker<T> + Sync),
    ) -> Vec<T> {
        std::fs::create_dir_all(&self.folder).expect("the bench's folder can be made");
        let paths: Vec<PathBuf> = trials.iter().map(|t| self.path(t, graph, engine)).collect();
        let load = |p: &PathBuf| -> Option<T> { serde_json::from_slice(&std::fs::read(p).ok()?).ok() };
        let mut results: Vec<Option<T>> = paths.iter().map(load).collect();
        let missing: Vec<usize> = (0..trials.len()).filter(|i| results[*i].is_none()).collect();
        if missing.is_empty() {
            return results.into_iter().flatten().collect();
        }
        eprintln!("ear: {} of {} scenes for {engine} ({graph})", missing.len(), trials.len());
        let (next, started) = (AtomicUsize::new(0), std::time::Instant::now());
        let threads = std::env::var("BENCH_THREADS").ok().and_then(|t| t.parse().ok()).unwrap_or(2usize);
        let done: Vec<(usize, T)> = std::thread::scope(|scope| {
            let workers: Vec<_> = (0..threads.min(missing.len()))
                .map(|_| {
                    scope.spawn(|| {
                        let mut work = make();
                        let mut done = Vec::new();
                        loop {
                            let n = next.fetch_add(1, Ordering::Relaxed);
                            let Some(i) = missing.get(n) else { break };
                            let scene = scene(&trials[*i], self.studio, self.back);
                            let result = work(&trials[*i], &scene);
                            let text = serde_json::to_vec(&result).expect("results are plain data");
                            std::fs::write(&paths[*i], text).expect("the bench's folder can be written");
                            done.push((*i, result));
                            if n % 200 == 199 {
                                let each = started.elapsed().as_secs_f64() / (n + 1) as f64;
                                eprintln!("ear: {} of {}, {:.0} ms each", n + 1, missing.len(), each * 1000.0);
                            }
                        }
                        done
                    })
                })
                .collect();
            workers.into_iter().flat_map(|w| w.join().expect("the worker ends well")).collect()
        });
        done.into_iter().for_each(|(i, r)| results[i] = Some(r));
        results.into_iter().flatten().collect()
    }
}

pub fn hear(listener: &mut Listener, trial: &Trial, scene: &Scene) -> Result {
    listener.reset();
    listener.listen(1, &trial.live);
    listener.answering(&trial.due);
    let mut news = Vec::new();
    // In the blocks of a live microphone.
    for block in scene.samples.chunks(320) {
        news.extend(listener.feed(block).expect("the models run"));
    }
    news.extend(listener.finish().expect("the models run"));
    let told = news
        .into_iter()
        .filter_map(|n| match n {
            News::Heard { at, mut heard, decision, why } => {
                heard.ranked.truncate(12);
                let whole = why == antiphon::core::gate::Why::Whole;
                Some(Told { at_s: at.secs(), decision_ms: decision.as_secs_f64() * 1000.0, whole, heard })
            }
            _ => None,
        })
        .collect();
    let s = |n: usize| n as f64 / 16_000.0;
    Result { clips: scene.clips.iter().map(|(a, b)| (s(*a), s(*b))).collect(), length_s: s(scene.samples.len()), told }
}

/// Everything accepted in a scene.
pub fn accepted(
    graph: &WordGraph,
    critical: &CallSet,
    trial: &Trial,
    result: &Result,
    thresholds: &Thresholds,
) -> (Vec<Meaning>, Vec<(Reason, bool)>) {
    let (mut all, mut refused) = (Vec::new(), Vec::new());
    for told in &result.told {
        let is_critical = |c: CallId| critical.contains(c);
        match choose(&told.heard, graph, &trial.live, &trial.due, is_critical, thresholds) {
            Choice::Accept { meanings, .. } => all.extend(meanings),
            Choice::Refuse { reason, resembling, .. } => refused.push((reason, resembling)),
        }
    }
    (all, refused)
}

/// The verdict on a trial.
pub fn judge(
    graph: &WordGraph,
    critical: &CallSet,
    trial: &Trial,
    result: &Result,
    thresholds: &Thresholds,
) -> Verdict {
    let (accepted, _) = accepted(graph, critical, trial, result, thresholds);
    match (&trial.expected, accepted.as_slice()) {
        (_, []) if result.told.is_empty() => Verdict::Missed,
        (_, []) => Verdict::Refused,
        (Some(e), [m]) if e == m => Verdict::Right,
        _ => Verdict::Wrong,
    }
}
