//! The microphone and the loudspeaker of a live session: one thread that keeps both going.
//!
//! Every few milliseconds it plays what was ordered, takes in what has arrived, and passes both on together, so that
//! whoever listens knows what we said ourselves. A device that dies is looked for again; meanwhile silence stands in
//! for it and time goes on.

use super::device::{DeviceError, Health, Input, Listed, Output, Watch, Way};
use super::player::Player;
use super::stream::Converter;
use super::{AudioError, EAR_RATE};
use crate::core::gate::{Life, LifeSettings, Turn, WAKES_S};
use std::sync::atomic::{AtomicBool, Ordering::Relaxed};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, Sender, TryRecvError};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// Rate of everything that is played, Hz.
pub const PLAY_RATE: u32 = 48_000;

/// How often the thread looks.
const TICK: Duration = Duration::from_millis(5);
/// What waits in the ring before the loudspeaker, s: at first, more after each time that it ran dry, and at most.
const AHEAD_S: (f64, f64, f64) = (0.020, 0.010, 0.120);
/// A lost device is looked for this often.
const RETRY: Duration = Duration::from_secs(2);
/// Whether the open devices are still there is looked at this often: one that is away for less is not missed, and the
/// sound server may have moved its sound elsewhere.
const WATCH: Duration = Duration::from_millis(250);
/// A device that has not opened by then hangs.
const OPEN_LIMIT: Duration = Duration::from_secs(8);
/// A loudspeaker that takes nothing for so long is lost.
const SPEAKER_LOST: Duration = Duration::from_millis(1_500);

/// What is wanted of the devices: absent, the system's default, or a name.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Wanted {
    /// No such device.
    #[default]
    Nothing,
    /// What the system would choose.
    Default,
    /// By name, as [`super::device::choose`] takes it.
    Named(String),
}

impl Wanted {
    fn name(&self) -> Option<&str> {
        match self {
            Wanted::Named(name) => Some(name),
            _ => None,
        }
    }
}

/// What has become of a loudspeaker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gone {
    /// It takes nothing any more.
    Lost,
    /// It plays again.
    Back,
}

/// What the thread tells.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// What arrived and what was played since the last piece, both at [`EAR_RATE`].
    Piece(Piece),
    /// The microphone changed.
    Microphone(Turn),
    /// The loudspeaker changed.
    Speaker(Gone),
}

/// A few milliseconds of both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// From the microphone; silence while it is lost.
    pub mic: Vec<f32>,
    /// From us, as it went out to the loudspeaker.
    pub crew: Vec<f32>,
    /// When the last of `mic` was in the air.
    pub at: Instant,
}

enum Order {
    Start { id: u64, samples: Arc<[f32]> },
    Cut { id: u64 },
}

/// What is known of both devices.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Devices {
    /// The microphone, if one is open.
    pub mic: Option<(Listed, Health)>,
    /// The loudspeaker, if one is open.
    pub speaker: Option<(Listed, Health)>,
    /// What waits before the loudspeaker on purpose, s.
    pub ahead_s: f64,
    /// Whether anything that was started has not been handed to the loudspeaker whole.
    pub playing: bool,
}

impl Devices {
    /// From the order to play to the air, s: what is known of it.
    pub fn delay_s(&self) -> f64 {
        let device = self.speaker.as_ref().and_then(|(_, h)| h.device_ms).unwrap_or(0.0) / 1000.0;
        match self.speaker {
            Some(_) => self.ahead_s + device + TICK.as_secs_f64() / 2.0,
            None => 0.0,
        }
    }

    /// From the order to play, through the air and the microphone, to [`Piece::mic`], s: what is known of it.
    pub fn loop_s(&self) -> f64 {
        self.delay_s() + self.mic.as_ref().and_then(|(_, h)| h.device_ms).unwrap_or(0.0) / 1000.0
    }
}

/// Both devices, going. Dropped, it closes them.
pub struct Duplex {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

/// A hand on what is played and on what is known; cheap to clone.
#[derive(Clone)]
pub struct Handle {
    orders: Sender<Order>,
    devices: Arc<Mutex<Devices>>,
}

impl Handle {
    /// Plays from now on. `samples` are at [`PLAY_RATE`].
    pub fn start(&self, id: u64, samples: Arc<[f32]>) {
        // Gone only when the session is over.
        let _ = self.orders.send(Order::Start { id, samples });
    }

    /// Silences it now.
    pub fn cut(&self, id: u64) {
        let _ = self.orders.send(Order::Cut { id });
    }

    /// What is known of the devices, a moment ago.
    pub fn devices(&self) -> Devices {
        self.devices.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

impl Duplex {
    /// Opens both devices and keeps them going; `told` is called from the thread and must not wait.
    ///
    /// # Errors
    /// A device that is wanted cannot be opened now.
    pub fn open(
        mic: Wanted,
        speaker: Wanted,
        told: impl FnMut(Told) + Send + 'static,
    ) -> Result<(Duplex, Handle), DeviceError> {
        let mut ear = Side::<Input>::new(mic, Way::In);
        let mut mouth = Side::<Output>::new(speaker, Way::Out);
        // Both at once: each may take its time.
        ear.look(Input::open);
        mouth.look(Output::open);
        let input = ear.wait()?;
        let output = mouth.wait()?;
        let devices = Arc::new(Mutex::new(Devices::default()));
        let (orders, inbox) = mpsc::channel();
        let mut sound = Sound {
            ear,
            mouth,
            mic: None,
            speaker: None,
            player: Player::new(PLAY_RATE),
            life: Life::new(input.as_ref().map_or(EAR_RATE, |i| i.device().rate), LifeSettings::default()),
            reference: Converter::new(PLAY_RATE, EAR_RATE).map_err(|e| broken(Way::Out, &e))?,
            told: Box::new(told),
            devices: devices.clone(),
            stop: Arc::new(AtomicBool::new(false)),
            there: Arc::default(),
            begun: Instant::now(),
            owed_mic: 0,
            played: 0,
            looked: Instant::now(),
        };
        sound.mic = input.map(Mic::new).transpose().map_err(|e| broken(Way::In, &e))?;
        sound.speaker = output.map(Speaker::new).transpose().map_err(|e| broken(Way::Out, &e))?;
        sound.publish();
        let handle = Handle { orders, devices };
        let stop = sound.stop.clone();
        watch(stop.clone(), sound.there.clone());
        let thread = std::thread::Builder::new().name("sound".into()).spawn(move || sound.run(&inbox));
        let thread = thread.map_err(|e| DeviceError::Broken { name: "the sound".into(), why: e.to_string() })?;
        Ok((Duplex { stop, thread: Some(thread) }, handle))
    }
}

impl Drop for Duplex {
    fn drop(&mut self) {
        self.stop.store(true, Relaxed);
        if let Some(t) = self.thread.take() {
            let _ = t.join();
        }
    }
}

fn broken(way: Way, e: &AudioError) -> DeviceError {
    DeviceError::Broken { name: format!("the {}", way.word()), why: e.to_string() }
}

/// Which devices there are, and when that was looked up.
type There = Arc<Mutex<Option<(Instant, Vec<String>)>>>;

/// Looks now and then which devices there are; asking may block.
fn watch(stop: Arc<AtomicBool>, there: There) {
    std::thread::spawn(move || {
        let mut watch = Watch::default();
        while !stop.load(Relaxed) {
            let looked = Instant::now();
            let ids = watch.ids().map(|ids| (looked, ids));
            *there.lock().unwrap_or_else(PoisonError::into_inner) = ids;
            std::thread::sleep(WATCH);
        }
    });
}

/// Whether a device is known not to be there any more.
fn gone(there: &There, id: &str, opened: Instant) -> bool {
    let there = there.lock().unwrap_or_else(PoisonError::into_inner);
    there.as_ref().is_some_and(|(looked, ids)| *looked > opened && ids.iter().all(|i| i != id))
}

/// A device that is wanted, and the search for it. Opening may block for seconds, so a thread of its own does it.
struct Side<T> {
    wanted: Wanted,
    way: Way,
    search: Option<(Receiver<Result<T, DeviceError>>, Instant)>,
    next: Instant,
}

impl<T: Send + 'static> Side<T> {
    fn new(wanted: Wanted, way: Way) -> Self {
        Side { wanted, way, search: None, next: Instant::now() }
    }

    fn look(&mut self, open: fn(Option<&str>) -> Result<T, DeviceError>) {
        if self.wanted == Wanted::Nothing || self.search.is_some() {
            return;
        }
        let (send, found) = mpsc::channel();
        let wanted = self.wanted.clone();
        std::thread::spawn(move || {
            let _ = send.send(open(wanted.name()));
        });
        self.search = Some((found, Instant::now()));
    }

    fn wait(&mut self) -> Result<Option<T>, DeviceError> {
        let Some((found, _)) = self.search.take() else { return Ok(None) };
        let hangs = || DeviceError::Broken {
            name: self.wanted.name().map_or_else(|| format!("the {}", self.way.word()), String::from),
            why: "it does not answer".into(),
        };
        found.recv_timeout(OPEN_LIMIT).map_err(|_| hangs())?.map(Some)
    }

    /// What the search has found by now; a new one begins when it is time.
    fn poll(&mut self, open: fn(Option<&str>) -> Result<T, DeviceError>) -> Option<T> {
        match &self.search {
            None if Instant::now() >= self.next => self.look(open),
            None => {}
            Some((found, since)) => match found.try_recv() {
                Ok(result) => {
                    self.search = None;
                    self.next = Instant::now() + RETRY;
                    return result.ok();
                }
                Err(TryRecvError::Empty) if since.elapsed() < OPEN_LIMIT => {}
                // The thread may still hang; it ends with its own library.
                Err(_) => {
                    self.search = None;
                    self.next = Instant::now() + RETRY;
                }
            },
        }
        None
    }
}

struct Mic {
    device: Input,
    to_ear: Converter,
    faults: u32,
    opened: Instant,
}

impl Mic {
    fn new(device: Input) -> Result<Mic, AudioError> {
        let to_ear = Converter::new(device.device().rate, EAR_RATE)?;
        Ok(Mic { to_ear, faults: 0, opened: Instant::now(), device })
    }
}

struct Speaker {
    device: Output,
    from_player: Converter,
    ahead_s: f64,
    gaps: u64,
    faults: u32,
    /// Frames that had gone through when they were last seen to move, and when that was.
    moved: (u64, Instant),
    opened: Instant,
}

impl Speaker {
    fn new(device: Output) -> Result<Speaker, AudioError> {
        let from_player = Converter::new(PLAY_RATE, device.device().rate)?;
        let now = Instant::now();
        Ok(Speaker { from_player, ahead_s: AHEAD_S.0, gaps: 0, faults: 0, moved: (0, now), opened: now, device })
    }
}

struct Sound {
    ear: Side<Input>,
    mouth: Side<Output>,
    mic: Option<Mic>,
    speaker: Option<Speaker>,
    player: Player,
    life: Life,
    /// What is played, as the ear needs it.
    reference: Converter,
    told: Box<dyn FnMut(Told) + Send>,
    devices: Arc<Mutex<Devices>>,
    stop: Arc<AtomicBool>,
    there: There,
    begun: Instant,
    /// Samples of the microphone that were passed on, at [`EAR_RATE`], and of what is played, at [`PLAY_RATE`].
    owed_mic: u64,
    played: u64,
    looked: Instant,
}

impl Sound {
    fn run(mut self, inbox: &Receiver<Order>) {
        let mut next = Instant::now();
        loop {
            next += TICK;
            // Orders are taken as they come, so that words begin at once and not at the next tick.
            loop {
                match inbox.recv_timeout(next.saturating_duration_since(Instant::now())) {
                    Ok(Order::Start { id, samples }) => self.player.start(id, samples, 0),
                    Ok(Order::Cut { id }) => self.player.cut(id, 0),
                    Err(RecvTimeoutError::Timeout) => break,
                    Err(RecvTimeoutError::Disconnected) => return,
                }
            }
            // After a long stop of the whole machine nothing is made up for tick by tick.
            if next.elapsed() > 20 * TICK {
                next = Instant::now();
            }
            if self.stop.load(Relaxed) {
                return;
            }
            let passed = self.looked.elapsed().as_secs_f64();
            self.looked = Instant::now();
            let crew = self.play();
            let (mic, late) = self.take_in(passed);
            if !mic.is_empty() || !crew.is_empty() {
                let at = Instant::now().checked_sub(late).unwrap_or(self.begun);
                (self.told)(Told::Piece(Piece { mic, crew, at }));
            }
            self.publish();
        }
    }

    /// Samples that a clock of `rate` should have counted by now.
    fn due(&self, rate: u32) -> u64 {
        (self.begun.elapsed().as_secs_f64() * f64::from(rate)) as u64
    }

    /// Fills the loudspeaker's ring; without one, time goes on all the same. Gives what was played, for the ear.
    fn play(&mut self) -> Vec<f32> {
        let mut wanted = 0;
        if let Some(s) = &mut self.speaker {
            let rate = f64::from(s.device.device().rate);
            let health = s.device.health();
            if health.gaps > s.gaps {
                s.gaps = health.gaps;
                s.ahead_s = (s.ahead_s + AHEAD_S.1).min(AHEAD_S.2);
            }
            if health.frames != s.moved.0 {
                s.moved = (health.frames, Instant::now());
            }
            let ahead = (s.ahead_s * rate) as usize;
            let missing = ahead.saturating_sub(s.device.waiting()) as f64 / rate;
            wanted = (missing * f64::from(PLAY_RATE)) as usize;
            let faulty = std::mem::replace(&mut s.faults, health.faults) < health.faults;
            let still = s.moved.1.elapsed() > SPEAKER_LOST && s.opened.elapsed().as_secs_f64() > WAKES_S;
            if still || faulty || gone(&self.there, &s.device.device().id, s.opened) {
                self.part_with_speaker();
                (self.told)(Told::Speaker(Gone::Lost));
            }
        } else if let Some(found) = self.mouth.poll(Output::open).and_then(|d| Speaker::new(d).ok()) {
            self.speaker = Some(found);
            (self.told)(Told::Speaker(Gone::Back));
        } else {
            wanted = self.due(PLAY_RATE).saturating_sub(self.played) as usize;
        }
        let mut block = vec![0.0; wanted.min(PLAY_RATE as usize / 4)];
        self.player.fill(&mut block);
        self.played += block.len() as u64;
        if let Some(s) = &mut self.speaker {
            // The clock on the wall is taken up again from here, should the device go.
            self.played = self.played.max((self.begun.elapsed().as_secs_f64() * f64::from(PLAY_RATE)) as u64);
            let mut out = Vec::with_capacity(block.len() * 2);
            if s.from_player.push(&block, &mut out).is_ok() {
                s.device.write(&out);
            }
        }
        let mut crew = Vec::with_capacity(block.len());
        // Both rates are fixed and right: nothing can fail.
        let _ = self.reference.push(&block, &mut crew);
        crew
    }

    /// What the microphone has heard, and how long ago that was in the air.
    fn take_in(&mut self, passed_s: f64) -> (Vec<f32>, Duration) {
        let mut turns = Vec::new();
        let mut mic = Vec::new();
        let mut late = Duration::ZERO;
        if let Some(m) = &mut self.mic {
            let mut raw = Vec::new();
            m.device.read(&mut raw);
            let health = m.device.health();
            let device_s = health.device_ms.unwrap_or(0.0) / 1000.0;
            late = Duration::from_secs_f64((device_s + m.to_ear.delay_s()).clamp(0.0, 1.0));
            turns = self.life.arrived(&raw, passed_s);
            if m.to_ear.push(&raw, &mut mic).is_err() {
                mic.clear();
            }
            let faulty = std::mem::replace(&mut m.faults, health.faults) < health.faults;
            let faulty = (faulty && raw.is_empty()) || gone(&self.there, &m.device.device().id, m.opened);
            if faulty && !self.life.is_lost() {
                turns.extend(self.life.arrived(&[], f64::INFINITY));
            }
        } else if let Some(found) = self.ear.poll(Input::open).and_then(|d| Mic::new(d).ok()) {
            self.life.changed_rate(found.device.device().rate);
            self.mic = Some(found);
        }
        // One that was found again and stays dumb is no better than none.
        let dumb = self.life.is_lost() && self.mic.as_ref().is_some_and(|m| m.opened.elapsed() > 2 * RETRY);
        if turns.contains(&Turn::Lost) || dumb {
            self.part_with_mic();
        }
        let due = self.due(EAR_RATE);
        if self.mic.is_none() || self.life.is_lost() {
            mic.clear();
            mic.resize(due.saturating_sub(self.owed_mic).min(u64::from(EAR_RATE)) as usize, 0.0);
            self.owed_mic += mic.len() as u64;
        } else {
            self.owed_mic = self.owed_mic.max(due);
        }
        for turn in turns {
            (self.told)(Told::Microphone(turn));
        }
        (mic, late)
    }

    /// Closing waits for threads of the sound library, which may hang with the device.
    fn part_with_mic(&mut self) {
        if let Some(gone) = self.mic.take() {
            std::thread::spawn(move || drop(gone));
        }
        self.ear.next = Instant::now() + RETRY / 4;
    }

    fn part_with_speaker(&mut self) {
        if let Some(gone) = self.speaker.take() {
            std::thread::spawn(move || drop(gone));
        }
        self.mouth.next = Instant::now() + RETRY / 4;
    }

    fn publish(&self) {
        let known = Devices {
            mic: self.mic.as_ref().map(|m| (m.device.device().clone(), m.device.health())),
            speaker: self.speaker.as_ref().map(|s| (s.device.device().clone(), s.device.health())),
            ahead_s: self.speaker.as_ref().map_or(0.0, |s| s.ahead_s),
            playing: self.player.busy(),
        };
        *self.devices.lock().unwrap_or_else(PoisonError::into_inner) = known;
    }
}
