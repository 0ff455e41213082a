//! `antiphon doctor --listen`: five seconds of the microphone, and what to make of them.

use super::doctor::{Row, sound_devices};
use super::sound::{End, Ends};
use super::{Failure, wiring};
use crate::edge::audio::device::Way;
use crate::edge::audio::duplex::{Devices, Duplex, Handle, PLAY_RATE, Piece, Told, Wanted};
use crate::edge::audio::{EAR_RATE, level};
use crate::edge::buttons::pads::Controllers;
use crate::edge::buttons::{PadEvent, Pads};
use crate::edge::native::{Runtime, Vad};
use crate::edge::store::{Choices, Places};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

/// How long is listened.
const LISTEN: Duration = Duration::from_secs(5);
/// Below this level speech is too quiet for the ear to tell from noise, and above it it will clip, dB full scale. Ours;
/// common practice, no source.
const SPEECH_DB: (f64, f64) = (-42.0, -6.0);
/// What is between words should be so much softer than the words, dB: the ear was measured down to 5 (docs/benchmarks.md).
const ABOVE_NOISE_DB: f64 = 10.0;
/// More of the samples than this at full scale is clipping.
const CLIPPED: f64 = 0.001;
/// Frames of 32 ms in which somebody speaks that count as speech.
const SPOKEN: usize = 8;
/// The tone by which the way through loudspeaker, room and microphone is measured, s.
const TONE_S: f64 = 0.1;
/// The longest way that is looked for, s: what takes longer is of no use for a conversation.
const LONGEST_WAY_S: f64 = 0.6;
/// More sound than this is not kept, s: a device without a clock of its own hands over as much as one takes.
const MOST_S: f64 = 8.0;

/// Listens, and measures what can be measured of the way through the devices.
pub fn rows(places: &Places, last: &Choices) -> Result<Vec<Row>, Failure> {
    let mut ends = Ends::settle(None, None, false, false, last);
    let Some(loudspeakers) = sound_devices(Way::Out) else {
        return Err(Failure::new("the sound server does not answer: start it again"));
    };
    if loudspeakers.is_empty() {
        ends.speaker = End::Nothing;
    }
    let (send, pieces) = mpsc::channel();
    let told = move |told| {
        if let Told::Piece(piece) = told {
            let _ = send.send(piece);
        }
    };
    let opened = Duplex::open(ends.mic.device(), ends.speaker.device(), told);
    let (_open, handle) = opened.map_err(|e| Failure::new(e.to_string()))?;
    let name = handle.devices().mic.map_or_else(String::new, |(l, _)| l.name);
    outln!("listening to {name} for five seconds: say a few calls as you would in flight; press your buttons too …\n");
    let presses = std::thread::spawn(presses);
    let mut heard = Vec::new();
    for piece in arriving(&pieces, LISTEN) {
        keep(&mut heard, piece.mic);
    }
    let mut rows = judge(&heard, spoken(places, &heard));
    rows.extend(presses.join().unwrap_or_default());
    let loop_ms = match ends.speaker.device() {
        Wanted::Nothing => None,
        _ => measured_ms(&handle, &pieces),
    };
    rows.extend(latencies(&handle.devices(), loop_ms));
    Ok(rows)
}

fn arriving(pieces: &Receiver<Piece>, limit: Duration) -> impl Iterator<Item = Piece> {
    let end = Instant::now() + limit;
    std::iter::from_fn(move || pieces.recv_timeout(end.checked_duration_since(Instant::now())?).ok())
}

fn keep(kept: &mut Vec<f32>, piece: Vec<f32>) {
    let room = ((MOST_S * f64::from(EAR_RATE)) as usize).saturating_sub(kept.len());
    kept.extend(piece.into_iter().take(room));
}

/// What arrives from controllers meanwhile.
fn presses() -> Vec<Row> {
    let Ok(mut pads) = Controllers::open() else { return Vec::new() };
    let end = Instant::now() + LISTEN;
    let mut rows = Vec::new();
    while Instant::now() < end {
        if let Some(PadEvent::Down((name, button))) = pads.next(Duration::from_millis(100)) {
            outln!("button {button} of {name} pressed");
            rows.push(Row::fine("button", name, format!("button {button} arrived")));
        }
    }
    rows
}

/// How many frames are speech; `None` where the model for it is not there.
fn spoken(places: &Places, samples: &[f32]) -> Option<usize> {
    let runtime = Runtime::open(&places.models().ok()?).ok()?;
    let mut vad = Vad::open(&runtime).ok()?;
    let speech = |frame: &[f32]| vad.probability(frame).is_ok_and(|p| p >= 0.5);
    Some(samples.chunks_exact(Vad::FRAME).map(speech).filter(|s| *s).count())
}

/// What five seconds of sound at [`EAR_RATE`] say about a microphone; `spoken` as [`spoken`] counts.
fn judge(samples: &[f32], spoken: Option<usize>) -> Vec<Row> {
    if samples.len() < EAR_RATE as usize {
        let remedy = "plug it in again, choose another with antiphon fly --mic, or restart the sound server";
        return vec![Row::lacks("listen", "samples", "none arrive", remedy)];
    }
    let mut levels: Vec<f64> = samples.chunks(EAR_RATE as usize / 50).map(level::rms).collect();
    levels.sort_by(f64::total_cmp);
    let at = |share: f64| level::to_db(levels[((levels.len() - 1) as f64 * share) as usize].max(1e-6));
    let (noise, speech) = (at(0.1), at(0.95));
    if samples.iter().all(|s| *s == 0.0) {
        let remedy = "switch the microphone on, at the headset or in the sound settings";
        return vec![Row::lacks("listen", "level", "pure silence: muted", remedy)];
    }
    let found = format!("loudest words {speech:.0} dBFS, between them {noise:.0} dBFS");
    let said = spoken.is_none_or(|n| n >= SPOKEN);
    let mut rows = vec![match speech {
        s if said && s < SPEECH_DB.0 => {
            Row::lacks("listen", "level", found, "turn the microphone up in the sound settings, or bring it nearer")
        }
        s if s > SPEECH_DB.1 => Row::lacks("listen", "level", found, "turn the microphone down in the sound settings"),
        _ => Row::fine("listen", "level", found),
    }];
    let apart = speech - noise;
    rows.push(match said && apart < ABOVE_NOISE_DB {
        true => Row::lacks(
            "listen",
            "noise",
            format!("{apart:.0} dB below the words"),
            "bring the microphone nearer, or switch off what hums; a headset helps most",
        ),
        false => Row::fine("listen", "noise", format!("{noise:.0} dBFS")),
    });
    let clipped = samples.iter().filter(|s| s.abs() >= 0.999).count() as f64 / samples.len() as f64;
    let found = format!("{:.2} % of the samples", clipped * 100.0);
    rows.push(match clipped > CLIPPED {
        true => Row::lacks("listen", "clipping", found, "turn the microphone down in the sound settings"),
        false => Row::fine("listen", "clipping", found),
    });
    rows.push(match spoken {
        Some(n) if n >= SPOKEN => Row::fine("listen", "speech", format!("found, {:.1} s", n as f64 * 0.032)),
        Some(_) => Row::lacks(
            "listen",
            "speech",
            "none found",
            "say something while it listens; if you did, see whether it is the right microphone (antiphon doctor lists all)",
        ),
        None => Row::fine("listen", "speech", "not looked for: the models are not there"),
    });
    rows
}

/// A tone that rises, at [`PLAY_RATE`].
fn tone() -> Vec<f32> {
    let n = (TONE_S * f64::from(PLAY_RATE)) as usize;
    let one = |i: usize| {
        let t = i as f64 / f64::from(PLAY_RATE);
        let phase = std::f64::consts::TAU * (500.0 * t + 2_500.0 * t * t / (2.0 * TONE_S));
        (0.15 * phase.sin() * (std::f64::consts::PI * t / TONE_S).sin()) as f32
    };
    (0..n).map(one).collect()
}

/// From the loudspeaker's buffer through the air to the ear, ms; `None` if the microphone does not hear the tone.
fn measured_ms(handle: &Handle, pieces: &Receiver<Piece>) -> Option<f64> {
    handle.start(1, tone().into());
    let (mut mic, mut crew) = (Vec::new(), Vec::new());
    for piece in arriving(pieces, Duration::from_millis(1_500)) {
        keep(&mut mic, piece.mic);
        keep(&mut crew, piece.crew);
    }
    lag(&crew, &mic).map(|n| n as f64 * 1000.0 / f64::from(EAR_RATE))
}

/// So many samples later `crew` is in `mic`, if it is.
fn lag(crew: &[f32], mic: &[f32]) -> Option<usize> {
    let (from, to) = level::voiced(crew, EAR_RATE, 30.0)?;
    let sent = &crew[from..to];
    let sent_rms = level::rms(sent);
    let likeness = |late: usize| {
        let got = mic.get(from + late..to + late)?;
        let product: f64 = sent.iter().zip(got).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum();
        let power = sent_rms * level::rms(got) * sent.len() as f64;
        Some((if power > 0.0 { (product / power).abs() } else { 0.0 }, late))
    };
    let best = (0..(LONGEST_WAY_S * f64::from(EAR_RATE)) as usize).map_while(likeness);
    let (likeness, late) = best.max_by(|a, b| a.0.total_cmp(&b.0))?;
    (likeness > 0.4).then_some(late)
}

/// Each buffer on the way, and the whole of it.
fn latencies(known: &Devices, loop_ms: Option<f64>) -> Vec<Row> {
    let told =
        |ms: Option<f64>| ms.map_or("not told by the system".into(), |ms| format!("{ms:.1} ms, as the system tells"));
    let mut rows = Vec::new();
    if let Some((device, health)) = &known.mic {
        let callback = f64::from(health.period) * 1000.0 / f64::from(device.rate);
        rows.push(Row::fine("latency", "microphone", told(health.device_ms)));
        rows.push(Row::fine(
            "latency",
            "its callback",
            format!("{callback:.1} ms, measured; overruns {}", health.gaps),
        ));
        rows.push(Row::fine("latency", "to 16 kHz", format!("{:.1} ms, computed", wiring::to_ear_ms(device.rate))));
    }
    if let Some((device, health)) = &known.speaker {
        let callback = f64::from(health.period) * 1000.0 / f64::from(device.rate);
        rows.push(Row::fine(
            "latency",
            "before the loudspeaker",
            format!("{:.0} ms kept on purpose", known.ahead_s * 1000.0),
        ));
        rows.push(Row::fine(
            "latency",
            "its callback",
            format!("{callback:.1} ms, measured; underruns {}", health.gaps),
        ));
        rows.push(Row::fine("latency", "loudspeaker", told(health.device_ms)));
        rows.push(match loop_ms {
            Some(ms) => {
                Row::fine("latency", "from order to ear", format!("{ms:.0} ms, measured by a tone through the air"))
            }
            None => {
                Row::fine("latency", "from order to ear", "not measured: the microphone does not hear the loudspeaker")
            }
        });
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    fn talk(db: f64, noise_db: f64) -> Vec<f32> {
        let (a, n) = (level::from_db(db) * 2f64.sqrt(), level::from_db(noise_db) * 2f64.sqrt());
        let one = |i: usize| {
            let loud = if (i / 8_000).is_multiple_of(2) { a } else { n };
            ((loud * (i as f64 * 0.3).sin()) as f32).clamp(-1.0, 1.0)
        };
        (0..5 * EAR_RATE as usize).map(one).collect()
    }

    #[test]
    fn each_fault_of_a_microphone_has_its_remedy() {
        let check = |samples: &[f32], spoken: Option<usize>, wanted: &[&str]| {
            let rows = judge(samples, spoken);
            let wrong: Vec<&str> = rows.iter().filter(|r| r.remedy.is_some()).map(|r| r.item.as_str()).collect();
            assert_eq!(wrong, wanted, "{rows:?}");
        };
        check(&talk(-20.0, -60.0), Some(80), &[]);
        check(&talk(-20.0, -60.0), None, &[]);
        check(&talk(-50.0, -80.0), Some(80), &["level"]);
        check(&talk(-4.0, -60.0), Some(80), &["level"]);
        check(&talk(-20.0, -24.0), Some(80), &["noise"]);
        check(&talk(3.0, -60.0), Some(80), &["level", "clipping"]);
        check(&talk(-20.0, -60.0), Some(2), &["speech"]);
        check(&talk(-70.0, -70.0), Some(0), &["speech"]);
        check(&[0.0; 80_000], Some(0), &["level"]);
        check(&[], Some(0), &["samples"]);
    }

    #[test]
    fn the_way_through_the_air_is_found_by_its_tone() {
        let crew: Vec<f32> = {
            let tone: Vec<f32> = tone().into_iter().step_by(3).collect();
            [vec![0.0; 3_000], tone, vec![0.0; 12_000]].concat()
        };
        let noise = |i: usize| ((i as f64 * 12.9898).sin() * 43_758.547).fract() as f32 * 0.02;
        let mic: Vec<f32> =
            (0..crew.len()).map(|i| noise(i) - i.checked_sub(1_234).map_or(0.0, |i| 0.2 * crew[i])).collect();
        assert_eq!(lag(&crew, &mic), Some(1_234));
        let deaf: Vec<f32> = (0..crew.len()).map(noise).collect();
        assert_eq!(lag(&crew, &deaf), None);
        assert_eq!(lag(&[0.0; 100], &mic), None);
    }
}
