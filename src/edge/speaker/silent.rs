//! A speaker that only takes the time of speaking.

use super::{Pcm, SpeakError, Speaker};
use crate::core::book::schema::Station;
use crate::edge::audio::EAR_RATE;

/// Words a second of a crew that speaks evenly.
const WORDS_PER_S: f64 = 2.7;
/// Least time of anything said, s.
const SHORTEST_S: f64 = 0.35;

/// Says nothing, for as long as it would take.
#[derive(Debug, Clone, Copy, Default)]
pub struct Silent;

impl Silent {
    /// Estimated time for a text, s: 2.7 words a second, at least 0.35 s; 0 if there are no words.
    pub fn estimate_s(text: &str) -> f64 {
        let words = text.split(|c: char| !c.is_alphanumeric() && c != '\'').filter(|w| !w.is_empty()).count();
        if words == 0 { 0.0 } else { (words as f64 / WORDS_PER_S).max(SHORTEST_S) }
    }
}

impl Speaker for Silent {
    fn render(&mut self, _station: Station, text: &str) -> Result<Pcm, SpeakError> {
        let n = (Self::estimate_s(text) * f64::from(EAR_RATE)).round() as usize;
        Ok(Pcm { rate: EAR_RATE, samples: vec![0.0; n].into(), onset: 0, offset: n })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_its_time() {
        for (text, want) in [("", 0.0), ("Rotate.", 1.0 / 2.7), ("Before start checklist complete", 4.0 / 2.7)] {
            let got = Silent.duration_s(Station::FlightDeck, text).unwrap();
            assert!((got - want).abs() < 1e-3, "{text}: {got}");
        }
    }
}
