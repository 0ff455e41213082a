//! A speaker that sounds by itself, through a speech service, with another speaker to stand in for it.
//!
//! It gives no samples: what it renders is silence for as long as the words may take. That they have ended is told by the
//! service as a hint, and counted as true when that time is over.

use super::service::{Told, Wire};
use super::{Pcm, Silent, SpeakError, Speaker, VoiceNews};
use crate::core::book::schema::Station;
use crate::edge::audio::EAR_RATE;
use std::collections::BTreeMap;
use std::time::{Duration, Instant};

/// Words that the service has not taken by then will not be spoken by it.
pub const TAKEN_WITHIN: Duration = Duration::from_secs(2);
/// Words may take so many times their estimated length, and so many seconds more.
const LIMIT: (f64, f64) = (1.5, 0.5);
/// How much a measured length changes the estimate of later ones.
const LEARNS: f64 = 0.3;

#[derive(Debug)]
struct Turn {
    station: Station,
    text: String,
    asked: Instant,
    taken: Option<Instant>,
}

/// The speech service for some stations, and another speaker for all others and in its place.
pub struct Aloud {
    wire: Option<Wire>,
    stand_in: Box<dyn Speaker>,
    /// Who takes over, for the sentence that tells of it.
    stand_in_name: String,
    /// Whether every station speaks by the service, not only the second pilot.
    everyone: bool,
    turns: BTreeMap<u64, Turn>,
    /// Real length over estimated length.
    pace: f64,
    news: Vec<VoiceNews>,
}

impl Aloud {
    /// `wire` is the service, or why there is none: then the stand-in speaks from the beginning, and that is told.
    /// `everyone`: whether the service speaks for every station. `rate_percent` is its speed.
    pub fn new(
        wire: Result<Wire, String>,
        stand_in: Box<dyn Speaker>,
        stand_in_name: &str,
        everyone: bool,
        rate_percent: f32,
    ) -> Self {
        let mut aloud = Aloud {
            wire: None,
            stand_in,
            stand_in_name: stand_in_name.into(),
            everyone,
            turns: BTreeMap::new(),
            pace: 100.0 / f64::from(rate_percent.clamp(50.0, 200.0)),
            news: Vec::new(),
        };
        match wire {
            Ok(wire) => aloud.wire = Some(wire),
            Err(why) => aloud.lost(&why),
        }
        aloud
    }

    /// The other way round: the service in place of a second pilot's voice that cannot be had (`why`, one clause), which is
    /// told; `others` goes on to speak for the other stations.
    pub fn in_place_of(why: &str, wire: Wire, others: Box<dyn Speaker>, rate_percent: f32) -> Self {
        let mut aloud = Aloud::new(Ok(wire), others, "the second pilot is silent", false, rate_percent);
        let why = format!("the neural voice is away ({why}); the system voice speaks for the rest of the flight");
        aloud.news.push(VoiceNews::Trouble { room: "neural voice".into(), why });
        aloud
    }

    fn by_service(&self, station: Station) -> bool {
        self.wire.is_some() && (self.everyone || station == Station::FlightDeck)
    }

    fn estimate_s(&self, text: &str) -> f64 {
        Silent::estimate_s(text) * self.pace
    }

    /// The service is given up; what it was to say now is said by the stand-in.
    fn lost(&mut self, why: &str) {
        self.wire = None;
        let why = format!("the system voice is away ({why}); {} for the rest of the flight", self.stand_in_name);
        self.news.push(VoiceNews::Trouble { room: "system voice".into(), why });
        for (id, turn) in std::mem::take(&mut self.turns) {
            match self.stand_in.render(turn.station, &turn.text) {
                Ok(pcm) => self.news.push(VoiceNews::Instead { id, pcm }),
                Err(e) => self.news.push(VoiceNews::Trouble { room: "voice".into(), why: e.to_string() }),
            }
        }
    }

    fn listen(&mut self) {
        while let Some(told) = self.wire.as_ref().and_then(Wire::told) {
            match told {
                Told::Open => {}
                Told::Taken { id } => {
                    if let Some(turn) = self.turns.get_mut(&id) {
                        turn.taken = Some(Instant::now());
                    }
                }
                Told::Ended { id } => {
                    let Some(turn) = self.turns.remove(&id) else { continue };
                    let estimate = Silent::estimate_s(&turn.text);
                    if let Some(taken) = turn.taken.filter(|_| estimate > 0.0) {
                        // A service that reports at once, or never, teaches nothing.
                        let ratio = taken.elapsed().as_secs_f64() / estimate;
                        if (0.3..3.0).contains(&ratio) {
                            self.pace += LEARNS * (ratio - self.pace);
                        }
                    }
                    self.news.push(VoiceNews::Ended { id });
                }
                Told::Failed { why } => self.lost(&why),
            }
        }
        if self.turns.values().any(|t| t.taken.is_none() && t.asked.elapsed() > TAKEN_WITHIN) {
            self.lost(&format!("it has not answered for {} s", TAKEN_WITHIN.as_secs_f64()));
        }
    }
}

impl Speaker for Aloud {
    fn render(&mut self, station: Station, text: &str) -> Result<Pcm, SpeakError> {
        if !self.by_service(station) {
            return self.stand_in.render(station, text);
        }
        let s = if self.estimate_s(text) > 0.0 { self.estimate_s(text) * LIMIT.0 + LIMIT.1 } else { 0.0 };
        Ok(Pcm::whole(EAR_RATE, vec![0.0; (s * f64::from(EAR_RATE)) as usize]))
    }

    fn duration_s(&mut self, station: Station, text: &str) -> Result<f64, SpeakError> {
        if self.by_service(station) { Ok(self.estimate_s(text)) } else { self.stand_in.duration_s(station, text) }
    }

    fn delay_s(&self) -> f64 {
        // What lies between the service and the loudspeaker nobody tells.
        if self.wire.is_some() { 0.0 } else { self.stand_in.delay_s() }
    }

    fn begin(&mut self, id: u64, station: Station, text: &str) {
        if !self.by_service(station) || self.estimate_s(text) == 0.0 {
            return;
        }
        if let Some(wire) = &self.wire {
            wire.speak(id, text);
            let turn = Turn { station, text: text.into(), asked: Instant::now(), taken: None };
            self.turns.insert(id, turn);
        }
    }

    fn end(&mut self, id: u64, cut: bool) {
        match &self.wire {
            Some(wire) if cut && self.turns.remove(&id).is_some() => wire.stop(),
            // Its time is over without a hint: if it was taken, it counts as said. Else it is still waited for.
            _ => self.turns.retain(|i, t| *i != id || t.taken.is_none()),
        }
    }

    fn start(&mut self, id: u64, pcm: &Pcm) {
        if !self.turns.contains_key(&id) {
            self.stand_in.start(id, pcm);
        }
    }

    fn cut(&mut self, id: u64) {
        self.stand_in.cut(id);
    }

    fn news(&mut self) -> Vec<VoiceNews> {
        self.listen();
        std::mem::take(&mut self.news)
    }
}
