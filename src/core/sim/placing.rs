//! Putting the aircraft somewhere.

use super::autopilot::{Autopilot, Lateral, Vertical};
use super::country::{HERE, Position, THERE};
use super::engine::{Engine, lever_for};
use super::flight::{Body, World};
use super::panel::{Autobrake, Gear, Panel, Speedbrake};
use super::setup::{Place, Setup};
use super::systems::Systems;
use super::warnings::Warnings;
use super::{Aircraft, ENGINES, Surface};
use crate::core::physics::{DEG_RAD, FT_M, NM_M, airspeed, atmosphere};

/// How a place in the air begins.
struct Begin {
    position: Position,
    heading_deg: f64,
    height_ft: f64,
    cas_kt: f64,
    /// Up or down, degrees.
    path_deg: f64,
}

impl Aircraft {
    /// Puts the aircraft somewhere, repaired and loaded; the clock goes on, switches are as the place implies.
    pub fn place(&mut self, setup: &Setup) {
        let setup = setup.sane(&self.params.mass);
        let params = &self.params;
        let capacity = params.engines() as f64 * params.mass.wing_tank_kg + params.mass.centre_tank_kg;
        let fuel = setup.fuel_kg.min(capacity);
        self.zero_fuel_kg = (setup.mass_kg - fuel).max(params.mass.empty_kg);
        self.zero_fuel_cg_pct = setup.zero_fuel_cg_pct.unwrap_or(params.balance.zero_fuel_cg_pct);
        self.airport = HERE;
        self.elevations_ft[HERE] = setup.runway_elevation_ft;
        self.elevations_ft[THERE] = self.country.airports[THERE].elevation_ft;
        self.world = World {
            elevation_ft: setup.runway_elevation_ft,
            qnh_hpa: setup.qnh_hpa,
            isa_deviation_c: 0.0,
            wind_from_deg: setup.wind_from_deg,
            wind_kt: setup.wind_kt,
            grip: match setup.surface {
                Surface::Dry => 1.0,
                Surface::Wet => params.wheels.wet,
                Surface::Slippery => params.wheels.slippery,
            },
        };
        self.world.isa_deviation_c = setup.oat_c - self.world.air(0.0).temperature_c();
        self.faults.clear();
        self.fire = [0.0; ENGINES];
        self.reverse = [0.0; ENGINES];
        self.warnings = Warnings::default();
        (self.fast, self.spoiled, self.braking) = (false, false, false);
        self.systems = Systems::cold(params, fuel);
        self.body = Body::standing(&self.world, START, setup.runway_heading_deg);
        self.engines = self.spread.map(|s| Engine::cold(setup.oat_c, s));
        self.panel = Panel::cold(setup.ground_power, params.trim.takeoff);
        self.autopilot = Autopilot::cold(setup.runway_heading_deg.rem_euclid(360.0));
        if setup.place != Place::ColdAtStand {
            let flaps = params.takeoff.flaps.get(1).map_or(0.0, |f| f64::from(*f));
            self.panel = Panel::lined_up(params.trim.takeoff, flaps, setup.qnh_hpa);
            self.panel.nav_mhz = self.country.airports[THERE].localiser_mhz;
            self.engines = self.spread.map(|s| Engine::idling(&params.engine, s));
            self.autopilot.director = true;
        }
        match setup.place {
            Place::ColdAtStand | Place::LinedUp => {}
            Place::Airborne { height_ft, ias_kt } => {
                self.clean_up();
                self.panel.thrust_lever_pct = [50.0; ENGINES];
                let air = self.world.air(height_ft * FT_M);
                let pressure_altitude = atmosphere::pressure_altitude_ft(air.pressure_hpa);
                let tas = airspeed::tas_from_cas(ias_kt, pressure_altitude, air.temperature_c());
                self.body = Body::flying(&self.world, START, setup.runway_heading_deg, height_ft, tas, 3.0);
            }
            Place::Climb => self.on_the_way(0.06, CLIMB_FT, 2.5),
            Place::Cruise => self.on_the_way(0.5, CRUISE_FT, 0.0),
            Place::Approach { distance_nm } => self.before_the_beams(distance_nm),
            Place::FinalApproach { distance_nm } => self.on_the_beams(distance_nm),
            Place::Landed => self.landed(),
        }
        if setup.place != Place::ColdAtStand {
            self.systems.settle(&self.params, &self.panel);
        }
        if !matches!(setup.place, Place::ColdAtStand | Place::LinedUp | Place::Airborne { .. } | Place::Landed) {
            self.trim_and_power();
        }
        if setup.place == Place::Climb {
            self.climb_with_all();
        }
        self.beam = self.receive();
        self.standby_kt = (self.body.cas_kt + self.standby_offset_kt).max(0.0);
    }

    fn clean_up(&mut self) {
        self.panel.flap_lever = 0.0;
        self.panel.gear_lever = Gear::Up;
        self.panel.parking_brake = false;
        self.panel.autobrake = Autobrake::Off;
    }

    fn begin(&mut self, begin: &Begin) {
        let air = self.world.air(begin.height_ft * FT_M);
        let pressure_altitude = atmosphere::pressure_altitude_ft(air.pressure_hpa);
        let tas = airspeed::tas_from_cas(begin.cas_kt, pressure_altitude, air.temperature_c());
        self.body = Body::flying(&self.world, begin.position, begin.heading_deg, begin.height_ft, tas, 3.0);
        self.body.up_m_s = self.body.forward_m_s * libm::tan(begin.path_deg * DEG_RAD);
        self.autopilot.heading_deg = begin.heading_deg;
        self.autopilot.speed_kt = begin.cas_kt;
    }

    /// Between the two aerodromes, so great a part of the way gone, at an altitude, ft.
    fn on_the_way(&mut self, gone: f64, altitude_ft: f64, path_deg: f64) {
        self.clean_up();
        let seen = START.from(&self.country.airports[THERE]);
        let (sin, cos) = (libm::sin(seen.bearing_deg * DEG_RAD), libm::cos(seen.bearing_deg * DEG_RAD));
        let gone_m = gone * seen.distance_m;
        let position = Position { east_m: START.east_m + gone_m * sin, north_m: START.north_m + gone_m * cos };
        let climbs = path_deg > 0.0;
        let cas_kt = if climbs { 250.0 } else { self.params.autopilot.changeover_kt };
        let height_ft = altitude_ft - self.world.elevation_ft;
        self.begin(&Begin { position, heading_deg: seen.bearing_deg, height_ft, cas_kt, path_deg });
        self.panel.altimeter_hpa = if climbs { self.world.qnh_hpa } else { atmosphere::P0_HPA };
        self.autopilot.altitude_ft = if climbs { CRUISE_FT } else { libm::round(self.altitude_ft() / 100.0) * 100.0 };
        let mode = if climbs { Vertical::LevelChange } else { Vertical::Altitude };
        self.autopilot.begin(Lateral::Heading, mode, self.autopilot.altitude_ft);
        self.panel.landing_lights = climbs;
    }

    fn at_the_destination(&mut self) {
        self.airport = THERE;
        self.world.elevation_ft = self.elevations_ft[THERE];
    }

    /// The speed on final, kt, at this mass.
    fn approach_kt(&self) -> f64 {
        let data = &self.params.autopilot;
        libm::round(data.approach_kt * libm::sqrt(self.mass_kg() / data.approach_kg))
    }

    fn before_the_beams(&mut self, distance_nm: f64) {
        self.at_the_destination();
        self.clean_up();
        let airport = self.country.airports[THERE].clone();
        let detent = self.params.flaps.get(1).map_or(0.0, |f| f64::from(f.detent));
        self.panel.flap_lever = detent;
        // From the right of the centre line, so that a turn to the left is cut short by thirty degrees.
        let position = airport.place(distance_nm * NM_M, 0.9 * NM_M);
        let path_ft = distance_nm * NM_M * libm::tan(self.country.beams.glide_deg * DEG_RAD) / FT_M;
        let height_ft = (path_ft - 500.0).min(APPROACH_FT - airport.elevation_ft);
        let heading_deg = (airport.heading_deg - 30.0).rem_euclid(360.0);
        let cas_kt = libm::round(self.approach_kt() * 1.45 / 5.0) * 5.0;
        self.begin(&Begin { position, heading_deg, height_ft, cas_kt, path_deg: 0.0 });
        self.autopilot.altitude_ft = libm::round(self.altitude_ft() / 100.0) * 100.0;
        self.autopilot.begin(Lateral::Heading, Vertical::Altitude, self.autopilot.altitude_ft);
        (self.autopilot.localiser_armed, self.autopilot.glide_armed) = (true, true);
    }

    fn on_the_beams(&mut self, distance_nm: f64) {
        self.at_the_destination();
        let airport = self.country.airports[THERE].clone();
        let beams = self.country.beams.clone();
        self.for_landing();
        let position = airport.place(distance_nm * NM_M, 0.0);
        let tan = libm::tan(beams.glide_deg * DEG_RAD);
        let height_ft = beams.threshold_crossing_ft + distance_nm * NM_M * tan / FT_M;
        let wind = super::wind::components(self.world.wind_from_deg, self.world.wind_kt, airport.heading_deg);
        let cas_kt = self.approach_kt();
        let drift = libm::asin((wind.crosswind_kt / cas_kt).clamp(-0.5, 0.5)) / DEG_RAD;
        let heading_deg = airport.heading_deg + drift;
        self.begin(&Begin { position, heading_deg, height_ft, cas_kt, path_deg: -beams.glide_deg });
        self.autopilot.heading_deg = airport.heading_deg;
        // The altitude to climb to if it goes around.
        self.autopilot.altitude_ft = APPROACH_FT;
        self.autopilot.begin(Lateral::Localiser, Vertical::GlidePath, APPROACH_FT);
    }

    fn for_landing(&mut self) {
        self.panel.parking_brake = false;
        self.panel.flap_lever = self.params.flaps.last().map_or(0.0, |f| f64::from(f.detent));
        self.panel.speedbrake_lever = Speedbrake::Armed;
        self.panel.autobrake = Autobrake::Medium;
    }

    fn landed(&mut self) {
        self.at_the_destination();
        let airport = self.country.airports[THERE].clone();
        self.for_landing();
        self.panel.autobrake = Autobrake::Off;
        self.panel.speedbrake_lever = Speedbrake::Up;
        self.spoiled = true;
        self.body = Body::standing(&self.world, airport.place(-1_500.0, 0.0), airport.heading_deg);
        self.body.forward_m_s = 15.0;
        self.autopilot.heading_deg = airport.heading_deg;
    }

    /// The path that climb thrust gives.
    fn climb_with_all(&mut self) {
        let (mut flat, mut steep) = (0.0, 0.2);
        for _ in 0..20 {
            let middle = (flat + steep) / 2.0;
            self.body.up_m_s = self.body.forward_m_s * middle;
            self.trim_and_power();
            let enough = self.panel.thrust_lever_pct[0] >= self.params.autopilot.climb_lever_pct;
            (flat, steep) = if enough { (flat, middle) } else { (middle, steep) };
        }
    }

    /// Attitude and levers of steady flight, settled.
    pub(super) fn trim_and_power(&mut self) {
        self.body.sense(&self.world);
        let acting = self.acting(0.0);
        let drag = self.body.balance(&self.params, &self.world, &acting);
        let climb = self.mass_kg() * crate::core::physics::G0_M_S2 * self.body.path_sine(&self.world);
        let each = (drag + climb) / self.params.engines() as f64;
        let lever = lever_for(&self.params.engine, &self.body.air, self.body.mach, each);
        self.panel.thrust_lever_pct = [lever; ENGINES];
        self.engines = self.spread.map(|s| Engine::turning(&self.params.engine, s, lever));
    }
}

/// Threshold of the departure runway.
pub(super) const START: Position = Position { east_m: 0.0, north_m: 0.0 };
/// Altitude at which the place "climb" begins, ft.
const CLIMB_FT: f64 = 6_000.0;
/// Altitude of the place "cruise", ft.
const CRUISE_FT: f64 = 24_000.0;
/// Altitude before the approach, ft.
const APPROACH_FT: f64 = 3_000.0;
