//! The built-in aircraft: the invented Tarn T2, deterministic, 60 steps a second.
//!
//! The same seed and the same script give the same bits on every machine: fixed step, `libm`, no other source of
//! chance than the seed. `docs/aircraft.md` describes what is modelled and what is not.
//!
//! ```
//! use antiphon::core::{aircraft::Value, sim::{Aircraft, Setup}};
//! let mut t2 = Aircraft::tarn_t2(1);
//! t2.place(&Setup::default());
//! t2.set("battery", &Value::Bool(true)).unwrap();
//! t2.step();
//! assert_eq!(t2.get("battery"), Some(Value::Bool(true)));
//! ```

mod catalog;
mod engine;
mod flight;
mod panel;
mod params;
mod rules;
mod setup;
mod systems;
#[cfg(test)]
mod tests;
mod warnings;

pub use setup::{FAULTS, Place, Setup};

use crate::core::aircraft::{Value, ValueKind};
use crate::core::physics::{FT_M, KT_M_S, airspeed, atmosphere, wind};
use crate::core::time::SimTime;
use catalog::{Entry, TABLE};
use engine::{Engine, Feed};
use flight::{Acting, Body, World};
use panel::{Autobrake, FuelLever, Gear, Panel, StartSelector, Tug};
use params::Params;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::collections::{BTreeMap, BTreeSet};
use systems::{Around, Systems};
use warnings::Warnings;

/// Length of a step, s.
pub const STEP_S: f64 = 1.0 / 60.0;
/// How long a fire burns on after its fuel is cut, s.
const FIRE_DIES_S: f64 = 8.0;

/// A published quantity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignalSpec {
    /// Its name, unit included.
    pub name: &'static str,
    /// Its type.
    pub kind: ValueKind,
    /// Whether [`Aircraft::set`] takes it.
    pub control: bool,
}

/// Why a control was not set: one plain sentence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Refused(pub String);

/// The aircraft, its systems, and the air around it.
#[derive(Debug, Clone)]
pub struct Aircraft {
    params: Params,
    specs: Vec<SignalSpec>,
    index: BTreeMap<&'static str, usize>,
    steps: i64,
    panel: Panel,
    world: World,
    body: Body,
    engines: [Engine; 2],
    spread: [f64; 2],
    systems: Systems,
    warnings: Warnings,
    zero_fuel_kg: f64,
    /// Seconds that each engine's fire still burns without fuel; 0 is no fire.
    fire: [f64; 2],
    faults: BTreeSet<&'static str>,
    standby_kt: f64,
    standby_offset_kt: f64,
    /// Has been fast enough on this run for the autobrake to answer a reject.
    fast: bool,
}

impl Aircraft {
    /// A Tarn T2 at the stand in the default [`Setup`]. The seed makes one engine differ a little from the other.
    pub fn tarn_t2(seed: u64) -> Self {
        let params = Params::tarn_t2();
        let mut chance = Pcg32::seed_from_u64(seed);
        let mut around_zero = || f64::from(chance.next_u32()) / f64::from(u32::MAX) * 2.0 - 1.0;
        let spread = [1.0 + around_zero() * params.start.spread, 1.0 + around_zero() * params.start.spread];
        let standby_offset_kt = params.electrics.standby_offset_kt * around_zero();
        let world =
            World { elevation_ft: 0.0, qnh_hpa: 1013.25, isa_deviation_c: 0.0, wind_from_deg: 0.0, wind_kt: 0.0 };
        let mut aircraft = Aircraft {
            specs: TABLE
                .iter()
                .map(|e| SignalSpec { name: e.name, kind: e.kind.value_kind(), control: e.write.is_some() })
                .collect(),
            index: TABLE.iter().enumerate().map(|(i, e)| (e.name, i)).collect(),
            steps: 0,
            panel: Panel::cold(true, params.trim.takeoff),
            world,
            body: Body::standing(&world, 0.0),
            engines: [Engine::cold(15.0, spread[0]), Engine::cold(15.0, spread[1])],
            spread,
            systems: Systems::cold(&params, 0.0),
            warnings: Warnings::default(),
            zero_fuel_kg: params.mass.empty_kg,
            fire: [0.0; 2],
            faults: BTreeSet::new(),
            standby_kt: 0.0,
            standby_offset_kt,
            fast: false,
            params,
        };
        aircraft.place(&Setup::default());
        aircraft
    }

    /// The type's name, from its data.
    pub fn name(&self) -> &str {
        &self.params.name
    }

    /// Time of the simulated world: step `k` is at exactly k/60 s, rounded to the microsecond. Placing keeps it.
    pub fn time(&self) -> SimTime {
        SimTime((self.steps * 1_000_000 + 30) / 60)
    }

    /// Everything that is published, in a fixed order.
    pub fn signals(&self) -> &[SignalSpec] {
        &self.specs
    }

    /// All signals now.
    pub fn read(&self) -> BTreeMap<String, Value> {
        TABLE.iter().map(|e| (e.name.to_owned(), (e.read)(self))).collect()
    }

    /// One signal now; none if there is no such signal.
    pub fn get(&self, name: &str) -> Option<Value> {
        self.entry(name).map(|e| (e.read)(self))
    }

    fn entry(&self, name: &str) -> Option<&'static Entry> {
        self.index.get(name).map(|i| &TABLE[*i])
    }

    /// Moves a control. Effects come with the next steps.
    ///
    /// # Errors
    /// A sentence: no such control, a value of the wrong type or out of range, or not allowed now.
    pub fn set(&mut self, control: &str, to: &Value) -> Result<(), Refused> {
        let entry = self.entry(control).ok_or_else(|| rules::unknown(control, &self.specs))?;
        let write = entry.write.ok_or_else(|| {
            Refused(format!("\"{control}\" is a reading that nobody can set; set the control that moves it."))
        })?;
        rules::fits(control, to, &entry.kind.value_kind())?;
        rules::allowed(self, control, to)?;
        write(self, to);
        Ok(())
    }

    /// Puts the aircraft somewhere, repaired and loaded; the clock goes on, switches are as the place implies.
    pub fn place(&mut self, setup: &Setup) {
        let setup = setup.sane();
        let params = &self.params;
        let capacity = 2.0 * params.mass.wing_tank_kg + params.mass.centre_tank_kg;
        let fuel = setup.fuel_kg.min(capacity);
        self.zero_fuel_kg = (setup.mass_kg - fuel).max(params.mass.empty_kg);
        self.world = World {
            elevation_ft: setup.runway_elevation_ft,
            qnh_hpa: setup.qnh_hpa,
            isa_deviation_c: 0.0,
            wind_from_deg: setup.wind_from_deg,
            wind_kt: setup.wind_kt,
        };
        self.world.isa_deviation_c = setup.oat_c - self.world.air(0.0).temperature_c();
        self.faults.clear();
        self.fire = [0.0; 2];
        self.warnings = Warnings::default();
        self.fast = false;
        self.systems = Systems::cold(params, fuel);
        self.body = Body::standing(&self.world, setup.runway_heading_deg);
        self.engines = self.spread.map(|s| Engine::cold(setup.oat_c, s));
        self.panel = Panel::cold(setup.ground_power, params.trim.takeoff);
        if setup.place != Place::ColdAtStand {
            let flaps = params.takeoff.flaps.get(1).map_or(0.0, |f| f64::from(*f));
            self.panel = Panel::lined_up(params.trim.takeoff, flaps, setup.qnh_hpa);
            self.engines = self.spread.map(|s| Engine::idling(&params.engine, s));
        }
        if let Place::Airborne { height_ft, ias_kt } = setup.place {
            self.panel.flap_lever = 0.0;
            self.panel.gear_lever = Gear::Up;
            self.panel.parking_brake = false;
            self.panel.autobrake = Autobrake::Off;
            self.panel.thrust_lever_pct = [50.0; 2];
            let air = self.world.air(height_ft * FT_M);
            let pressure_altitude = atmosphere::pressure_altitude_ft(air.pressure_hpa);
            let tas = airspeed::tas_from_cas(ias_kt, pressure_altitude, air.temperature_c());
            self.body = Body::flying(&self.world, setup.runway_heading_deg, height_ft, tas, 3.0);
        }
        if setup.place != Place::ColdAtStand {
            self.systems.settle(&self.params, &self.panel);
        }
        self.standby_kt = (self.body.cas_kt + self.standby_offset_kt).max(0.0);
    }

    /// Breaks something: one of [`FAULTS`].
    ///
    /// # Errors
    /// There is no such fault.
    pub fn inject(&mut self, fault: &str) -> Result<(), Refused> {
        let known = FAULTS.iter().find(|f| **f == fault).ok_or_else(|| {
            Refused(format!("There is no fault \"{fault}\"; the Tarn T2 knows: {}.", FAULTS.join(", ")))
        })?;
        self.faults.insert(known);
        for k in 0..2 {
            if *known == ["engine_fire_1", "engine_fire_2"][k] {
                self.fire[k] = FIRE_DIES_S;
            }
        }
        Ok(())
    }

    /// Breaks something that the seed chooses, and says what.
    pub fn surprise(&mut self, seed: u64) -> &'static str {
        let mut chance = Pcg32::seed_from_u64(seed);
        let fault = FAULTS[chance.next_u32() as usize % FAULTS.len()];
        self.inject(fault).expect("the list names only faults that exist");
        fault
    }

    /// Distance along the track since the last placing, m; backwards counts negative.
    pub fn rolled_m(&self) -> f64 {
        self.body.rolled_m
    }

    fn mass_kg(&self) -> f64 {
        self.zero_fuel_kg + self.systems.fuel_total_kg()
    }

    fn wind(&self) -> wind::Components {
        wind::components(self.world.wind_from_deg, self.world.wind_kt, self.body.heading_deg)
    }

    fn running(&self) -> [bool; 2] {
        [self.engines[0].running(&self.params.start), self.engines[1].running(&self.params.start)]
    }

    fn gear_word(&self) -> &'static str {
        match self.systems.gear {
            g if g >= 1.0 => "down",
            g if g <= 0.0 => "up",
            _ => "transit",
        }
    }

    fn faulty(&self, pair: [&str; 2], k: usize) -> bool {
        self.faults.contains(pair[k])
    }

    /// A sixtieth of a second.
    pub fn step(&mut self) {
        self.steps += 1;
        for k in 0..2 {
            self.step_engine(k);
        }
        let around = Around {
            running: self.running(),
            n1_pct: [self.engines[0].n1_pct, self.engines[1].n1_pct],
            n2_pct: [self.engines[0].n2_pct, self.engines[1].n2_pct],
            valves_open: u32::from(self.engines[0].valve) + u32::from(self.engines[1].valve),
            fuel_flow_kgh: [self.engines[0].fuel_flow_kgh, self.engines[1].fuel_flow_kgh],
            spoil: self.body.on_ground && self.body.ground_speed_kt() > 60.0 && self.levers_closed(),
            hyd_leak: [0, 1].map(|k| self.faulty(["hyd_leak_1", "hyd_leak_2"], k)),
            flap_jam: self.faults.contains("flap_jam"),
            gear_jam: self.faults.contains("gear_jam"),
            dt: STEP_S,
        };
        self.systems.step(&self.params, &mut self.panel, &around);
        let acting = self.acting();
        self.body.step(&self.params, &self.world, &acting);
        if self.body.ground_speed_kt() > 1.0 {
            // Moving off pulls the ground power cable.
            self.panel.external_power_available = false;
        }
        if !self.faults.contains("standby_stuck") {
            self.standby_kt = (self.body.cas_kt + self.standby_offset_kt).max(0.0);
        }
        let warnings = Warnings::watch(self);
        self.warnings = warnings;
    }

    fn step_engine(&mut self, k: usize) {
        let (params, panel, systems) = (&self.params, &self.panel, &self.systems);
        let (tank, boosted) = systems.feed(panel, k);
        let cut = panel.fuel_lever[k] == FuelLever::Cutoff;
        if cut && self.fire[k] > 0.0 {
            self.fire[k] = (self.fire[k] - STEP_S).max(0.0);
        }
        let loads = u32::from(panel.bleed[k] && panel.pack[k]) + u32::from(panel.engine_anti_ice[k]);
        let feed = Feed {
            data: &params.engine,
            start: &params.start,
            lever_pct: panel.thrust_lever_pct[k],
            selector: panel.engine_start[k] == StartSelector::Start,
            fuel_on: !cut,
            boosted,
            fuel: tank.is_some(),
            powered: systems.powered(panel),
            duct_psi: systems.duct_psi,
            air: self.body.air,
            mach: self.body.mach,
            cas_kt: self.body.cas_kt,
            bleed_loss: params.engine.bleed_thrust_loss * f64::from(loads),
            hot_start: self.faulty(["hot_start_1", "hot_start_2"], k),
            no_light_off: self.faulty(["no_light_off_1", "no_light_off_2"], k),
            failed: self.faulty(["engine_failure_1", "engine_failure_2"], k),
            valve_stuck: self.faulty(["start_valve_stuck_1", "start_valve_stuck_2"], k),
            dt: STEP_S,
        };
        if self.engines[k].step(&feed) {
            self.panel.engine_start[k] = StartSelector::Off;
        }
    }

    fn levers_closed(&self) -> bool {
        self.panel.thrust_lever_pct.iter().all(|l| *l < 5.0)
    }

    /// What acts on the body now.
    fn acting(&mut self) -> Acting {
        let tug_m_s = match (self.panel.tug, self.body.on_ground) {
            (Tug::Attached, true) => Some(0.0),
            (Tug::Pushing, true) => Some(-self.params.wheels.tug_kt * KT_M_S),
            _ => None,
        };
        let autobrake_m_s2 = self.autobrake_m_s2();
        Acting {
            mass_kg: self.mass_kg(),
            thrust_n: [self.engines[0].thrust_n, self.engines[1].thrust_n],
            flap_deg: self.systems.flap_deg,
            gear: self.systems.gear,
            speedbrake: self.systems.speedbrake,
            control_pct: self.systems.control_pct,
            trim_units: self.panel.trim_units,
            brakes_pct: self.panel.brakes_pct,
            parking_brake: self.panel.parking_brake,
            chocks: self.panel.chocks,
            autobrake_m_s2,
            steering: self.systems.hydraulics(&self.params) && !self.panel.bypass_pin,
            tug_m_s,
            dt: STEP_S,
        }
    }

    /// The deceleration that the autobrake asks for now, m/s²; 0 is none.
    fn autobrake_m_s2(&mut self) -> f64 {
        let data = &self.params.autobrake;
        let speed = self.body.ground_speed_kt();
        if !self.body.on_ground || speed < 1.0 {
            self.fast = false;
        } else if speed >= data.takeoff_arms_kt {
            self.fast = true;
        }
        let wanted = match self.panel.autobrake {
            Autobrake::Takeoff if self.fast && !self.body.landed => data.takeoff_m_s2,
            Autobrake::Low if self.body.landed => data.low_m_s2,
            Autobrake::Medium if self.body.landed => data.medium_m_s2,
            Autobrake::High if self.body.landed => data.high_m_s2,
            _ => return 0.0,
        };
        if !self.body.on_ground || !self.levers_closed() {
            return 0.0;
        }
        if self.panel.brakes_pct >= data.override_pct {
            self.panel.autobrake = Autobrake::Off;
            return 0.0;
        }
        wanted
    }
}
