//! What a large live grammar costs: the same sounds under 100 and under 10,000 phrases.

use super::corpus::{chance, pick};
use super::speakers::{Line, Speaker, Studio};
use super::table::quantile;
use antiphon::core::grammar::{CallSet, NamedSlots, Rules, WordGraph, build, parse};
use antiphon::edge::ear::{NeuralEar, Reader};
use antiphon::edge::native::Runtime;
use std::path::Path;

const FIRST: &str = "open close test clean drain fill lock move raise lower check start stop seal heat cool paint lift turn \
                     carry watch";
const SECOND: &str = "north south upper lower inner outer forward rear spare main second third left right small large \
                      yellow silver wooden hidden empty broken";
const THIRD: &str = "valve tank door pump ladder window basin barrel garden tunnel bridge engine lantern kettle shutter \
                     cabinet platform curtain chimney gutter railing hatch";

/// Three-word phrases, every combination; the first hundred have words of all three rows.
fn phrases(most: usize) -> Vec<String> {
    let rows = [FIRST, SECOND, THIRD].map(|r| r.split_whitespace().collect::<Vec<_>>());
    let all = rows[0].len() * rows[1].len() * rows[2].len();
    // A step that shares no factor with the number of combinations meets each of them once.
    (0..most.min(all))
        .map(|i| {
            let k = i * 1_009 % all;
            let (a, rest) = (k % rows[0].len(), k / rows[0].len());
            format!("{} {} {}", rows[0][a], rows[1][rest % rows[1].len()], rows[2][rest / rows[1].len()])
        })
        .collect()
}

fn graph(most: usize) -> WordGraph {
    let calls: Vec<_> =
        phrases(most).into_iter().enumerate().map(|(i, p)| (format!("p{i}"), vec![parse(&p).0])).collect();
    let (graph, problems) = build(&calls, &Rules::new(), &NamedSlots::new());
    assert!(problems.is_empty(), "{problems:?}");
    graph
}

/// Spoken lines that the measurement needs.
fn lines(speakers: &'static [Speaker], n: usize, seed: u64) -> Vec<Line> {
    let said = phrases(100);
    (0..n)
        .map(|i| {
            let mut rng = chance(seed, "scale", i as u64);
            Line { speaker: &speakers[i % speakers.len()], rate: 1, text: pick(&mut rng, &said).clone() }
        })
        .collect()
}

pub fn tell(models: &Path, studio: &Studio, speakers: &'static [Speaker], n: usize, seed: u64) {
    let lines = lines(speakers, n, seed);
    studio.prepare(&lines);
    let runtime = Runtime::open(models).expect("the models are set up");
    println!("\n| live grammar | N | right % | decode, median ms | p95 ms | opened in, s |");
    println!("|---|---|---|---|---|---|");
    let mut medians = Vec::new();
    let mut ears: Vec<(usize, NeuralEar, CallSet, f64, Vec<f64>, usize)> = [100, 10_000]
        .into_iter()
        .map(|size| {
            let began = std::time::Instant::now();
            let ear = NeuralEar::open(&runtime, &graph(size)).expect("the models are set up");
            (size, ear, CallSet::all(size), began.elapsed().as_secs_f64(), Vec::new(), 0)
        })
        .collect();
    // In turn, so that what else the machine does falls on both alike; the first round only warms up.
    for round in 0..2 {
        for line in &lines {
            let mut sound = studio.sound(line);
            sound.extend(vec![0.0; 3_200]);
            for (_, ear, live, _, took, right) in &mut ears {
                let reading = ear.read(&sound, live).expect("the models run");
                if round == 1 {
                    took.push(reading.took.as_secs_f64() * 1000.0);
                    *right += usize::from(reading.found.ranked.first().is_some_and(|c| c.text == line.text));
                }
            }
        }
    }
    for (size, _, _, opened, mut took, right) in ears {
        took.sort_by(f64::total_cmp);
        medians.push(quantile(&took, 0.5));
        println!(
            "| {size} phrases | {n} | {:.1} | {:.0} | {:.0} | {opened:.1} |",
            100.0 * right as f64 / n.max(1) as f64,
            quantile(&took, 0.5),
            quantile(&took, 0.95)
        );
    }
    println!("\n10,000 phrases cost {:.2} times what 100 cost", medians[1] / medians[0]);
}
