//! How well the ear hears: `cargo test --test hearing` for a small fixed part, `make bench-ear`, or `cargo bench --bench ear -- --n 100 --human FOLDER`.
//!
//! Synthetic speakers say the calls of the shipped books, over noise, in a room, with accents; other speech and other
//! sounds must not be taken for calls. Speakers and noise of the result were not used to set any threshold.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a bench reads files, starts voices and prints"
)]

mod corpus;
mod domain;
mod fit;
mod hearing;
mod noises;
mod peers;
mod scale;
mod speakers;
mod stream;
mod subset;
mod table;
mod times;
mod versus;

use antiphon::core::book::Book;
use antiphon::core::grammar::{CallId, CallSet, Meaning, accepts};
use antiphon::core::matcher::{Reason, Thresholds};
use antiphon::edge::store::{Places, load_book};
use corpus::{Around, Chatter, Clip, Trial, chance, pick};
use hearing::{Backgrounds, Hearing, Result, Verdict, accepted, judge};
use noises::{NOISES, Noise};
use speakers::{ACCENTS, Line, Speaker, Studio, TESTING, TUNING};
use std::path::{Path, PathBuf};
use table::{Count, quantile, share};

/// What to do.
struct Args {
    /// Trials a cell of the table.
    n: usize,
    seed: u64,
    /// The folder of recorded human sounds.
    human: Option<PathBuf>,
    /// Tell of the tuning speakers, not of the others.
    tuning: bool,
    /// List what went wrong.
    errors: bool,
    /// Write every utterance and its readings to this file, a line of JSON each.
    readings: Option<PathBuf>,
    /// Write what is heard of every utterance to this folder, numbered as the lines of `readings` are.
    sounds: Option<PathBuf>,
    /// What to measure, of [`PARTS`].
    parts: Vec<String>,
    /// Minutes of talk and of noise in the part `stream`.
    minutes: u64,
    /// Write models/thresholds.toml from the results of the tuning speakers.
    fit: bool,
}

/// What can be measured: the ear's own rows and what is no call, the others' rows, another domain, a large grammar, how soon,
/// talk and noise without end. The first three unless told otherwise.
const PARTS: [&str; 6] = ["calls", "peers", "domain", "scale", "times", "stream"];

fn args() -> Args {
    let mut args = Args {
        n: 100,
        seed: 1,
        human: std::env::var_os("HUMAN").filter(|h| !h.is_empty()).map(PathBuf::from),
        tuning: false,
        errors: false,
        readings: None,
        sounds: None,
        parts: PARTS[..3].iter().map(|p| (*p).to_string()).collect(),
        minutes: 30,
        fit: false,
    };
    let mut given = std::env::args().skip(1);
    while let Some(arg) = given.next() {
        let mut value = || given.next().unwrap_or_else(|| panic!("{arg} needs a value"));
        match arg.as_str() {
            "--n" => args.n = value().parse().expect("--n needs a number"),
            "--seed" => args.seed = value().parse().expect("--seed needs a number"),
            "--human" => args.human = Some(value().into()),
            "--tuning" => args.tuning = true,
            "--errors" => args.errors = true,
            "--readings" => args.readings = Some(value().into()),
            "--sounds" => args.sounds = Some(value().into()),
            "--fit" => (args.fit, args.tuning, args.parts) = (true, true, vec!["calls".into()]),
            "--minutes" => args.minutes = value().parse().expect("--minutes needs a number"),
            "--parts" => {
                args.parts = value().split(',').map(String::from).collect();
                let unknown = args.parts.iter().find(|p| !PARTS.contains(&p.as_str()));
                assert!(unknown.is_none(), "there is no part {unknown:?}: {}", PARTS.join(", "));
            }
            // Cargo adds it.
            "--bench" => {}
            other => panic!(
                "there is no option {other}: --n N, --seed N, --human FOLDER, --tuning, --errors, --readings FILE, --sounds FOLDER, --fit, --parts {}, --minutes N",
                PARTS.join(",")
            ),
        }
    }
    args
}

/// Everything that the tables are made of.
struct Bench {
    book: Book,
    critical: CallSet,
    trials: Vec<Trial>,
    results: Vec<Result>,
    thresholds: Thresholds,
}

fn main() {
    // As a test it is called without the word that `cargo bench` adds.
    if !std::env::args().any(|a| a == "--bench") {
        return subset::run();
    }
    let args = args();
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let places = Places::here(None);
    let models = places.models().unwrap_or_else(|e| panic!("{e}"));
    let book = load_book(&places, &top.join("phrasebooks/saltmarsh-t2")).unwrap_or_else(|e| panic!("{e}")).0;
    let folder = top.join("target/bench-ear");
    let studio = Studio::new(&folder.join("speech"), &models);

    let part = |name: &str| args.parts.iter().any(|p| p == name);
    let speakers = if args.tuning { TUNING } else { TESTING };
    let mut trials = calls(&book, &args);
    trials.extend(others(&book, &args));
    let (babble, own) = backgrounds(&book, &args);
    let bridge = domain::book(&places);
    let on_bridge = domain::trials(&bridge, speakers, args.n, args.seed, args.tuning);
    let talk = stream::lines(speakers, args.seed);
    let mut lines: Vec<Line> = babble.iter().chain(&own).cloned().collect();
    if part("calls") || part("peers") {
        lines.extend(domain::lines(&trials));
    }
    if part("domain") {
        lines.extend(domain::lines(&on_bridge));
    }
    if part("stream") {
        lines.extend(talk.iter().cloned());
    }
    if part("times") {
        let quiet: Vec<Trial> = trials.iter().filter(|t| t.group == "quiet").take(args.n).cloned().collect();
        lines.extend(domain::lines(&quiet));
    }
    studio.prepare(&lines);
    let back = Backgrounds { babble: noises::background(&babble, &studio), own: noises::background(&own, &studio) };
    let edition = hearing::edition();
    let hearing =
        Hearing { folder: folder.join("heard"), models: models.clone(), studio: &studio, back: &back, edition };

    let critical = (0..book.calls.len()).map(|i| CallId(i as u16)).filter(|c| book.is_critical(*c)).collect();
    let mut bench = Bench { book, critical, trials, results: Vec::new(), thresholds: Thresholds::default() };
    if part("calls") || part("peers") {
        bench.results = hearing.all(&bench.book.graph, &bench.book.hash, &bench.trials);
    }
    if let Some(file) = &args.readings {
        bench.readings(file);
    }
    if let Some(folder) = &args.sounds {
        bench.sounds(folder, &studio, &back);
    }
    if args.fit {
        return fit::write(&bench, &top.join("models/thresholds.toml"));
    }
    println!("\n{} speakers; n = {}, seed {}", if args.tuning { "tuning" } else { "testing" }, args.n, args.seed);
    if part("calls") {
        bench.tell(&args);
    }
    if part("peers") {
        versus::tell(&bench, &hearing, &bench.book.hash);
    }
    if part("domain") {
        let bridge = domain::tell(&hearing, bridge, on_bridge);
        if args.errors {
            bridge.errors();
        }
    }
    if part("scale") {
        scale::tell(&models, &studio, speakers, args.n, args.seed);
    }
    if part("times") {
        times::tell(&bench, &models, &studio, &back, args.n);
    }
    if part("stream") {
        for what in [stream::What::Talk, stream::What::Noise] {
            stream::tell(&bench, &models, what, args.minutes, args.seed, (&studio, &back, &talk));
        }
    }
}

/// Trials of calls: quiet, every noise at every ratio, a room, accents.
fn calls(book: &Book, args: &Args) -> Vec<Trial> {
    let own = if args.tuning { TUNING } else { TESTING };
    let mut out = Vec::new();
    let mut add = |speakers: &'static [Speaker], around, group, n: usize| {
        out.extend((0..n as u64).map(|i| corpus::call_trial(book, speakers, around, group, args.seed, i, args.tuning)));
    };
    // As many in quiet as at each ratio over all noises.
    add(own, Around::Quiet, "quiet", 4 * args.n);
    for db in [20, 10, 5] {
        for noise in NOISES {
            add(own, Around::Noise(noise, db), noise.name(), args.n);
        }
    }
    add(own, Around::Room, "room", 2 * args.n);
    if !args.tuning {
        add(ACCENTS, Around::Quiet, "accents, quiet", 2 * args.n);
        add(ACCENTS, Around::Noise(Noise::Broadband, 10), "accents, 10 dB", 2 * args.n);
    }
    out
}

/// Trials of what is no call.
fn others(book: &Book, args: &Args) -> Vec<Trial> {
    let own = if args.tuning { TUNING } else { TESTING };
    let chatter = Chatter::new();
    let mut out = Vec::new();
    for kind in 0..3 {
        for i in 0..args.n as u64 {
            out.push(corpus::chatter_trial(book, &chatter, kind, own, args.seed, i, args.tuning));
        }
    }
    out.extend((0..args.n as u64 / 4).map(|i| corpus::noisy_trial(book, args.seed, i, args.tuning)));
    if let Some(folder) = &args.human {
        let mut files: Vec<PathBuf> = std::fs::read_dir(folder.join("negatives"))
            .unwrap_or_else(|e| {
                panic!("{} cannot be read ({e}): give the folder that holds negatives", folder.display())
            })
            .flatten()
            .map(|e| e.path())
            .filter(|p| p.extension().is_some_and(|e| e == "wav") && !is_call(book, p))
            .collect();
        files.sort();
        out.extend(corpus::recorded_trials(book, &files, args.seed).into_iter().filter(|t| t.tuning == args.tuning));
    }
    out
}

/// Whether a recording, by its name, holds the words of one of the book's calls ("resume"): then it is no negative.
fn is_call(book: &Book, file: &Path) -> bool {
    let name = file.file_stem().map(|s| s.to_string_lossy().to_lowercase()).unwrap_or_default();
    let text = name.trim_start_matches("home_").replace(['-', '_'], " ").replace("what's", "what is");
    let words: Vec<&str> = text.split(' ').collect();
    (0..book.calls.len()).any(|c| !accepts(&book.graph, CallId(c as u16), &words).is_empty())
}

/// What babble and the leak of the program's own voice are made of.
fn backgrounds(book: &Book, args: &Args) -> (Vec<Line>, Vec<Line>) {
    let chatter = Chatter::new();
    let voices = if args.tuning { TUNING } else { TESTING };
    let babble = (0..60)
        .map(|i| {
            let mut rng = chance(args.seed, "babble", i);
            Line { speaker: &voices[i as usize % voices.len()], rate: 1, text: chatter.sentence(0, &mut rng) }
        })
        .collect();
    // The first officer's own sentences.
    let joe = TESTING.iter().find(|s| s.name == "joe").expect("the neural voice is a speaker");
    let mut said: Vec<String> = book
        .callouts
        .iter()
        .map(|c| c.say.say(&Nothing, &|_| None))
        .chain(book.checklists.iter().flat_map(|c| c.items.iter().map(|i| i.challenge.say(&Nothing, &|_| None))))
        .filter(|t| t.split_whitespace().count() > 1)
        .collect();
    said.sort();
    said.dedup();
    let mut rng = chance(args.seed, "own", 0);
    let own = (0..40).map(|_| Line { speaker: joe, rate: 1, text: pick(&mut rng, &said).clone() }).collect();
    (babble, own)
}

/// No value is known.
struct Nothing;

impl antiphon::core::book::expr::Scope for Nothing {
    fn value(&self, _: &antiphon::core::book::expr::Name) -> Option<antiphon::core::aircraft::Value> {
        None
    }
}

impl Bench {
    fn count(&self, thresholds: &Thresholds, keep: impl Fn(&Trial) -> bool) -> Count {
        Count::of(
            self.trials
                .iter()
                .zip(&self.results)
                .filter(|(t, _)| t.expected.is_some() && keep(t))
                .map(|(t, r)| judge(&self.book.graph, &self.critical, t, r, thresholds)),
        )
    }

    fn tell(&self, args: &Args) {
        let t = &self.thresholds;
        println!();
        table::head("all calls");
        table::row("quiet", self.count(t, |t| t.group == "quiet"));
        for db in [20, 10, 5] {
            let at = |t: &Trial| t.around.db() == Some(db) && NOISES.iter().any(|n| n.name() == t.group);
            table::row(&format!("{db} dB, all noises"), self.count(t, at));
            for noise in NOISES {
                let name = format!("{db} dB, {}", noise.name());
                table::row(&name, self.count(t, |t| at(t) && t.group == noise.name()));
            }
        }
        for group in ["room", "accents, quiet", "accents, 10 dB"] {
            table::row(group, self.count(t, |t| t.group == group));
        }
        println!();
        table::head("call length, 10 dB");
        for (name, from, to) in [("1 word", 1, 1), ("2 words", 2, 2), ("3 or 4", 3, 4), ("5 and more", 5, 99)] {
            table::row(name, self.count(t, |t| t.around.db() == Some(10) && (from..=to).contains(&t.words)));
        }
        println!();
        table::head("speaker, all but accents");
        for s in if args.tuning { TUNING } else { TESTING } {
            let by = |t: &Trial| matches!(&t.clips[0], Clip::Spoken(l) if l.speaker == s);
            table::row(s.name, self.count(t, by));
        }
        self.curve();
        self.negatives();
        self.times();
        if args.errors {
            self.errors();
        }
    }

    /// What other thresholds would give: score and margin move together.
    fn curve(&self) {
        println!("\n| score moved by | quiet right / wrong % | 20 dB | 10 dB | 5 dB | negatives accepted |");
        println!("|---|---|---|---|---|---|");
        for shift in [-6.0, -4.0, -2.0, -1.0, 0.0, 1.0, 2.0, 4.0, 6.0, 9.0, 12.0] {
            let t = self.thresholds.shifted(shift);
            let cell = |c: Count| {
                let p = |k: usize| 100.0 * k as f64 / c.n().max(1) as f64;
                format!("{:.1} / {:.1}", p(c.right), p(c.wrong))
            };
            let db = |db| self.count(&t, |t| t.around.db() == Some(db) && NOISES.iter().any(|n| n.name() == t.group));
            println!(
                "| {shift:+.1} | {} | {} | {} | {} | {} |",
                cell(self.count(&t, |t| t.group == "quiet")),
                cell(db(20)),
                cell(db(10)),
                cell(db(5)),
                self.accepted_negatives(&t, |_| true).0
            );
        }
    }

    /// Calls accepted where none was made, sentences, hours, and critical ones among the accepted.
    fn accepted_negatives(&self, t: &Thresholds, keep: impl Fn(&Trial) -> bool) -> (usize, usize, f64, usize) {
        let (mut calls, mut sentences, mut hours, mut critical) = (0, 0, 0.0, 0);
        for (trial, result) in self.trials.iter().zip(&self.results) {
            if trial.expected.is_none() && keep(trial) {
                let (all, _) = accepted(&self.book.graph, &self.critical, trial, result, t);
                calls += all.len();
                critical += all.iter().filter(|m| self.is_critical(&m.call)).count();
                sentences += trial.clips.len();
                hours += result.length_s / 3600.0;
            }
        }
        (calls, sentences, hours, critical)
    }

    fn is_critical(&self, call: &str) -> bool {
        self.book.call(call).is_some_and(|c| self.critical.contains(c))
    }

    fn negatives(&self) {
        println!("\n| no calls | utterances | hours | accepted | accepted % (95 % bounds) | an hour | \"say again\" |");
        println!("|---|---|---|---|---|---|---|");
        let mut all = (0, 0, 0.0, 0, 0);
        let groups: Vec<&str> = corpus::CHATTER.iter().copied().chain(["coughs, tones …", "recorded people"]).collect();
        for group in groups {
            let (calls, n, hours, critical) = self.accepted_negatives(&self.thresholds, |t| t.group == group);
            if n == 0 {
                continue;
            }
            let again: usize = self
                .trials
                .iter()
                .zip(&self.results)
                .filter(|(t, _)| t.group == group)
                .map(|(t, r)| {
                    let (_, refused) = accepted(&self.book.graph, &self.critical, t, r, &self.thresholds);
                    refused.iter().filter(|(reason, near)| *near && *reason != Reason::NothingSaid).count()
                })
                .sum();
            println!(
                "| {group} | {n} | {hours:.2} | {calls} | {} | {:.1} | {again} |",
                share(calls.min(n), n),
                calls as f64 / hours
            );
            all = (all.0 + calls, all.1 + n, all.2 + hours, all.3 + critical, all.4 + again);
        }
        let (calls, n, hours, critical, again) = all;
        println!(
            "| all | {n} | {hours:.2} | {calls} | {} | {:.1} | {again} |",
            share(calls.min(n), n),
            calls as f64 / hours
        );
        let mut wrong = critical;
        let mut chances = n;
        for (t, r) in self.trials.iter().zip(&self.results).filter(|(t, _)| t.expected.is_some()) {
            let (got, _) = accepted(&self.book.graph, &self.critical, t, r, &self.thresholds);
            wrong += got.iter().filter(|m| self.is_critical(&m.call) && Some(*m) != t.expected.as_ref()).count();
            chances += usize::from(t.live.iter().any(|c| self.critical.contains(c)));
        }
        println!(
            "\ncritical calls wrongly accepted: {wrong} in {chances} utterances, {} %",
            share(wrong.min(chances), chances)
        );
        let said = self.count(&self.thresholds, |t| t.expected.as_ref().is_some_and(|m| self.is_critical(&m.call)));
        table::head("critical calls said, all noises");
        table::row("all", said);
    }

    /// From the true end of speech to the endpoint, and what the decision took on this machine.
    fn times(&self) {
        let (mut waits, mut wholes, mut decisions) = (Vec::new(), Vec::new(), Vec::new());
        for (t, r) in self.trials.iter().zip(&self.results).filter(|(t, _)| t.group == "quiet") {
            if let ([told], [(_, end)]) = (r.told.as_slice(), r.clips.as_slice())
                && judge(&self.book.graph, &self.critical, t, r, &self.thresholds) == Verdict::Right
            {
                waits.push(1000.0 * (told.at_s - end));
                if told.whole {
                    wholes.push(1000.0 * (told.at_s - end));
                }
                decisions.push(told.decision_ms);
            }
        }
        for (name, all) in [
            ("true end to endpoint", &mut waits),
            ("the same, ended by completion", &mut wholes),
            ("decision_ms (this machine, both threads busy)", &mut decisions),
        ] {
            all.sort_by(f64::total_cmp);
            println!("{name}: n {}, median {:.0} ms, p95 {:.0} ms", all.len(), quantile(all, 0.5), quantile(all, 0.95));
        }
    }

    fn readings(&self, file: &Path) {
        let mut lines = String::new();
        for (t, r) in self.trials.iter().zip(&self.results) {
            let due = |m: &Meaning| self.book.graph.call(&m.call).is_some_and(|c| t.due.contains(c));
            let told: Vec<_> = r
                .told
                .iter()
                .map(|told| {
                    let first: Vec<_> = told.heard.ranked.iter().take(16).collect();
                    let due = first.first().is_some_and(|c| c.meanings.iter().any(due));
                    serde_json::json!({
                        "at_s": told.at_s, "speech": told.heard.speech, "ranked": first, "due": due,
                        "critical": first.first().is_some_and(|c| c.meanings.iter().any(|m| self.is_critical(&m.call))),
                    })
                })
                .collect();
            let line = serde_json::json!({
                "group": t.group, "db": t.around.db(), "words": t.words, "expected": t.expected, "clips": r.clips, "told": told,
                "verdict": format!("{:?}", judge(&self.book.graph, &self.critical, t, r, &self.thresholds)),
            });
            lines.push_str(&format!("{line}\n"));
        }
        std::fs::write(file, lines).unwrap_or_else(|e| panic!("{} cannot be written: {e}", file.display()));
    }

    fn sounds(&self, folder: &Path, studio: &Studio, back: &Backgrounds) {
        std::fs::create_dir_all(folder).unwrap_or_else(|e| panic!("{} cannot be made: {e}", folder.display()));
        for (i, trial) in self.trials.iter().enumerate() {
            let file = folder.join(format!("{i:05}.wav"));
            let spec = hound::WavSpec {
                channels: 1,
                sample_rate: 16_000,
                bits_per_sample: 32,
                sample_format: hound::SampleFormat::Float,
            };
            let mut out = hound::WavWriter::create(&file, spec).expect("a file can be made in the folder");
            for sample in hearing::scene(trial, studio, back).samples {
                out.write_sample(sample).expect("the disk has room");
            }
            out.finalize().expect("the disk has room");
        }
    }

    fn errors(&self) {
        println!();
        for (t, r) in self.trials.iter().zip(&self.results) {
            let (got, refused) = accepted(&self.book.graph, &self.critical, t, r, &self.thresholds);
            if t.expected.as_ref().is_some_and(|e| got.as_slice() == std::slice::from_ref(e))
                || (t.expected.is_none() && got.is_empty())
            {
                continue;
            }
            let said: Vec<String> = t
                .clips
                .iter()
                .map(|c| match c {
                    Clip::Spoken(l) => format!("{}: {}", l.speaker.name, l.text),
                    other => format!("{other:?}"),
                })
                .collect();
            let why = if got.is_empty() { "REFUSED" } else { "WRONG" };
            println!("{why} {:?} live {} [{}]", t.around, t.live.len(), said.join(" / "));
            println!(
                "    got {:?} refused {refused:?}",
                got.iter().map(|m| format!("{} {:?}", m.call, m.slots)).collect::<Vec<_>>()
            );
            for told in &r.told {
                if t.expected.is_none() && got.is_empty() {
                    continue;
                }
                let line: Vec<String> =
                    told.heard.ranked.iter().take(4).map(|c| format!("{} {:.1}", c.text, c.score)).collect();
                println!(
                    "    {:.2}–{:.2}: {}",
                    told.heard.speech.0.secs(),
                    told.heard.speech.1.secs(),
                    line.join(" | ")
                );
            }
        }
    }
}
