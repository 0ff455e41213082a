//! A speaker that is heard: what it renders goes to the loudspeaker.

use super::{Pcm, SpeakError, Speaker};
use crate::core::book::schema::Station;
use crate::edge::audio::duplex::{Handle, PLAY_RATE};
use crate::edge::audio::resample::resample;

/// Renders by another speaker and plays live.
pub struct Played {
    inner: Box<dyn Speaker>,
    out: Handle,
}

impl Played {
    /// What `inner` renders is played by `out`; best at [`PLAY_RATE`].
    pub fn new(inner: Box<dyn Speaker>, out: Handle) -> Self {
        Played { inner, out }
    }
}

impl Speaker for Played {
    fn render(&mut self, station: Station, text: &str) -> Result<Pcm, SpeakError> {
        self.inner.render(station, text)
    }

    fn duration_s(&mut self, station: Station, text: &str) -> Result<f64, SpeakError> {
        self.inner.duration_s(station, text)
    }

    fn delay_s(&self) -> f64 {
        self.out.devices().delay_s()
    }

    fn start(&mut self, id: u64, pcm: &Pcm) {
        if pcm.rate == PLAY_RATE {
            self.out.start(id, pcm.samples.clone());
        } else if let Ok(samples) = resample(&pcm.samples, pcm.rate, PLAY_RATE) {
            self.out.start(id, samples.into());
        }
    }

    fn cut(&mut self, id: u64) {
        self.out.cut(id);
    }
}
