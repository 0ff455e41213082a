//! Another domain: orders on a ship's bridge, hundreds of millions of sentences, several slots of one type in a call.

use super::corpus::{self, Around, Clip, Trial};
use super::hearing::Hearing;
use super::noises::Noise;
use super::speakers::{Line, Speaker};
use super::{Bench, table};
use antiphon::core::book::{Book, Problem, Severity};
use antiphon::core::grammar::{CallId, sentences};
use antiphon::core::matcher::Thresholds;
use antiphon::edge::store::{Places, read_book};
use std::path::Path;

pub fn book(places: &Places) -> Book {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/ear/bridge");
    let loaded = read_book(places, &folder).unwrap_or_else(|e| panic!("{e}"));
    // Nobody flies it: it is heard only, as `hear --book` hears it, and needs neither phases nor sentences of a crew.
    let beside = ["no-phase", "missing-wording"];
    let faults = loaded.problems.iter().filter(|p| p.severity == Severity::Error && !beside.contains(&p.id));
    assert_eq!(faults.collect::<Vec<_>>(), Vec::<&Problem>::new());
    loaded.book
}

const CELLS: [(&str, Around); 4] = [
    ("quiet", Around::Quiet),
    ("20 dB, broadband", Around::Noise(Noise::Broadband, 20)),
    ("10 dB, broadband", Around::Noise(Noise::Broadband, 10)),
    ("5 dB, broadband", Around::Noise(Noise::Broadband, 5)),
];

pub fn trials(book: &Book, speakers: &'static [Speaker], n: usize, seed: u64, tuning: bool) -> Vec<Trial> {
    let cell = |(group, around): &(&'static str, Around)| {
        let (group, around) = (*group, *around);
        (0..n as u64)
            .map(move |i| corpus::call_trial(book, speakers, around, group, seed, i, tuning))
            .collect::<Vec<_>>()
    };
    CELLS.iter().flat_map(cell).collect()
}

/// Lines that have to be spoken.
pub fn lines(trials: &[Trial]) -> Vec<Line> {
    let clips = trials.iter().flat_map(|t| &t.clips);
    clips.filter_map(|c| if let Clip::Spoken(line) = c { Some(line.clone()) } else { None }).collect()
}

pub fn tell(hearing: &Hearing, book: Book, trials: Vec<Trial>) -> Bench {
    let results = hearing.all(&book.graph, &book.hash, &trials);
    let calls: Vec<CallId> = (0..book.calls.len()).map(|i| CallId(i as u16)).collect();
    let all = calls.iter().map(|c| sentences(&book.graph, *c)).fold(0, u64::saturating_add);
    let critical = calls.iter().copied().filter(|c| book.is_critical(*c)).collect();
    let bench = Bench { book, critical, trials, results, thresholds: Thresholds::default() };
    println!(
        "\nAnother domain: orders on a ship's bridge, {} calls, {:.1e} sentences, all live:\n",
        calls.len(),
        all as f64
    );
    table::head("all calls");
    for (group, _) in CELLS {
        table::row(group, bench.count(&bench.thresholds, |t| t.group == group));
    }
    let several = |t: &Trial| t.expected.as_ref().is_some_and(|m| m.slots.len() > 1);
    table::row("calls with several slots", bench.count(&bench.thresholds, several));
    bench
}
