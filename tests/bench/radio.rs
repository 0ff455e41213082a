//! How well readbacks are heard: `make bench-radio`. Eight program voices read back clearances, in quiet and over cabin
//! noise, right and with one seeded error; every item is judged by the same code as in a drill.
//!
//! `RADIO_COUNT` sets how many exercises each voice has in each condition, `RADIO_ONLY` takes one condition ("quiet", "20 dB")
//! and `RADIO_VOICE` one voice, `RADIO_TELL=1` lists what went wrong.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a bench prints and looks at the clock"
)]

use antiphon::core::aircraft::Value;
use antiphon::core::radio::{
    CallsignScore, Exercise, Generator, Item, Mode, Phrases, Reader, Said, Verdict, Weights, Words, judge, plausible,
};
use antiphon::core::time::SessionTime;
use antiphon::core::words::Regime;
use antiphon::edge::audio::EAR_RATE;
use antiphon::edge::captain::noise::Cabin;
use antiphon::edge::captain::{Captains, mix};
use antiphon::edge::radio::RadioEar;
use antiphon::edge::speaker::cache::Cache;
use antiphon::edge::store::Places;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::time::{Duration, Instant};

/// What was done to a right readback.
#[derive(Debug, Clone)]
enum Error {
    None,
    /// Another value of an item: index and binding.
    Value(usize, String),
    /// An item left out.
    Omitted(usize),
    /// Another callsign.
    Callsign,
}

/// Counts of one condition.
#[derive(Debug, Default, Clone)]
struct Tally {
    right_items: u32,
    right_heard: u32,
    right_wrong: u32,
    right_asked: u32,
    right_lost: u32,
    errors: u32,
    detected: u32,
    asked: u32,
    passed: u32,
    took: Vec<Duration>,
    /// From the end of the answer until it is understood, as it would be by a microphone, s.
    waited: Vec<f64>,
    words: usize,
}

fn share(n: u32, of: u32) -> String {
    format!("{:.1} % ({n}/{of})", 100.0 * f64::from(n) / f64::from(of.max(1)))
}

/// Samples of sound at a time.
const BLOCK: usize = 160;

/// A readback with one error, as text, and what the error is.
fn spoil(phrases: &Phrases, exercise: &Exercise, regime: Regime, rng: &mut Pcg32) -> (String, Error) {
    let rules = phrases.rules(regime);
    let mut said = exercise.clone();
    let below = |rng: &mut Pcg32, n: usize| rng.next_u32() as usize % n.max(1);
    let error = match below(rng, 20) {
        // Half are right throughout.
        0..10 => Error::None,
        10..16 => {
            let i = below(rng, said.items.len());
            let bindings: Vec<String> = said.items[i].slots.keys().cloned().collect();
            if bindings.is_empty() {
                Error::None
            } else {
                let binding = bindings[below(rng, bindings.len())].clone();
                let others: Vec<Item> =
                    said.items.iter().enumerate().filter(|(k, _)| *k != i).map(|(_, o)| o.clone()).collect();
                let wrong: Vec<Value> = plausible(phrases, &said.items[i], &binding, &others, &said.before);
                if wrong.is_empty() {
                    Error::None
                } else {
                    let value = wrong[below(rng, wrong.len())].clone();
                    said.items[i].slots.insert(binding.clone(), value);
                    Error::Value(i, binding)
                }
            }
        }
        16..18 if said.items.len() > 1 => {
            let i = below(rng, said.items.len());
            said.items.remove(i);
            Error::Omitted(i)
        }
        16..18 => Error::None,
        _ => {
            let near = said.own.near();
            said.own = near[below(rng, near.len())].clone();
            said.to = said.own.clone();
            Error::Callsign
        }
    };
    (said.model(phrases, rules), error)
}

fn count(
    phrases: &Phrases,
    regime: Regime,
    reader: &Reader,
    exercise: &Exercise,
    error: &Error,
    words: &Words,
    t: &mut Tally,
) -> Vec<String> {
    let rules = phrases.rules(regime);
    let kinds: Vec<&str> = exercise.items.iter().map(|i| i.kind.as_str()).collect();
    let said = Said { pieces: reader.read(&words.text, &kinds), words: words.clone() };
    let score = judge(phrases, rules, exercise, &said);
    let mut told = Vec::new();
    for (i, item) in exercise.items.iter().enumerate() {
        let verdict = score.items.iter().find(|s| s.item == i).map(|s| &s.verdict);
        match error {
            Error::Value(k, binding) if *k == i => {
                t.errors += 1;
                match verdict {
                    Some(Verdict::Wrong(_) | Verdict::Incomplete(_)) => t.detected += 1,
                    Some(Verdict::Unclear | Verdict::Missing) | None => t.asked += 1,
                    _ => {
                        t.passed += 1;
                        told.push(format!("PASSED {} {binding}", item.kind));
                    }
                }
            }
            Error::Omitted(k) if *k == i => {
                t.errors += 1;
                match verdict {
                    Some(Verdict::Missing | Verdict::Acknowledged | Verdict::LeftOut) => t.detected += 1,
                    Some(Verdict::Wrong(_) | Verdict::Unclear | Verdict::Incomplete(_)) | None => t.asked += 1,
                    _ => {
                        t.passed += 1;
                        told.push(format!("PASSED {} that was left out", item.kind));
                    }
                }
            }
            _ => {
                t.right_items += 1;
                match verdict {
                    Some(Verdict::Correct) => t.right_heard += 1,
                    Some(Verdict::Wrong(v)) => {
                        t.right_wrong += 1;
                        told.push(format!("WRONG {} {v:?}", item.kind));
                    }
                    Some(Verdict::Incomplete(v)) => {
                        t.right_wrong += 1;
                        told.push(format!("INCOMPLETE {} {v:?}", item.kind));
                    }
                    Some(Verdict::Unclear) => {
                        t.right_asked += 1;
                        told.push(format!("unclear {}", item.kind));
                    }
                    other => {
                        t.right_lost += 1;
                        told.push(format!("LOST {} {other:?}", item.kind));
                    }
                }
            }
        }
    }
    // The callsign counts as one more item.
    if matches!(error, Error::Callsign) {
        t.errors += 1;
        match &score.callsign {
            CallsignScore::Wrong(_) => t.detected += 1,
            CallsignScore::Right => {
                t.passed += 1;
                told.push("PASSED callsign".into());
            }
            _ => t.asked += 1,
        }
    } else {
        t.right_items += 1;
        match &score.callsign {
            CallsignScore::Right => t.right_heard += 1,
            CallsignScore::Wrong(c) => {
                t.right_wrong += 1;
                told.push(format!("WRONG callsign {c}"));
            }
            _ => t.right_lost += 1,
        }
    }
    told
}

fn main() {
    let count_of = std::env::var("RADIO_COUNT").ok().and_then(|n| n.parse().ok()).unwrap_or(20usize);
    let tell = std::env::var_os("RADIO_TELL").is_some();
    let first: u64 = std::env::var("RADIO_SEED").ok().and_then(|n| n.parse().ok()).unwrap_or(1);
    let phrases = Phrases::built_in().expect("the phrasebook loads");
    let reader = Reader::new(&phrases).expect("the phrasebook can be read");
    let models = Places::here(None).models().expect("models are set up: run `make setup`");
    let mut ear = RadioEar::open(&models, &phrases).expect("the ear opens");
    // For tuning only.
    let number = |name: &str| std::env::var(name).ok().and_then(|n| n.parse::<f64>().ok());
    let settings = ear.ear_mut().settings_mut();
    settings.beam = number("RADIO_BEAM").map_or(settings.beam, |n| n as usize);
    settings.behind = number("RADIO_BEHIND").unwrap_or(settings.behind);
    settings.window = number("RADIO_WINDOW").unwrap_or(settings.window);
    settings.another = number("RADIO_ANOTHER").unwrap_or(settings.another);
    settings.weight = number("RADIO_WEIGHT").unwrap_or(settings.weight);
    let cache = Cache::user_folder().map_or_else(Cache::in_memory, |f| Cache::in_folder(&f));
    let mut captains = Captains::new(cache);
    let names = captains.names().to_vec();
    let mut all: Vec<(String, Tally)> = Vec::new();
    let started = Instant::now();
    let (only, who) = (std::env::var("RADIO_ONLY").ok(), std::env::var("RADIO_VOICE").ok());
    for (condition, snr) in [("quiet", None), ("20 dB", Some(20.0))] {
        if only.as_ref().is_some_and(|only| only != condition) {
            continue;
        }
        for (v, voice) in names.iter().enumerate().filter(|(_, n)| who.as_ref().is_none_or(|w| w == *n)) {
            let mut tally = Tally::default();
            let regime = Regime::ALL[v % 4];
            let rules = phrases.rules(regime);
            let seed = first * 100 + v as u64;
            let mut rng = Pcg32::seed_from_u64(seed);
            let mut generator = Generator::new(&phrases, regime, 4, seed);
            let mut done = 0;
            while done < count_of {
                let exercise = generator.next(Mode::Readback, &Weights::new());
                if !exercise.is_mine() {
                    continue;
                }
                done += 1;
                let (text, error) = spoil(&phrases, &exercise, regime, &mut rng);
                let pcm = captains.render(voice, &text).expect("the voice speaks");
                let mut sound = vec![0.0; EAR_RATE as usize / 2];
                sound.extend_from_slice(&pcm.samples);
                let spoken = sound.len() as f64 / f64::from(EAR_RATE);
                sound.extend(vec![0.0; EAR_RATE as usize * 12 / 10]);
                if let Some(snr) = snr {
                    let mut noise = vec![0.0; sound.len()];
                    Cabin::new(seed + done as u64).fill(&mut noise);
                    sound = mix(&sound, &noise, snr, EAR_RATE);
                }
                ear.reset();
                ear.expect(&exercise, SessionTime::ZERO).expect("the grammar is made");
                let began = Instant::now();
                let (mut heard, mut free) = (Vec::new(), 0.0f64);
                for (n, block) in sound.chunks(BLOCK).enumerate() {
                    // The block is there when its last sample is, and is taken when the one before has been.
                    let (there, begun) = (((n + 1) * BLOCK) as f64 / f64::from(EAR_RATE), Instant::now());
                    heard.extend(ear.feed(block).expect("the ear hears"));
                    free = free.max(there) + begun.elapsed().as_secs_f64();
                    if !heard.is_empty() && there > spoken {
                        break;
                    }
                }
                heard.extend(ear.finish().expect("the ear hears"));
                tally.waited.push(free - spoken);
                tally.took.push(began.elapsed());
                // More than one breath: the longest is the answer.
                let words = heard.into_iter().max_by_key(|w| w.text.len()).unwrap_or_default();
                tally.words += text.split(' ').count();
                let told = count(&phrases, regime, &reader, &exercise, &error, &words, &mut tally);
                if tell && !told.is_empty() {
                    println!("{condition} {voice} {}: said  {text}", rules.name);
                    println!("    heard {} {}", words.text, if words.unreadable { "(unreadable)" } else { "" });
                    println!("    {}", told.join("; "));
                }
            }
            eprintln!(
                "radio: {condition}, {voice} ({}): {} items right, {} of {} errors detected, {:.0} s",
                rules.name,
                share(tally.right_heard, tally.right_items),
                tally.detected,
                tally.errors,
                started.elapsed().as_secs_f64()
            );
            all.push((condition.to_string(), tally));
        }
    }
    println!(
        "\n| | items right | right items marked wrong | asked again | lost | errors detected | asked again | passed | computed in, median | understood after, median (nine in ten) |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    for condition in ["quiet", "20 dB"] {
        let mut sum = Tally::default();
        for (_, t) in all.iter().filter(|a| a.0 == condition) {
            sum.right_items += t.right_items;
            sum.right_heard += t.right_heard;
            sum.right_wrong += t.right_wrong;
            sum.right_asked += t.right_asked;
            sum.right_lost += t.right_lost;
            sum.errors += t.errors;
            sum.detected += t.detected;
            sum.asked += t.asked;
            sum.passed += t.passed;
            sum.took.extend(&t.took);
            sum.waited.extend(&t.waited);
        }
        sum.took.sort();
        sum.waited.sort_by(f64::total_cmp);
        let part = |all: &[f64], share: f64| all.get((all.len() as f64 * share) as usize).copied().unwrap_or(0.0);
        println!(
            "| {condition} | {} | {} | {} | {} | {} | {} | {} | {:.0} ms | {:.1} s ({:.1} s) |",
            share(sum.right_heard, sum.right_items),
            share(sum.right_wrong, sum.right_items),
            share(sum.right_asked, sum.right_items),
            share(sum.right_lost, sum.right_items),
            share(sum.detected, sum.errors),
            share(sum.asked, sum.errors),
            share(sum.passed, sum.errors),
            sum.took.get(sum.took.len() / 2).map_or(0.0, |d| d.as_secs_f64() * 1000.0),
            part(&sum.waited, 0.5),
            part(&sum.waited, 0.9),
        );
    }
}
