//! The radio channel of a drill: what the controller transmits and, by microphone and loudspeaker, both sides in real time.

use super::super::Failure;
use super::super::outlet::Outlet;
use super::super::sound::{self, Ends};
use super::super::wiring::{self, failure};
use crate::core::gate::Turn;
use crate::core::time::SessionTime;
use crate::edge::audio::EAR_RATE;
use crate::edge::audio::duplex::{Duplex, Gone, Handle, PLAY_RATE, Told, Wanted};
use crate::edge::audio::resample::resample;
use crate::edge::radio::Air;
use crate::edge::store::Choices;
use std::sync::Arc;
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

/// So long after the controller's last sound a room is quiet again: only then a microphone that hears him is listened to.
const ROOM: Duration = Duration::from_millis(200);
/// Between two exercises there is time to read what was made of the last.
const PAUSE: Duration = Duration::from_secs(3);
/// The wish to leave is looked at this often while nothing arrives.
const LOOK: Duration = Duration::from_millis(200);

/// What came of a transmission.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sent {
    /// It is over.
    Over,
    /// The pilot has left meanwhile.
    Left,
}

/// What came of waiting a moment.
#[derive(Debug, Clone, PartialEq)]
pub enum Came {
    /// From the microphone, at [`EAR_RATE`].
    Sound(Vec<f32>),
    /// Nothing new.
    Nothing,
    /// The microphone is gone, or the pilot has left.
    Broken,
}

/// The channel.
pub struct Channel {
    air: Option<Air>,
    booth: Option<Booth>,
    unseen: bool,
}

impl Channel {
    /// With the controller's voice and with devices, where there are any.
    pub fn new(air: Option<Air>, booth: Option<Booth>, unseen: bool) -> Self {
        Channel { air, booth, unseen }
    }

    /// Whether the controller's words are not shown.
    pub fn unseen(&self) -> bool {
        self.unseen
    }

    /// The controller transmits; through a loudspeaker it takes as long as it takes.
    ///
    /// # Errors
    /// The voice cannot speak, or the recording cannot be written.
    pub fn controller(&mut self, text: &str) -> Result<Sent, Failure> {
        let Some(air) = &mut self.air else { return Ok(Sent::Over) };
        let sound = air.controller(text).map_err(failure)?;
        match &mut self.booth {
            Some(booth) if booth.speaks => booth.play(&sound),
            _ => Ok(Sent::Over),
        }
    }

    /// The pilot transmitted this.
    ///
    /// # Errors
    /// The recording cannot be written.
    pub fn pilot(&mut self, sound: &[f32]) -> Result<(), Failure> {
        self.air.as_mut().map_or(Ok(()), |air| air.pilot(sound).map_err(failure))
    }

    /// An exercise is over.
    pub fn pause(&mut self) {
        if let Some(booth) = &mut self.booth
            && booth.hears
        {
            booth.wait(Instant::now() + PAUSE, |_| false);
        }
    }

    /// Begins to listen for an answer, once the microphone is there: what was heard of it already, and when the controller
    /// ended on the clock that begins with it. Nothing when the pilot has left.
    pub fn listen(&mut self) -> Option<(Vec<f32>, SessionTime)> {
        self.booth.as_mut()?.listen()
    }

    /// What arrives next from the microphone.
    pub fn came(&mut self) -> Came {
        self.booth.as_mut().map_or(Came::Broken, |booth| match booth.next(LOOK) {
            _ if booth.deaf || booth.left() => Came::Broken,
            sound if sound.is_empty() => Came::Nothing,
            sound => Came::Sound(sound),
        })
    }

    /// Whether the pilot has left.
    pub fn left(&self) -> bool {
        self.booth.as_ref().is_none_or(Booth::left)
    }

    /// Closes the recording.
    ///
    /// # Errors
    /// It cannot be written.
    pub fn finish(self) -> Result<(), Failure> {
        self.air.map_or(Ok(()), |air| air.finish().map_err(failure))
    }
}

/// The devices.
pub struct Booth {
    // Held so that they stay open.
    _duplex: Duplex,
    handle: Handle,
    told: Receiver<Told>,
    outlet: Option<Outlet>,
    headset: bool,
    hears: bool,
    speaks: bool,
    /// Whether the microphone is gone at the moment, and the loudspeaker.
    deaf: bool,
    mute: bool,
    played: u64,
    /// What was heard of the pilot since the controller began, if he can be heard then; and when the controller ended.
    early: Vec<f32>,
    ended: Option<Instant>,
}

impl Booth {
    /// Opens what is wanted, and remembers it; `outlet` tells when the pilot leaves.
    ///
    /// # Errors
    /// A device cannot be opened.
    pub fn open(ends: &Ends, last: &Choices, outlet: Option<Outlet>) -> Result<Booth, Failure> {
        let (send, told) = mpsc::channel();
        let hears = ends.mic.device() != Wanted::Nothing;
        let tell = move |told| {
            // Sound that nobody fetches would pile up.
            if hears || !matches!(told, Told::Piece(_)) {
                let _ = send.send(told);
            }
        };
        let (duplex, handle) = Duplex::open(ends.mic.device(), ends.speaker.device(), tell).map_err(failure)?;
        let known = handle.devices();
        ends.remember(&known, &last.buttons, last);
        eprint!("{}", sound::told(&known));
        Ok(Booth {
            _duplex: duplex,
            handle,
            told,
            outlet,
            headset: ends.headset,
            hears,
            speaks: ends.speaker.device() != Wanted::Nothing,
            deaf: false,
            mute: false,
            played: 0,
            early: Vec::new(),
            ended: None,
        })
    }

    fn left(&self) -> bool {
        self.outlet.as_ref().is_some_and(Outlet::stopped)
    }

    /// Waits a moment for what the devices tell; what the microphone heard in it.
    fn next(&mut self, limit: Duration) -> Vec<f32> {
        match self.told.recv_timeout(limit) {
            Ok(told) => self.take(told),
            Err(_) => Vec::new(),
        }
    }

    fn take(&mut self, told: Told) -> Vec<f32> {
        match told {
            Told::Piece(piece) => return piece.mic,
            Told::Microphone(turn) => {
                match turn {
                    Turn::Lost => self.deaf = true,
                    Turn::Back => self.deaf = false,
                    _ => {}
                }
                outln!("  {}", wiring::microphone(turn).1);
            }
            Told::Speaker(Gone::Lost) => {
                self.mute = true;
                outln!("  the loudspeaker is gone: the controller waits and says it again when it is back");
            }
            Told::Speaker(Gone::Back) => {
                self.mute = false;
                outln!("  the loudspeaker plays again");
            }
        }
        Vec::new()
    }

    /// Lets time pass until then, or until `enough`; false if it came to that, or if the pilot has left.
    fn wait(&mut self, until: Instant, enough: impl Fn(&Booth) -> bool) -> bool {
        while let Some(left) = until.checked_duration_since(Instant::now()) {
            let heard = self.next(left.min(LOOK));
            if self.headset {
                self.early.extend(heard);
            }
            if enough(self) || self.left() {
                return false;
            }
        }
        true
    }

    /// Whatever has arrived is of no interest any more.
    fn forget(&mut self) {
        while let Ok(told) = self.told.try_recv() {
            self.take(told);
        }
        self.early.clear();
    }

    /// Plays a transmission to its end; from the beginning again, should the loudspeaker vanish under it.
    fn play(&mut self, sound: &[f32]) -> Result<Sent, Failure> {
        let samples: Arc<[f32]> = resample(sound, EAR_RATE, PLAY_RATE).map_err(failure)?.into();
        let length = Duration::from_secs_f64(samples.len() as f64 / f64::from(PLAY_RATE));
        loop {
            while self.mute && !self.left() {
                self.next(LOOK);
            }
            self.forget();
            self.played += 1;
            self.handle.start(self.played, samples.clone());
            if self.sounds(length) {
                return Ok(Sent::Over);
            }
            self.handle.cut(self.played);
            if self.left() {
                return Ok(Sent::Left);
            }
        }
    }

    /// Waits until what was just started has been heard to its end; false if it came to nothing.
    fn sounds(&mut self, length: Duration) -> bool {
        let broken = |booth: &Booth| booth.mute;
        if !self.wait(Instant::now() + length, broken) {
            return false;
        }
        // A loudspeaker that was asleep begins late.
        while self.handle.devices().playing {
            if !self.wait(Instant::now() + Duration::from_millis(10), broken) {
                return false;
            }
        }
        let known = self.handle.devices();
        let ended = Instant::now() + Duration::from_secs_f64(known.delay_s());
        // What the microphone hears of him arrives later by the way through it.
        let heard = Instant::now() + Duration::from_secs_f64(known.loop_s()) + ROOM;
        self.ended = Some(ended);
        self.wait(if self.headset || !self.hears { ended } else { heard }, broken)
    }

    fn listen(&mut self) -> Option<(Vec<f32>, SessionTime)> {
        let told = self.deaf;
        let early = std::mem::take(&mut self.early);
        while self.deaf && !self.left() {
            self.next(LOOK);
        }
        if self.left() {
            return None;
        }
        let ended = self.ended.take();
        if told || !self.headset || ended.is_none() {
            self.forget();
        }
        let early = if told { Vec::new() } else { early };
        let since = ended.map_or(0.0, |e| e.elapsed().as_secs_f64());
        let spoken = SessionTime::from_secs(early.len() as f64 / f64::from(EAR_RATE) - since);
        Some((early, spoken))
    }
}
