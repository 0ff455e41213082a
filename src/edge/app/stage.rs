//! The world of a session script, built for the loop.

use super::{App, Ears, Outside, Pace, Parts, Report};
use crate::core::book::Book;
use crate::core::crew::Crew;
use crate::core::script::{Performance, Script, World};
use crate::core::sim::{Aircraft, Place, Setup};
use crate::core::time::{SessionTime, Wake};
use crate::edge::link::BuiltIn;
use crate::edge::speaker::{Silent, Speaker};
use crate::edge::store::JournalFile;
use std::sync::Arc;

/// The built-in aircraft as a script wants it before the first moment.
///
/// # Errors
/// One sentence when the script names a place, a control or a fault that the aircraft does not have.
pub fn aircraft(book: &Book, script: &Script, seed: u64) -> Result<BuiltIn, String> {
    let world: &World = &script.world;
    let mut aircraft = Aircraft::named(&book.aircraft, seed).map_err(|e| e.to_string())?;
    let place = match &world.place {
        Some(name) => Place::named(name)?,
        None => script.phase.as_deref().map_or(Ok(Place::ColdAtStand), |p| place(book, p))?,
    };
    let mut setup = Setup { place, ..aircraft.usual() };
    let numbers = [
        (world.mass_kg, &mut setup.mass_kg),
        (world.oat_c, &mut setup.oat_c),
        (world.qnh_hpa, &mut setup.qnh_hpa),
        (world.wind_from_deg, &mut setup.wind_from_deg),
        (world.wind_kt, &mut setup.wind_kt),
    ];
    for (given, to) in numbers {
        if let Some(n) = given {
            *to = n;
        }
    }
    aircraft.place(&setup);
    for (name, value) in &world.set {
        aircraft.set(name, value).map_err(|e| e.to_string())?;
    }
    for fault in &world.inject {
        aircraft.inject(fault).map_err(|e| e.to_string())?;
    }
    Ok(BuiltIn::new(aircraft, SessionTime::ZERO).on_such_a_day(setup))
}

/// Where the built-in aircraft stands when a session begins in a phase: where the book says, else on the runway in the
/// phases in which pf and pm are flight roles, else at the stand.
///
/// # Errors
/// One sentence when the book names a place that there is not.
pub fn place(book: &Book, phase: &str) -> Result<Place, String> {
    let Some(id) = book.phase(phase) else { return Ok(Place::ColdAtStand) };
    match &book.phases[id.0 as usize].place {
        Some(name) => Place::named(name).map_err(|e| format!("the phase {phase}: {e}")),
        None if book.roles.flight_roles_in.contains(&id) => Ok(Place::LinedUp),
        None => Ok(Place::ColdAtStand),
    }
}

/// A session of typed words and silent voices on the built-in aircraft, in simulated time: for the tests and for scripts
/// that need no sound.
///
/// # Errors
/// As [`aircraft`], and when the journal cannot be begun.
pub fn silent(book: Arc<Book>, script: Script, journal: JournalFile) -> Result<Report, String> {
    spoken(book, script, journal, Box::new(Silent))
}

fn spoken(book: Arc<Book>, script: Script, journal: JournalFile, speaker: Box<dyn Speaker>) -> Result<Report, String> {
    let link = aircraft(&book, &script, script.seed)?;
    let (arrangement, phase, sheet) = (script.arrangement, script.phase.clone(), script.sheet.clone());
    let opening = script.opening();
    let parts = Parts {
        engine: Box::new(Crew::new(book.clone())),
        book,
        link: Box::new(link),
        ears: Ears::Typed,
        speaker,
        pilot: Some(Performance::new(script)),
        captain: None,
        noise: None,
        recording: None,
        recorder: None,
        journal,
        pace: Pace::Fast,
        outside: Outside(None),
        told: Box::new(|_| {}),
        watcher: None,
        until: None,
        ends_in: Vec::new(),
    };
    let app = App::new(parts, SessionTime::ZERO, Wake::default()).opening(opening);
    app.run(arrangement, phase, sheet).map_err(|e| e.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::book::schema::Station;
    use crate::core::journal::{BookMark, Header, VERSION};
    use crate::edge::speaker::{Pcm, SpeakError};
    use crate::edge::store::{Places, load_book};
    use std::collections::BTreeMap;
    use std::path::Path;

    fn book() -> Arc<Book> {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        Arc::new(load_book(&Places::here(None), &root.join("phrasebooks/saltmarsh-t2")).expect("a book").0)
    }

    fn fly(script: &str, speaker: Box<dyn Speaker>) -> Report {
        let book = book();
        let script = crate::core::script::parse(script).expect("a script");
        let header = Header {
            antiphon_journal: VERSION,
            program: "test".into(),
            book: BookMark { id: book.id.clone(), hash: book.hash.clone(), path: String::new() },
            models: Vec::new(),
            settings: BTreeMap::new(),
            seed: 1,
            started: String::new(),
        };
        let report = spoken(book, script, JournalFile::nowhere(&header).expect("begins"), speaker).expect("runs");
        assert!(report.failures.is_empty(), "{:?}", report.failures);
        report
    }

    /// Breaks down over the first sentence.
    struct Fainting(bool);

    impl Speaker for Fainting {
        fn render(&mut self, station: Station, text: &str) -> Result<Pcm, SpeakError> {
            assert!(std::mem::replace(&mut self.0, true), "no voice");
            Silent.render(station, text)
        }
    }

    #[test]
    fn a_room_that_panics_is_told_and_the_rest_goes_on() {
        let script = "[script]\ntitle = \"x\"\nbook = \"saltmarsh-t2\"\n[[steps]]\nsay = \"cockpit preparation complete\"\n\
                      expect = [{ flow = \"handover\", state = \"done\", within_s = 40 }]\n";
        let report = fly(script, Box::new(Fainting(false)));
        assert_eq!(report.faults, ["the voice stopped over a sentence; it goes on with the next"]);
        let told = "I have lost the voice. The rest goes on";
        assert!(report.lines.iter().any(|l| l.text == told), "{:#?}", report.lines);
    }

    /// Is heard so many seconds after it is played.
    struct Late(f64);

    impl Speaker for Late {
        fn render(&mut self, station: Station, text: &str) -> Result<Pcm, SpeakError> {
            Silent.render(station, text)
        }

        fn delay_s(&self) -> f64 {
            self.0
        }
    }

    /// A takeoff: when the first callout was played, and how far each callout was off its mark as it was heard.
    fn rolled(delay_s: f64) -> (f64, Vec<(String, f64)>) {
        let script = r#"
[script]
title = "x"
book = "saltmarsh-t2"
phase = "line_up"
sheet = { cleared_takeoff = true }

[world]
place = "lined_up"
mass_kg = 52000
set = { parking_brake = false }

[[steps]]
at = 2
move = { thrust_lever_1_pct = 91, thrust_lever_2_pct = 91 }
ramp_s = 4
expect = [{ spoken = "thrust set", within_s = 40 }]

[[steps]]
on_spoken = "eighty knots"
within_s = 60
say = "checked"
expect = [{ spoken = "rotate", within_s = 60 }]
"#;
        let report = fly(script, Box::new(Late(delay_s)));
        let played = report.lines.iter().find(|l| l.text == "Eighty knots").expect("called").at.secs();
        (played, report.marks.iter().map(|m| (m.callout.clone(), m.actual - m.wanted)).collect())
    }

    #[test]
    fn a_callout_is_on_its_mark_when_it_is_heard_not_when_it_is_played() {
        let (at_once, near) = rolled(0.0);
        let (early, late) = rolled(0.4);
        // Through a slow loudspeaker it is played earlier by the delay, within a frame of the aircraft …
        assert!((at_once - early - 0.4).abs() < 0.02, "{at_once} {early}");
        // … so that it is heard at the mark as before. In 0.4 s the speed grows by more than a knot.
        assert!(near.len() >= 3 && near.len() == late.len(), "{near:?} {late:?}");
        for (callout, error) in near.iter().chain(&late) {
            assert!(error.abs() < 0.3, "{callout}: {error}, {near:?} {late:?}");
        }
    }
}
