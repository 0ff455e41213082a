//! Where a session begins, and what can break.

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
        }
    }
}

impl Setup {
    /// Every number finite and within what the model can bear.
    pub(super) fn sane(&self) -> Setup {
        let plain = Setup::default();
        let fit =
            |value: f64, low: f64, high: f64, or: f64| if value.is_finite() { value.clamp(low, high) } else { or };
        let place = match self.place {
            Place::Airborne { height_ft, ias_kt } => Place::Airborne {
                height_ft: fit(height_ft, 100.0, 35_000.0, 3_000.0),
                ias_kt: fit(ias_kt, 110.0, 320.0, 210.0),
            },
            other => other,
        };
        Setup {
            place,
            mass_kg: fit(self.mass_kg, 30_000.0, 70_000.0, plain.mass_kg),
            fuel_kg: fit(self.fuel_kg, 0.0, 18_000.0, plain.fuel_kg),
            oat_c: fit(self.oat_c, -60.0, 55.0, plain.oat_c),
            qnh_hpa: fit(self.qnh_hpa, 900.0, 1080.0, plain.qnh_hpa),
            wind_from_deg: fit(self.wind_from_deg, -360.0, 720.0, 0.0),
            wind_kt: fit(self.wind_kt, 0.0, 60.0, 0.0),
            runway_elevation_ft: fit(self.runway_elevation_ft, -1_000.0, 14_000.0, 0.0),
            runway_heading_deg: fit(self.runway_heading_deg, -360.0, 720.0, plain.runway_heading_deg),
            ground_power: self.ground_power,
        }
    }
}

/// Everything that [`super::Aircraft::inject`] can break; `_1` and `_2` are the engine or the hydraulic system.
pub const FAULTS: &[&str] = &[
    "engine_failure_1",
    "engine_failure_2",
    "engine_fire_1",
    "engine_fire_2",
    "flap_jam",
    "gear_jam",
    "hot_start_1",
    "hot_start_2",
    "hyd_leak_1",
    "hyd_leak_2",
    "no_light_off_1",
    "no_light_off_2",
    "standby_stuck",
    "start_valve_stuck_1",
    "start_valve_stuck_2",
];
