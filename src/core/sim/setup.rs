//! Where a session begins, and what can break.

use super::params::{ENGINES, Mass};
use crate::core::aircraft::place::PLACES;
use crate::core::physics::performance::Surface;

/// Where the aircraft is put.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    /// Cold and dark at the stand: chocks in, parking brake set, doors open.
    ColdAtStand,
    /// On the runway, engines at idle, takeoff flaps and trim set, parking brake set.
    LinedUp,
    /// In level flight, clean, gear up.
    Airborne {
        /// Above the runway, ft.
        height_ft: f64,
        /// Airspeed, kt.
        ias_kt: f64,
    },
    /// Climbing to cruise with the autopilot, ten miles on the way.
    Climb,
    /// In cruise with the autopilot, halfway.
    Cruise,
    /// Before the destination, level and slowing, about to meet the localiser, both beams armed.
    Approach {
        /// To the threshold, nautical miles.
        distance_nm: f64,
    },
    /// On both beams in landing configuration, autopilot on.
    FinalApproach {
        /// To the threshold, nautical miles.
        distance_nm: f64,
    },
    /// Rolling out slowly on the runway of the destination, speedbrakes still up, flaps still out.
    Landed,
}

/// Names of places with the distance that they have unless told.
const NAMES: &[(&str, Place)] = &[
    ("stand", Place::ColdAtStand),
    ("lined_up", Place::LinedUp),
    ("climb", Place::Climb),
    ("cruise", Place::Cruise),
    ("approach", Place::Approach { distance_nm: 13.0 }),
    ("final_approach", Place::FinalApproach { distance_nm: 6.0 }),
    ("landed", Place::Landed),
];

/// From where to where a place may say its miles.
fn miles(name: &str) -> (f64, f64) {
    PLACES.iter().find(|(n, _)| *n == name).and_then(|(_, miles)| *miles).unwrap_or_default()
}

impl Place {
    /// A place by its name in scripts: `stand`, `lined_up`, `climb`, `cruise`, `approach`, `final_approach`, `landed`;
    /// the two approaches may say how far out: `final_approach 4`.
    ///
    /// # Errors
    /// A sentence with the names that there are.
    pub fn named(text: &str) -> Result<Place, String> {
        let mut words = text.split_whitespace();
        let name = words.next().unwrap_or_default();
        let far = words.next().map(str::parse::<f64>);
        let known = NAMES.iter().find(|(n, _)| *n == name).map(|(_, place)| *place);
        match (known, far, words.next()) {
            (Some(place), None, _) => Ok(place),
            (Some(Place::Approach { .. }), Some(Ok(distance_nm)), None) => Ok(Place::Approach { distance_nm }),
            (Some(Place::FinalApproach { .. }), Some(Ok(distance_nm)), None) => {
                Ok(Place::FinalApproach { distance_nm })
            }
            _ => {
                let names: Vec<&str> = NAMES.iter().map(|(n, _)| *n).collect();
                let wrong = "there is no place";
                let hint = "an approach may say its miles, as in \u{201c}final_approach 4\u{201d}";
                Err(format!("{wrong} \u{201c}{text}\u{201d}; use one of {}; {hint}", names.join(", ")))
            }
        }
    }
}

/// The world and the load. Numbers that are not finite or out of range are brought back into range.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// Where.
    pub place: Place,
    /// Whole mass, kg, fuel included; never less than the empty aircraft with its fuel.
    pub mass_kg: f64,
    /// Fuel on board, kg.
    pub fuel_kg: f64,
    /// Outside air temperature on the runway, °C.
    pub oat_c: f64,
    /// Pressure of the day, hPa: what the altimeter should be set to.
    pub qnh_hpa: f64,
    /// Where the wind comes from, degrees, from the same north as the runway.
    pub wind_from_deg: f64,
    /// Wind, kt.
    pub wind_kt: f64,
    /// Of the runway and the stand, ft.
    pub runway_elevation_ft: f64,
    /// Of the runway, degrees. The aircraft stands in this direction at the stand, too, so that a straight taxi works.
    pub runway_heading_deg: f64,
    /// Ground power is connected at the stand.
    pub ground_power: bool,
    /// How the runways are.
    pub surface: Surface,
    /// Centre of gravity without fuel, per cent of the mean chord; the usual one if absent.
    pub zero_fuel_cg_pct: Option<f64>,
}

impl Default for Setup {
    fn default() -> Self {
        Setup {
            place: Place::ColdAtStand,
            mass_kg: 52_000.0,
            fuel_kg: 9_000.0,
            oat_c: 15.0,
            qnh_hpa: 1013.25,
            wind_from_deg: 0.0,
            wind_kt: 0.0,
            runway_elevation_ft: 0.0,
            runway_heading_deg: 270.0,
            ground_power: true,
            surface: Surface::Dry,
            zero_fuel_cg_pct: None,
        }
    }
}

impl Setup {
    /// Every number finite and within what the model can bear.
    pub(super) fn sane(&self, mass: &Mass) -> Setup {
        let plain = Setup::default();
        let fit =
            |value: f64, low: f64, high: f64, or: f64| if value.is_finite() { value.clamp(low, high) } else { or };
        let place = match self.place {
            Place::Airborne { height_ft, ias_kt } => Place::Airborne {
                height_ft: fit(height_ft, 100.0, 35_000.0, 3_000.0),
                ias_kt: fit(ias_kt, 110.0, 320.0, 210.0),
            },
            Place::Approach { distance_nm } => {
                let (near, far) = miles("approach");
                Place::Approach { distance_nm: fit(distance_nm, near, far, 13.0) }
            }
            Place::FinalApproach { distance_nm } => {
                let (near, far) = miles("final_approach");
                Place::FinalApproach { distance_nm: fit(distance_nm, near, far, 6.0) }
            }
            other => other,
        };
        Setup {
            place,
            mass_kg: fit(self.mass_kg, mass.sane_kg[0], mass.sane_kg[1], mass.usual_kg),
            fuel_kg: fit(self.fuel_kg, 0.0, mass.sane_kg[1], mass.usual_fuel_kg),
            oat_c: fit(self.oat_c, -60.0, 55.0, plain.oat_c),
            qnh_hpa: fit(self.qnh_hpa, 900.0, 1080.0, plain.qnh_hpa),
            wind_from_deg: fit(self.wind_from_deg, -360.0, 720.0, 0.0),
            wind_kt: fit(self.wind_kt, 0.0, 60.0, 0.0),
            runway_elevation_ft: fit(self.runway_elevation_ft, -1_000.0, 14_000.0, 0.0),
            runway_heading_deg: fit(self.runway_heading_deg, -360.0, 720.0, plain.runway_heading_deg),
            ground_power: self.ground_power,
            surface: self.surface,
            zero_fuel_cg_pct: self.zero_fuel_cg_pct.filter(|c| c.is_finite()).map(|c| c.clamp(5.0, 45.0)),
        }
    }
}

/// Everything that [`super::Aircraft::inject`] can break on the Tarn T2; `_1` and `_2` are the engine or the hydraulic
/// system.
pub const FAULTS: &[&str] = &[
    "autobrake_fault",
    "engine_failure_1",
    "engine_failure_2",
    "engine_fire_1",
    "engine_fire_2",
    "flap_jam",
    "gear_jam",
    "height_voice_fault",
    "hot_start_1",
    "hot_start_2",
    "hyd_leak_1",
    "hyd_leak_2",
    "no_light_off_1",
    "no_light_off_2",
    "reverser_stuck_1",
    "reverser_stuck_2",
    "spoiler_fault",
    "standby_stuck",
    "start_valve_stuck_1",
    "start_valve_stuck_2",
];

/// Everything that can break on the Tarn T4.
pub(super) const FAULTS_FOUR: &[&str] = &[
    "autobrake_fault",
    "engine_failure_1",
    "engine_failure_2",
    "engine_failure_3",
    "engine_failure_4",
    "engine_fire_1",
    "engine_fire_2",
    "engine_fire_3",
    "engine_fire_4",
    "flap_jam",
    "gear_jam",
    "height_voice_fault",
    "hot_start_1",
    "hot_start_2",
    "hot_start_3",
    "hot_start_4",
    "hyd_leak_1",
    "hyd_leak_2",
    "hyd_leak_3",
    "hyd_leak_4",
    "no_light_off_1",
    "no_light_off_2",
    "no_light_off_3",
    "no_light_off_4",
    "reverser_stuck_1",
    "reverser_stuck_2",
    "reverser_stuck_3",
    "reverser_stuck_4",
    "spoiler_fault",
    "standby_stuck",
    "start_valve_stuck_1",
    "start_valve_stuck_2",
    "start_valve_stuck_3",
    "start_valve_stuck_4",
];

/// A fault of each engine or hydraulic system.
macro_rules! each {
    ($($name:ident = $stem:literal;)*) => {
        $(pub(super) const $name: [&str; ENGINES] =
            [concat!($stem, "_1"), concat!($stem, "_2"), concat!($stem, "_3"), concat!($stem, "_4")];)*
    };
}
each! {
    FAILURES = "engine_failure";
    FIRES = "engine_fire";
    HOT_STARTS = "hot_start";
    LEAKS = "hyd_leak";
    NO_LIGHT_OFFS = "no_light_off";
    STUCK_REVERSERS = "reverser_stuck";
    STUCK_VALVES = "start_valve_stuck";
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What books and scripts may name is what there is.
    #[test]
    fn the_names_are_those_that_books_are_held_to() {
        let names: Vec<&str> = NAMES.iter().map(|(n, _)| *n).collect();
        assert_eq!(names, PLACES.iter().map(|(n, _)| *n).collect::<Vec<_>>());
        for (name, far) in PLACES {
            assert!(Place::named(name).is_ok(), "{name}");
            assert_eq!(Place::named(&format!("{name} 8")).is_ok(), far.is_some(), "{name}");
        }
    }
}
