use super::*;
use crate::core::gate::{RATE, Settings, Why};
use crate::core::grammar::{CallId, CallSet, NamedSlots, Rules, WordGraph, build, parse};
use crate::core::matcher::{Choice, Thresholds, Unheard, choose};
use crate::core::search::Found;
use crate::core::time::SessionTime;
use crate::edge::audio::resample::resample;
use crate::edge::native::{Vad, for_tests};
use std::process::Command;

/// A small book of another trade, with two slots of one type.
const CALLS: &[(&str, &[&str])] = &[
    ("open_valve", &["open [the] valve"]),
    ("close_valve", &["close [the] valve"]),
    ("valve_report", &["open [the] valve report"]),
    ("mix", &["mix $number:litres litres at $number:degrees degrees"]),
    ("stop", &["stop [the] pump"]),
    ("heading", &["heading $heading:to"]),
];

fn graph() -> WordGraph {
    let calls: Vec<_> =
        CALLS.iter().map(|(n, w)| ((*n).to_owned(), w.iter().map(|w| parse(w).0).collect::<Vec<_>>())).collect();
    let (graph, problems) = build(&calls, &Rules::new(), &NamedSlots::new());
    assert_eq!(problems, []);
    graph
}

/// A sentence by a program voice, 16 kHz.
fn say(text: &str) -> Vec<f32> {
    let file = tempfile::NamedTempFile::with_suffix(".wav").unwrap();
    let spoken = Command::new("flite").args(["-voice", "slt", "-t", text, "-o"]).arg(file.path()).status();
    assert!(spoken.is_ok_and(|s| s.success()), "the program flite is not there: run the set-up");
    let mut reader = hound::WavReader::open(file.path()).unwrap();
    assert_eq!(reader.spec().sample_rate, RATE);
    reader.samples::<i16>().map(|s| f32::from(s.unwrap()) / 40_000.0).collect()
}

/// Pieces of sound with soft noise between and around them, each after so many seconds.
fn scene(pieces: &[(f64, &[f32])]) -> Vec<f32> {
    let mut sound = Vec::new();
    let noise: Vec<f32> = noise::reference().iter().map(|s| s * 0.1).collect();
    let rest = |sound: &mut Vec<f32>, seconds: f64| {
        sound.extend(noise.iter().cycle().take((seconds * f64::from(RATE)) as usize));
    };
    for (after, piece) in pieces {
        rest(&mut sound, *after);
        sound.extend_from_slice(piece);
    }
    rest(&mut sound, 1.0);
    sound
}

fn listener() -> Option<Listener> {
    let runtime = for_tests()?;
    let ear = NeuralEar::open(&runtime, &graph()).unwrap();
    let mut listener = Listener::new(Vad::open(&runtime).unwrap(), ear, Settings::default(), Thresholds::default());
    listener.listen(7, &CallSet::all(CALLS.len()));
    Some(listener)
}

fn run<E: Reader>(listener: &mut Listener<E>, sound: &[f32], chunk: usize) -> Vec<News> {
    let mut news: Vec<News> = sound.chunks(chunk).flat_map(|c| listener.feed(c).unwrap()).collect();
    news.extend(listener.finish().unwrap());
    news
}

/// What was chosen from each utterance.
fn chosen(news: &[News], live: &CallSet) -> Vec<String> {
    let graph = graph();
    let one = |n: &News| match n {
        News::Heard { heard, .. } => {
            Some(match choose(heard, &graph, live, &CallSet::none(), |_| false, &Thresholds::default()) {
                Choice::Accept { meanings, .. } => meanings
                    .iter()
                    .map(|m| m.slots.values().fold(m.call.clone(), |s, v| format!("{s} {v}")))
                    .collect::<Vec<_>>()
                    .join(", "),
                Choice::Refuse { reason, .. } => reason.to_string(),
            })
        }
        _ => None,
    };
    news.iter().filter_map(one).collect()
}

#[test]
fn hears_calls_one_after_the_other_whatever_the_chunks() {
    let Some(mut ear) = listener() else { return };
    let all = CallSet::all(CALLS.len());
    let (a, b) = (say("close the valve"), say("mix twelve litres at sixty five degrees"));
    let sound = scene(&[(0.7, &a), (0.9, &b)]);
    let news = run(&mut ear, &sound, 160);
    // Of the two numbers, the one that comes first in the alphabet stands first.
    assert_eq!(chosen(&news, &all), ["close_valve", "mix 65 12"], "{news:#?}");
    let timeless = |news: Vec<News>| -> Vec<String> {
        let strip = |n: News| match n {
            News::Heard { at, heard, why, .. } => format!("{at:?} {heard:?} {why:?}"),
            n => format!("{n:?}"),
        };
        news.into_iter().map(strip).collect()
    };
    let mut other = listener().unwrap();
    assert_eq!(timeless(run(&mut other, &sound, 4_801)), timeless(news));
}

#[test]
fn the_beginning_of_another_sentence_is_no_call() {
    let Some(mut ear) = listener() else { return };
    let all = CallSet::all(CALLS.len());
    for (said, expected) in [("stop the pump", "stop"), ("stop the pump operators", "no such call")] {
        let news = run(&mut ear, &scene(&[(0.7, &say(said))]), 160);
        assert_eq!(chosen(&news, &all), [expected], "{said}: {news:#?}");
        // It would have been accepted: what would not is left as it is.
        let score = |n: &News| match n {
            News::Heard { heard, .. } => heard.ranked.first().map(|c| c.score),
            _ => None,
        };
        assert_eq!(news.iter().find_map(score) == Some(0.0), expected != "stop", "{said}: {news:#?}");
        ear.reset();
    }
}

#[test]
fn ends_soon_after_a_whole_call_and_waits_where_one_could_go_on() {
    let Some(mut ear) = listener() else { return };
    let wait = |ear: &mut Listener, text: &str| {
        let sound = scene(&[(0.7, &say(text))]);
        let news = run(ear, &sound, 512);
        let Some(News::Heard { at, heard, why, .. }) = news.last() else { panic!("{news:?}") };
        (at.since(heard.speech.1), *why)
    };
    let (s, why) = wait(&mut ear, "close the valve");
    assert!(why == Why::Whole && (0.12..0.2).contains(&s), "{s} {why:?}");
    let mut ear = listener().unwrap();
    let (s, why) = wait(&mut ear, "open the valve");
    assert!(why == Why::Silence && (0.4..0.6).contains(&s), "{s} {why:?}");
}

#[test]
fn refuses_what_is_not_live_and_what_is_no_call() {
    let Some(mut ear) = listener() else { return };
    let live: CallSet = [CallId(1), CallId(4)].into_iter().collect();
    ear.listen(8, &live);
    let (a, b) = (say("heading two seven zero"), say("good morning ladies and gentlemen"));
    let news = run(&mut ear, &scene(&[(0.7, &a), (0.9, &b)]), 512);
    assert_eq!(chosen(&news, &live), ["not now", "no such call"], "{news:#?}");
}

#[test]
fn push_to_talk_always_answers_and_silence_is_said_so() {
    let Some(mut ear) = listener() else { return };
    let quiet = scene(&[(0.5, &[])]);
    let mut news = ear.feed(&quiet).unwrap();
    news.extend(ear.push(true).unwrap());
    news.extend(ear.feed(&quiet).unwrap());
    news.extend(ear.push(false).unwrap());
    news.extend(ear.feed(&quiet).unwrap());
    let Some(News::Heard { heard, why: Why::Released, .. }) = news.last() else { panic!("{news:?}") };
    assert!(heard.pushed && heard.unheard == Some(Unheard::NothingSaid));
    let mut ear = listener().unwrap();
    let dead = run(&mut ear, &vec![0.0; 4 * RATE as usize], 1000);
    assert!(matches!(dead.as_slice(), [News::Dead { at }] if *at > SessionTime::from_secs(2.9)), "{dead:?}");
}

#[test]
fn a_late_press_and_an_early_release_lose_no_word() {
    let Some(mut ear) = listener() else { return };
    let ms = |n: usize| n * RATE as usize / 1000;
    // The button is used once, so that the microphone is not open any more.
    let used = |ear: &mut Listener| {
        ear.push(true).unwrap();
        ear.push(false).unwrap();
        ear.feed(&scene(&[(1.0, &[])])).unwrap();
    };
    used(&mut ear);
    for (text, call) in [("close the valve", "close_valve"), ("mix twelve litres at sixty five degrees", "mix 65 12")] {
        let said = say(text);
        let sound = scene(&[(1.0, &said)]);
        let (begun, over) = (ms(1_000), ms(1_000) + said.len());
        for (late, early) in [(0, 0), (350, 0), (0, 350), (350, 350)] {
            let (press, release) = (begun + ms(late), over - ms(early));
            let mut news = ear.feed(&sound[..press]).unwrap();
            news.extend(ear.push(true).unwrap());
            news.extend(ear.feed(&sound[press..release]).unwrap());
            news.extend(ear.push(false).unwrap());
            news.extend(ear.feed(&sound[release..]).unwrap());
            let all = CallSet::all(CALLS.len());
            assert_eq!(chosen(&news, &all), [call], "pressed {late} ms late, released {early} ms early: {news:#?}");
        }
    }
    // What is said without the button is for somebody else; until the button is gone.
    let news = ear.feed(&scene(&[(1.0, &say("close the valve"))])).unwrap();
    assert_eq!(news, []);
    ear.unplug().unwrap();
    let news = ear.feed(&scene(&[(1.0, &say("close the valve"))])).unwrap();
    assert_eq!(chosen(&news, &CallSet::all(CALLS.len())), ["close_valve"]);
}

#[test]
fn while_we_speak_only_what_is_always_live_counts_and_never_our_own_words() {
    let Some(mut ear) = listener() else { return };
    let stop: CallSet = [CallId(4)].into_iter().collect();
    let (valve, pump) = (scene(&[(0.7, &say("close the valve"))]), scene(&[(0.7, &say("stop the pump"))]));
    let over_us = |news: &[News]| news.iter().any(|n| matches!(n, News::Heard { heard, .. } if heard.over_us));
    ear.saying(Some("ready")).unwrap();
    let news = run(&mut ear, &valve, 512);
    assert!(!over_us(&news), "a headset hears everything");
    ear.hears_us(&stop);
    let all = CallSet::all(CALLS.len());
    for (words, sound, wanted) in [
        ("valve is open", &valve, "no such call"),
        ("valve is open", &pump, "stop"),
        ("I will stop the pump", &pump, "no such call"),
    ] {
        ear.saying(Some(words)).unwrap();
        let news = run(&mut ear, sound, 512);
        assert!(over_us(&news), "{words}");
        assert_eq!(chosen(&news, &all), [wanted], "{words}: {news:#?}");
    }
    // Soon after our last word he is heard as ever.
    ear.saying(None).unwrap();
    let news = run(&mut ear, &valve, 512);
    assert!(!over_us(&news));
    assert_eq!(chosen(&news, &all), ["close_valve"]);
}

#[test]
fn takes_any_sound_without_a_panic() {
    let Some(mut ear) = listener() else { return };
    let mut sound = vec![f32::NAN; 700];
    sound.extend([f32::INFINITY, -9.0, 9.0, 0.5]);
    sound.extend((0..9_000).map(|i| if (i / 40) % 2 == 0 { 0.9 } else { -0.9 }));
    run(&mut ear, &sound, 37);
}

#[test]
fn hears_over_a_constant_voltage_and_at_other_rates() {
    let Some(mut ear) = listener() else { return };
    let all = CallSet::all(CALLS.len());
    let plain = scene(&[(0.7, &say("close the valve"))]);
    let at = |rate| resample(&resample(&plain, RATE, rate).unwrap(), rate, RATE).unwrap();
    for (what, sound) in
        [("a constant voltage", plain.iter().map(|s| s + 0.3).collect()), ("8 kHz", at(8_000)), ("96 kHz", at(96_000))]
    {
        ear.reset();
        assert_eq!(chosen(&run(&mut ear, &sound, 512), &all), ["close_valve"], "{what}");
    }
}

/// Reads nothing, and counts.
#[derive(Debug, Default)]
struct Counting {
    reads: usize,
    longest: usize,
}

impl Reader for Counting {
    fn read(&mut self, samples: &[f32], _: &CallSet) -> Result<Reading, EarError> {
        self.reads += 1;
        self.longest = self.longest.max(samples.len());
        let found = Found { ranked: Vec::new(), whole: false, steps: 0 };
        Ok(Reading { found, took: std::time::Duration::ZERO })
    }
    fn calls(&self) -> usize {
        CALLS.len()
    }
    fn name(&self, _: CallId) -> Option<&str> {
        None
    }
}

/// Half an hour of others who talk without a pause, and then a pilot who is louder.
#[test]
fn talk_without_end_costs_neither_memory_nor_time() {
    let Some(runtime) = for_tests() else { return };
    let voices =
        ["it is a fine day for a walk by the sea", "i have not seen him since last week", "tell her that we are late"];
    let voices: Vec<Vec<f32>> = voices.iter().map(|t| say(t)).collect();
    let longest = voices.iter().map(Vec::len).max().unwrap_or_default();
    let others: Vec<f32> = (0..longest)
        .map(|i| voices.iter().map(|v| v[i % v.len()] + v[(i + 7_001) % v.len()]).sum::<f32>() * 0.06)
        .collect();
    let ear = Counting::default();
    let mut listener = Listener::new(Vad::open(&runtime).unwrap(), ear, Settings::default(), Thresholds::default());
    listener.listen(1, &CallSet::all(CALLS.len()));
    let minute: Vec<f32> = others.iter().copied().cycle().take(60 * RATE as usize).collect();
    let (mut kept, mut reads) = (Vec::new(), Vec::new());
    for _ in 0..30 {
        for block in minute.chunks(4_000) {
            listener.feed(block).unwrap();
            kept.push(listener.kept());
        }
        reads.push(std::mem::take(&mut listener.ear_mut().reads));
    }
    let most = 20 * RATE as usize;
    assert!(kept.iter().all(|k| *k < most), "{:?}", kept.iter().max());
    assert!(listener.ear_mut().longest < 13 * RATE as usize);
    assert!(reads.iter().all(|r| *r <= 60), "decodes a minute: {reads:?}");
    let call = say("close the valve");
    let mut sound: Vec<f32> = others.iter().copied().cycle().take(3 * RATE as usize).collect();
    sound[RATE as usize..].iter_mut().zip(&call).for_each(|(s, c)| *s += c);
    let news = run(&mut listener, &sound, 512);
    let began = 1_801.0;
    let near = |n: &News| matches!(n, News::Began { at } if (at.secs() - began).abs() < 0.4);
    assert!(news.iter().any(near), "{news:?}");
}

#[test]
fn tokens_of_a_text_are_the_tokens_of_its_words() {
    let Some(runtime) = for_tests() else { return };
    let bytes = std::fs::read(runtime.models().join("moonshine-tiny-en/tokenizer.bin")).unwrap();
    let tokens = crate::core::search::Tokens::parse(&bytes).unwrap();
    let words = [
        "set",
        "Set",
        "flaps",
        "Flaps",
        "20",
        "2",
        "twenty",
        "QNH",
        "1013",
        "V1",
        "take",
        "off",
        "takeoff",
        "the",
        "checklist",
        "Before",
        "engine",
        "niner",
        "Alfa",
        "x-ray",
        "118.5",
        "heading",
        "270",
        "3,400",
        "anti-ice",
    ];
    for a in words {
        for b in words {
            for end in ["", ".", ",", "!", "?"] {
                let whole = tokens.encode(&format!(" {a} {b}{end}"));
                let parts = [format!(" {a}"), format!(" {b}"), end.into()];
                let parts: Vec<u32> = parts.iter().flat_map(|p| tokens.encode(p)).collect();
                assert_eq!(whole, parts, "{a} {b}{end}");
                assert_eq!(tokens.text(&whole), format!("{a} {b}{end}"));
            }
        }
    }
}

/// With the same weights CTranslate2 4.8.5 of PyPI, another program for them, writes "The engine is running." and "Take off the
/// parking brake." for these sounds: the network built here must find nothing likelier either, and mind every other word.
#[test]
fn the_second_model_would_write_what_another_program_writes_with_its_weights() {
    let Some(runtime) = for_tests() else { return };
    let mut opinion = second::Opinion::open(&runtime).unwrap();
    for (said, others) in [
        (
            "the engine is running",
            ["the engine is burning", "the engines are running", "running", "the engine is running now"],
        ),
        (
            "take off the parking brake",
            ["take of the parking brake", "set the parking brake", "take off", "parking brake off"],
        ),
    ] {
        let sound = say(said);
        let own = opinion.of(&sound, &[said]).unwrap().unwrap()[0];
        assert!((0.0..2.0).contains(&own), "{said}: {own}");
        let strains = opinion.of(&sound, &others).unwrap().unwrap();
        assert!(strains.iter().all(|s| *s > own + 3.0), "{said}: {own}, others {strains:?}");
    }
}
