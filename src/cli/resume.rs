//! Going on where a session was broken off.

use super::Failure;
use super::wiring::failure;
use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::crew::Crew;
use crate::core::crew::io::{Action, Input};
use crate::core::journal::{Journal, Line as Entry, resume};
use crate::core::sim::{Aircraft, Place, Setup};
use crate::core::time::{SessionTime, SimTime, Wake};
use crate::edge::app::stage;
use crate::edge::link::BuiltIn;
use crate::edge::store::{JournalFile, load_journal};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How a session begins.
pub(super) enum Begin {
    Fresh,
    Resumed {
        at: SessionTime,
        sim: SimTime,
        wake: Wake,
        owed: Vec<Input>,
        standing: Vec<Action>,
        values: BTreeMap<String, Value>,
    },
}

/// A session that was broken off: where its journal lies and what it holds.
pub(super) struct BrokenOff {
    path: PathBuf,
    journal: Journal,
}

impl BrokenOff {
    pub(super) fn load(path: &Path) -> Result<BrokenOff, Failure> {
        Ok(BrokenOff { path: path.to_path_buf(), journal: load_journal(path).map_err(Failure)? })
    }

    /// The book that it was flown with, as it was asked for.
    pub(super) fn book(&self) -> PathBuf {
        PathBuf::from(&self.journal.header.book.path)
    }
}

/// Brings the engine to where a journal stops.
pub(super) fn go_on(session: &BrokenOff, book: &Arc<Book>, crew: &mut Crew) -> Result<(JournalFile, Begin), Failure> {
    let BrokenOff { path, journal } = session;
    if journal.header.book.hash != book.hash {
        return Err(Failure::new(format!(
            "{} was flown with another {} than this; give the book it was flown with, by --book",
            path.display(),
            journal.header.book.id
        )));
    }
    let resumed = resume(journal, crew);
    let file = JournalFile::resume(path, &resumed).map_err(Failure)?;
    let cut = resumed.open_speech.iter().map(|id| Input::SpeechEnded { id: *id, cut: true });
    let lost = resumed
        .open_requests
        .iter()
        .map(|r| Input::SetResult { request: *r, failed: Some("the session was interrupted".into()) });
    let begin = Begin::Resumed {
        at: resumed.at,
        sim: resumed.sim,
        wake: resumed.wake,
        owed: cut.chain(lost).collect(),
        standing: resumed.standing.clone(),
        values: last_state(journal),
    };
    Ok((file, begin))
}

fn last_state(journal: &Journal) -> BTreeMap<String, Value> {
    let mut values = BTreeMap::new();
    for e in &journal.entries {
        if let Entry::In { input: Input::State { delta }, .. } = &e.line {
            for (name, value) in delta {
                match value {
                    Some(v) => values.insert(name.clone(), v.clone()),
                    None => values.remove(name),
                };
            }
        }
    }
    values
}

/// The built-in aircraft as it was last seen: in the air where it was, with its speed, load and modes; on the ground at the
/// stand or on the runway, as its controls stand.
pub(super) fn rebuilt(
    book: &Book,
    values: &BTreeMap<String, Value>,
    (at, sim): (SessionTime, SimTime),
    phase: &str,
) -> Result<BuiltIn, Failure> {
    let mut aircraft = Aircraft::named(&book.aircraft, 1).map_err(failure)?;
    let number = |name: &str| values.get(name).and_then(Value::number);
    let running = ["engine_running_1", "engine_running_2"].iter().any(|s| values.get(*s) == Some(&Value::Bool(true)));
    let place = match stage::place(book, phase).map_err(Failure)? {
        _ if !running => Place::ColdAtStand,
        Place::Landed => Place::Landed,
        _ => Place::LinedUp,
    };
    let mut setup = Setup { place, ..aircraft.usual() };
    let known = [
        ("mass_kg", &mut setup.mass_kg),
        ("fuel_total_kg", &mut setup.fuel_kg),
        ("wind_from_deg", &mut setup.wind_from_deg),
        ("wind_kt", &mut setup.wind_kt),
    ];
    for (name, to) in known {
        *to = number(name).unwrap_or(*to);
    }
    if values.get("on_ground") == Some(&Value::Bool(false)) {
        aircraft.fly_on(&setup, values, sim);
    } else {
        aircraft.place(&setup);
        // Readings cannot be set, and some controls refuse: what stands stands.
        for (name, value) in values {
            let _ = aircraft.set(name, value);
        }
    }
    let origin = SessionTime(at.0 - aircraft.time().0);
    Ok(BuiltIn::new(aircraft, origin).on_such_a_day(setup))
}
