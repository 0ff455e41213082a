//! The built-in aircraft: it flies in the session's own time, one frame each 1/60 s.

use super::Link;
use crate::core::aircraft::Value;
use crate::core::sim::{Aircraft, Place, Setup};
use crate::core::time::{SessionTime, SimTime};
use std::collections::BTreeMap;

/// The built-in aircraft as a link.
pub struct BuiltIn {
    aircraft: Aircraft,
    values: BTreeMap<String, Value>,
    /// Session time at which the simulator's clock showed zero.
    origin: SessionTime,
    /// The day and the load with which it began, for when it is put somewhere else.
    setup: Option<Setup>,
}

impl BuiltIn {
    /// Takes an aircraft, already placed, whose clock shows now what the session's shows at `origin` plus its time.
    pub fn new(aircraft: Aircraft, origin: SessionTime) -> Self {
        let values = aircraft.read();
        BuiltIn { aircraft, values, origin, setup: None }
    }

    /// The day and the load that hold whenever it is put somewhere else.
    #[must_use]
    pub fn on_such_a_day(mut self, setup: Setup) -> Self {
        self.setup = Some(setup);
        self
    }
}

impl Link for BuiltIn {
    fn next_frame(&self) -> SessionTime {
        // Frame k stands at round(k/60 s): one frame later is at most 16,667 µs away.
        let k = self.aircraft.time().0 * 60 / 1_000_000;
        let frames = [k, k + 1, k + 2].map(|k| SimTime::from_secs(k as f64 / 60.0));
        let next = frames.into_iter().find(|t| *t > self.aircraft.time()).unwrap_or(self.aircraft.time());
        self.session_at(next)
    }

    fn frame(&mut self) {
        self.aircraft.step();
        self.values = self.aircraft.read();
    }

    fn values(&self) -> &BTreeMap<String, Value> {
        &self.values
    }

    fn sim(&self) -> SimTime {
        self.aircraft.time()
    }

    fn sim_at(&self, at: SessionTime) -> SimTime {
        SimTime(at.0 - self.origin.0)
    }

    fn session_at(&self, sim: SimTime) -> SessionTime {
        SessionTime(sim.0 + self.origin.0)
    }

    fn set(&mut self, control: &str, to: &Value) -> Result<(), String> {
        self.aircraft.set(control, to).map_err(|e| e.to_string())?;
        self.values = self.aircraft.read();
        Ok(())
    }

    fn inject(&mut self, fault: &str) -> Result<(), String> {
        self.aircraft.inject(fault).map_err(|e| e.to_string())
    }

    fn place(&mut self, place: &str) -> Result<(), String> {
        let place = Place::named(place)?;
        let mass_kg = self.values.get("mass_kg").and_then(Value::number);
        let fuel_kg = self.values.get("fuel_total_kg").and_then(Value::number);
        let usual = self.aircraft.usual();
        let setup = Setup {
            place,
            mass_kg: mass_kg.unwrap_or(usual.mass_kg),
            fuel_kg: fuel_kg.unwrap_or(usual.fuel_kg),
            ..self.setup.clone().unwrap_or(usual)
        };
        self.aircraft.place(&setup);
        self.values = self.aircraft.read();
        Ok(())
    }
}
