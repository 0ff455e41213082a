use super::*;
use crate::core::grammar::{CallId, accepts, sample};
use crate::core::words::Regime;
use rand_core::SeedableRng;

fn phrases() -> Phrases {
    Phrases::built_in().unwrap()
}

/// Everything a generator gives for a few seeds.
fn many(phrases: &Phrases, regime: Regime, difficulty: u8, mode: Mode) -> Vec<Exercise> {
    let mut all = Vec::new();
    for seed in 0..4 {
        let mut generator = Generator::new(phrases, regime, difficulty, seed);
        all.extend((0..25).map(|_| generator.next(mode, &Weights::new())));
    }
    all
}

#[test]
fn the_phrasebook_is_whole() {
    let phrases = phrases();
    Reader::new(&phrases).unwrap();
    for regime in Regime::ALL {
        assert_eq!(phrases.rules(regime).regime, regime);
    }
}

#[test]
fn show() {
    let phrases = phrases();
    let reader = Reader::new(&phrases).unwrap();
    for regime in Regime::ALL {
        let rules = phrases.rules(regime);
        for (_, mode) in Mode::ALL {
        for e in many(&phrases, regime, 4, mode).iter().take(12) {
            println!("{:?} {} | {} | {}", regime, e.card.clone().unwrap_or_default(), e.transmission(&phrases, rules), e.model(&phrases, rules));
            let kinds: Vec<&str> = e.items.iter().map(|i| i.kind.as_str()).collect();
            let pieces = reader.read(&e.model(&phrases, rules), &kinds);
            if pieces.iter().any(|p| p.what == What::Unknown) { println!("     {pieces:?}"); }
        }
        }
    }
}
