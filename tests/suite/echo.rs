//! Heard over our own voice: a loudspeaker beside the microphone, in a room that is computed.
//!
//! What we say comes back 30 to 80 ms later and 10 dB softer, with the echoes of a room; the pilot speaks over it, with the
//! noise of the cabin under both. The way is the live one from the sound thread on: the canceller, the gate's states, the
//! ear, and the one place that accepts. `ROOM=all` (`make test-echo`) takes half an hour of our speech and a hundred words
//! over it; without it a small part.

use crate::models::models;
use crate::sessions::book;
use antiphon::core::book::Book;
use antiphon::core::book::schema::{Part, Station, Template};
use antiphon::core::gate::Settings;
use antiphon::core::grammar::{CallId, CallSet};
use antiphon::core::matcher::{Choice, Heard, Thresholds, choose};
use antiphon::edge::audio::echo::Canceller;
use antiphon::edge::audio::{EAR_RATE, level};
use antiphon::edge::captain::Captains;
use antiphon::edge::captain::noise::Cabin;
use antiphon::edge::ear::{Listener, News};
use antiphon::edge::speaker::cache::Cache;
use antiphon::edge::speaker::{Pcm, Speaker, Voices, clip};
use antiphon::edge::store::Places;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::Arc;

/// The sound thread's step, samples.
const STEP: usize = 80;
/// The cabin, so far below the pilot's voice, dB.
const SNR_DB: f64 = 20.0;

fn whole() -> bool {
    std::env::var("ROOM").is_ok_and(|v| v == "all")
}

fn unit(dice: &mut Pcg32) -> f64 {
    f64::from(dice.next_u32()) / f64::from(u32::MAX)
}

/// The way from the loudspeaker to the microphone: so late, so soft, and what comes after from the walls.
struct Room {
    taps: Vec<(usize, f32)>,
}

impl Room {
    fn new(late_ms: usize, gain_db: f64, seed: u64) -> Room {
        let mut dice = Pcg32::seed_from_u64(seed);
        let late = late_ms * EAR_RATE as usize / 1000;
        let mut taps = vec![(late, 1.0f64)];
        // 60 dB down after 0.35 s: a furnished room.
        for _ in 0..60 {
            let after = 0.002 + 0.15 * unit(&mut dice);
            let sign = if dice.next_u32() & 1 == 0 { 0.25 } else { -0.25 };
            taps.push((late + (after * f64::from(EAR_RATE)) as usize, sign * 10f64.powf(-3.0 * after / 0.35)));
        }
        let power: f64 = taps.iter().map(|t| t.1 * t.1).sum();
        let gain = level::from_db(gain_db) / power.sqrt();
        Room { taps: taps.into_iter().map(|(at, a)| (at, (a * gain) as f32)).collect() }
    }

    fn heard(&self, crew: &[f32]) -> Vec<f32> {
        let mut mic = vec![0.0; crew.len()];
        for (at, a) in &self.taps {
            for (m, c) in mic.iter_mut().skip(*at).zip(crew) {
                *m += a * c;
            }
        }
        mic
    }
}

/// Everything that is to sound in one scene.
#[derive(Default)]
struct Scene {
    /// Our lines: first sample, sound, words.
    crew: Vec<(usize, Pcm, String)>,
    /// The pilot's.
    pilot: Vec<(usize, Pcm)>,
    length: usize,
}

/// What was made of each utterance: the calls, or none; with its first and last voiced sample.
struct Taken {
    calls: Vec<String>,
    speech: (usize, usize),
    text: String,
}

struct Stage {
    book: Arc<Book>,
    models: PathBuf,
    listener: Listener,
    always: CallSet,
    cancelled: bool,
    guarded: bool,
}

impl Stage {
    fn new(name: &str) -> Option<Stage> {
        let models = models()?;
        let book = book(name);
        let listener = Listener::open(&models, &book.graph, Settings::default()).expect("an ear");
        let ids = (0..book.calls.len()).map(|i| CallId(i as u16));
        let always: CallSet = ids.filter(|i| book.calls[i.0 as usize].always).collect();
        Some(Stage { book, models, listener, always, cancelled: true, guarded: true })
    }

    /// Plays a scene; every call of the book is live, which is more than ever is.
    fn play(&mut self, scene: &Scene, room: &Room, seed: u64) -> Vec<Taken> {
        let mut crew = vec![0.0f32; scene.length];
        for (at, pcm, _) in &scene.crew {
            crew[*at..*at + pcm.samples.len()].iter_mut().zip(pcm.samples.iter()).for_each(|(c, s)| *c += s);
        }
        let mut mic = room.heard(&crew);
        for (at, pcm) in &scene.pilot {
            mic[*at..*at + pcm.samples.len()].iter_mut().zip(pcm.samples.iter()).for_each(|(m, s)| *m += s);
        }
        let mut cabin = Cabin::new(seed);
        let gain = level::from_db(clip::LEVEL_DB - SNR_DB) as f32;
        mic.iter_mut().for_each(|m| *m += gain * cabin.sample());

        self.listener.reset();
        if self.guarded {
            self.listener.hears_us(&self.always);
        }
        self.listener.listen(1, &CallSet::all(self.book.calls.len()));
        let mut canceller = Canceller::new(0.03);
        let mut dice = Pcg32::seed_from_u64(seed);
        let (mut news, mut clean, mut given) = (Vec::new(), Vec::new(), 0);
        let mut lines = scene.crew.iter().peekable();
        let mut over: Option<usize> = None;
        for now in (0..scene.length).step_by(STEP) {
            if over.is_some_and(|o| now >= o) {
                over = None;
                news.extend(self.listener.saying(None).expect("listens"));
            }
            if let Some((at, pcm, words)) = lines.next_if(|l| now + STEP > l.0) {
                over = Some(at + pcm.samples.len());
                news.extend(self.listener.saying(Some(words)).expect("listens"));
            }
            // A microphone gives what it has in pieces of its own, now and then late.
            let upto = if dice.next_u32().is_multiple_of(4) { given } else { (now + STEP).min(scene.length) };
            let to = (now + STEP).min(scene.length);
            clean.clear();
            match self.cancelled {
                true => canceller.clean(&mic[given..upto], &crew[now..to], &mut clean),
                false => clean.extend_from_slice(&mic[given..upto]),
            }
            given = upto;
            news.extend(self.listener.feed(&clean).expect("listens"));
        }
        news.extend(self.listener.finish().expect("ends"));
        news.into_iter().filter_map(|n| self.taken(n)).collect()
    }

    /// What the engine would take: as `crew` does it.
    fn taken(&self, news: News) -> Option<Taken> {
        let News::Heard { heard, .. } = news else { return None };
        let (all, thresholds) = (CallSet::all(self.book.calls.len()), Thresholds::default());
        let critical = |c: CallId| self.book.is_critical(c);
        let none = CallSet::none();
        let choice = match heard.over_us {
            true => choose(&heard, &self.book.graph, &self.always, &none, critical, &thresholds.strict()),
            false => choose(&heard, &self.book.graph, &all, &none, critical, &thresholds),
        };
        let calls = match choice {
            Choice::Accept { meanings, .. } => meanings.into_iter().map(|m| m.call).collect(),
            Choice::Refuse { .. } => Vec::new(),
        };
        let Heard { speech, ranked, over_us, .. } = heard;
        let sample = |t: antiphon::core::time::SessionTime| (t.secs() * f64::from(EAR_RATE)) as usize;
        let text = ranked.first().map_or(String::new(), |c| {
            format!("{} {:.1}{}", c.text, c.score, if over_us { "" } else { ", not over us" })
        });
        Some(Taken { calls, speech: (sample(speech.0), sample(speech.1)), text })
    }

    fn voices(&self) -> Voices {
        Voices::new(Places::here(Some(&self.models)).models(), EAR_RATE, Cache::in_memory())
    }
}

fn fixed(template: &Template) -> Option<String> {
    match template.parts.as_slice() {
        [Part::Text(text)] => Some(text.clone()),
        _ => None,
    }
}

/// What we say whose words do not depend on anything: callouts, challenges, answers, wordings.
fn lines(book: &Book) -> Vec<String> {
    let mut all: BTreeSet<String> = book.callouts.iter().filter_map(|c| fixed(&c.say)).collect();
    let items = || book.checklists.iter().flat_map(|l| &l.items);
    all.extend(items().filter_map(|i| fixed(&i.challenge)));
    all.extend(items().filter_map(|i| i.say.as_ref().and_then(fixed)));
    all.extend(book.wording.values().filter_map(fixed));
    all.into_iter().filter(|l| l.chars().any(char::is_alphabetic)).collect()
}

fn samples(s: f64) -> usize {
    (s * f64::from(EAR_RATE)) as usize
}

#[test]
fn no_word_of_our_own_is_taken_for_the_pilots() {
    let Some(mut stage) = Stage::new("saltmarsh-t2") else { return };
    let minutes = if whole() { 30.0 } else { 1.0 };
    let mut voices = stage.voices();
    let all = lines(&stage.book);
    assert!(all.len() > 100, "{}", all.len());
    let mut dice = Pcg32::seed_from_u64(5);
    let (mut ours_s, mut utterances, mut wrong) = (0.0, 0, Vec::new());
    for (turn, late_ms) in [30, 55, 80].into_iter().enumerate() {
        let mut scene = Scene::default();
        let mut at = samples(1.0);
        let mut share_s = 0.0;
        while share_s < minutes * 60.0 / 3.0 {
            let text = &all[dice.next_u32() as usize % all.len()];
            let pcm = voices.render(Station::FlightDeck, text).expect("a voice");
            share_s += pcm.duration_s();
            let length = pcm.samples.len();
            scene.crew.push((at, pcm, text.clone()));
            at += length + samples(0.2 + 1.5 * unit(&mut dice));
        }
        scene.length = at + samples(1.0);
        ours_s += share_s;
        let room = Room::new(late_ms, -10.0, turn as u64);
        for t in stage.play(&scene, &room, turn as u64) {
            utterances += 1;
            if !t.calls.is_empty() {
                let s = |n: usize| n as f64 / f64::from(EAR_RATE);
                let around = scene
                    .crew
                    .iter()
                    .filter(|l| l.0 < t.speech.1 && l.0 + l.1.samples.len() + samples(0.5) > t.speech.0);
                let near: Vec<String> =
                    around.map(|l| format!("{} {:.2}-{:.2}", l.2, s(l.0), s(l.0 + l.1.samples.len()))).collect();
                let near = format!("{:.2}-{:.2} {}", s(t.speech.0), s(t.speech.1), near.join(", "));
                wrong.push(format!("{:?} ({}) at \u{201c}{near}\u{201d}", t.calls, t.text));
            }
        }
    }
    println!(
        "own words: {:.1} minutes of our speech, {utterances} utterances found in it, {} taken",
        ours_s / 60.0,
        wrong.len()
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn what_the_pilot_must_always_be_able_to_say_is_heard_over_us() {
    let Some(mut stage) = Stage::new("saltmarsh-t2") else { return };
    // Of "stop" 95 in 100 are asked for; of the others nearly as many as are measured (docs/audio.md).
    let words = [
        ("stop stop", "reject", 95),
        ("reject", "reject", 95),
        ("go around", "go_around", 90),
        ("be quiet", "halt", 90),
        ("i have control", "i_have_control", 95),
        ("you have control", "you_have_control", 95),
        // Low with a headset too: short, and like each other.
        ("hold the checklist", "hold", 40),
        ("stand by", "hold", 40),
    ];
    let mut voices = stage.voices();
    let every: Vec<String> = stage.book.callouts.iter().filter_map(|c| fixed(&c.say)).collect();
    let all = lines(&stage.book);
    let mut captains = Captains::new(Cache::in_memory());
    let names: Vec<String> = captains.names().to_vec();
    let mut failed = Vec::new();
    for (n, (text, call, least)) in words.into_iter().enumerate() {
        // A word that we are saying ourselves does not count.
        let callouts: Vec<String> = every.iter().filter(|c| !c.to_lowercase().contains(text)).cloned().collect();
        let trials = match (whole(), n) {
            (true, 0) => 100,
            (true, _) => callouts.len().max(40),
            (false, _) if least < 90 => continue,
            (false, 0) => 10,
            (false, _) => 3,
        };
        let (mut heard, mut others, mut missed) = (0, 0, Vec::new());
        let mut dice = Pcg32::seed_from_u64(n as u64);
        for (late_ms, share) in [(30, trials / 3), (55, trials / 3), (80, trials - trials / 3 * 2)] {
            let (mut scene, mut at, mut truth) = (Scene::default(), samples(1.0), Vec::new());
            // The room is learnt while we speak, as at the beginning of any flight.
            for text in all.iter().cycle().skip(n * 7).take(6) {
                let pcm = voices.render(Station::FlightDeck, text).expect("a voice");
                let length = pcm.samples.len();
                scene.crew.push((at, pcm, text.clone()));
                at += length + samples(0.4);
            }
            for k in 0..share {
                // Every callout in turn, where there are trials enough; several in a row, so that his words lie over ours.
                let name = &names[(k + n) % names.len()];
                let pilot = captains.render(name, text).expect("a captain");
                let begun = at;
                let mut k2 = k;
                while at < begun + pilot.samples.len() + samples(0.9) {
                    let line = &callouts[k2 % callouts.len()];
                    let pcm = voices.render(Station::FlightDeck, line).expect("a voice");
                    let length = pcm.samples.len();
                    scene.crew.push((at, pcm, line.clone()));
                    at += length + samples(0.04);
                    k2 += 1;
                }
                let from = begun + samples(0.1 + 0.5 * unit(&mut dice));
                truth.push((from, from + pilot.samples.len(), name.clone(), callouts[k % callouts.len()].clone()));
                scene.pilot.push((from, pilot));
                at = at.max(from + samples(2.0)) + samples(0.8);
            }
            scene.length = at + samples(1.0);
            let room = Room::new(late_ms, -10.0, n as u64);
            let taken = stage.play(&scene, &room, late_ms as u64 + n as u64);
            for (from, to, name, over) in truth {
                let mut near =
                    taken.iter().filter(|t| t.speech.0 < to + samples(0.3) && t.speech.1 + samples(0.1) > from);
                let texts: Vec<String> = near.clone().map(|t| format!("{:?} {}", t.calls, t.text)).collect();
                match near.find(|t| !t.calls.is_empty()) {
                    Some(t) if t.calls == [call] => heard += 1,
                    other => {
                        others += usize::from(other.is_some());
                        missed.push(format!("{name} over \u{201c}{over}\u{201d}, {late_ms} ms: {texts:?}"));
                    }
                }
            }
        }
        println!("over us: \u{201c}{text}\u{201d} heard {heard} of {trials}, taken for another {others}");
        missed.iter().for_each(|m| println!("   {m}"));
        let enough = heard * 100 >= trials * least || trials < 20 && heard + 1 >= trials;
        if !enough || others > 0 {
            failed.push(format!("{text}: {heard} of {trials}, {missed:#?}"));
        }
    }
    assert!(failed.is_empty(), "{failed:#?}");
}
