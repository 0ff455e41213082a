//! Talk without end, and noise without end: what is acted on, and whether memory and delay grow.

use super::Bench;
use super::corpus::{Chatter, any_mask, chance, pick};
use super::hearing::Backgrounds;
use super::noises::{Noise, noise, unit};
use super::speakers::{Line, RATES, Speaker, Studio};
use super::table::quantile;
use antiphon::core::gate::Settings;
use antiphon::core::matcher::{Choice, choose};
use antiphon::edge::audio::level;
use antiphon::edge::ear::{Listener, News};
use std::path::Path;
use std::time::Instant;

/// Samples of a block, as a microphone gives them.
const BLOCK: usize = 320;
/// Another moment of a flight comes so often, s.
const MOMENT_S: usize = 20;

/// What sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// Sentences that are no calls, one after the other, in front of people who talk.
    Talk,
    /// Broadband noise and rumble.
    Noise,
}

/// Sentences of the talk: enough that they come again only after some minutes.
pub fn lines(speakers: &'static [Speaker], seed: u64) -> Vec<Line> {
    let chatter = Chatter::new();
    (0..180)
        .map(|i| {
            let mut rng = chance(seed, "stream", i);
            let rate = i as usize / 7 % RATES.len();
            let text = chatter.sentence(i as usize % 2, &mut rng);
            Line { speaker: &speakers[i as usize % speakers.len()], rate, text }
        })
        .collect()
}

/// Memory of this process, MB.
fn memory_mb() -> f64 {
    let text = std::fs::read_to_string("/proc/self/statm").unwrap_or_default();
    let pages: f64 = text.split(' ').nth(1).and_then(|p| p.parse().ok()).unwrap_or(f64::NAN);
    pages * 4096.0 / 1e6
}

/// One minute of it, 16 kHz.
fn minute(what: What, n: u64, seed: u64, lines: &[Line], studio: &Studio, back: &Backgrounds) -> Vec<f32> {
    const LENGTH: usize = 60 * 16_000;
    let mut rng = chance(seed, &format!("{what:?}"), n);
    let mut sound = Vec::with_capacity(LENGTH);
    match what {
        What::Talk => {
            while sound.len() < LENGTH {
                sound.extend(studio.sound(pick(&mut rng, lines)));
                sound.extend(vec![0.0; (unit(&mut rng) * 12_000.0) as usize]);
            }
            sound.truncate(LENGTH);
            let babble = noise(Noise::Babble, LENGTH, seed ^ n, &back.babble);
            let gain = level::from_db(-20.0) as f32 * level::active_rms(&sound, 16_000) as f32
                / level::rms(&babble).max(1e-9) as f32;
            sound.iter_mut().zip(babble).for_each(|(s, b)| *s += gain * b);
        }
        What::Noise => {
            let kind = if n.is_multiple_of(2) { Noise::Broadband } else { Noise::Rumble };
            sound = noise(kind, LENGTH, seed ^ n, &[]);
            let gain = level::from_db(-24.0) as f32 / level::rms(&sound) as f32;
            sound.iter_mut().for_each(|s| *s *= gain);
        }
    }
    sound
}

/// Feeds so many minutes, and tells.
pub fn tell(
    bench: &Bench,
    models: &Path,
    what: What,
    minutes: u64,
    seed: u64,
    studio: &Studio,
    back: &Backgrounds,
    lines: &[Line],
) {
    let book = &bench.book;
    let mut listener = Listener::open(models, &book.graph, Settings::default()).expect("the models are set up");
    let (mut accepted, mut critical, mut utterances) = (Vec::new(), 0usize, 0usize);
    let mut behind = 0.0f64;
    println!(
        "\n| {what:?}, minute | memory, MB | decision, median ms | p95 | computing, % of the time | latest behind, ms |"
    );
    println!("|---|---|---|---|---|---|");
    let every = (minutes / 6).max(1);
    let (mut decisions, mut computing, mut latest) = (Vec::new(), 0.0, 0.0f64);
    let mut firsts = None;
    for n in 0..minutes {
        let sound = minute(what, n, seed, lines, studio, back);
        for (i, part) in sound.chunks(MOMENT_S * 16_000).enumerate() {
            let mut rng = chance(seed, "moment", n * 10 + i as u64);
            let (live, due) = any_mask(book, &mut rng);
            listener.listen(1, &live);
            for block in part.chunks(BLOCK) {
                let began = Instant::now();
                let news = listener.feed(block).expect("the models run");
                let took = began.elapsed().as_secs_f64();
                computing += took;
                // As if the blocks came from a microphone: what is not done in a block's time is late in the next.
                behind = (behind + took - BLOCK as f64 / 16_000.0).max(0.0);
                latest = latest.max(behind);
                for told in news {
                    if let News::Heard { heard, decision, at, .. } = told {
                        utterances += 1;
                        decisions.push(decision.as_secs_f64() * 1000.0);
                        let is = |c| bench.critical.contains(c);
                        if let Choice::Accept { meanings, .. } =
                            choose(&heard, &book.graph, &live, &due, is, &bench.thresholds)
                        {
                            critical += meanings.iter().filter(|m| bench.is_critical(&m.call)).count();
                            accepted.extend(meanings.into_iter().map(|m| (at.secs(), m.call)));
                        }
                    }
                }
            }
        }
        if (n + 1) % every == 0 || n + 1 == minutes {
            decisions.sort_by(f64::total_cmp);
            let share = computing / (every as f64 * 60.0);
            println!(
                "| {} | {:.0} | {:.0} | {:.0} | {:.0} | {:.0} |",
                n + 1,
                memory_mb(),
                quantile(&decisions, 0.5),
                quantile(&decisions, 0.95),
                100.0 * share,
                1000.0 * latest
            );
            firsts.get_or_insert((memory_mb(), latest));
            (decisions, computing, latest) = (Vec::new(), 0.0, 0.0);
        }
    }
    let hours = minutes as f64 / 60.0;
    println!(
        "\n{what:?}: {hours:.2} h, {utterances} utterances, {} accepted ({:.1} an hour), of them critical {critical}",
        accepted.len(),
        accepted.len() as f64 / hours
    );
    for (at, call) in accepted.iter().take(20) {
        println!("    accepted at {at:.0} s: {call}");
    }
    if let Some((memory, _)) = firsts {
        println!("{what:?}: memory grew by {:.1} MB after the first {every} minutes", memory_mb() - memory);
    }
}
