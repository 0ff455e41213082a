//! One turbofan: starter, light-off, two spools, exhaust gas temperature, fuel flow, thrust.

use super::params::{Engine as Data, Start};
use crate::core::physics::atmosphere::Air;

/// What an engine is fed and asked in one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Feed<'a> {
    pub data: &'a Data,
    pub start: &'a Start,
    pub lever_pct: f64,
    /// The start selector is at "start".
    pub selector: bool,
    /// The fuel lever is at "run".
    pub fuel_on: bool,
    /// Fuel reaches the engine under pressure.
    pub boosted: bool,
    /// There is fuel in a tank that feeds it.
    pub fuel: bool,
    /// Ignition and start valve have power.
    pub powered: bool,
    pub duct_psi: f64,
    pub air: Air,
    pub mach: f64,
    pub cas_kt: f64,
    /// Parts of thrust lost to bleeds.
    pub bleed_loss: f64,
    pub hot_start: bool,
    pub no_light_off: bool,
    pub failed: bool,
    pub valve_stuck: bool,
    pub dt: f64,
}

/// State of one engine.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Engine {
    pub n1_pct: f64,
    pub n2_pct: f64,
    pub egt_c: f64,
    pub fuel_flow_kgh: f64,
    pub thrust_n: f64,
    pub valve: bool,
    lit: bool,
    /// At or above idle: the lever governs.
    governed: bool,
    valve_wait_s: f64,
    fuel_wait_s: f64,
    early_c: f64,
    /// N2 at which the flame came.
    lit_at_pct: f64,
    /// How this engine differs from its drawing, around 1.
    spread: f64,
}

impl Engine {
    /// Cold, at the temperature of the air. `spread` is near 1.
    pub fn cold(oat_c: f64, spread: f64) -> Self {
        Engine {
            n1_pct: 0.0,
            n2_pct: 0.0,
            egt_c: oat_c,
            fuel_flow_kgh: 0.0,
            thrust_n: 0.0,
            valve: false,
            lit: false,
            governed: false,
            valve_wait_s: 0.0,
            fuel_wait_s: 0.0,
            early_c: 0.0,
            lit_at_pct: 0.0,
            spread,
        }
    }

    /// Settled at idle.
    pub fn idling(data: &Data, spread: f64) -> Self {
        Engine {
            n1_pct: data.n1_idle_pct,
            n2_pct: data.n2_idle_pct,
            egt_c: data.egt_idle_c,
            fuel_flow_kgh: data.fuel_idle_kgh,
            lit: true,
            governed: true,
            ..Engine::cold(0.0, spread)
        }
    }

    /// Settled at a lever position, per cent.
    pub fn turning(data: &Data, spread: f64, lever_pct: f64) -> Self {
        let n1_pct = governed_n1_pct(data, lever_pct);
        Engine {
            n1_pct,
            n2_pct: data.n2_idle_pct + (n1_pct - data.n1_idle_pct) * data.n2_per_n1,
            egt_c: data.egt_idle_c + data.egt_per_n1 * (n1_pct - data.n1_idle_pct),
            ..Engine::idling(data, spread)
        }
    }

    /// Whether it sustains itself.
    pub fn running(&self, start: &Start) -> bool {
        self.lit && self.n2_pct >= start.running_n2_pct
    }

    /// Oil pressure, psi: none at rest.
    pub fn oil_psi(&self, data: &Data) -> f64 {
        let at_idle = data.oil_idle_psi * (self.n2_pct / data.n2_idle_pct).min(1.0);
        at_idle + data.oil_per_n2 * (self.n2_pct - data.n2_idle_pct).max(0.0)
    }

    /// One step. Returns whether the start selector springs back to off.
    pub fn step(&mut self, f: &Feed) -> bool {
        let springs = self.starter(f);
        self.flame(f);
        self.spools(f);
        self.temperature(f);
        self.output(f);
        springs
    }

    fn starter(&mut self, f: &Feed) -> bool {
        let start = f.start;
        if self.valve {
            let done = self.n2_pct >= start.cutout_n2_pct;
            self.valve = f.selector && f.powered && !done;
            return f.selector && done;
        }
        if !f.selector || !f.powered || f.valve_stuck || f.duct_psi < start.duct_open_psi {
            self.valve_wait_s = 0.0;
        } else if self.n2_pct < start.cutout_n2_pct {
            self.valve_wait_s += f.dt;
            self.valve = self.valve_wait_s >= start.valve_delay_s;
        }
        // With the engine already fast enough, the selector does not hold.
        f.selector && self.n2_pct >= start.cutout_n2_pct
    }

    fn flame(&mut self, f: &Feed) {
        let start = f.start;
        if !f.fuel_on || !f.fuel || f.failed {
            self.lit = false;
            self.governed = false;
            self.fuel_wait_s = 0.0;
            return;
        }
        if self.lit {
            return;
        }
        if self.fuel_wait_s == 0.0 {
            self.early_c = (start.cool_fuel_n2_pct - self.n2_pct).max(0.0) * start.early_fuel_c_per_pct;
        }
        let can = f.powered && f.boosted && !f.no_light_off && self.n2_pct >= start.light_off_min_n2_pct;
        if can {
            self.fuel_wait_s += f.dt;
        }
        if self.fuel_wait_s >= start.light_off_s * self.spread {
            self.lit = true;
            self.lit_at_pct = self.n2_pct.min(start.peak_n2_pct - 1.0);
        }
    }

    fn spools(&mut self, f: &Feed) {
        let (data, start) = (f.data, f.start);
        if self.lit && !self.governed {
            let helped = self.valve && f.duct_psi >= start.duct_turn_psi;
            let alone = self.n2_pct >= start.cutout_n2_pct * 0.9;
            let rate = match (helped, alone) {
                (true, _) => start.accel_pct_s,
                (false, true) => start.accel_alone_pct_s,
                // Too slow to sustain itself and nothing turns it: it hangs.
                (false, false) => 0.0,
            };
            let hot = if f.hot_start { 0.35 } else { 1.0 };
            self.n2_pct += rate * hot / self.spread * f.dt;
            let part =
                (self.n2_pct - start.fan_turns_at_n2_pct).max(0.0) / (data.n2_idle_pct - start.fan_turns_at_n2_pct);
            let n1 = data.n1_idle_pct * part.min(1.0) * libm::sqrt(part.min(1.0));
            self.n1_pct += (n1 - self.n1_pct) * (f.dt / 0.5);
            self.governed = self.n2_pct >= data.n2_idle_pct;
        } else if self.governed {
            let target = governed_n1_pct(data, f.lever_pct);
            let up = data.spool_up_pct_s + data.spool_gain * (self.n1_pct - data.n1_idle_pct).max(0.0);
            let rate = ((target - self.n1_pct) / data.spool_lag_s).clamp(-data.spool_down_pct_s, up);
            self.n1_pct += rate * f.dt;
            let n2 = data.n2_idle_pct + (self.n1_pct - data.n1_idle_pct) * data.n2_per_n1;
            self.n2_pct += (n2 - self.n2_pct) * (f.dt / 0.4);
        } else {
            let turned = self.valve && f.duct_psi >= start.duct_turn_psi;
            let (n2, n2_tau) = if turned {
                (start.motor_n2_pct, start.motor_tau_s * self.spread)
            } else {
                (data.windmill_n2_per_kt * f.cas_kt, 7.0)
            };
            let fan = data.windmill_n1_per_kt * f.cas_kt;
            let n1 = if turned { fan.max((self.n2_pct - start.fan_turns_at_n2_pct).max(0.0) * 0.3) } else { fan };
            self.n2_pct += (n2 - self.n2_pct) * (f.dt / n2_tau);
            self.n1_pct += (n1 - self.n1_pct) * (f.dt / 5.0);
        }
    }

    fn temperature(&mut self, f: &Feed) {
        let (data, start) = (f.data, f.start);
        let oat = f.air.temperature_c();
        let (target, tau) = if self.governed {
            let warm = data.egt_idle_c + data.egt_per_n1 * (self.n1_pct - data.n1_idle_pct).max(0.0);
            (warm + (oat - 15.0) * 1.5, data.egt_lag_s)
        } else if self.lit {
            let peak = if f.hot_start { start.hot_start_egt_c } else { start.peak_egt_c / self.spread + self.early_c };
            let rise = ((self.n2_pct - self.lit_at_pct) / (start.peak_n2_pct - self.lit_at_pct)).clamp(0.0, 1.0);
            let fall = ((self.n2_pct - start.peak_n2_pct) / (data.n2_idle_pct - start.peak_n2_pct)).clamp(0.0, 1.0);
            let warm = start.light_off_egt_c + (peak - start.light_off_egt_c) * rise;
            (warm + (data.egt_idle_c - peak).min(0.0) * fall, start.egt_lag_s)
        } else if self.n2_pct > start.light_off_min_n2_pct {
            (oat, 18.0)
        } else {
            (oat, data.egt_cool_s)
        };
        self.egt_c += (target - self.egt_c) * (f.dt / tau);
    }

    fn output(&mut self, f: &Feed) {
        let (data, start) = (f.data, f.start);
        self.thrust_n = 0.0;
        self.fuel_flow_kgh =
            if self.lit || (f.fuel_on && f.fuel && f.boosted && self.n2_pct >= start.light_off_min_n2_pct) {
                start.fuel_flow_kgh
            } else {
                0.0
            };
        if self.governed {
            let corrected = (self.n1_pct / libm::sqrt(f.air.theta())).min(data.corrected_n1_max_pct) / 100.0;
            self.thrust_n = data.static_thrust_n
                * f.air.delta()
                * libm::pow(corrected.max(0.0), data.thrust_power)
                * ram(data, f.mach)
                * (1.0 - f.bleed_loss);
            self.fuel_flow_kgh = data.fuel_idle_kgh * (0.4 + 0.6 * f.air.delta())
                + data.fuel_kgh_per_n * self.thrust_n * (1.0 + data.fuel_mach_gain * f.mach);
        }
    }
}

/// N1 that the governor holds with the lever there.
fn governed_n1_pct(data: &Data, lever_pct: f64) -> f64 {
    let part = libm::pow((lever_pct / 100.0).clamp(0.0, 1.0), data.lever_power);
    data.n1_idle_pct + (data.n1_max_pct - data.n1_idle_pct) * part
}

/// Part of the thrust that is left at a Mach number.
fn ram(data: &Data, mach: f64) -> f64 {
    (1.0 - data.mach_loss * mach + data.mach_gain * mach * mach).max(0.2)
}

/// Lever position, per cent, with which one engine gives this thrust, N, in this air.
pub(super) fn lever_for(data: &Data, air: &Air, mach: f64, thrust_n: f64) -> f64 {
    let full = data.static_thrust_n * air.delta() * ram(data, mach);
    let corrected = libm::pow((thrust_n / full).max(0.0), 1.0 / data.thrust_power);
    let n1 = corrected * 100.0 * libm::sqrt(air.theta());
    let part = ((n1 - data.n1_idle_pct) / (data.n1_max_pct - data.n1_idle_pct)).clamp(0.0, 1.0);
    libm::pow(part, 1.0 / data.lever_power) * 100.0
}
