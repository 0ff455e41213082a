//! The timeline of what we say: utterances begin and are cut at exact samples.

use std::collections::BTreeMap;
use std::sync::Arc;

/// Length of the fade at a cut, s: no click, and over before the next word.
const FADE_S: f64 = 0.006;

/// Mixes utterances onto one mono stream that is read block by block.
///
/// It knows no clock: position is the count of samples handed out. Used by the offline run, by recordings and by the
/// filler of a device's buffer.
pub struct Player {
    rate: u32,
    position: u64,
    playing: BTreeMap<u64, Playing>,
}

struct Playing {
    samples: Arc<[f32]>,
    start: u64,
    /// First silent sample after a cut.
    stop: Option<u64>,
}

impl Player {
    /// An empty stream.
    pub fn new(rate: u32) -> Self {
        Player { rate, position: 0, playing: BTreeMap::new() }
    }

    /// Samples per second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// The next sample to be handed out.
    pub fn position(&self) -> u64 {
        self.position
    }

    /// Lets an utterance sound from sample `at` on, or from now if that has passed. `samples` have the player's rate.
    pub fn start(&mut self, id: u64, samples: Arc<[f32]>, at: u64) {
        self.playing.insert(id, Playing { samples, start: at.max(self.position), stop: None });
    }

    /// Silences an utterance at sample `at`, or now if that has passed; a short fade ends there or just after.
    pub fn cut(&mut self, id: u64, at: u64) {
        let fade = self.fade();
        if let Some(p) = self.playing.get_mut(&id) {
            p.stop = Some(at.max(self.position + fade));
        }
    }

    /// Whether anything sounds or is still to sound.
    pub fn busy(&self) -> bool {
        !self.playing.is_empty()
    }

    /// Fills the next block; the stream moves on by its length. Sums are held within ±1.
    pub fn fill(&mut self, block: &mut [f32]) {
        block.fill(0.0);
        let (from, to) = (self.position, self.position + block.len() as u64);
        let fade = self.fade();
        self.playing.retain(|_, p| {
            let end = p.start + p.samples.len() as u64;
            let end = p.stop.map_or(end, |s| s.min(end));
            for at in p.start.max(from)..end.min(to) {
                let mut sample = p.samples[(at - p.start) as usize];
                if let Some(stop) = p.stop {
                    sample *= ((stop - at) as f32 / fade as f32).min(1.0);
                }
                block[(at - from) as usize] += sample;
            }
            end > to
        });
        block.iter_mut().for_each(|s| *s = s.clamp(-1.0, 1.0));
        self.position = to;
    }

    fn fade(&self) -> u64 {
        ((FADE_S * f64::from(self.rate)) as u64).max(1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(player: &mut Player, n: usize, block: usize) -> Vec<f32> {
        let mut out = vec![0.0; n];
        out.chunks_mut(block).for_each(|b| player.fill(b));
        out
    }

    #[test]
    fn onset_and_cut_are_exact_whatever_the_block() {
        for block in [1, 7, 160, 2_000] {
            let mut p = Player::new(1_000);
            p.start(1, vec![0.5; 300].into(), 100);
            p.start(2, vec![0.25; 50].into(), 500);
            p.cut(1, 200);
            let out = read(&mut p, 1_000, block);
            let heard: Vec<usize> = (0..1_000).filter(|i| out[*i] != 0.0).collect();
            let want: Vec<usize> = (100..200).chain(500..550).collect();
            assert_eq!(heard, want, "block {block}");
            assert_eq!(out[193], 0.5);
            assert!(out[199] < 0.1, "fades");
            assert!(!p.busy());
        }
    }

    #[test]
    fn what_comes_late_begins_now() {
        let mut p = Player::new(1_000);
        read(&mut p, 100, 100);
        p.start(1, vec![0.5; 10].into(), 20);
        assert_eq!(read(&mut p, 20, 20)[..11], [0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.5, 0.0]);
    }
}
