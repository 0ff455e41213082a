//! What is said: every call of a book with random values, in a context in which it makes sense; and what is no call.

use super::noises::{Noise, unit};
use super::speakers::{Line, RATES, Speaker};
use antiphon::core::book::Book;
use antiphon::core::grammar::{CallId, CallSet, Meaning, NamedSlots, Rules, WordGraph, accepts, build, parse, sample};
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;
use std::path::PathBuf;

/// A sound that nobody spoke.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Noisy {
    Cough,
    Tone,
    Clicks,
    Breath,
    Silence,
}

/// What sounds in a trial.
#[derive(Debug, Clone, PartialEq)]
pub enum Clip {
    Spoken(Line),
    /// Recorded: files joined with 120 ms between them.
    Recorded(Vec<PathBuf>),
    Made(Noisy, u64),
}

/// What is mixed in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Around {
    Quiet,
    Noise(Noise, u32),
    Room,
}

impl Around {
    pub fn db(self) -> Option<u32> {
        if let Around::Noise(_, db) = self { Some(db) } else { None }
    }
}

/// One scene to be heard under one live grammar.
#[derive(Debug, Clone)]
pub struct Trial {
    pub clips: Vec<Clip>,
    pub around: Around,
    pub gain_db: f64,
    pub seed: u64,
    pub live: CallSet,
    pub due: CallSet,
    /// What is right; `None` if nothing is.
    pub expected: Option<Meaning>,
    /// Words in the call.
    pub words: usize,
    /// Row of the table.
    pub group: &'static str,
    pub tuning: bool,
}

/// Chance for one trial: the same whatever other trials there are.
pub fn chance(seed: u64, what: &str, n: u64) -> Pcg64Mcg {
    let mut h = seed ^ 0xcbf2_9ce4_8422_2325;
    for b in what.bytes().chain(n.to_le_bytes()) {
        h = (h ^ u64::from(b)).wrapping_mul(0x0100_0000_01b3);
    }
    Pcg64Mcg::seed_from_u64(h)
}

pub fn pick<'a, T>(rng: &mut impl Rng, all: &'a [T]) -> &'a T {
    &all[rng.next_u32() as usize % all.len()]
}

/// A call of a book, its words, and what is live around it.
pub struct Said {
    pub words: Vec<String>,
    pub meaning: Meaning,
    pub live: CallSet,
    pub due: CallSet,
}

/// The live grammar of a phase without anything due.
pub fn phase_mask(book: &Book, phase: usize) -> CallSet {
    (0..book.calls.len())
        .filter(|i| {
            let c = &book.calls[*i];
            c.always || (!c.answer_only && (c.phases.is_empty() || c.phases.iter().any(|p| p.0 as usize == phase)))
        })
        .map(|i| CallId(i as u16))
        .collect()
}

/// A random call with random values; words that mean something else at the same time are drawn again.
pub fn draw(book: &Book, rng: &mut impl Rng) -> Said {
    for _ in 0..1_000 {
        let id = CallId(rng.next_u32() as u16 % book.calls.len() as u16);
        if let Some(said) = draw_call(book, id, rng) {
            return said;
        }
    }
    panic!("the book has no call that can be said")
}

fn draw_call(book: &Book, id: CallId, rng: &mut impl Rng) -> Option<Said> {
    let call = &book.calls[id.0 as usize];
    // What only puts another call off is no call by itself.
    if book.graph.calls[id.0 as usize].never_alone {
        return None;
    }
    let list = call.id.split_once('/').and_then(|(list, _)| book.checklists.iter().find(|c| c.id == list));
    let phases = match list {
        Some(list) => &list.phases,
        None => &call.phases,
    };
    let phase = if phases.is_empty() {
        rng.next_u32() as usize % book.phases.len().max(1)
    } else {
        pick(rng, phases).0 as usize
    };
    let mut live = phase_mask(book, phase);
    let mut due = CallSet::none();
    if !live.contains(id) {
        live.insert(id);
        due.insert(id);
    }
    let (words, meaning) = sample(&book.graph, id, rng)?;
    let said: Vec<&str> = words.iter().map(String::as_str).collect();
    let twofold = accepts(&book.graph, id, &said).len() > 1;
    let others = live.iter().any(|other| other != id && !accepts(&book.graph, other, &said).is_empty());
    if twofold || (others && !due.contains(id)) {
        return None;
    }
    Some(Said { words, meaning, live, due })
}

/// A trial of one call.
pub fn call_trial(
    book: &Book,
    speakers: &'static [Speaker],
    around: Around,
    group: &'static str,
    seed: u64,
    n: u64,
    tuning: bool,
) -> Trial {
    let mut rng = chance(seed, &format!("{around:?} {group} {tuning} {}", book.id), n);
    let said = draw(book, &mut rng);
    // Speakers in turn, so that all weigh the same.
    let mut speaker = &speakers[n as usize % speakers.len()];
    if matches!(around, Around::Noise(Noise::OwnVoice, _)) && speaker.name == "joe" {
        speaker = &speakers[(n as usize + 1) % speakers.len()];
    }
    let rate = rng.next_u32() as usize % RATES.len();
    let words = said.words.len();
    Trial {
        clips: vec![Clip::Spoken(Line { speaker, rate, text: said.words.join(" ") })],
        around,
        gain_db: -8.0 + 12.0 * unit(&mut rng),
        seed: u64::from(rng.next_u32()),
        live: said.live,
        due: said.due,
        expected: Some(said.meaning),
        words,
        group,
        tuning,
    }
}

/// Sentences that are no call.
pub struct Chatter {
    graph: WordGraph,
    /// Calls of each kind: ordinary, radio, near.
    kinds: [Vec<CallId>; 3],
}

pub const CHATTER: [&str; 3] = ["ordinary talk", "radio chatter", "near misses"];

impl Chatter {
    pub fn new() -> Chatter {
        let mut kinds: [Vec<CallId>; 3] = Default::default();
        let mut calls = Vec::new();
        let mut kind = 0;
        for line in include_str!("negatives.txt").lines() {
            match line {
                "# ordinary" => kind = 0,
                "# radio" => kind = 1,
                "# near" => kind = 2,
                l if l.starts_with('#') || l.trim().is_empty() => {}
                l => {
                    // Two slots of one type in a sentence need names of their own.
                    let mut text = String::new();
                    for (i, part) in l.split('$').enumerate() {
                        if i > 0 {
                            let end = part.find(|c: char| !c.is_alphanumeric()).unwrap_or(part.len());
                            text.push_str(&format!("${}:s{i}{}", &part[..end], &part[end..]));
                        } else {
                            text.push_str(part);
                        }
                    }
                    let (expansion, problems) = parse(&text);
                    assert!(problems.is_empty(), "{l}: {problems:?}");
                    kinds[kind].push(CallId(calls.len() as u16));
                    calls.push((format!("n{}", calls.len()), vec![expansion]));
                }
            }
        }
        let (graph, problems) = build(&calls, &Rules::new(), &NamedSlots::new());
        assert!(problems.is_empty(), "{problems:?}");
        Chatter { graph, kinds }
    }

    pub fn sentence(&self, kind: usize, rng: &mut impl Rng) -> String {
        let call = *pick(rng, &self.kinds[kind]);
        sample(&self.graph, call, rng).map(|(words, _)| words.join(" ")).expect("every sentence can be said")
    }
}

/// A stream of sentences that are no calls, under a random live grammar of the book.
pub fn chatter_trial(
    book: &Book,
    chatter: &Chatter,
    kind: usize,
    speakers: &'static [Speaker],
    seed: u64,
    n: u64,
    tuning: bool,
) -> Trial {
    let mut rng = chance(seed, &format!("chatter {kind} {tuning} {}", book.id), n);
    let (live, due) = any_mask(book, &mut rng);
    let around = match n % 3 {
        0 => Around::Quiet,
        1 => Around::Noise(Noise::Broadband, 20),
        _ => Around::Noise(Noise::Broadband, 10),
    };
    let speaker = &speakers[n as usize % speakers.len()];
    let clips = (0..6)
        .map(|_| {
            let text = loop {
                let text = chatter.sentence(kind, &mut rng);
                let words: Vec<&str> = text.split(' ').collect();
                if (0..book.calls.len()).all(|c| accepts(&book.graph, CallId(c as u16), &words).is_empty()) {
                    break text;
                }
            };
            Clip::Spoken(Line { speaker, rate: rng.next_u32() as usize % RATES.len(), text })
        })
        .collect();
    nothing(clips, around, u64::from(rng.next_u32()), live, due, CHATTER[kind], tuning)
}

fn nothing(
    clips: Vec<Clip>,
    around: Around,
    seed: u64,
    live: CallSet,
    due: CallSet,
    group: &'static str,
    tuning: bool,
) -> Trial {
    Trial { clips, around, gain_db: 0.0, seed, live, due, expected: None, words: 0, group, tuning }
}

/// The live grammar of a random moment: a phase, and every other time an answer is due.
pub fn any_mask(book: &Book, rng: &mut impl Rng) -> (CallSet, CallSet) {
    if rng.next_u32().is_multiple_of(2) {
        return (phase_mask(book, rng.next_u32() as usize % book.phases.len().max(1)), CallSet::none());
    }
    let said = draw(book, rng);
    (said.live, said.due)
}

/// Coughs, tones, clicks, breath and silence.
pub fn noisy_trial(book: &Book, seed: u64, n: u64, tuning: bool) -> Trial {
    let mut rng = chance(seed, "noisy", n);
    let (live, due) = any_mask(book, &mut rng);
    let kind = [Noisy::Cough, Noisy::Tone, Noisy::Clicks, Noisy::Breath, Noisy::Silence][n as usize % 5];
    let clips = (0..6).map(|_| Clip::Made(kind, u64::from(rng.next_u32()))).collect();
    let around = if n.is_multiple_of(2) { Around::Quiet } else { Around::Noise(Noise::Rumble, 20) };
    nothing(clips, around, u64::from(rng.next_u32()), live, due, "coughs, tones …", tuning)
}

/// Recorded words of people that are no calls, four to a scene.
pub fn recorded_trials(book: &Book, files: &[PathBuf], seed: u64) -> Vec<Trial> {
    files
        .chunks(4)
        .enumerate()
        .map(|(n, some)| {
            let mut rng = chance(seed, "recorded", n as u64);
            let (live, due) = any_mask(book, &mut rng);
            let clips = some.iter().map(|f| Clip::Recorded(vec![f.clone()])).collect();
            // Every other scene may be tuned with, the rest is kept for the result.
            nothing(clips, Around::Quiet, n as u64, live, due, "recorded people", n % 2 == 0)
        })
        .collect()
}

/// A sound that nobody spoke, 16 kHz.
pub fn made(kind: Noisy, seed: u64) -> Vec<f32> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed);
    let length = (0.25 + 0.6 * unit(&mut rng)) * 16_000.0;
    let (f, bend) = (250.0 + 1_500.0 * unit(&mut rng), unit(&mut rng) - 0.5);
    let mut low = 0.0;
    let rate = 3.0 + 12.0 * unit(&mut rng);
    (0..length as usize)
        .map(|i| {
            let t = i as f64 / 16_000.0;
            let x = i as f64 / length;
            let w = 2.0 * unit(&mut rng) - 1.0;
            low += 0.25 * (w - low);
            let y = match kind {
                // A sharp burst, then a breathy end with some voice.
                Noisy::Cough => {
                    let voice = (std::f64::consts::TAU * (140.0 - 40.0 * x) * t).sin().signum() * 0.2;
                    (low + voice) * ((-9.0 * x).exp() + 0.25 * (-((x - 0.6) / 0.15).powi(2)).exp())
                }
                Noisy::Tone => 0.3 * (std::f64::consts::TAU * f * (1.0 + bend * x) * t).sin(),
                Noisy::Clicks => {
                    if (t * rate).fract() < 0.004 {
                        w
                    } else {
                        0.0
                    }
                }
                Noisy::Breath => 0.2 * low * (std::f64::consts::PI * x).sin(),
                Noisy::Silence => 0.0,
            };
            y as f32 * 0.3
        })
        .collect()
}
