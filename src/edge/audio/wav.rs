//! Reading WAV files as they come.
//!
//! A lenient look at the chunks (odd lengths, unfinished headers, extensible formats) writes a plain header, and
//! `hound` decodes the samples behind it.

use super::{AudioError, EAR_RATE, resample};
use std::fs::File;
use std::io::{BufReader, Cursor, Read};
use std::path::Path;

/// Which of a file's channels to hear.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Channel {
    /// The mean of all.
    #[default]
    Mix,
    /// This one, from 0.
    Only(u16),
}

/// Sound from a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Wav {
    /// Samples per second.
    pub rate: u32,
    /// Mono, finite, within ±1; a constant offset is taken out.
    pub samples: Vec<f32>,
    /// What the file held.
    pub source: Source,
    /// What was mended in reading, one sentence each; empty if nothing.
    pub warnings: Vec<String>,
}

/// What a file held before conversion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Source {
    /// Samples per second.
    pub rate: u32,
    /// Number of channels.
    pub channels: u16,
    /// Bits a sample: 8, 16, 24 or 32.
    pub bits: u16,
    /// Floating point.
    pub float: bool,
}

impl Wav {
    /// Seconds of sound.
    pub fn duration_s(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate)
    }
}

/// Reads a file for the ear: all channels mixed, 16 kHz.
pub fn read_16k(path: &Path) -> Result<Wav, AudioError> {
    read(path, Channel::Mix, Some(EAR_RATE))
}

/// Reads a file, with its own rate if `rate` is absent.
///
/// A truncated file gives what is there and a warning; a file that is empty or is no WAV is refused.
pub fn read(path: &Path, channel: Channel, rate: Option<u32>) -> Result<Wav, AudioError> {
    let name = path.display().to_string();
    let told = |e: std::io::Error| AudioError::Read { file: name.clone(), why: plain(&e) };
    let file = File::open(path).map_err(told)?;
    let meta = file.metadata().map_err(told)?;
    if meta.is_dir() {
        return Err(AudioError::Read { file: name, why: "it is a folder".into() });
    }
    decode(&name, BufReader::new(file), meta.is_file().then_some(meta.len()), channel, rate)
}

/// Reads WAV bytes that are already in memory; `name` is for messages.
pub fn read_bytes(name: &str, bytes: &[u8], channel: Channel, rate: Option<u32>) -> Result<Wav, AudioError> {
    decode(name, bytes, Some(bytes.len() as u64), channel, rate)
}

fn plain(e: &std::io::Error) -> String {
    match e.kind() {
        std::io::ErrorKind::NotFound => "no such file".into(),
        std::io::ErrorKind::PermissionDenied => "not permitted".into(),
        _ => e.to_string(),
    }
}

/// What the chunks before the samples say.
struct Head {
    source: Source,
    block: u16,
    /// Bytes of samples that the header promises; absent if it was never finished.
    promised: Option<u64>,
    /// Bytes read before the first sample.
    offset: u64,
}

fn decode(
    name: &str,
    mut input: impl Read,
    size: Option<u64>,
    channel: Channel,
    rate: Option<u32>,
) -> Result<Wav, AudioError> {
    let foreign = |what: &str| AudioError::Foreign { file: name.into(), what: what.into() };
    let head = head(&mut input, size).map_err(|what| foreign(&what))?;
    let Source { channels, rate: own, .. } = head.source;
    if let Channel::Only(c) = channel
        && c >= channels
    {
        return Err(foreign(&format!("has {channels} channel(s), not {}", u32::from(c) + 1)));
    }
    let mut warnings = Vec::new();
    let there = size.map(|s| s.saturating_sub(head.offset));
    let length = match (head.promised, there) {
        (Some(p), Some(t)) => p.min(t),
        (Some(p), None) => p,
        (None, Some(t)) => t,
        (None, None) => u64::from(u32::MAX),
    };
    let length = length - length % u64::from(head.block);
    let canonical = Cursor::new(plain_header(&head, length.min(u64::from(u32::MAX - 64)) as u32));
    let mut reader =
        hound::WavReader::new(canonical.chain(input)).map_err(|e| foreign(&format!("is unreadable ({e})")))?;
    let (mono, mut mended) = if head.source.float {
        mix(reader.samples::<f32>(), channels, channel)
    } else {
        let scale = 1.0 / (1u64 << (head.source.bits - 1)) as f32;
        mix(reader.samples::<i32>().map(|s| s.map(|v| v as f32 * scale)), channels, channel)
    };
    let seconds = |n: u64| n as f64 / f64::from(own);
    if let Some(promised) = head.promised {
        let frames = promised / u64::from(head.block);
        if (mono.len() as u64) < frames {
            warnings.push(format!(
                "{name} is cut short: {:.2} s of {:.2} s are there and were read",
                seconds(mono.len() as u64),
                seconds(frames)
            ));
        }
    } else {
        warnings.push(format!(
            "{name} has an unfinished header: all {:.2} s behind it were read",
            seconds(mono.len() as u64)
        ));
    }
    if mono.is_empty() {
        warnings.push(format!("{name} holds no sound"));
    }
    let mut samples = mono;
    mended.tidy(&mut samples);
    if mended.not_numbers > 0 {
        warnings.push(format!("{name} has {} samples that are no numbers: taken as silence", mended.not_numbers));
    }
    if mended.too_loud {
        warnings.push(format!("{name} goes beyond full scale: turned down to fit"));
    }
    let rate = rate.unwrap_or(own);
    if rate != own {
        samples = resample::resample(&samples, own, rate)?;
        samples.iter_mut().for_each(|s| *s = s.clamp(-1.0, 1.0));
    }
    Ok(Wav { rate, samples, source: head.source, warnings })
}

/// Reads chunks up to the samples. `Err` continues a sentence that begins with the file's name.
fn head(input: &mut impl Read, size: Option<u64>) -> Result<Head, String> {
    if size == Some(0) {
        return Err("is empty".into());
    }
    let mut riff = [0u8; 12];
    take(input, &mut riff).map_err(|_| "is too short to be a WAV")?;
    if !matches!(&riff[..4], b"RIFF" | b"RF64" | b"BW64") || &riff[8..] != b"WAVE" {
        return Err("is no WAV".into());
    }
    let mut offset = 12u64;
    let mut format: Option<(Source, u16)> = None;
    loop {
        let mut chunk = [0u8; 8];
        take(input, &mut chunk).map_err(|_| "ends before its sound begins")?;
        offset += 8;
        let len = u32::from_le_bytes([chunk[4], chunk[5], chunk[6], chunk[7]]);
        if &chunk[..4] == b"data" {
            let (source, block) = format.ok_or("does not say what its samples are")?;
            // Zero and all-ones are what writers leave that were stopped, or that could not go back.
            let rest = size.map(|s| s.saturating_sub(offset));
            let unfinished = len == u32::MAX || (len == 0 && rest != Some(0));
            return Ok(Head { source, block, promised: (!unfinished).then_some(u64::from(len)), offset });
        }
        let padded = u64::from(len) + u64::from(len & 1);
        offset += padded;
        if &chunk[..4] == b"fmt " && (16..=1024).contains(&len) {
            let mut body = vec![0u8; padded as usize];
            take(input, &mut body).map_err(|_| "ends before its sound begins")?;
            format = Some(fmt(&body)?);
        } else {
            let skipped = std::io::copy(&mut input.by_ref().take(padded), &mut std::io::sink());
            if skipped.map_err(|e| e.to_string())? < padded {
                return Err("ends before its sound begins".into());
            }
        }
    }
}

fn take(input: &mut impl Read, buffer: &mut [u8]) -> std::io::Result<()> {
    input.read_exact(buffer)
}

/// The format chunk: what the samples are, and the bytes of one frame.
fn fmt(body: &[u8]) -> Result<(Source, u16), String> {
    let word = |at: usize| u16::from_le_bytes([body[at], body[at + 1]]);
    let rate = u32::from_le_bytes([body[4], body[5], body[6], body[7]]);
    let (mut tag, channels, block) = (word(0), word(2), word(12));
    if tag == 0xfffe && body.len() >= 26 {
        // Extensible: the real tag leads the sub-format; valid bits are the upper ones of the container.
        tag = word(24);
    }
    if channels == 0 || channels > 64 || block == 0 || block % channels != 0 {
        return Err(format!("says {channels} channels in {block} bytes a frame"));
    }
    if !resample::RATES.contains(&rate) {
        return Err(format!("says {rate} samples a second"));
    }
    let bits = (block / channels).saturating_mul(8);
    let float = match (tag, bits) {
        (1, 8 | 16 | 24 | 32) => false,
        (3, 32) => true,
        (1, _) => return Err(format!("has {bits}-bit samples")),
        (3, _) => return Err(format!("has {bits}-bit floating-point samples")),
        _ => return Err(format!("is compressed (format {tag})")),
    };
    Ok((Source { rate, channels, bits, float }, block))
}

/// The plainest header for the same samples.
fn plain_header(head: &Head, length: u32) -> Vec<u8> {
    let s = head.source;
    let mut out = Vec::with_capacity(44);
    out.extend_from_slice(b"RIFF");
    out.extend_from_slice(&(36 + length).to_le_bytes());
    out.extend_from_slice(b"WAVEfmt ");
    out.extend_from_slice(&16u32.to_le_bytes());
    out.extend_from_slice(&(if s.float { 3u16 } else { 1 }).to_le_bytes());
    out.extend_from_slice(&s.channels.to_le_bytes());
    out.extend_from_slice(&s.rate.to_le_bytes());
    out.extend_from_slice(&(s.rate * u32::from(head.block)).to_le_bytes());
    out.extend_from_slice(&head.block.to_le_bytes());
    out.extend_from_slice(&s.bits.to_le_bytes());
    out.extend_from_slice(b"data");
    out.extend_from_slice(&length.to_le_bytes());
    out
}

/// A constant part beyond this is a fault of the recording, not of the speech.
const OFFSET: f64 = 2e-3;

/// What had to be mended in the samples.
#[derive(Default)]
struct Mended {
    not_numbers: usize,
    too_loud: bool,
}

impl Mended {
    /// Takes out the constant offset, then brings the peak within full scale.
    fn tidy(&mut self, samples: &mut [f32]) {
        if samples.is_empty() {
            return;
        }
        let mean = samples.iter().map(|s| f64::from(*s)).sum::<f64>() / samples.len() as f64;
        // Less is what speech itself has, and digital silence should stay exact zero.
        if mean.abs() > OFFSET {
            samples.iter_mut().for_each(|s| *s = (f64::from(*s) - mean) as f32);
        }
        let peak = samples.iter().fold(0.0f32, |p, s| p.max(s.abs()));
        // An offset of nearly full scale may leave slightly more than 1 on one side: that is no fault of the file.
        if peak > 1.0 {
            self.too_loud = mean.abs() <= OFFSET || peak > 2.0;
            samples.iter_mut().for_each(|s| *s /= peak);
        }
    }
}

/// Frames to mono; stops at the first sample that cannot be read.
fn mix(samples: impl Iterator<Item = hound::Result<f32>>, channels: u16, channel: Channel) -> (Vec<f32>, Mended) {
    let mut mended = Mended::default();
    let mut mono = Vec::new();
    let (mut at, mut sum) = (0u16, 0.0f32);
    for sample in samples {
        let Ok(mut sample) = sample else { break };
        if !sample.is_finite() {
            mended.not_numbers += 1;
            sample = 0.0;
        }
        match channel {
            Channel::Mix => sum += sample / f32::from(channels),
            Channel::Only(c) if c == at => sum = sample,
            Channel::Only(_) => {}
        }
        at += 1;
        if at == channels {
            mono.push(sum);
            (at, sum) = (0, 0.0);
        }
    }
    (mono, mended)
}

#[cfg(test)]
mod tests;
