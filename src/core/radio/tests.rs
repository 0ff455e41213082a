use super::*;
use crate::core::words::Regime;

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

/// Reads and judges words as if they had been typed.
fn typed(phrases: &Phrases, reader: &Reader, rules: &Rules, exercise: &Exercise, text: &str) -> Score {
    let kinds: Vec<&str> = exercise.items.iter().map(|i| i.kind.as_str()).collect();
    let pieces = reader.read(text, &kinds);
    judge(phrases, rules, exercise, &Said { pieces, text: text.into(), ..Said::default() })
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
fn the_right_answer_is_right_in_every_region_and_mode() {
    let phrases = phrases();
    let reader = Reader::new(&phrases).unwrap();
    for regime in Regime::ALL {
        let rules = phrases.rules(regime);
        for (_, mode) in Mode::ALL {
            for exercise in many(&phrases, regime, 4, mode) {
                let answer = exercise.model(&phrases, rules);
                let score = typed(&phrases, &reader, rules, &exercise, &answer);
                assert!(score.is_right(), "{regime:?} {answer}: {score:#?}");
                let noted: Vec<&Note> = score.notes.iter().chain(score.items.iter().flat_map(|i| &i.notes)).collect();
                assert!(noted.is_empty(), "{regime:?} {answer}: {noted:#?}");
            }
        }
    }
}
