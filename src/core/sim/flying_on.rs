//! Going on in the air from what was last seen.

use super::autopilot::{Lateral, Vertical};
use super::country::{Position, THERE};
use super::engine::Engine;
use super::flight::Body;
use super::panel::Words;
use super::setup::{Place, Setup};
use super::{Aircraft, CENTRE, STEP_S};
use crate::core::aircraft::Value;
use crate::core::physics::{DEG_RAD, FT_M, NM_M, airspeed, atmosphere};
use crate::core::time::SimTime;
use std::collections::BTreeMap;

/// What follows from where the aircraft is, or engages by itself: taken up last.
const LATER: &[&str] = &[
    "go_around",
    "ap_engaged",
    "ap_lateral_mode",
    "ap_vertical_mode",
    "ap_lateral_armed",
    "ap_vertical_armed",
    "speed_in_mach",
    "selected_mach",
];
/// Below this the radio altimeter tells the height above the runway, ft.
const RADIO_FT: f64 = 2_400.0;
/// An altimeter moves so far with its setting, ft/hPa, near enough for an iteration.
const FT_PER_HPA: f64 = 27.3;

impl Aircraft {
    /// In the air as it was last seen: position, height, speed, attitude, load, levers and modes; the clock shows `sim`. What
    /// was not seen, such as the pressure of the day above the reach of the radio altimeter, is as `setup` says.
    pub fn fly_on(&mut self, setup: &Setup, seen: &BTreeMap<String, Value>, sim: SimTime) {
        let number = |name: &str| seen.get(name).and_then(Value::number).filter(|n| n.is_finite());
        let truth = |name: &str| seen.get(name).and_then(Value::truth);
        let altitude_ft = number("altitude_ft").unwrap_or(3_000.0);
        let ias_kt = number("ias_kt").unwrap_or(210.0);
        self.place(&Setup { place: Place::Airborne { height_ft: altitude_ft, ias_kt }, ..setup.clone() });
        self.steps = libm::round(sim.secs() / STEP_S) as i64;
        // Readings cannot be set, and some controls refuse: what stands stands.
        for (name, value) in seen.iter().filter(|(name, _)| !LATER.contains(&name.as_str())) {
            let _ = self.set(name, value);
        }
        self.load_as(&number);
        let position = self.seen_at(&number);
        self.airport = self.country.nearest(position);
        self.world.elevation_ft = self.elevations_ft[self.airport];
        let height_ft = self.height_of(altitude_ft, number("radio_height_ft").filter(|h| *h < RADIO_FT));
        if let Some(oat_c) = number("oat_c") {
            self.world.isa_deviation_c += oat_c - self.world.air(height_ft * FT_M).temperature_c();
        }
        let air = self.world.air(height_ft * FT_M);
        let pressure_altitude = atmosphere::pressure_altitude_ft(air.pressure_hpa);
        let tas = airspeed::tas_from_cas(ias_kt, pressure_altitude, air.temperature_c());
        let heading_deg = number("heading_deg").unwrap_or(setup.runway_heading_deg);
        let pitch_deg = number("pitch_deg").unwrap_or(3.0);
        self.body = Body::flying(&self.world, position, heading_deg, height_ft, tas, pitch_deg);
        self.body.up_m_s = number("vertical_speed_fpm").unwrap_or(0.0) * FT_M / 60.0;
        self.body.bank_deg = number("bank_deg").unwrap_or(0.0);
        self.systems.settle(&self.params, &self.panel);
        self.systems.flap_deg = number("flap_deg").unwrap_or(self.systems.flap_deg);
        if seen.get("gear_position").and_then(Value::word) == Some("transit") {
            self.systems.gear = 0.5;
        }
        for (k, spread) in self.spread.into_iter().enumerate() {
            let dead = truth(&format!("engine_running_{}", k + 1)) == Some(false);
            let lever = self.panel.thrust_lever_pct[k];
            let oat_c = air.temperature_c();
            self.engines[k] =
                if dead { Engine::cold(oat_c, spread) } else { Engine::turning(&self.params.engine, spread, lever) };
        }
        self.guided_as(seen, heading_deg);
        self.beam = self.receive();
        self.standby_kt = (self.body.cas_kt + self.standby_offset_kt).max(0.0);
    }

    fn load_as(&mut self, number: &impl Fn(&str) -> Option<f64>) {
        self.zero_fuel_kg = number("zero_fuel_mass_kg").unwrap_or(self.zero_fuel_kg);
        let tanks: &[&str] = match self.params.engines() {
            2 => &["fuel_left_kg", "fuel_right_kg"],
            _ => &["fuel_tank_1_kg", "fuel_tank_2_kg", "fuel_tank_3_kg", "fuel_tank_4_kg"],
        };
        for (k, name) in tanks.iter().enumerate() {
            self.systems.fuel_kg[k] = number(name).unwrap_or(self.systems.fuel_kg[k]).max(0.0);
        }
        self.systems.fuel_kg[CENTRE] = number("fuel_centre_kg").unwrap_or(self.systems.fuel_kg[CENTRE]).max(0.0);
    }

    /// From distance and bearing to the threshold that they are about.
    fn seen_at(&self, number: &impl Fn(&str) -> Option<f64>) -> Position {
        let (Some(distance_nm), Some(bearing_deg)) = (number("distance_nm"), number("bearing_deg")) else {
            return self.body.position;
        };
        let airport = self.country.tuned(self.panel.nav_mhz).unwrap_or(&self.country.airports[THERE]);
        let (sin, cos) = (libm::sin(bearing_deg * DEG_RAD), libm::cos(bearing_deg * DEG_RAD));
        Position {
            east_m: (airport.east_nm - distance_nm * sin) * NM_M,
            north_m: (airport.north_nm - distance_nm * cos) * NM_M,
        }
    }

    /// The height above the runway, ft, at which the altimeter shows `altitude_ft`; where the height is known, the pressure of
    /// the day becomes the one at which it does.
    fn height_of(&mut self, altitude_ft: f64, radio_ft: Option<f64>) -> f64 {
        let mut height_ft = radio_ft.unwrap_or(altitude_ft - self.world.elevation_ft);
        for _ in 0..12 {
            let air = self.world.air(height_ft * FT_M);
            let above_ft = atmosphere::altimeter_ft(air.pressure_hpa, self.panel.altimeter_hpa) - altitude_ft;
            match radio_ft {
                Some(_) => self.world.qnh_hpa = (self.world.qnh_hpa + above_ft / FT_PER_HPA).clamp(900.0, 1080.0),
                None => height_ft -= above_ft,
            }
        }
        height_ft
    }

    fn guided_as(&mut self, seen: &BTreeMap<String, Value>, heading_deg: f64) {
        let truth = |name: &str| seen.get(name).and_then(Value::truth);
        let word = |name: &str| seen.get(name).and_then(Value::word);
        let lateral = word("ap_lateral_mode").and_then(Lateral::parse).unwrap_or(Lateral::Off);
        let vertical = word("ap_vertical_mode").and_then(Vertical::parse).unwrap_or(Vertical::Off);
        let altitude_ft = self.altitude_ft();
        self.autopilot.go_on(lateral, vertical, altitude_ft, heading_deg);
        self.autopilot.engaged = truth("ap_engaged") == Some(true);
        self.autopilot.in_mach = truth("speed_in_mach") == Some(true);
        if let Some(Value::Number(mach)) = seen.get("selected_mach") {
            self.autopilot.mach = *mach;
        }
        self.autopilot.localiser_armed = word("ap_lateral_armed") == Some("localiser");
        self.autopilot.glide_armed = matches!(word("ap_vertical_armed"), Some("glide_path" | "altitude_glide_path"));
    }
}
