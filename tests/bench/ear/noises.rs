//! What else the microphone picks up, and the room that the pilot sits in.

use super::speakers::Line;
use antiphon::edge::audio::echo::Canceller;
use antiphon::edge::audio::level;
use antiphon::edge::captain::{mix, noise::Cabin};
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64Mcg;

/// Kinds of noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Noise {
    /// Falls 3 dB an octave.
    Broadband,
    /// The roar of engines below 200 Hz, with two beating tones.
    Rumble,
    /// Six people at once.
    Babble,
    /// The program's own voice from a loudspeaker in the room, as the canceller leaves it; the ratio is that before it.
    OwnVoice,
}

pub const NOISES: [Noise; 4] = [Noise::Broadband, Noise::Rumble, Noise::Babble, Noise::OwnVoice];

impl Noise {
    pub fn name(self) -> &'static str {
        match self {
            Noise::Broadband => "broadband",
            Noise::Rumble => "rumble",
            Noise::Babble => "babble",
            Noise::OwnVoice => "own voice",
        }
    }
}

/// Uniform from 0 to 1.
pub fn unit(rng: &mut impl Rng) -> f64 {
    f64::from(rng.next_u32()) / (f64::from(u32::MAX) + 1.0)
}

/// So many samples of a noise. `voices` are what babble and the leak are made of.
pub fn noise(kind: Noise, samples: usize, seed: u64, voices: &[Vec<f32>]) -> Vec<f32> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0x6e6f_6973);
    match kind {
        Noise::Broadband => {
            let mut state = [0.0f64; 3];
            (0..samples + 4_000)
                .map(|_| {
                    let w = 2.0 * unit(&mut rng) - 1.0;
                    state[0] = 0.997_65 * state[0] + w * 0.099_046;
                    state[1] = 0.963_00 * state[1] + w * 0.296_516_4;
                    state[2] = 0.570_00 * state[2] + w * 1.052_691_3;
                    (state.iter().sum::<f64>() + w * 0.1848) as f32
                })
                .skip(4_000)
                .collect()
        }
        Noise::Rumble => {
            let mut low = [0.0f64; 2];
            let (a, b) = (92.0 + 10.0 * unit(&mut rng), 97.0 + 10.0 * unit(&mut rng));
            (0..samples + 4_000)
                .map(|i| {
                    let w = 2.0 * unit(&mut rng) - 1.0;
                    low[0] += 0.075 * (w - low[0]);
                    low[1] += 0.075 * (low[0] - low[1]);
                    let t = i as f64 / 16_000.0 * std::f64::consts::TAU;
                    let hum = 0.02 * ((a * t).sin() + (b * t).sin() + 0.5 * (2.0 * a * t).sin());
                    (low[1] + hum + 0.004 * w) as f32
                })
                .skip(4_000)
                .collect()
        }
        Noise::Babble => {
            let mut all = vec![0.0f32; samples];
            for _ in 0..6 {
                talk(&mut all, &mut rng, voices, 0.05);
            }
            all
        }
        Noise::OwnVoice => {
            let mut one = vec![0.0f32; samples];
            talk(&mut one, &mut rng, voices, 0.3);
            one
        }
    }
}

/// Adds one person who talks on and on, with pauses of up to `pause` seconds.
fn talk(into: &mut [f32], rng: &mut impl Rng, voices: &[Vec<f32>], pause: f64) {
    let Some(first) = voices.get(rng.next_u32() as usize % voices.len().max(1)) else { return };
    let mut at = 0;
    let mut skip = rng.next_u32() as usize % first.len().max(1);
    let mut clip = first;
    while at < into.len() {
        for s in &clip[skip.min(clip.len())..] {
            let Some(to) = into.get_mut(at) else { return };
            *to += s;
            at += 1;
        }
        at += (unit(rng) * pause * 16_000.0) as usize + 1;
        skip = 0;
        clip = &voices[rng.next_u32() as usize % voices.len()];
    }
}

/// The speech in a small room: early reflections and a tail of 0.4 s (a plausible study, not a measured room).
pub fn reverberate(speech: &[f32], seed: u64) -> Vec<f32> {
    let mut rng = Pcg64Mcg::seed_from_u64(seed ^ 0x726f_6f6d);
    let length = (0.4 * 16_000.0) as usize;
    let mut impulse: Vec<(usize, f32)> = vec![(0, 1.0)];
    for _ in 0..400 {
        let at = 60 + (unit(&mut rng) * length as f64) as usize;
        // −60 dB at the tail's end.
        let fall = 10f64.powf(-3.0 * at as f64 / length as f64);
        impulse.push((at, (0.16 * fall * (2.0 * unit(&mut rng) - 1.0)) as f32));
    }
    let mut out = vec![0.0; speech.len() + length + 61];
    for (at, gain) in impulse {
        for (o, s) in out[at..].iter_mut().zip(speech) {
            *o += gain * s;
        }
    }
    out
}

/// Speech of several clips with pauses, and the same with noise over all of it.
pub struct Scene {
    pub samples: Vec<f32>,
    /// First and last voiced sample of each clip.
    pub clips: Vec<(usize, usize)>,
}

/// Lays clips out with `gap` seconds before each and 1.0 s after the last, over `noise` at `snr_db` (quiet: a soft floor
/// 45 dB below the speech), at a loudness `gain_db` from the common level.
pub fn scene(clips: &[Vec<f32>], gap: f64, noise: &dyn Fn(usize) -> Vec<f32>, snr_db: f64, gain_db: f64) -> Scene {
    let gap = (gap * 16_000.0) as usize;
    let mut speech = Vec::new();
    let mut spans = Vec::new();
    for clip in clips {
        speech.extend(std::iter::repeat_n(0.0f32, gap));
        let (a, b) = level::voiced(clip, 16_000, 34.0).unwrap_or((0, clip.len()));
        spans.push((speech.len() + a, speech.len() + b));
        speech.extend_from_slice(clip);
    }
    speech.extend(std::iter::repeat_n(0.0f32, 16_000));
    let all = noise(speech.len());
    let mut samples = if level::active_rms(&speech, 16_000) > 0.0 {
        mix(&speech, &all, snr_db, 16_000)
    } else {
        all.iter().map(|s| s * level::from_db(-20.0 - snr_db) as f32 / level::rms(&all) as f32).collect()
    };
    let gain = level::from_db(gain_db) as f32;
    samples.iter_mut().for_each(|s| *s = (*s * gain).clamp(-1.0, 1.0));
    Scene { samples, clips: spans }
}

/// How long we have been talking before the scene begins: the canceller has to learn the room.
const LEARNT: usize = 6 * 16_000;
/// The way from our sound to the microphone, and what the canceller is told of it.
const WAY: usize = 640;
const TOLD_S: f64 = 0.03;

/// The same as [`scene`] with our own voice, which comes back through the room and is taken off as the program does it.
pub fn over_us(clips: &[Vec<f32>], gap: f64, seed: u64, voices: &[Vec<f32>], snr_db: f64, gain_db: f64) -> Scene {
    let skip = (gap * 16_000.0) as usize + LEARNT;
    let all: Vec<Vec<f32>> = std::iter::once(vec![0.0; LEARNT]).chain(clips.iter().cloned()).collect();
    let said = std::cell::RefCell::new(Vec::new());
    let heard = |n: usize| {
        let crew = noise(Noise::OwnVoice, n, seed, voices);
        let room = reverberate(&crew, seed ^ 1);
        *said.borrow_mut() = crew;
        std::iter::repeat_n(0.0, WAY).chain(room).take(n).collect()
    };
    let mut scene = scene(&all, gap, &heard, snr_db, gain_db);
    let (mut canceller, mut clean) = (Canceller::new(TOLD_S), Vec::new());
    // In the steps of the sound thread.
    for (mic, crew) in scene.samples.chunks(80).zip(said.borrow().chunks(80)) {
        canceller.clean(mic, crew, &mut clean);
    }
    clean.resize(scene.samples.len(), 0.0);
    scene.samples = clean.split_off(skip);
    scene.clips.remove(0);
    scene.clips.iter_mut().for_each(|(a, b)| (*a, *b) = (*a - skip, *b - skip));
    scene
}

/// The soft noise of a microphone in a quiet room.
pub fn floor(samples: usize, seed: u64) -> Vec<f32> {
    let mut out = vec![0.0; samples];
    Cabin::new(seed).fill(&mut out);
    out
}

/// Lines for babble and for the program's own voice.
pub fn background(lines: &[Line], studio: &super::speakers::Studio) -> Vec<Vec<f32>> {
    lines.iter().map(|l| studio.sound(l)).collect()
}
