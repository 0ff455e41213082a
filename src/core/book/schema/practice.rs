//! What is practised again and again: where an attempt ends, and what differs from one to the next.

use super::{PhaseId, SheetId};
use crate::core::aircraft::Value;

/// `[practice.PHASE]`: how a phase is practised.
#[derive(Debug, Clone)]
pub struct Practice {
    /// The phase that each attempt begins in.
    pub phase: PhaseId,
    /// An attempt is over when one of these begins.
    pub until: Vec<PhaseId>,
    /// Or so long after its beginning, session time, s.
    pub limit_s: f64,
    /// What is drawn for each attempt, in order.
    pub draws: Vec<Draw>,
}

/// One circumstance that is drawn.
#[derive(Debug, Clone)]
pub struct Draw {
    /// Which.
    pub of: Circumstance,
    /// From what.
    pub among: Among,
    /// The entry of the flight sheet that gets the drawn value.
    pub sheet: Option<SheetId>,
}

/// What a drawn value comes from.
#[derive(Debug, Clone)]
pub enum Among {
    /// Evenly from the first to the second, in steps.
    Range {
        /// Least.
        from: f64,
        /// Greatest.
        to: f64,
        /// Between two neighbours.
        step: f64,
    },
    /// One of these.
    List(Vec<Value>),
}

/// A circumstance of the built-in world.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Circumstance {
    /// Whole mass, kg.
    Mass,
    /// Fuel on board, kg.
    Fuel,
    /// Outside temperature on the departure runway, °C.
    Oat,
    /// Pressure of the day, hPa.
    Qnh,
    /// Where the wind comes from, degrees.
    WindFrom,
    /// Wind, kt.
    Wind,
    /// How runways are: a word of the performance tables.
    Surface,
    /// The departure runway: its designator.
    Runway,
}

impl Circumstance {
    /// All, by the names that a book uses.
    pub const NAMES: &'static [(&'static str, Circumstance)] = &[
        ("mass_kg", Circumstance::Mass),
        ("fuel_kg", Circumstance::Fuel),
        ("oat_c", Circumstance::Oat),
        ("qnh_hpa", Circumstance::Qnh),
        ("wind_from_deg", Circumstance::WindFrom),
        ("wind_kt", Circumstance::Wind),
        ("surface", Circumstance::Surface),
        ("runway", Circumstance::Runway),
    ];
}
