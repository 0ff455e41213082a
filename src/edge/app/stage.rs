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
    let radio = script.radio.as_ref().map(Into::into);
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
    let app = App::new(parts, SessionTime::ZERO, Wake::default()).opening(radio.into_iter().collect());
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
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let book = load_book(&Places::here(None), &root.join("phrasebooks/saltmarsh-t2")).expect("a book").0;
        let book = Arc::new(book);
        let script = "[script]\ntitle = \"x\"\nbook = \"saltmarsh-t2\"\n[[steps]]\nsay = \"cockpit preparation complete\"\n\
                      expect = [{ flow = \"handover\", state = \"done\", within_s = 40 }]\n";
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
        let journal = JournalFile::nowhere(&header).expect("begins");
        let report = spoken(book, script, journal, Box::new(Fainting(false))).expect("runs");
        assert_eq!(report.faults, ["the voice stopped over a sentence; it goes on with the next"]);
        assert!(report.failures.is_empty(), "{:?}", report.failures);
        let told = "I have lost the voice. The rest goes on";
        assert!(report.lines.iter().any(|l| l.text == told), "{:#?}", report.lines);
    }
}
