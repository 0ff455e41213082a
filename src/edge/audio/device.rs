//! Sound devices: listed, chosen by name, opened. The only file that names the sound library.
//!
//! A callback copies and leaves: no lock, no allocation, no log, and with ALSA a sleep while nothing can have come. Between it
//! and the rest stand preallocated rings of mono samples at the device's own rate. What does not fit or is missing is counted.

use super::pause::Pause;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, FromSample, Sample, SampleFormat, SizedSample, StreamConfig, SupportedStreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering::Relaxed};
use std::time::{Duration, Instant};

/// One callback's worth of sound that we ask for, s. A device may give more.
const PERIOD_S: f64 = 0.010;
/// What a ring holds, s: a loop that is late by less loses nothing.
const RING_S: f64 = 2.0;
/// A device that has not opened by then hangs.
const OPEN_LIMIT: Duration = Duration::from_secs(3);

/// Why a device cannot be used: one sentence each.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum DeviceError {
    /// No device has this name.
    #[error("there is no {way} \u{201c}{name}\u{201d}{nearest}; antiphon doctor lists all that there are")]
    Unknown {
        /// "microphone" or "loudspeaker".
        way: &'static str,
        /// What was asked for.
        name: String,
        /// `, did you mean …` or empty.
        nearest: String,
    },
    /// There is none at all.
    #[error("this machine has no {way}: plug one in, or start the sound server")]
    NoneAtAll {
        /// "microphone" or "loudspeaker".
        way: &'static str,
    },
    /// Another program has it.
    #[error("{name} is in use by another program: close that, or choose another device")]
    Busy {
        /// The device.
        name: String,
    },
    /// The system does not let us.
    #[error("the system does not let this program use {name}: allow it in the privacy settings")]
    Forbidden {
        /// The device.
        name: String,
    },
    /// Anything else.
    #[error("{name} cannot be opened ({why}): unplug it and plug it in again, or choose another device")]
    Broken {
        /// The device.
        name: String,
        /// What the system said.
        why: String,
    },
}

/// Which way sound goes through a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// A microphone.
    In,
    /// A loudspeaker or headphones.
    Out,
}

impl Way {
    /// What such a device is called.
    pub fn word(self) -> &'static str {
        match self {
            Way::In => "microphone",
            Way::Out => "loudspeaker",
        }
    }
}

/// A device as it is listed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// The name that a person reads.
    pub name: String,
    /// The name that the system uses; either chooses the device.
    pub id: String,
    /// Whether the system would choose it.
    pub default: bool,
    /// Whether another program holds it, so that nothing more can be known of it.
    pub busy: bool,
    /// Its own rate, Hz; 0 while it is busy.
    pub rate: u32,
    /// Its own channels; 0 while it is busy.
    pub channels: u16,
}

struct Found {
    listed: Listed,
    device: cpal::Device,
    /// Absent while it is busy.
    config: Option<SupportedStreamConfig>,
}

/// What a device is good for: nothing at all, to be used so, or not now because another program holds it.
fn offered(config: Result<SupportedStreamConfig, cpal::Error>) -> Option<Option<SupportedStreamConfig>> {
    match config {
        Ok(config) => Some(Some(config)),
        // One that is busy is there all the same: who names it shall hear why he cannot have it.
        Err(e) if e.kind() == cpal::ErrorKind::DeviceBusy => Some(None),
        Err(_) => None,
    }
}

fn find(way: Way) -> Vec<Found> {
    let mut all: Vec<Found> = Vec::new();
    // The hosts stand in the order of preference; a sound server that runs owns the hardware of those below it.
    for host in cpal::available_hosts().into_iter().filter_map(|id| cpal::host_from_id(id).ok()) {
        let default = match way {
            Way::In => host.default_input_device(),
            Way::Out => host.default_output_device(),
        };
        let default = default.and_then(|d| d.id().ok());
        let Ok(devices) = host.devices() else { continue };
        for device in devices {
            let config = match way {
                Way::In => device.default_input_config(),
                Way::Out => device.default_output_config(),
            };
            let (Some(config), Ok(id)) = (offered(config), device.id()) else { continue };
            let name = device.description().map_or_else(|_| id.id().to_string(), |d| d.name().to_string());
            let listed = Listed {
                name,
                id: id.id().to_string(),
                default: default.as_ref() == Some(&id) && all.iter().all(|f| !f.listed.default),
                busy: config.is_none(),
                rate: config.as_ref().map_or(0, SupportedStreamConfig::sample_rate),
                channels: config.as_ref().map_or(0, SupportedStreamConfig::channels),
            };
            if all.iter().all(|f| f.listed.id != listed.id) {
                all.push(Found { listed, device, config });
            }
        }
        if !all.is_empty() {
            break;
        }
    }
    all
}

/// A look at the devices that a sound server has. A server moves the sound of a device that went away to another without
/// a word, which may be the wrong one; so whoever has one open asks whether it is still there.
#[derive(Default)]
pub struct Watch {
    host: Option<cpal::Host>,
}

impl Watch {
    /// The ids of all devices; nothing where there is no server, or none that moves sound.
    pub fn ids(&mut self) -> Option<Vec<String>> {
        if self.host.is_none() {
            let server = cpal::available_hosts().into_iter().find(|h| h.name() == "PulseAudio");
            self.host = server.and_then(|id| cpal::host_from_id(id).ok());
        }
        let devices = self.host.as_ref()?.devices();
        if devices.is_err() {
            self.host = None;
        }
        Some(devices.ok()?.filter_map(|d| Some(d.id().ok()?.id().to_string())).collect())
    }
}

/// Every device that can be used that way.
pub fn list(way: Way) -> Vec<Listed> {
    find(way).into_iter().map(|f| f.listed).collect()
}

/// The index of the device that `name` means: exactly one of the names, or a part that only one has; without a name the
/// system's default, else the first that is free.
///
/// # Errors
/// No device has the name, with the nearest that there is; there is none at all; or another program holds it.
pub fn choose(all: &[Listed], way: Way, name: Option<&str>) -> Result<usize, DeviceError> {
    if all.is_empty() {
        return Err(DeviceError::NoneAtAll { way: way.word() });
    }
    let free = |i: usize| match all[i].busy {
        true => Err(DeviceError::Busy { name: all[i].name.clone() }),
        false => Ok(i),
    };
    let Some(name) = name else {
        let own = all.iter().position(|d| d.default);
        return free(own.or_else(|| all.iter().position(|d| !d.busy)).unwrap_or(0));
    };
    let wanted = name.to_lowercase();
    let names = |d: &Listed| [d.id.to_lowercase(), d.name.to_lowercase()];
    if let Some(i) = all.iter().position(|d| names(d).contains(&wanted)) {
        return free(i);
    }
    let part = |d: &Listed| names(d).iter().any(|n| n.contains(&wanted));
    let mut parts = (0..all.len()).filter(|i| part(&all[*i]));
    if let (Some(i), None) = (parts.next(), parts.next()) {
        return free(i);
    }
    let like = |d: &Listed| names(d).iter().map(|n| strsim::jaro_winkler(n, &wanted)).fold(0.0, f64::max);
    let best = all.iter().max_by(|a, b| like(a).total_cmp(&like(b)));
    let nearest = best.map_or_else(String::new, |d| format!(", did you mean \u{201c}{}\u{201d}", d.id));
    Err(DeviceError::Unknown { way: way.word(), name: name.into(), nearest })
}

fn pick(way: Way, name: Option<&str>) -> Result<(Listed, cpal::Device, SupportedStreamConfig), DeviceError> {
    let mut all = find(way);
    let listed: Vec<Listed> = all.iter().map(|f| f.listed.clone()).collect();
    let i = choose(&listed, way, name)?;
    let Found { listed, device, config } = all.swap_remove(i);
    let config = config.ok_or_else(|| DeviceError::Busy { name: listed.name.clone() })?;
    Ok((listed, device, config))
}

fn failed(name: &str, e: &cpal::Error) -> DeviceError {
    let name = name.to_string();
    match e.kind() {
        cpal::ErrorKind::DeviceBusy => DeviceError::Busy { name },
        cpal::ErrorKind::PermissionDenied => DeviceError::Forbidden { name },
        _ => DeviceError::Broken { name, why: e.to_string() },
    }
}

/// What callbacks count; nobody waits for anybody.
#[derive(Debug, Default)]
struct Counts {
    /// Frames that went through.
    frames: AtomicU64,
    /// Frames lost to a full ring (in) or missing in an empty one (out).
    lost: AtomicU64,
    /// Times that happened.
    gaps: AtomicU64,
    /// Errors that the system reported, not counting that sound was late.
    faults: AtomicU32,
    /// Between the callback and the air, µs, as the system tells it; 0 if it does not.
    latency_us: AtomicU64,
    /// Frames of the last callback.
    period: AtomicU32,
}

/// What is known of an open device.
#[derive(Debug, Clone, PartialEq)]
pub struct Health {
    /// Frames that went through.
    pub frames: u64,
    /// Overruns (in) or underruns (out): how often.
    pub gaps: u64,
    /// Frames lost or missing in them.
    pub lost: u64,
    /// Errors that the system reported.
    pub faults: u32,
    /// Frames of one callback.
    pub period: u32,
    /// From the air to the callback or back, ms, as the system tells; absent if it does not.
    pub device_ms: Option<f64>,
    /// What waits in our own ring, ms.
    pub ring_ms: f64,
}

impl Counts {
    fn health(&self, ring: usize, rate: u32) -> Health {
        let us = self.latency_us.load(Relaxed);
        Health {
            frames: self.frames.load(Relaxed),
            gaps: self.gaps.load(Relaxed),
            lost: self.lost.load(Relaxed),
            faults: self.faults.load(Relaxed),
            period: self.period.load(Relaxed),
            device_ms: (us > 0).then_some(us as f64 / 1000.0),
            ring_ms: ring as f64 * 1000.0 / f64::from(rate),
        }
    }

    fn error(&self, e: &cpal::Error) {
        match e.kind() {
            cpal::ErrorKind::Xrun => self.gaps.fetch_add(1, Relaxed),
            cpal::ErrorKind::RealtimeDenied => 0,
            _ => u64::from(self.faults.fetch_add(1, Relaxed)),
        };
    }
}

/// An open microphone.
pub struct Input {
    // First, so that the callback is gone before its ring.
    _stream: cpal::Stream,
    ring: Consumer<f32>,
    counts: Arc<Counts>,
    listed: Listed,
}

/// An open loudspeaker: silent until fed, and never closed between words.
pub struct Output {
    _stream: cpal::Stream,
    ring: Producer<f32>,
    counts: Arc<Counts>,
    listed: Listed,
    capacity: usize,
}

impl Input {
    /// Opens a microphone by name, or the system's own.
    ///
    /// # Errors
    /// It is not there, busy, forbidden or broken.
    pub fn open(name: Option<&str>) -> Result<Input, DeviceError> {
        let (listed, device, config) = pick(Way::In, name)?;
        let (producer, ring) = RingBuffer::new((RING_S * f64::from(listed.rate)) as usize);
        let counts = Arc::new(Counts::default());
        let mut shared = Some(producer);
        let stream = attempt(&listed, &config, |stream_config| {
            let ring = shared.take().unwrap_or_else(|| RingBuffer::new(1).0);
            input(&device, config.sample_format(), stream_config, ring, counts.clone())
        });
        let (stream, ring) = match stream {
            Ok(stream) => (stream, ring),
            // The device's own period, with a ring of its own since the first is gone with the attempt.
            Err(_) => {
                let (producer, ring) = RingBuffer::new((RING_S * f64::from(listed.rate)) as usize);
                let stream_config = StreamConfig { buffer_size: BufferSize::Default, ..config.config() };
                let stream = input(&device, config.sample_format(), stream_config, producer, counts.clone());
                (stream.map_err(|e| failed(&listed.name, &e))?, ring)
            }
        };
        stream.play().map_err(|e| failed(&listed.name, &e))?;
        Ok(Input { _stream: stream, ring, counts, listed })
    }

    /// The device.
    pub fn device(&self) -> &Listed {
        &self.listed
    }

    /// Appends everything that has arrived, mono at [`Listed::rate`].
    pub fn read(&mut self, into: &mut Vec<f32>) {
        let Ok(chunk) = self.ring.read_chunk(self.ring.slots()) else { return };
        let (a, b) = chunk.as_slices();
        into.extend_from_slice(a);
        into.extend_from_slice(b);
        chunk.commit_all();
    }

    /// What is known of it.
    pub fn health(&self) -> Health {
        self.counts.health(self.ring.slots(), self.listed.rate)
    }
}

impl Output {
    /// Opens a loudspeaker by name, or the system's own.
    ///
    /// # Errors
    /// It is not there, busy, forbidden or broken.
    pub fn open(name: Option<&str>) -> Result<Output, DeviceError> {
        let (listed, device, config) = pick(Way::Out, name)?;
        let capacity = (RING_S * f64::from(listed.rate)) as usize;
        let (ring, consumer) = RingBuffer::new(capacity);
        let counts = Arc::new(Counts::default());
        let mut shared = Some(consumer);
        let stream = attempt(&listed, &config, |stream_config| {
            let ring = shared.take().unwrap_or_else(|| RingBuffer::new(1).1);
            output(&device, config.sample_format(), stream_config, ring, counts.clone())
        });
        let (stream, ring) = match stream {
            Ok(stream) => (stream, ring),
            Err(_) => {
                let (ring, consumer) = RingBuffer::new(capacity);
                let stream_config = StreamConfig { buffer_size: BufferSize::Default, ..config.config() };
                let stream = output(&device, config.sample_format(), stream_config, consumer, counts.clone());
                (stream.map_err(|e| failed(&listed.name, &e))?, ring)
            }
        };
        stream.play().map_err(|e| failed(&listed.name, &e))?;
        Ok(Output { _stream: stream, ring, counts, listed, capacity })
    }

    /// The device.
    pub fn device(&self) -> &Listed {
        &self.listed
    }

    /// Frames that wait to be played.
    pub fn waiting(&self) -> usize {
        self.capacity - self.ring.slots()
    }

    /// Appends mono samples at [`Listed::rate`]; what does not fit is dropped and counted.
    pub fn write(&mut self, samples: &[f32]) {
        let (_, rest) = self.ring.push_partial_slice(samples);
        if !rest.is_empty() {
            self.counts.gaps.fetch_add(1, Relaxed);
            self.counts.lost.fetch_add(rest.len() as u64, Relaxed);
        }
    }

    /// What is known of it.
    pub fn health(&self) -> Health {
        self.counts.health(self.waiting(), self.listed.rate)
    }
}

/// Tries with a short period.
fn attempt<T>(
    listed: &Listed,
    config: &SupportedStreamConfig,
    open: impl FnOnce(StreamConfig) -> Result<T, cpal::Error>,
) -> Result<T, cpal::Error> {
    let period = (PERIOD_S * f64::from(listed.rate)) as u32;
    open(StreamConfig { buffer_size: BufferSize::Fixed(period), ..config.config() })
}

/// Opens with the sample type that the device has.
macro_rules! typed {
    ($format:expr, $open:ident($($arg:expr),*)) => {
        match $format {
            SampleFormat::I8 => $open::<i8>($($arg),*),
            SampleFormat::I16 => $open::<i16>($($arg),*),
            SampleFormat::I24 => $open::<cpal::I24>($($arg),*),
            SampleFormat::I32 => $open::<i32>($($arg),*),
            SampleFormat::U8 => $open::<u8>($($arg),*),
            SampleFormat::U16 => $open::<u16>($($arg),*),
            SampleFormat::U32 => $open::<u32>($($arg),*),
            SampleFormat::F64 => $open::<f64>($($arg),*),
            _ => $open::<f32>($($arg),*),
        }
    };
}

fn input(
    device: &cpal::Device,
    format: SampleFormat,
    config: StreamConfig,
    ring: Producer<f32>,
    counts: Arc<Counts>,
) -> Result<cpal::Stream, cpal::Error> {
    typed!(format, input_of(device, config, ring, counts))
}

fn input_of<T: SizedSample>(
    device: &cpal::Device,
    config: StreamConfig,
    mut ring: Producer<f32>,
    counts: Arc<Counts>,
) -> Result<cpal::Stream, cpal::Error>
where
    f32: FromSample<T>,
{
    let channels = usize::from(config.channels.max(1));
    let share = 1.0 / channels as f32;
    let errors = counts.clone();
    let rate = config.sample_rate;
    // Another host's thread may be the only one that talks to its server, and must have it back at once.
    let mut pause = device.id().is_ok_and(|id| id.host().name() == "ALSA").then(Pause::default);
    let heard = move |data: &[T], info: &cpal::InputCallbackInfo| {
        let came = Instant::now();
        let frames = data.len() / channels;
        let mut fit = frames.min(ring.slots());
        if let Ok(chunk) = ring.write_chunk_uninit(fit) {
            let mono = data.chunks_exact(channels).map(|f| f.iter().map(|s| f32::from_sample(*s)).sum::<f32>() * share);
            fit = chunk.fill_from_iter(mono);
        }
        if fit < frames {
            counts.gaps.fetch_add(1, Relaxed);
            counts.lost.fetch_add((frames - fit) as u64, Relaxed);
        }
        counts.frames.fetch_add(frames as u64, Relaxed);
        counts.period.store(frames as u32, Relaxed);
        let t = info.timestamp();
        counts.latency_us.store(t.callback.duration_since(t.capture).as_micros() as u64, Relaxed);
        let period = Duration::from_secs_f64(frames as f64 / f64::from(rate));
        pause.iter_mut().for_each(|p| p.sleep(came, period));
    };
    device.build_input_stream(config, heard, move |e| errors.error(&e), Some(OPEN_LIMIT))
}

fn output(
    device: &cpal::Device,
    format: SampleFormat,
    config: StreamConfig,
    ring: Consumer<f32>,
    counts: Arc<Counts>,
) -> Result<cpal::Stream, cpal::Error> {
    typed!(format, output_of(device, config, ring, counts))
}

fn output_of<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    mut ring: Consumer<f32>,
    counts: Arc<Counts>,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels.max(1));
    let errors = counts.clone();
    // Before the first samples an empty ring is no underrun.
    let mut begun = false;
    let play = move |data: &mut [T], info: &cpal::OutputCallbackInfo| {
        let frames = data.len() / channels;
        let there = frames.min(ring.slots());
        let mut given = 0;
        if let Ok(chunk) = ring.read_chunk(there) {
            for (frame, sample) in data.chunks_exact_mut(channels).zip(chunk) {
                frame.fill(T::from_sample(sample.clamp(-1.0, 1.0)));
                given += 1;
            }
        }
        // What is missing is silence, never the last buffer again.
        data[given * channels..].fill(T::EQUILIBRIUM);
        begun |= given > 0;
        if begun && given < frames {
            counts.gaps.fetch_add(1, Relaxed);
            counts.lost.fetch_add((frames - given) as u64, Relaxed);
        }
        counts.frames.fetch_add(frames as u64, Relaxed);
        counts.period.store(frames as u32, Relaxed);
        let t = info.timestamp();
        counts.latency_us.store(t.playback.duration_since(t.callback).as_micros() as u64, Relaxed);
    };
    device.build_output_stream(config, play, move |e| errors.error(&e), Some(OPEN_LIMIT))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn listed(name: &str, id: &str, default: bool) -> Listed {
        Listed { name: name.into(), id: id.into(), default, busy: false, rate: 48_000, channels: 2 }
    }

    #[test]
    fn a_name_means_one_device_or_the_nearest_is_offered() {
        let all = [
            listed("Built-in Audio", "alsa.pci", false),
            listed("Left Headset Mono", "usb.headset.left", true),
            listed("Right Headset Mono", "usb.headset.right", false),
        ];
        let check = |name: Option<&str>, wanted: Result<usize, &str>| {
            let got = choose(&all, Way::In, name).map_err(|e| e.to_string());
            assert_eq!(got, wanted.map_err(String::from), "{name:?}");
        };
        check(None, Ok(1));
        check(Some("ALSA.PCI"), Ok(0));
        check(Some("right headset mono"), Ok(2));
        check(Some("built"), Ok(0));
        check(
            Some("headset"),
            Err(
                "there is no microphone \u{201c}headset\u{201d}, did you mean \u{201c}usb.headset.left\u{201d}; antiphon doctor lists all that there are",
            ),
        );
        check(
            Some("usb headset rihgt"),
            Err(
                "there is no microphone \u{201c}usb headset rihgt\u{201d}, did you mean \u{201c}usb.headset.right\u{201d}; antiphon doctor lists all that there are",
            ),
        );
        let none = choose(&[], Way::Out, None).map_err(|e| e.to_string());
        assert_eq!(none, Err("this machine has no loudspeaker: plug one in, or start the sound server".into()));
    }

    #[test]
    fn what_another_program_holds_is_told_and_not_another_taken() {
        let busy = |name: &str, id: &str, default| Listed { busy: true, ..listed(name, id, default) };
        let told = "Headset is in use by another program: close that, or choose another device";
        let check = |all: &[Listed], name: Option<&str>, wanted: Result<usize, &str>| {
            let got = choose(all, Way::Out, name).map_err(|e| e.to_string());
            assert_eq!(got, wanted.map_err(String::from), "{name:?}");
        };
        let all = [busy("Headset", "usb.headset", false), listed("Built-in Audio", "alsa.pci", false)];
        check(&all, Some("usb.headset"), Err(told));
        check(&all, Some("headset"), Err(told));
        check(&all, None, Ok(1));
        check(&[busy("Headset", "usb.headset", true), all[1].clone()], None, Err(told));
        check(&all[..1], None, Err(told));
    }

    #[test]
    fn what_the_system_answers_is_a_sentence() {
        let error = |kind| cpal::Error::new(kind);
        assert!(offered(Err(error(cpal::ErrorKind::DeviceBusy))).is_some_and(|c| c.is_none()), "busy is there");
        assert!(offered(Err(error(cpal::ErrorKind::DeviceNotAvailable))).is_none());
        let check = |kind, wanted: &str| assert_eq!(failed("Headset", &error(kind)).to_string(), wanted, "{kind:?}");
        check(
            cpal::ErrorKind::DeviceBusy,
            "Headset is in use by another program: close that, or choose another device",
        );
        check(
            cpal::ErrorKind::PermissionDenied,
            "the system does not let this program use Headset: allow it in the privacy settings",
        );
        let broken = failed("Headset", &error(cpal::ErrorKind::DeviceNotAvailable)).to_string();
        assert!(broken.starts_with("Headset cannot be opened ("), "{broken}");
        assert!(broken.ends_with("): unplug it and plug it in again, or choose another device"), "{broken}");
    }
}
