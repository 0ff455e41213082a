//! The speaker that sounds by itself, against services that do well, hang, fail and fall over.

use super::service::{Hints, Make, Service, Wire};
use super::{Aloud, Pcm, SpeakError, Speaker, VoiceNews};
use crate::core::book::schema::Station;
use crate::edge::audio::EAR_RATE;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

/// What a fake does when it is asked to speak.
#[derive(Clone, Copy, PartialEq)]
enum Does {
    /// Speaks for 0.2 s and tells the end.
    Well,
    /// Never tells the end.
    Mute,
    /// Does not come back.
    Hangs,
    Fails,
    Panics,
}

struct Fake {
    does: Does,
    hints: Hints,
    said: Sender<String>,
    keys: usize,
}

impl Service for Fake {
    fn speak(&mut self, text: &str) -> Result<String, String> {
        self.keys += 1;
        let key = format!("key {}", self.keys);
        match self.does {
            Does::Hangs => std::thread::sleep(Duration::from_secs(60)),
            Does::Fails => return Err("connection refused".into()),
            Does::Panics => panic!("a service that falls over"),
            Does::Mute => {}
            Does::Well => {
                let (hints, key) = (self.hints.clone(), key.clone());
                std::thread::spawn(move || {
                    std::thread::sleep(Duration::from_millis(200));
                    hints.ended("of someone else".into());
                    hints.ended(key);
                });
            }
        }
        let _ = self.said.send(text.into());
        Ok(key)
    }

    fn stop(&mut self) -> Result<(), String> {
        let _ = self.said.send("(stop)".into());
        Ok(())
    }
}

fn fake(does: Does) -> (Make, Receiver<String>) {
    let (said, heard) = channel();
    let make: Make = Box::new(move |hints| {
        let service: Box<dyn Service> = Box::new(Fake { does, hints, said, keys: 0 });
        Ok(service)
    });
    (make, heard)
}

/// Half a second of a tone for whatever is to be said.
struct Tone;

impl Speaker for Tone {
    fn render(&mut self, _station: Station, _text: &str) -> Result<Pcm, SpeakError> {
        Ok(Pcm::whole(EAR_RATE, vec![0.5; 8_000]))
    }
}

fn aloud(does: Does) -> (Aloud, Receiver<String>) {
    let (make, heard) = fake(does);
    let wire = Wire::open(make, Duration::from_secs(5));
    (Aloud::new(wire, Box::new(Tone), "the neural voice speaks", false, 100.0), heard)
}

/// The first news, and how long they took, s.
fn news(aloud: &mut Aloud) -> (Vec<VoiceNews>, f64) {
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(5) {
        let asked = Instant::now();
        let news = aloud.news();
        assert!(asked.elapsed() < Duration::from_millis(500), "asking for news held the loop up");
        if !news.is_empty() {
            return (news, began.elapsed().as_secs_f64());
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    (Vec::new(), 5.0)
}

const WORDS: &str = "before start checklist complete";

#[test]
fn words_are_spoken_and_their_end_is_told() {
    let (mut aloud, heard) = aloud(Does::Well);
    let pcm = aloud.render(Station::FlightDeck, WORDS).unwrap();
    let estimate = aloud.duration_s(Station::FlightDeck, WORDS).unwrap();
    assert!(pcm.samples.iter().all(|s| *s == 0.0) && pcm.duration_s() > estimate && pcm.duration_s() < 3.0 * estimate);
    aloud.begin(7, Station::FlightDeck, WORDS);
    let (got, after) = news(&mut aloud);
    assert_eq!(got, [VoiceNews::Ended { id: 7 }]);
    assert!(after < 2.0, "{after}");
    assert_eq!(heard.try_recv().as_deref(), Ok(WORDS));
    // Others speak by the stand-in, and nothing without words is asked for.
    assert_eq!(aloud.render(Station::Ground, WORDS).unwrap().samples[0], 0.5);
    aloud.begin(8, Station::Ground, WORDS);
    aloud.begin(9, Station::FlightDeck, " … ");
    assert_eq!(aloud.render(Station::FlightDeck, " … ").unwrap().samples.len(), 0);
    // What is cut falls silent and tells nothing more.
    aloud.begin(10, Station::FlightDeck, WORDS);
    aloud.end(10, true);
    std::thread::sleep(Duration::from_millis(400));
    assert_eq!(aloud.news(), []);
    assert_eq!(heard.try_iter().collect::<Vec<_>>(), [WORDS, "(stop)"]);
}

#[test]
fn a_voice_that_never_tells_its_end_has_spoken_when_its_time_is_over() {
    let (mut aloud, _heard) = aloud(Does::Mute);
    aloud.begin(1, Station::FlightDeck, WORDS);
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(aloud.news(), []);
    aloud.end(1, false);
    std::thread::sleep(super::aloud::TAKEN_WITHIN);
    assert_eq!(aloud.news(), [], "and it is not given up for that");
}

#[test]
fn a_service_that_is_lost_is_told_once_and_the_other_voice_says_the_words() {
    let check = |does: Does, why: &str| {
        let (mut aloud, _heard) = aloud(does);
        let began = Instant::now();
        aloud.begin(3, Station::FlightDeck, WORDS);
        assert!(began.elapsed() < Duration::from_millis(500), "the loop was held up");
        let (got, after) = news(&mut aloud);
        assert!(after < 3.5, "{why} came after {after} s");
        let told = format!("the system voice is away ({why}); the neural voice speaks for the rest of the flight");
        let pcm = Tone.render(Station::FlightDeck, WORDS).unwrap();
        let trouble = VoiceNews::Trouble { room: "system voice".into(), why: told };
        assert_eq!(got, [trouble, VoiceNews::Instead { id: 3, pcm: pcm.clone() }]);
        assert_eq!(aloud.render(Station::FlightDeck, WORDS).unwrap(), pcm);
        aloud.begin(4, Station::FlightDeck, WORDS);
        aloud.end(4, true);
        assert_eq!(aloud.news(), []);
    };
    check(Does::Fails, "connection refused");
    check(Does::Panics, "it stopped over a sentence");
    check(Does::Hangs, "it has not answered for 2 s");
}

#[test]
fn a_service_that_does_not_come_up_is_a_clause_in_time() {
    let check = |make: Make, wanted: &str| {
        let began = Instant::now();
        let why = Wire::open(make, Duration::from_millis(300)).map(drop).unwrap_err();
        assert_eq!(why, wanted);
        assert!(began.elapsed() < Duration::from_secs(2));
    };
    check(Box::new(|_| Err("failed to initialize".into())), "failed to initialize");
    check(Box::new(|_| panic!("no")), "it stopped while it began");
    let slow = |_: Hints| {
        std::thread::sleep(Duration::from_secs(30));
        Err(String::new())
    };
    check(Box::new(slow), "it does not answer within 0.3 s");
    let mut aloud = Aloud::new(Err("no such service".into()), Box::new(Tone), "the neural voice speaks", false, 100.0);
    assert_eq!(aloud.render(Station::FlightDeck, WORDS).unwrap().samples[0], 0.5);
    let told = "the system voice is away (no such service); the neural voice speaks for the rest of the flight";
    let trouble = VoiceNews::Trouble { room: "system voice".into(), why: told.into() };
    assert_eq!((aloud.news(), aloud.news()), (vec![trouble], vec![]));
}

#[test]
fn the_service_stands_in_for_a_neural_voice_without_its_model() {
    let (make, heard) = fake(Does::Well);
    let wire = Wire::open(make, Duration::from_secs(5)).unwrap();
    let mut aloud = Aloud::in_place_of("no models in /nowhere", wire, Box::new(Tone), 100.0);
    let told = "the neural voice is away (no models in /nowhere); the system voice speaks for the rest of the flight";
    assert_eq!(aloud.news(), [VoiceNews::Trouble { room: "neural voice".into(), why: told.into() }]);
    aloud.begin(1, Station::FlightDeck, WORDS);
    assert_eq!(news(&mut aloud).0, [VoiceNews::Ended { id: 1 }]);
    assert_eq!(heard.try_recv().as_deref(), Ok(WORDS));
    assert_eq!(aloud.render(Station::Cabin, WORDS).unwrap().samples[0], 0.5);
}
