//! What the systems, the autopilot and the pilot do to the body in a step, and what the autopilot is told.

use super::autopilot::Sensed;
use super::country::Beam;
use super::flight::Acting;
use super::panel::{Autobrake, Gear, Reverse, Speedbrake, Tug};
use super::setup::STUCK_REVERSERS;
use super::systems::toward;
use super::{Aircraft, ENGINES, STEP_S};
use crate::core::physics::{FT_M, KT_M_S, airspeed, atmosphere};

impl Aircraft {
    /// What the altimeter shows, ft.
    pub(super) fn altitude_ft(&self) -> f64 {
        atmosphere::altimeter_ft(self.body.air.pressure_hpa, self.panel.altimeter_hpa)
    }

    /// What the receiver makes of the tuned frequency.
    pub(super) fn receive(&self) -> Option<Beam> {
        let airport = self.country.tuned(self.panel.nav_mhz)?;
        Some(Beam::at(&self.country, airport, self.body.position, self.body.height_m))
    }

    /// Centre of gravity, per cent of the mean chord.
    pub(super) fn cg_pct(&self) -> f64 {
        let data = &self.params.balance;
        let centre = self.systems.fuel_kg[super::CENTRE];
        let mains = self.systems.fuel_total_kg() - centre;
        let moment =
            self.zero_fuel_kg * self.zero_fuel_cg_pct + mains * data.main_tanks_pct + centre * data.centre_tank_pct;
        moment / self.mass_kg()
    }

    /// Greatest speed now, kt: airframe, flaps, gear.
    pub(super) fn limit_kt(&self) -> f64 {
        let placards = &self.params.placards;
        let pressure_altitude = atmosphere::pressure_altitude_ft(self.body.air.pressure_hpa);
        let mut limit = placards.vmo_kt.min(airspeed::cas_from_mach(placards.mmo, pressure_altitude));
        let out = self.systems.flap_deg.max(self.panel.flap_lever);
        if let Some(flap) = self.params.flaps.iter().find(|f| f64::from(f.detent) >= out - 0.01) {
            limit = limit.min(flap.max_kt);
        }
        if self.systems.gear > 0.0 && !self.body.on_ground {
            let retracting = self.panel.gear_lever == Gear::Up;
            limit = limit.min(if retracting { placards.gear_retract_kt } else { placards.gear_extend_kt });
        }
        limit
    }

    pub(super) fn levers_closed(&self) -> bool {
        self.panel.thrust_lever_pct[..self.params.engines()].iter().all(|l| *l < 5.0)
    }

    pub(super) fn levers_pct(&self) -> f64 {
        let n = self.params.engines();
        self.panel.thrust_lever_pct[..n].iter().sum::<f64>() / n as f64
    }

    /// What the autopilot is told.
    pub(super) fn sensed(&self) -> Sensed {
        let body = &self.body;
        let part = body.cas_kt / self.params.handling.reference_kt;
        Sensed {
            bank_deg: body.bank_deg,
            heading_deg: body.heading_deg,
            track_deg: body.track_deg(),
            cas_kt: body.cas_kt,
            mach: body.mach,
            tas_m_s: body.mach * body.air.sound_kt * KT_M_S,
            ground_m_s: body.ground_speed_kt() * KT_M_S,
            up_m_s: body.up_m_s,
            up_m_s2: body.up_m_s2,
            pressure_altitude_ft: atmosphere::pressure_altitude_ft(body.air.pressure_hpa),
            altitude_ft: self.altitude_ft(),
            height_m: body.height_m,
            on_ground: body.on_ground,
            beam: self.beam,
            gear_down: self.systems.gear >= 1.0,
            limit_kt: self.limit_kt(),
            path_lag_s: body.path_lag_s,
            pitch_rate_deg_s: self.params.handling.pitch_rate_deg_s,
            roll_rate_deg_s: self.params.handling.roll_rate_deg_s,
            pitch_power: (part * part).min(1.5),
            delta: body.air.delta(),
            levers_pct: self.levers_pct(),
            column_pct: self.panel.column_pct,
            wheel_pct: self.panel.wheel_pct,
            able: self.systems.hydraulics(&self.params) && self.systems.bus_powered,
            stalling: body.stalling,
            dt: STEP_S,
        }
    }

    /// The autopilot's step: moves the levers, and returns what it adds to the surfaces.
    pub(super) fn fly_itself(&mut self) -> [f64; 3] {
        let sensed = self.sensed();
        let commands = self.autopilot.step(&self.params.autopilot, &sensed);
        if commands.levers_pct != 0.0 {
            for lever in &mut self.panel.thrust_lever_pct[..self.params.engines()] {
                *lever = (*lever + commands.levers_pct).clamp(0.0, 100.0);
            }
        }
        commands.control_pct
    }

    /// Reversers travel; their lever falls back when it may not be out.
    pub(super) fn step_reverse(&mut self) {
        if !self.body.on_ground || !self.levers_closed() {
            self.panel.reverse_lever = Reverse::Stowed;
        }
        let out = self.panel.reverse_lever != Reverse::Stowed;
        let live = self.systems.hydraulics(&self.params);
        for k in 0..self.params.engines() {
            let stuck = self.faulty(STUCK_REVERSERS, k);
            if live && !stuck {
                let to = if out { 1.0 } else { 0.0 };
                self.reverse[k] = toward(self.reverse[k], to, STEP_S / self.params.reverse.travel_s);
            }
        }
        if out && self.panel.speedbrake_lever != Speedbrake::Up && self.body.ground_speed_kt() > 60.0 {
            self.panel.speedbrake_lever = Speedbrake::Up;
            self.spoiled = true;
        }
    }

    /// Lever position that the engine's governor sees.
    pub(super) fn governed_lever(&self, k: usize) -> f64 {
        if self.reverse[k] >= 1.0 && self.panel.reverse_lever == Reverse::Full {
            self.params.reverse.full_lever_pct
        } else if self.reverse[k] > 0.0 {
            0.0
        } else {
            self.panel.thrust_lever_pct[k]
        }
    }

    /// What acts on the body now; `autobrake_m_s2` is the deceleration that the autobrake asks for.
    pub(super) fn acting(&self, autobrake_m_s2: f64) -> Acting {
        let tug_m_s = match (self.panel.tug, self.body.on_ground) {
            (Tug::Attached, true) => Some(0.0),
            (Tug::Pushing, true) => Some(-self.params.wheels.tug_kt * KT_M_S),
            _ => None,
        };
        let mut thrust_n = [0.0; ENGINES];
        for (k, thrust) in thrust_n.iter_mut().enumerate() {
            *thrust = self.engines[k].thrust_n;
            if self.reverse[k] > 0.0 {
                *thrust *= 1.0 - self.reverse[k] * (1.0 + self.params.reverse.part);
            }
        }
        let balance = &self.params.balance;
        Acting {
            mass_kg: self.mass_kg(),
            thrust_n,
            flap_deg: self.systems.flap_deg,
            gear: self.systems.gear,
            speedbrake: self.systems.speedbrake,
            control_pct: self.systems.control_pct,
            trim_units: self.panel.trim_units,
            right_trim: self.params.trim.takeoff + (balance.trim_at_pct - self.cg_pct()) * balance.trim_per_pct,
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
    pub(super) fn autobrake_m_s2(&mut self) -> f64 {
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
        if !self.body.on_ground || !self.levers_closed() || self.faults.contains("autobrake_fault") {
            return 0.0;
        }
        if self.panel.brakes_pct >= data.override_pct {
            self.panel.autobrake = Autobrake::Off;
            return 0.0;
        }
        wanted
    }

    /// Flying from one aerodrome's ground to the other's.
    pub(super) fn over_other_ground(&mut self) {
        if self.body.on_ground {
            return;
        }
        let near = self.country.nearest(self.body.position);
        if near != self.airport {
            let rise_ft = self.elevations_ft[near] - self.world.elevation_ft;
            self.airport = near;
            self.world.elevation_ft += rise_ft;
            self.body.height_m -= rise_ft * FT_M;
        }
    }
}
