//! Who speaks: program voices and the neural one, at three rates, kept on disk once rendered.

use antiphon::core::voice::Lexicon;
use antiphon::edge::audio::recorder::write_mono;
use antiphon::edge::audio::wav::{self, Channel};
use antiphon::edge::speaker::cache::Cache;
use antiphon::edge::speaker::neural::Neural;
use antiphon::edge::speaker::program::Program;
use antiphon::edge::speaker::{Synth, clip};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// How a speaker's sound is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    Flite(&'static str),
    Festival(&'static str),
    Espeak(&'static str),
    Neural,
    /// English phonemes spoken with another language's set.
    Accent(&'static str),
}

/// One speaker.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Speaker {
    pub name: &'static str,
    pub how: How,
}

/// Speakers that thresholds may be set with. A voice that two programs have stands here once.
pub const TUNING: &[Speaker] = &[
    Speaker { name: "slt", how: How::Flite("slt") },
    Speaker { name: "kal", how: How::Flite("kal16") },
    Speaker { name: "rms", how: How::Flite("rms") },
    Speaker { name: "espeak en-gb", how: How::Espeak("en-gb") },
    Speaker { name: "espeak en-us+f2", how: How::Espeak("en-us+f2") },
];

/// Speakers that results are told of: none of them above.
pub const TESTING: &[Speaker] = &[
    Speaker { name: "awb", how: How::Flite("awb") },
    Speaker { name: "ked", how: How::Festival("voice_ked_diphone") },
    Speaker { name: "joe", how: How::Neural },
    Speaker { name: "espeak en-us+m3", how: How::Espeak("en-us+m3") },
    Speaker { name: "espeak en-gb-x-rp+f4", how: How::Espeak("en-gb-x-rp+f4") },
];

/// English in the mouths of others.
pub const ACCENTS: &[Speaker] = &[
    Speaker { name: "German", how: How::Accent("de") },
    Speaker { name: "French", how: How::Accent("fr") },
    Speaker { name: "Spanish", how: How::Accent("es") },
    Speaker { name: "Italian", how: How::Accent("it") },
    Speaker { name: "Polish", how: How::Accent("pl") },
    Speaker { name: "Swedish", how: How::Accent("sv") },
    Speaker { name: "Hindi", how: How::Accent("hi") },
];

/// Length of speech against the voice's own.
pub const RATES: [f64; 3] = [0.85, 1.0, 1.2];

/// Something to be said.
#[derive(Debug, Clone, PartialEq, PartialOrd)]
pub struct Line {
    pub speaker: &'static Speaker,
    /// Index into [`RATES`].
    pub rate: usize,
    pub text: String,
}

/// Renders lines, and remembers them on disk.
pub struct Studio {
    folder: PathBuf,
    models: PathBuf,
    lexicon: Lexicon,
}

impl Studio {
    pub fn new(folder: &Path, models: &Path) -> Studio {
        std::fs::create_dir_all(folder).expect("the bench's folder can be made");
        Studio { folder: folder.into(), models: models.into(), lexicon: Lexicon::built_in() }
    }

    fn path(&self, line: &Line) -> PathBuf {
        let identity = format!("{:?} {}", line.speaker.how, RATES[line.rate]);
        self.folder.join(format!("{}.wav", Cache::key(&identity, &line.text, 16_000)))
    }

    /// Renders what is not there yet; then [`Studio::sound`] has it.
    pub fn prepare(&self, lines: &[Line]) {
        let mut missing: BTreeMap<(&'static Speaker, usize), BTreeSet<String>> = BTreeMap::new();
        for line in lines.iter().filter(|l| !self.path(l).exists()) {
            missing.entry((line.speaker, line.rate)).or_default().insert(line.text.clone());
        }
        let all: usize = missing.values().map(BTreeSet::len).sum();
        if all > 0 {
            eprintln!("ear: {all} sentences to be spoken first");
        }
        let jobs: Vec<_> = missing.into_iter().collect();
        std::thread::scope(|scope| {
            for part in 0..2 {
                let jobs = &jobs;
                scope.spawn(move || {
                    for ((speaker, rate), texts) in jobs.iter().skip(part).step_by(2) {
                        self.render(speaker, *rate, texts);
                    }
                });
            }
        });
    }

    fn render(&self, speaker: &'static Speaker, rate: usize, texts: &BTreeSet<String>) {
        let stretch = RATES[rate];
        let keep = |text: &str, from: u32, raw: &[f32]| {
            let pcm = clip::finish(from, raw, 16_000).expect("any rate can be brought to 16 kHz");
            let line = Line { speaker, rate, text: text.into() };
            write_mono(&self.path(&line), 16_000, &pcm.samples).expect("the bench's folder can be written");
        };
        let by = |mut synth: Box<dyn Synth>, reader: &str| {
            for text in texts {
                let words = self.lexicon.respell(text, reader);
                match synth.speak(&words) {
                    Ok((from, raw)) => keep(text, from, &raw),
                    Err(e) => panic!("{} does not say \"{text}\": {e}", speaker.name),
                }
            }
        };
        let speed = format!("{:.0}", 165.0 / stretch);
        let program = |name, settings: &[&str]| -> Box<dyn Synth> {
            Box::new(Program::new(name, &settings.iter().map(|s| (*s).to_string()).collect::<Vec<_>>()))
        };
        match speaker.how {
            How::Flite(v) => {
                let stretch = format!("duration_stretch={stretch}");
                by(program("flite", &["-voice", v, "--setf", &stretch]), "flite");
            }
            How::Espeak(v) => by(program("espeak-ng", &["-v", v, "-s", &speed]), "espeak-ng"),
            How::Neural => {
                let voice = Neural::open(&self.models, stretch as f32).expect("the neural voice is set up");
                by(Box::new(voice), "espeak-ng");
            }
            How::Accent(language) => {
                for text in texts {
                    let words = self.lexicon.respell(text, "espeak-ng");
                    let spoken = format!("[[{}]]", accented(&phonemes(&words), language));
                    let (from, raw) = program("espeak-ng", &["-v", language, "-s", &speed])
                        .speak(&spoken)
                        .unwrap_or_else(|e| panic!("espeak-ng does not say \"{spoken}\": {e}"));
                    keep(text, from, &raw);
                }
            }
            How::Festival(voice) => self.festival(voice, stretch, texts, &keep),
        }
    }

    /// One process for all texts: festival takes long to start.
    fn festival(&self, voice: &str, stretch: f64, texts: &BTreeSet<String>, keep: &dyn Fn(&str, u32, &[f32])) {
        let scratch = |i: usize| self.folder.join(format!("festival-{}-{voice}-{stretch}-{i}.wav", std::process::id()));
        let mut scheme = format!("({voice})\n(Parameter.set 'Duration_Stretch {stretch})\n");
        for (i, text) in texts.iter().enumerate() {
            let words = self.lexicon.respell(text, "flite").replace(['"', '\\'], " ");
            scheme.push_str(&format!(
                "(utt.save.wave (utt.synth (Utterance Text \"{words}\")) \"{}\" 'riff)\n",
                scratch(i).display()
            ));
        }
        let mut child = Command::new("festival")
            .arg("--pipe")
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("the program festival is there: run the set-up");
        child.stdin.take().expect("it is piped").write_all(scheme.as_bytes()).expect("festival reads");
        let _ = child.wait();
        for (i, text) in texts.iter().enumerate() {
            let path = scratch(i);
            let wav = wav::read(&path, Channel::Mix, None)
                .unwrap_or_else(|e| panic!("festival does not say \"{text}\" with {voice}: {e}"));
            keep(text, wav.rate, &wav.samples);
            let _ = std::fs::remove_file(path);
        }
    }

    /// What [`Studio::prepare`] has rendered: mono, 16 kHz, trimmed, at the common level.
    pub fn sound(&self, line: &Line) -> Vec<f32> {
        let path = self.path(line);
        wav::read_16k(&path).unwrap_or_else(|e| panic!("{line:?} was not rendered: {e}")).samples
    }
}

/// A text's English phonemes in the program's own notation.
fn phonemes(text: &str) -> String {
    let out = Command::new("espeak-ng")
        .args(["-v", "en-us", "-x", "-q", "--", text])
        .output()
        .expect("the program espeak-ng is there: run the set-up");
    String::from_utf8_lossy(&out.stdout).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// English sounds that most other languages lack, replaced by the nearest that they have; the rest is spoken as the
/// language's own set has it. Rules of thumb of teachers of English, not measured on speakers.
fn accented(english: &str, language: &str) -> String {
    // Longest first: the notation has sounds of one to three signs.
    let mut rules: Vec<(&str, &str)> = vec![
        ("aI@", "aIa"),
        ("aU@", "aUa"),
        ("i@3", "ia"),
        ("i@", "ia"),
        ("e@", "ea"),
        ("U@", "ua"),
        ("I2", "i"),
        ("I#", "i"),
        ("a#", "a"),
        ("t#", "t"),
        ("O2", "o"),
        ("3:", "er"),
        ("A@", "ar"),
        ("O@", "or"),
        ("o@", "or"),
        ("A:", "a:"),
        ("O:", "o:"),
        ("aa", "a"),
        ("0#", "o"),
        ("oU", "o:"),
        ("@L", "el"),
        ("3", "er"),
        ("V", "a"),
        ("0", "o"),
        ("E", "e"),
        ("I", "i"),
        ("U", "u"),
        ("@", "e"),
    ];
    match language {
        "de" | "pl" => rules.extend([("T", "s"), ("D", "z"), ("w", "v")]),
        "fr" => rules.extend([("T", "s"), ("D", "z"), ("h", ""), ("tS", "S")]),
        "es" => rules.extend([("D", "d"), ("z", "s"), ("h", "x"), ("v", "b"), ("S", "tS")]),
        "it" => rules.extend([("T", "t"), ("D", "d"), ("h", "")]),
        "sv" => rules.extend([("T", "t"), ("D", "d"), ("z", "s"), ("w", "v")]),
        _ => rules.extend([("T", "t"), ("D", "d"), ("w", "v")]),
    }
    rules.sort_by_key(|(from, _)| std::cmp::Reverse(from.len()));
    let mut out = String::new();
    let mut rest = english;
    while !rest.is_empty() {
        if let Some((from, to)) = rules.iter().find(|(from, _)| rest.starts_with(from)) {
            out.push_str(to);
            rest = &rest[from.len()..];
            continue;
        }
        // Diphthongs stay whole.
        let take = if ["aI", "eI", "aU", "OI", "tS", "dZ"].iter().any(|d| rest.starts_with(d)) { 2 } else { 1 };
        let (head, tail) = rest.split_at(take.min(rest.len()));
        out.push_str(head);
        rest = tail;
    }
    out
}
