//! The built-in aircraft: the invented Tarn T2 and Tarn T4, deterministic, 60 steps a second.
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

mod acting;
mod autopilot;
mod catalog;
mod country;
mod engine;
mod flight;
mod flying_on;
mod panel;
mod params;
mod placing;
mod rules;
mod setup;
mod systems;
#[cfg(test)]
mod tests;
mod warnings;

pub use crate::core::physics::performance::Surface;
pub use setup::{FAULTS, Place, Setup};

use crate::core::aircraft::{Value, ValueKind};
use crate::core::physics::wind;
use crate::core::time::SimTime;
use autopilot::Autopilot;
use catalog::{Entry, tables};
use country::{Beam, Country, HERE};
use engine::{Engine, Feed};
use flight::{Body, World};
use panel::{FuelLever, Panel, Speedbrake, StartSelector};
use params::{CENTRE, ENGINES, Params};
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use setup::{FAILURES, FAULTS_FOUR, FIRES, HOT_STARTS, LEAKS, NO_LIGHT_OFFS, STUCK_VALVES};
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
    table: Vec<&'static Entry>,
    index: BTreeMap<&'static str, usize>,
    steps: i64,
    panel: Panel,
    world: World,
    body: Body,
    country: Country,
    /// The aerodrome whose ground is below.
    airport: usize,
    elevations_ft: [f64; 2],
    /// What the tuned runway sends.
    beam: Option<Beam>,
    autopilot: Autopilot,
    engines: [Engine; ENGINES],
    spread: [f64; ENGINES],
    /// Reversers, 0 stowed … 1 out.
    reverse: [f64; ENGINES],
    systems: Systems,
    warnings: Warnings,
    zero_fuel_kg: f64,
    zero_fuel_cg_pct: f64,
    /// Seconds that each engine's fire still burns without fuel; 0 is no fire.
    fire: [f64; ENGINES],
    faults: BTreeSet<&'static str>,
    standby_kt: f64,
    standby_offset_kt: f64,
    /// Has been fast enough on this run for the autobrake to answer a reject.
    fast: bool,
    /// Speedbrakes came up by themselves.
    spoiled: bool,
    /// The autobrake works now.
    braking: bool,
}

impl Aircraft {
    /// A Tarn T2 at the stand in the default [`Setup`]. The seed makes one engine differ a little from the other.
    pub fn tarn_t2(seed: u64) -> Self {
        Aircraft::of(Params::tarn_t2(), seed)
    }

    /// A Tarn T4, the freighter with four engines, at the stand with its usual load ([`Aircraft::usual`]).
    pub fn tarn_t4(seed: u64) -> Self {
        Aircraft::of(Params::tarn_t4(), seed)
    }

    /// A built-in aircraft by the name that books give it.
    ///
    /// # Errors
    /// A sentence with the names that there are.
    pub fn named(name: &str, seed: u64) -> Result<Self, Refused> {
        match name {
            "tarn-t2" => Ok(Aircraft::tarn_t2(seed)),
            "tarn-t4" => Ok(Aircraft::tarn_t4(seed)),
            _ => Err(Refused(format!("There is no built-in aircraft \"{name}\"; use tarn-t2 or tarn-t4."))),
        }
    }

    /// The setup of a usual flight: the default one with this type's load.
    pub fn usual(&self) -> Setup {
        let mass = &self.params.mass;
        Setup { mass_kg: mass.usual_kg, fuel_kg: mass.usual_fuel_kg, ..Setup::default() }
    }

    /// Everything that [`Aircraft::inject`] can break.
    pub fn faults(&self) -> &'static [&'static str] {
        if self.params.engines() > 2 { FAULTS_FOUR } else { FAULTS }
    }

    fn of(params: Params, seed: u64) -> Self {
        let mut chance = Pcg32::seed_from_u64(seed);
        let mut around_zero = || f64::from(chance.next_u32()) / f64::from(u32::MAX) * 2.0 - 1.0;
        let mut spread = [1.0; ENGINES];
        for part in &mut spread[..params.engines()] {
            *part = 1.0 + around_zero() * params.start.spread;
        }
        let standby_offset_kt = params.electrics.standby_offset_kt * around_zero();
        let country = Country::built_in();
        let world = World {
            elevation_ft: 0.0,
            qnh_hpa: 1013.25,
            isa_deviation_c: 0.0,
            wind_from_deg: 0.0,
            wind_kt: 0.0,
            grip: 1.0,
        };
        let table = tables(params.engines());
        let mut aircraft = Aircraft {
            specs: table
                .iter()
                .map(|e| SignalSpec { name: e.name, kind: e.kind.value_kind(), control: e.write.is_some() })
                .collect(),
            index: table.iter().enumerate().map(|(i, e)| (e.name, i)).collect(),
            table,
            steps: 0,
            panel: Panel::cold(true, params.trim.takeoff),
            world,
            body: Body::standing(&world, placing::START, 0.0),
            engines: spread.map(|s| Engine::cold(15.0, s)),
            spread,
            systems: Systems::cold(&params, 0.0),
            warnings: Warnings::default(),
            zero_fuel_kg: params.mass.empty_kg,
            zero_fuel_cg_pct: params.balance.zero_fuel_cg_pct,
            airport: HERE,
            elevations_ft: [0.0; 2],
            beam: None,
            autopilot: Autopilot::cold(0.0),
            reverse: [0.0; ENGINES],
            country,
            fire: [0.0; ENGINES],
            faults: BTreeSet::new(),
            standby_kt: 0.0,
            standby_offset_kt,
            fast: false,
            spoiled: false,
            braking: false,
            params,
        };
        aircraft.place(&aircraft.usual());
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
        self.table.iter().map(|e| (e.name.to_owned(), (e.read)(self))).collect()
    }

    /// One signal now; none if there is no such signal.
    pub fn get(&self, name: &str) -> Option<Value> {
        self.entry(name).map(|e| (e.read)(self))
    }

    fn entry(&self, name: &str) -> Option<&'static Entry> {
        self.index.get(name).map(|i| self.table[*i])
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

    /// Breaks something: one of [`Aircraft::faults`].
    ///
    /// # Errors
    /// There is no such fault.
    pub fn inject(&mut self, fault: &str) -> Result<(), Refused> {
        let all = self.faults();
        let known = all.iter().find(|f| **f == fault).ok_or_else(|| {
            Refused(format!("There is no fault \"{fault}\"; the {} knows: {}.", self.params.name, all.join(", ")))
        })?;
        self.faults.insert(known);
        if let Some(k) = FIRES.iter().position(|f| f == known) {
            self.fire[k] = FIRE_DIES_S;
        }
        Ok(())
    }

    /// Breaks something that the seed chooses, and says what.
    pub fn surprise(&mut self, seed: u64) -> &'static str {
        let mut chance = Pcg32::seed_from_u64(seed);
        let all = self.faults();
        let fault = all[chance.next_u32() as usize % all.len()];
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

    /// Which engines run; those that are not there do not.
    fn running(&self) -> [bool; ENGINES] {
        let mut running = [false; ENGINES];
        for (runs, engine) in running.iter_mut().zip(&self.engines).take(self.params.engines()) {
            *runs = engine.running(&self.params.start);
        }
        running
    }

    fn gear_word(&self) -> &'static str {
        match self.systems.gear {
            g if g >= 1.0 => "down",
            g if g <= 0.0 => "up",
            _ => "transit",
        }
    }

    fn faulty(&self, all: [&str; ENGINES], k: usize) -> bool {
        self.faults.contains(all[k])
    }

    /// A sixtieth of a second.
    pub fn step(&mut self) {
        self.steps += 1;
        for k in 0..self.params.engines() {
            self.step_engine(k);
        }
        let autopilot = self.fly_itself();
        self.step_reverse();
        let levers_closed = self.levers_closed();
        let fast = self.body.on_ground && self.body.ground_speed_kt() > 60.0;
        let around = Around {
            running: self.running(),
            n1_pct: std::array::from_fn(|k| self.engines[k].n1_pct),
            n2_pct: std::array::from_fn(|k| self.engines[k].n2_pct),
            valves_open: self.engines.iter().map(|e| u32::from(e.valve)).sum(),
            fuel_flow_kgh: std::array::from_fn(|k| self.engines[k].fuel_flow_kgh),
            spoil: fast && levers_closed,
            oat_c: self.body.air.temperature_c(),
            hyd_leak: std::array::from_fn(|k| self.faulty(LEAKS, k)),
            flap_jam: self.faults.contains("flap_jam"),
            gear_jam: self.faults.contains("gear_jam"),
            spoiler_fault: self.faults.contains("spoiler_fault"),
            autopilot,
            dt: STEP_S,
        };
        let armed = self.panel.speedbrake_lever == Speedbrake::Armed;
        self.systems.step(&self.params, &mut self.panel, &around);
        self.spoiled |= armed && self.panel.speedbrake_lever == Speedbrake::Up;
        if self.spoiled && self.levers_pct() > self.params.takeoff.lever_pct {
            // Thrust for another try: what came up by itself goes down by itself.
            self.panel.speedbrake_lever = Speedbrake::Down;
        }
        self.spoiled &= self.panel.speedbrake_lever == Speedbrake::Up;
        let autobrake = self.autobrake_m_s2();
        self.braking = autobrake > 0.0;
        let acting = self.acting(autobrake);
        self.body.step(&self.params, &self.world, &acting);
        self.over_other_ground();
        self.beam = self.receive();
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
        let pack = k * params.bleed.packs / params.engines();
        let loads = u32::from(panel.bleed[k] && panel.pack[pack]) + u32::from(panel.engine_anti_ice[k]);
        let feed = Feed {
            data: &params.engine,
            start: &params.start,
            lever_pct: self.governed_lever(k),
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
            hot_start: self.faulty(HOT_STARTS, k),
            no_light_off: self.faulty(NO_LIGHT_OFFS, k),
            failed: self.faulty(FAILURES, k),
            valve_stuck: self.faulty(STUCK_VALVES, k),
            dt: STEP_S,
        };
        if self.engines[k].step(&feed) {
            self.panel.engine_start[k] = StartSelector::Off;
        }
    }
}
