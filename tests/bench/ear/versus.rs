//! The ear's rows beside those of others on the same sounds.

use super::corpus::{Clip, Trial};
use super::hearing::{Hearing, Verdict};
use super::noises::NOISES;
use super::peers::{Sentences, Sphinx, Written, means, transcriber};
use super::table::{Count, quantile, row};
use super::{Bench, table};
use antiphon::core::grammar::Meaning;

/// What a peer made of a trial: the meaning it would act on, and how sure it is.
type Guess = Option<(Meaning, f64)>;

struct Peer {
    name: &'static str,
    guesses: Vec<Guess>,
    took_ms: Vec<f64>,
}

/// Runs the peers over the trials of calls, and tells.
pub fn tell(bench: &Bench, hearing: &Hearing, name: &str) {
    let calls: Vec<usize> = (0..bench.trials.len()).filter(|i| bench.trials[*i].expected.is_some()).collect();
    let trials: Vec<Trial> = calls.iter().map(|i| bench.trials[*i].clone()).collect();
    let mut peers = vec![transcribed(bench, hearing, name, &trials)];
    peers.extend(held(bench, hearing, name, &trials));

    println!("\nThe same sounds, heard by others (who are told where speech begins and ends; the ear is not):\n");
    table::head("heard by, noise");
    let noisy = |t: &Trial, db: Option<u32>| match db {
        None => t.group == "quiet",
        Some(db) => t.around.db() == Some(db) && NOISES.iter().any(|n| n.name() == t.group),
    };
    for db in [None, Some(20), Some(10), Some(5)] {
        let at = db.map_or("quiet".to_string(), |db| format!("{db} dB"));
        row(&format!("the ear, {at}"), bench.count(&bench.thresholds, |t| noisy(t, db)));
        for peer in &peers {
            let chosen: Vec<(&Trial, &Guess)> =
                trials.iter().zip(&peer.guesses).filter(|(t, _)| noisy(t, db)).collect();
            row(&format!("{}, {at}", peer.name), count(&chosen, f64::NEG_INFINITY));
            // The best that any threshold of its own would do on these very trials.
            let mut marks: Vec<f64> = chosen.iter().filter_map(|(_, g)| g.as_ref().map(|g| g.1)).collect();
            marks.sort_by(f64::total_cmp);
            let fair =
                marks.iter().map(|m| count(&chosen, *m)).filter(|c| 100 * c.wrong <= c.n()).max_by_key(|c| c.right);
            row(&format!("{}, {at}, refusing so that at most 1 % is wrong", peer.name), fair.unwrap_or_default());
        }
    }
    println!();
    for peer in &mut peers {
        peer.took_ms.sort_by(f64::total_cmp);
        println!(
            "{}: n {}, median {:.0} ms, p95 {:.0} ms a call",
            peer.name,
            peer.took_ms.len(),
            quantile(&peer.took_ms, 0.5),
            quantile(&peer.took_ms, 0.95)
        );
    }
}

fn count(chosen: &[(&Trial, &Guess)], least: f64) -> Count {
    Count::of(chosen.iter().map(|(t, guess)| match guess {
        Some((meaning, sure)) if *sure >= least => {
            if Some(meaning) == t.expected.as_ref() {
                Verdict::Right
            } else {
                Verdict::Wrong
            }
        }
        _ => Verdict::Refused,
    }))
}

fn transcribed(bench: &Bench, hearing: &Hearing, name: &str, trials: &[Trial]) -> Peer {
    let models = hearing.models.clone();
    let written: Vec<Vec<Written>> = hearing.each(trials, name, "free transcription", &|| transcriber(&models));
    let sentences = Sentences::new(&bench.book.graph);
    let guesses = trials
        .iter()
        .zip(&written)
        .map(|(t, w)| {
            let said = match (t.clips.first(), &t.expected) {
                (Some(Clip::Spoken(line)), Some(meaning)) => Some((line.text.as_str(), meaning)),
                _ => None,
            };
            w.first().and_then(|w| sentences.nearest(&t.live, &w.text, said))
        })
        .collect();
    let took_ms = written.iter().flatten().map(|w| w.took_ms).collect();
    Peer { name: "free transcription, then the nearest sentence", guesses, took_ms }
}

fn held(bench: &Bench, hearing: &Hearing, name: &str, trials: &[Trial]) -> Option<Peer> {
    if !hearing.models.join("pocketsphinx").is_dir() {
        eprintln!("ear: PocketSphinx is not set up: python3 models/setup.py --with bench");
        return None;
    }
    let graph = &bench.book.graph;
    let models = hearing.models.clone();
    let written: Vec<Vec<Written>> = hearing.each(trials, name, "PocketSphinx 5.1.1", &|| {
        let mut sphinx = Sphinx::start(&models, graph).expect("its files were there a moment ago");
        let graph = graph.clone();
        Box::new(move |trial, scene| sphinx.hear(&graph, trial, scene))
    });
    let guesses = trials
        .iter()
        .zip(&written)
        .map(|(t, w)| w.first().and_then(|w| Some((means(graph, &t.live, &w.text)?, w.sure))))
        .collect();
    let took_ms = written.iter().flatten().map(|w| w.took_ms).collect();
    Some(Peer { name: "PocketSphinx, the live calls as its grammar", guesses, took_ms })
}
