//! How soon an answer comes, on this machine as it is and with every core kept busy.

use super::Bench;
use super::corpus::Trial;
use super::hearing::{Backgrounds, Verdict, judge, scene};
use super::speakers::Studio;
use super::table::quantile;
use antiphon::core::gate::Settings;
use antiphon::edge::ear::Listener;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

/// A block that is on its way to the loudspeaker when the answer's first sample is put behind it, ms (docs/audio.md).
const OUTPUT_MS: f64 = 20.0;

fn load() -> String {
    let text = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    text.split(' ').next().unwrap_or("?").to_string()
}

/// Never from what was remembered: heard now, one after the other.
pub fn tell(bench: &Bench, models: &Path, studio: &Studio, back: &Backgrounds, n: usize) {
    let trials: Vec<&Trial> = bench.trials.iter().filter(|t| t.group == "quiet").take(n).collect();
    let mut listener = Listener::open(models, &bench.book.graph, Settings::default()).expect("the models are set up");
    println!(
        "\n| machine | N right | decision_ms, median | p95 | end of speech to endpoint, median | p95 | to first answering sample, median | p95 |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    let cores = std::thread::available_parallelism().map_or(2, usize::from);
    for busy in [0, cores] {
        let stop = AtomicBool::new(false);
        let before = load();
        std::thread::scope(|scope| {
            for _ in 0..busy {
                scope.spawn(|| {
                    let mut x = 1u64;
                    while !stop.load(Ordering::Relaxed) {
                        x = std::hint::black_box(x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1));
                    }
                });
            }
            let (mut decisions, mut waits, mut sums) = (Vec::new(), Vec::new(), Vec::new());
            for trial in &trials {
                let scene = scene(trial, studio, back);
                let result = super::hearing::hear(&mut listener, trial, &scene);
                let right =
                    judge(&bench.book.graph, &bench.critical, trial, &result, &bench.thresholds) == Verdict::Right;
                if let ([told], [(_, end)], true) = (result.told.as_slice(), result.clips.as_slice(), right) {
                    let wait = 1000.0 * (told.at_s - end);
                    decisions.push(told.decision_ms);
                    waits.push(wait);
                    sums.push(wait + told.decision_ms + OUTPUT_MS);
                }
            }
            stop.store(true, Ordering::Relaxed);
            let mut cells = Vec::new();
            for all in [&mut decisions, &mut waits, &mut sums] {
                all.sort_by(f64::total_cmp);
                cells.push(format!("{:.0} | {:.0}", quantile(all, 0.5), quantile(all, 0.95)));
            }
            let name =
                if busy == 0 { "as it is".to_string() } else { format!("{busy} threads that only count beside it") };
            println!("| {name}, load {before} to {} | {} | {} |", load(), sums.len(), cells.join(" | "));
        });
    }
    println!(
        "\nThe last two columns are computed: the endpoint's wait, the decision's time and {OUTPUT_MS} ms of output buffer; \
         the answer itself is rendered before it is needed."
    );
}
