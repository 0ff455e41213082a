//! One phase again and again: what differs from attempt to attempt, drawn by a seed.

use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::book::schema::{Among, Circumstance, Practice};
use crate::core::physics::performance::figures::SURFACE;
use crate::core::sim::{Aircraft, Setup};
use crate::core::time::SessionTime;
use crate::edge::link::BuiltIn;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::collections::BTreeMap;

/// What one attempt begins with.
#[derive(Debug, Clone, PartialEq)]
pub struct Attempt {
    /// Its number, from 1.
    pub number: u32,
    /// The phase that is practised.
    pub phase: String,
    /// The world.
    pub setup: Setup,
    /// Entries of the flight sheet.
    pub sheet: BTreeMap<String, Value>,
    /// Phases whose beginning ends it.
    pub until: Vec<String>,
    /// Or this, s.
    pub limit_s: f64,
    /// What was drawn, in the order of the book.
    pub drawn: Vec<(Circumstance, Value)>,
}

/// The practice that a book has for a phase.
///
/// # Errors
/// One sentence with the phases that can be practised.
pub fn of<'b>(book: &'b Book, phase: &str) -> Result<&'b Practice, String> {
    let id = |p: &Practice| book.phases[p.phase.0 as usize].id.clone();
    book.practices.iter().find(|p| id(p) == phase).ok_or_else(|| {
        let all: Vec<String> = book.practices.iter().map(id).collect();
        if all.is_empty() {
            return format!("this book has no phase to practise; add `[practice.{phase}]` to it");
        }
        format!("the book does not say how to practise \u{201c}{phase}\u{201d}; name one of {}", all.join(", "))
    })
}

/// Attempt `number` (from 1) of a practice: the same seed and number give the same.
///
/// # Errors
/// One sentence when the book names an aircraft, a place or a circumstance that there is not.
pub fn attempt(book: &Book, practice: &Practice, seed: u64, number: u32) -> Result<Attempt, String> {
    let phase = book.phases[practice.phase.0 as usize].id.clone();
    let aircraft = Aircraft::named(&book.aircraft, seed).map_err(|e| e.to_string())?;
    let mut setup = Setup { place: super::stage::place(book, &phase)?, ..aircraft.usual() };
    let mut sheet = BTreeMap::new();
    let mut drawn = Vec::new();
    let mut chance =
        Pcg32::seed_from_u64(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(number) ^ u64::from(number));
    // Neighbouring numbers begin alike.
    for _ in 0..8 {
        chance.next_u32();
    }
    for draw in &practice.draws {
        let value = match &draw.among {
            Among::Range { from, to, step } => {
                let steps = ((to - from) / step).floor().max(0.0) as u32;
                Value::Number(from + step * f64::from(chance.next_u32() % (steps + 1)))
            }
            Among::List(list) => list[chance.next_u32() as usize % list.len().max(1)].clone(),
        };
        apply(&mut setup, draw.of, &value)?;
        drawn.push((draw.of, value.clone()));
        if let Some(entry) = draw.sheet {
            sheet.insert(book.sheet[entry.0 as usize].id.clone(), value);
        }
    }
    let until = practice.until.iter().map(|p| book.phases[p.0 as usize].id.clone()).collect();
    Ok(Attempt { number, phase, setup, sheet, until, limit_s: practice.limit_s, drawn })
}

fn apply(setup: &mut Setup, of: Circumstance, value: &Value) -> Result<(), String> {
    let number = value.number().unwrap_or_default();
    match of {
        Circumstance::Mass => setup.mass_kg = number,
        Circumstance::Fuel => setup.fuel_kg = number,
        Circumstance::Oat => setup.oat_c = number,
        Circumstance::Qnh => setup.qnh_hpa = number,
        Circumstance::WindFrom => setup.wind_from_deg = number,
        Circumstance::Wind => setup.wind_kt = number,
        Circumstance::Surface => {
            let word = value.word().unwrap_or_default();
            let found = SURFACE.1.iter().find(|(w, _)| *w == word);
            let all = || SURFACE.1.iter().map(|(w, _)| *w).collect::<Vec<_>>().join(", ");
            setup.surface = found.ok_or_else(|| format!("\u{201c}{word}\u{201d} is no surface; use {}", all()))?.1;
        }
        Circumstance::Runway => {
            let word = value.word().unwrap_or_default();
            let tens = word.get(..2).and_then(|t| t.parse::<u32>().ok()).filter(|t| (1..=36).contains(t));
            let tens =
                tens.ok_or_else(|| format!("\u{201c}{word}\u{201d} is no designator; write one like 27 or 09L"))?;
            setup.runway_heading_deg = f64::from(tens * 10);
        }
    }
    Ok(())
}

/// The built-in aircraft at the beginning of an attempt.
///
/// # Errors
/// One sentence when the book names an aircraft that there is not.
pub fn aircraft(book: &Book, attempt: &Attempt, seed: u64) -> Result<BuiltIn, String> {
    let mut aircraft = Aircraft::named(&book.aircraft, seed).map_err(|e| e.to_string())?;
    aircraft.place(&attempt.setup);
    Ok(BuiltIn::new(aircraft, SessionTime::ZERO).on_such_a_day(attempt.setup.clone()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::link::Link;
    use crate::edge::store::{Places, load_book};
    use std::path::Path;

    #[test]
    fn the_same_seed_draws_the_same_and_another_something_else() {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks/saltmarsh-t2");
        let book = load_book(&Places::here(None), &path).expect("a book").0;
        let practice = of(&book, "approach").expect("it is practised");
        let drawn = |seed, number| attempt(&book, practice, seed, number).expect("drawn");
        assert_eq!(drawn(1, 1), drawn(1, 1));
        let all: Vec<Attempt> = (1..=20).map(|n| drawn(1, n)).collect();
        assert!(all.iter().any(|a| a.setup != all[0].setup), "{all:#?}");
        assert_ne!(drawn(2, 1).drawn, drawn(1, 1).drawn);
        for a in &all {
            assert_eq!(a.sheet.get("arrival_qnh"), Some(&Value::Number(a.setup.qnh_hpa)), "{a:?}");
            assert!(a.until.contains(&"after_landing".to_string()) && !a.drawn.is_empty());
        }
        let refused = of(&book, "push").expect_err("nothing to practise there");
        assert!(refused.contains("approach"), "{refused}");
    }

    /// Whatever a shipped book draws, the aircraft can be, and its tables hold.
    #[test]
    fn what_the_books_draw_is_what_the_aircraft_is() {
        for name in ["saltmarsh-t2", "saltmarsh-t4", "fenwick-t2"] {
            let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks").join(name);
            let book = load_book(&Places::here(None), &path).expect("a book").0;
            assert!(book.practices.len() >= 4, "{name}");
            for (practice, number) in book.practices.iter().flat_map(|p| (1..=8).map(move |n| (p, n))) {
                let attempt = attempt(&book, practice, 5, number).expect("drawn");
                let link = aircraft(&book, &attempt, 5).expect("an aircraft");
                let shown = |signal: &str| link.values().get(signal).and_then(Value::number).expect("a number");
                assert!((shown("mass_kg") - attempt.setup.mass_kg).abs() < 1.0, "{name}: {attempt:?}");
                assert!((shown("fuel_total_kg") - attempt.setup.fuel_kg).abs() < 1.0, "{name}: {attempt:?}");
            }
        }
    }
}
