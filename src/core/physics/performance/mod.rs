//! Takeoff, approach and landing figures from an aircraft's own tables.
//!
//! Tables are read between their points and never beyond them: outside, the answer is a typed [`Problem`]
//! and no number; a book words it.
//! Each aircraft has a file `phrasebooks/common/aircraft/*-performance.toml`; every number in it is invented. For
//! simulation and ground practice only.

mod data;
pub mod figures;
mod fuel;
mod landing;
mod load;
mod problem;
mod table;
mod takeoff;
#[cfg(test)]
mod tests;

pub use fuel::{FuelFinding, FuelState};
pub use landing::{Approach, Landing, LandingCase};
pub use load::{LoadFigures, LoadFinding};
pub use problem::{NoData, Problem, Quantity};
pub use takeoff::{Relation, Takeoff, TakeoffCase, TakeoffThrust};

/// How a runway is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Surface {
    /// Dry.
    #[default]
    Dry,
    /// Wet: longer to stop.
    Wet,
    /// Snow, slush or ice.
    Slippery,
}

/// An aircraft's tables.
#[derive(Debug, Clone, PartialEq)]
pub struct Performance {
    file: data::File,
}

/// Gives the tables of an aircraft.
pub type Tables = fn() -> Performance;

/// The built-in aircraft by the names that books give them, with their tables. The first is flown unless a book says
/// otherwise.
pub const AIRCRAFT: &[(&str, Tables)] = &[("tarn-t2", Performance::tarn_t2), ("tarn-t4", Performance::tarn_t4)];

impl Performance {
    /// The tables of a built-in aircraft by its name.
    pub fn named(aircraft: &str) -> Option<Performance> {
        AIRCRAFT.iter().find(|(name, _)| *name == aircraft).map(|(_, tables)| tables())
    }

    /// Reads a performance file.
    ///
    /// # Errors
    /// A sentence: what TOML says, or which table is not in order.
    pub fn parse(text: &str) -> Result<Performance, String> {
        let file: data::File = toml::from_str(text).map_err(|e| e.to_string())?;
        match wrong(&file) {
            Some((table, why)) => Err(format!("the table {table} is not in order: {why}")),
            None => Ok(Performance { file }),
        }
    }

    /// The built-in tables of the Tarn T2.
    pub fn tarn_t2() -> Performance {
        let text = include_str!("../../../../phrasebooks/common/aircraft/tarn-t2-performance.toml");
        // The file is part of the program and a test reads it, so that a mistake cannot reach a user.
        Performance::parse(text).expect("the embedded performance file is well formed")
    }

    /// The built-in tables of the Tarn T4.
    pub fn tarn_t4() -> Performance {
        let text = include_str!("../../../../phrasebooks/common/aircraft/tarn-t4-performance.toml");
        Performance::parse(text).expect("the embedded performance file is well formed")
    }

    /// The type that the tables are of.
    pub fn aircraft(&self) -> &str {
        &self.file.aircraft
    }

    /// Greatest takeoff, landing and zero fuel mass, kg.
    pub fn greatest_kg(&self) -> (f64, f64, f64) {
        let limits = &self.file.limits;
        (limits.takeoff_kg, limits.landing_kg, limits.zero_fuel_kg)
    }

    /// Greatest crosswind and tailwind, kt.
    pub fn greatest_wind_kt(&self) -> (f64, f64) {
        (self.file.limits.crosswind_kt, self.file.limits.tailwind_kt)
    }
}

/// The first table that is not in order, and why.
fn wrong(file: &data::File) -> Option<(String, String)> {
    let mut lines: Vec<(String, &table::Line)> = vec![
        ("control.vmcg_kt".into(), &file.control.vmcg_kt),
        ("control.vmca_kt".into(), &file.control.vmca_kt),
        ("v1.below_vr_kt".into(), &file.v1.below_vr_kt),
        ("trim.by_cg".into(), &file.trim.by_cg),
        ("trim.by_mass".into(), &file.trim.by_mass),
        ("descent.slowing_nm".into(), &file.descent.slowing_nm),
        ("fuel.holding_kgh".into(), &file.fuel.holding_kgh),
    ];
    for t in &file.takeoff {
        let named = [("vsr_kt", &t.vsr_kt), ("vr_kt", &t.vr_kt), ("v2_kt", &t.v2_kt), ("field_m", &t.field_m)];
        lines.extend(named.map(|(name, line)| (format!("takeoff, flaps {}, {name}", t.flap), line)));
    }
    for l in &file.landing {
        let named = [("vsr_kt", &l.vsr_kt), ("vref_kt", &l.vref_kt), ("distance_m", &l.distance_m)];
        lines.extend(named.map(|(name, line)| (format!("landing, flaps {}, {name}", l.flap), line)));
    }
    for r in &file.flaps {
        lines.push((format!("flaps, {} to {}", r.from, r.to), &r.speed_kt));
    }
    let air = &file.air;
    let sheets = [
        ("air.field_factor", &air.field_factor),
        ("air.v1_add_kt", &air.v1_add_kt),
        ("air.vr_add_kt", &air.vr_add_kt),
        ("air.v2_add_kt", &air.v2_add_kt),
        ("air.n1_pct", &air.n1_pct),
        ("stop.air_factor", &file.stop.air_factor),
        ("fuel.cruise_kgh", &file.fuel.cruise_kgh),
    ];
    let bad_line = lines.into_iter().find_map(|(name, line)| line.wrong().map(|why| (name, why)));
    bad_line.or_else(|| sheets.into_iter().find_map(|(name, sheet)| sheet.wrong().map(|why| (name.to_owned(), why))))
}
