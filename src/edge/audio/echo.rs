//! Our own sound taken out of what the microphone hears. The only file that names the echo canceller.
//!
//! What we play is known exactly, so it is a reference: an adaptive filter learns the way from the loudspeaker through the
//! room to the microphone and subtracts it, and what is left of it is suppressed (WebRTC's AEC3, as a port to Rust). The
//! suppression takes from the pilot's words too; so while he speaks himself, what was only subtracted from is passed on.

use super::EAR_RATE;
use sonora_aec3::block::Block;
use sonora_aec3::block_processor::BlockProcessor;
use sonora_aec3::common::BLOCK_SIZE;
use sonora_aec3::config::EchoCanceller3Config;
use std::collections::VecDeque;

/// The canceller thinks in samples of 16 bits.
const FULL_SCALE: f32 = 32_768.0;
/// Both sides come in pieces of their own sizes; the reference waits so long that it never runs dry, s. The echo comes
/// later than that, since sound waits at least as long before the loudspeaker.
const JITTER_S: f64 = 0.020;
/// More waiting for this long means that the clocks of the devices differ; then a block is passed over, s.
const DRIFT_S: f64 = 2.0;
/// Keeps a steady offset of the microphone, which the filter would learn, out: a pole at about 50 Hz.
const POLE: f32 = 0.98;
/// How much of the echo's way the filter learns, blocks of 4 ms: 80 ms of a room.
const FILTER_BLOCKS: usize = 20;
/// The suppression leaves more than this share of the power where somebody speaks himself: far less of an echo alone.
const NEAR: f32 = 0.25;
/// How fast that power is followed, a block; and for how many blocks he counts as speaking: a soft consonant is not the end.
const FOLLOW: f32 = 0.3;
const NEAR_BLOCKS: usize = 50;
/// With nothing to take out for so many blocks the canceller rests: 2 s, in which every echo has died away and everything
/// that it keeps of the reference has become silence, so that it goes on afterwards as if the time between had not been.
const REST_BLOCKS: usize = 500;

/// An echo canceller for one microphone and one loudspeaker, at [`EAR_RATE`].
pub struct Canceller {
    engine: BlockProcessor,
    mic: VecDeque<f32>,
    reference: VecDeque<f32>,
    /// How much of the reference may wait on purpose, samples.
    hold: usize,
    /// The least that has waited lately, and how many blocks that is.
    least: (usize, usize),
    before: (f32, f32),
    render: Block,
    capture: Block,
    /// The echo subtracted, not suppressed.
    linear: Block,
    /// Power with suppression and without.
    power: (f32, f32),
    /// For so many blocks more somebody counts as speaking himself, and how far the change to that has come, 0 to 1.
    near: usize,
    share: f32,
    /// For so many blocks the reference has been silent, to the last bit.
    silent: usize,
}

impl std::fmt::Debug for Canceller {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Canceller").field("hold", &self.hold).field("waiting", &self.reference.len()).finish()
    }
}

fn samples(s: f64) -> usize {
    (s * f64::from(EAR_RATE)) as usize
}

impl Canceller {
    /// A canceller that knows nothing of the room. `delay_s` is what is known of the way from the reference to the
    /// microphone (buffers and devices both ways); the reference waits for most of it, so that what must be searched for is
    /// short.
    pub fn new(delay_s: f64) -> Canceller {
        let hold = samples((delay_s - JITTER_S).clamp(JITTER_S, 0.5));
        let mut config = EchoCanceller3Config::default();
        let filter = &mut config.filter;
        filter.export_linear_aec_output = true;
        (filter.refined.length_blocks, filter.coarse.length_blocks) = (FILTER_BLOCKS, FILTER_BLOCKS);
        (filter.refined_initial.length_blocks, filter.coarse_initial.length_blocks) =
            (FILTER_BLOCKS - 1, FILTER_BLOCKS - 1);
        Canceller {
            engine: BlockProcessor::new(&config, EAR_RATE as usize, 1, 1),
            mic: VecDeque::new(),
            reference: std::iter::repeat_n(0.0, hold).collect(),
            hold,
            least: (usize::MAX, 0),
            before: (0.0, 0.0),
            render: Block::new(1, 1),
            capture: Block::new(1, 1),
            linear: Block::new(1, 1),
            power: (0.0, 0.0),
            near: 0,
            share: 0.0,
            silent: 0,
        }
    }

    /// Takes in what the microphone heard and what we played meanwhile; appends what is left of the former. Up to a block
    /// (4 ms) is held back.
    pub fn clean(&mut self, mic: &[f32], crew: &[f32], out: &mut Vec<f32>) {
        self.mic.extend(mic);
        self.reference.extend(crew);
        while self.mic.len() >= BLOCK_SIZE {
            self.block(out);
        }
    }

    fn block(&mut self, out: &mut Vec<f32>) {
        self.keep_step();
        let mut silent = true;
        for s in self.render.view_mut(0, 0) {
            *s = self.reference.pop_front().unwrap_or(0.0) * FULL_SCALE;
            silent &= *s == 0.0;
        }
        self.silent = if silent { self.silent.saturating_add(1) } else { 0 };
        let mut saturated = false;
        for s in self.capture.view_mut(0, 0) {
            let x = self.mic.pop_front().unwrap_or(0.0);
            saturated |= x.abs() > 0.99;
            let y = x - self.before.0 + POLE * self.before.1;
            self.before = (x, y);
            *s = y * FULL_SCALE;
        }
        self.linear.view_mut(0, 0).copy_from_slice(self.capture.view(0, 0));
        if self.resting() {
            // What it would subtract and suppress is nothing; it would only cost a tenth of a core.
            return self.mix(out);
        }
        self.engine.buffer_render(&self.render);
        self.engine.process_capture(false, saturated, Some(&mut self.linear), &mut self.capture);
        self.mix(out);
    }

    /// Whether there is nothing to take out.
    fn resting(&self) -> bool {
        self.silent > REST_BLOCKS
    }

    /// Suppressed where only we are heard, subtracted where the pilot speaks; from one to the other within a block.
    fn mix(&mut self, out: &mut Vec<f32>) {
        let power = |b: &Block| b.view(0, 0).iter().map(|s| s * s).sum::<f32>();
        self.power.0 += FOLLOW * (power(&self.capture) - self.power.0);
        self.power.1 += FOLLOW * (power(&self.linear) - self.power.1);
        self.near = if self.power.0 > NEAR * self.power.1 { NEAR_BLOCKS } else { self.near.saturating_sub(1) };
        let step = (if self.near > 0 { 1.0 } else { 0.0 } - self.share) / BLOCK_SIZE as f32;
        for (suppressed, linear) in self.capture.view(0, 0).iter().zip(self.linear.view(0, 0)) {
            self.share += step;
            let s = suppressed + self.share * (linear - suppressed);
            out.push((s / FULL_SCALE).clamp(-1.0, 1.0));
        }
    }

    /// Two devices have two clocks: what they differ by is passed over or filled in, a block at a time.
    fn keep_step(&mut self) {
        if self.reference.len() < BLOCK_SIZE {
            self.reference.resize(BLOCK_SIZE, 0.0);
        }
        self.least.0 = self.least.0.min(self.reference.len());
        self.least.1 += 1;
        if self.least.1 * BLOCK_SIZE >= samples(DRIFT_S) {
            if self.least.0 > self.hold + samples(JITTER_S) {
                self.reference.drain(..BLOCK_SIZE);
            }
            self.least = (usize::MAX, 0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::audio::level;
    use rand_core::{Rng, SeedableRng};
    use rand_pcg::Pcg32;

    /// Something like speech: noise in bursts.
    fn babble(seconds: usize, seed: u64) -> Vec<f32> {
        let mut dice = Pcg32::seed_from_u64(seed);
        let mut low = 0.0f32;
        let one = |i: usize, dice: &mut Pcg32, low: &mut f32| {
            let white = dice.next_u32() as f32 / u32::MAX as f32 - 0.5;
            *low += 0.3 * (white - *low);
            if (i / 3_200).is_multiple_of(3) { 0.0 } else { *low * 0.6 }
        };
        (0..seconds * EAR_RATE as usize).map(|i| one(i, &mut dice, &mut low)).collect()
    }

    /// What is left of the echo in the last seconds, dB; `late` samples later, in pieces of these sizes, the microphone's
    /// clock running so many parts in a million fast.
    fn left_db(late: usize, known_s: f64, pieces: (usize, usize), ppm: f64) -> f64 {
        let crew = babble(30, 1);
        let heard = |i: usize| {
            let at = (i as f64 * (1.0 - ppm * 1e-6)) as usize;
            at.checked_sub(late)
                .map_or(0.0, |i| 0.3 * crew[i] + at.checked_sub(late + 300).map_or(0.0, |i| 0.1 * crew[i]))
        };
        let mic: Vec<f32> = (0..crew.len()).map(heard).collect();
        let mut canceller = Canceller::new(known_s);
        let mut out = Vec::new();
        let (mut m, mut c) = (0, 0);
        for now in (0..=crew.len()).step_by(80) {
            let (to_m, to_c) = (now / pieces.0 * pieces.0, now / pieces.1 * pieces.1);
            canceller.clean(&mic[m..to_m], &crew[c..to_c], &mut out);
            (m, c) = (to_m, to_c);
        }
        assert!(out.len() + BLOCK_SIZE + pieces.0 > mic.len() && out.iter().all(|s| s.is_finite()));
        let last = 8 * EAR_RATE as usize;
        level::to_db(level::rms(&out[out.len() - last..]) / level::rms(&mic[mic.len() - last..]))
    }

    #[test]
    fn our_own_sound_is_taken_out_whatever_the_pieces_and_the_delay() {
        for (late, known_s, pieces) in
            [(640, 0.04, (80, 80)), (1_280, 0.04, (160, 400)), (2_400, 0.15, (480, 160)), (4_000, 0.0, (333, 777))]
        {
            let db = left_db(late, known_s, pieces, 0.0);
            assert!(db < -25.0, "{late} samples late, known {known_s} s, {pieces:?}: {db:.1} dB left");
        }
    }

    /// What is left of the echo in the first seconds after a minute in which the crew was as good as silent, dB; and whether
    /// the canceller rested.
    fn left_after_silence_db(nearly: f32) -> (f64, bool) {
        let mut crew = babble(12, 1);
        let again = crew.len() + 60 * EAR_RATE as usize;
        crew.resize(again, nearly);
        crew.extend(babble(3, 3));
        let mic: Vec<f32> = (0..crew.len()).map(|i| i.checked_sub(960).map_or(0.0, |i| 0.3 * crew[i])).collect();
        let (mut canceller, mut out, mut rested) = (Canceller::new(0.05), Vec::new(), false);
        for (m, c) in mic.chunks(160).zip(crew.chunks(160)) {
            canceller.clean(m, c, &mut out);
            rested |= canceller.resting();
        }
        (level::to_db(level::rms(&out[again..]) / level::rms(&mic[again..])), rested)
    }

    #[test]
    fn rested_it_is_as_good_as_one_that_never_rests() {
        let (awake, rested) = left_after_silence_db(1e-12);
        assert!(!rested);
        let (after_rest, rested) = left_after_silence_db(0.0);
        assert!(rested && after_rest < awake + 0.5, "{after_rest:.1} dB left, and without a rest {awake:.1}");
    }

    #[test]
    fn clocks_that_differ_do_not_matter() {
        // Sound cards keep within some tens of parts in a million of each other; what is left is quiet, not gone.
        for ppm in [60.0, -60.0] {
            let db = left_db(960, 0.06, (160, 160), ppm);
            assert!(db < -10.0, "{ppm} ppm: {db:.1} dB left");
        }
    }

    #[test]
    fn the_pilots_own_words_stay() {
        let said = babble(10, 2);
        let (mut canceller, mut out) = (Canceller::new(0.05), Vec::new());
        let silence = vec![0.0; 160];
        said.chunks(160).for_each(|c| canceller.clean(c, &silence[..c.len()], &mut out));
        let db = level::to_db(level::rms(&out[32_000..]) / level::rms(&said[32_000..]));
        assert!(db.abs() < 2.0, "{db:.1} dB");
    }
}
