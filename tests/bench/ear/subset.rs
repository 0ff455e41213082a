//! The small fixed part that runs with the tests: bounds that fail when the ear gets worse.

use super::Bench;
use super::corpus::{Around, Chatter, Trial, call_trial, chatter_trial};
use super::domain::lines;
use super::hearing::{Backgrounds, Hearing, accepted};
use super::noises::Noise;
use super::speakers::{Studio, TUNING};
use super::table::Count;
use antiphon::core::book::Book;
use antiphon::core::grammar::CallId;
use antiphon::core::matcher::Thresholds;
use antiphon::edge::store::{Places, load_book};
use std::path::Path;
use std::process::Command;

/// Calls in quiet and at 10 dB of broadband noise, and scenes of six sentences that are no call.
const SIZE: (usize, usize, usize) = (30, 15, 3);
const SEED: u64 = 7;
/// At least so many right in quiet and in noise; at most so many wrong of all calls. What the ear gives less a little, since
/// another processor rounds in another way.
const RIGHT: (usize, usize) = (28, 11);
const WRONG: usize = 1;

/// Whether everything is there; said aloud if not, and a failure with `REQUIRE` set.
fn set_up(models: Option<&Path>) -> bool {
    let program = |name: &str| Command::new(name).arg("--version").output().is_ok();
    if models.is_some_and(|m| m.join("moonshine-tiny-en").is_dir()) && program("flite") && program("espeak-ng") {
        return true;
    }
    assert!(std::env::var_os("REQUIRE").is_none(), "models, flite or espeak-ng are not set up: run `make setup`");
    eprintln!("skipped: models, flite or espeak-ng are not set up");
    false
}

/// Runs it.
pub fn run() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let places = Places::here(None);
    let models = places.models().ok();
    if !set_up(models.as_deref()) {
        return;
    }
    let models = models.expect("they were there a moment ago");
    let book = load_book(&places, &top.join("phrasebooks/saltmarsh-t2")).unwrap_or_else(|e| panic!("{e}")).0;
    let folder = tempfile::tempdir().expect("a folder");
    let studio = Studio::new(&folder.path().join("speech"), &models);
    let trials = trials(&book);
    studio.prepare(&lines(&trials));
    let back = Backgrounds { babble: Vec::new(), own: Vec::new() };
    // In a new folder: nothing that was remembered counts.
    let hearing =
        Hearing { folder: folder.path().join("heard"), models, studio: &studio, back: &back, edition: "test".into() };
    let results = hearing.all(&book.graph, &book.hash, &trials);
    let critical = (0..book.calls.len()).map(|i| CallId(i as u16)).filter(|c| book.is_critical(*c)).collect();
    let bench = Bench { book, critical, trials, results, thresholds: Thresholds::default() };

    let count = |group: &str| bench.count(&bench.thresholds, |t| t.group == group);
    let (quiet, noisy) = (count("quiet"), count("broadband"));
    let others = bench.trials.iter().zip(&bench.results).filter(|(t, _)| t.expected.is_none());
    let taken: usize =
        others.map(|(t, r)| accepted(&bench.book.graph, &bench.critical, t, r, &bench.thresholds).0.len()).sum();
    let told = |c: Count| format!("{} right, {} wrong of {}", c.right, c.wrong, c.n());
    println!("ear: quiet {}; 10 dB {}; taken for calls {taken}", told(quiet), told(noisy));
    let worse = quiet.right < RIGHT.0 || noisy.right < RIGHT.1 || quiet.wrong + noisy.wrong > WRONG || taken > 0;
    if worse {
        bench.errors();
        panic!("the ear has got worse: at least {RIGHT:?} right, at most {WRONG} wrong and nothing taken for a call");
    }
}

fn trials(book: &Book) -> Vec<Trial> {
    let call = |around, group, n: usize| {
        (0..n as u64).map(move |i| call_trial(book, TUNING, around, group, SEED, i, true)).collect::<Vec<_>>()
    };
    let chatter = Chatter::new();
    let mut all = call(Around::Quiet, "quiet", SIZE.0);
    all.extend(call(Around::Noise(Noise::Broadband, 10), "broadband", SIZE.1));
    let other = |kind: usize| chatter_trial(book, &chatter, kind, TUNING, SEED, kind as u64, true);
    all.extend((0..SIZE.2).map(other));
    all
}
