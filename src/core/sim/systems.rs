//! APU, electrics, hydraulics, bleed air, fuel, and the surfaces that hydraulics move.

use super::panel::{ApuSwitch, Gear, Panel, Speedbrake};
use super::params::{CENTRE, ENGINES, Params, TANKS};

/// What the engines and the body tell the systems in one step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Around {
    pub running: [bool; ENGINES],
    pub n1_pct: [f64; ENGINES],
    pub n2_pct: [f64; ENGINES],
    pub valves_open: u32,
    pub fuel_flow_kgh: [f64; ENGINES],
    /// Landing speedbrakes come up by themselves now.
    pub spoil: bool,
    pub oat_c: f64,
    pub hyd_leak: [bool; ENGINES],
    pub flap_jam: bool,
    pub gear_jam: bool,
    pub spoiler_fault: bool,
    /// What the autopilot adds to column, wheel and pedals.
    pub autopilot: [f64; 3],
    pub dt: f64,
}

/// State of the systems.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Systems {
    pub apu_n_pct: f64,
    pub apu_available: bool,
    apu_running: bool,
    apu_spring_s: f64,
    pub bus_powered: bool,
    pub generator_on_line: [bool; ENGINES],
    pub apu_generator_on_line: bool,
    pub hyd_psi: [f64; ENGINES],
    pub duct_psi: f64,
    /// The tank of each engine, then the centre.
    pub fuel_kg: [f64; TANKS],
    pub flap_deg: f64,
    /// 0 up … 1 down and locked.
    pub gear: f64,
    /// 0 down … 1 fully up.
    pub speedbrake: f64,
    /// Elevator, ailerons, rudder.
    pub control_pct: [f64; 3],
}

impl Systems {
    /// Everything off; fuel fills the wings first, then the centre.
    pub fn cold(params: &Params, fuel_kg: f64) -> Self {
        let engines = params.engines();
        let wing = (fuel_kg / engines as f64).min(params.mass.wing_tank_kg);
        let mut tanks = [0.0; TANKS];
        tanks[..engines].fill(wing);
        tanks[CENTRE] = (fuel_kg - engines as f64 * wing).clamp(0.0, params.mass.centre_tank_kg);
        Systems {
            apu_n_pct: 0.0,
            apu_available: false,
            apu_running: false,
            apu_spring_s: 0.0,
            bus_powered: false,
            generator_on_line: [false; ENGINES],
            apu_generator_on_line: false,
            hyd_psi: [0.0; ENGINES],
            duct_psi: 0.0,
            fuel_kg: tanks,
            flap_deg: 0.0,
            gear: 1.0,
            speedbrake: 0.0,
            control_pct: [0.0; 3],
        }
    }

    /// Settled with both engines at idle and the panel as it is.
    pub fn settle(&mut self, params: &Params, panel: &Panel) {
        self.bus_powered = true;
        for k in 0..params.engines() {
            self.generator_on_line[k] = panel.generator[k];
            self.hyd_psi[k] = params.hydraulics.nominal_psi;
        }
        let packs = params.bleed.packs as f64;
        self.duct_psi = (params.bleed.engine_idle_psi - packs * params.bleed.pack_drop_psi).max(0.0);
        self.flap_deg = panel.flap_lever;
        self.gear = if panel.gear_lever == Gear::Down { 1.0 } else { 0.0 };
    }

    /// Fuel on board, kg.
    pub fn fuel_total_kg(&self) -> f64 {
        self.fuel_kg.iter().sum()
    }

    /// Whether anything on board has power: main bus or battery.
    pub fn powered(&self, panel: &Panel) -> bool {
        self.bus_powered || panel.battery
    }

    /// Whether hydraulics can move things.
    pub fn hydraulics(&self, params: &Params) -> bool {
        self.hyd_psi.iter().any(|psi| *psi >= params.hydraulics.useful_psi)
    }

    /// Tank that feeds engine `k` now, if any has fuel, and whether a pump pushes.
    pub fn feed(&self, panel: &Panel, k: usize) -> (Option<usize>, bool) {
        if panel.fuel_pump[CENTRE] && self.bus_powered && self.fuel_kg[CENTRE] > 0.0 {
            return (Some(CENTRE), true);
        }
        let own = (self.fuel_kg[k] > 0.0).then_some(k);
        (own, panel.fuel_pump[k] && self.bus_powered)
    }

    /// One step.
    pub fn step(&mut self, params: &Params, panel: &mut Panel, around: &Around) {
        self.apu(params, panel, around.dt);
        self.electrics(params, panel, around);
        self.hydraulic_pressure(params, panel, around);
        self.bleed(params, panel, around);
        self.burn(params, panel, around);
        self.surfaces(params, panel, around);
    }

    fn apu(&mut self, params: &Params, panel: &mut Panel, dt: f64) {
        let data = &params.apu;
        let fuel = self.fuel_kg[0] > 0.0;
        if panel.apu_switch == ApuSwitch::Start {
            if self.powered(panel) && fuel {
                self.apu_running = true;
            }
            self.apu_spring_s += dt;
            if self.apu_spring_s >= data.switch_spring_s {
                panel.apu_switch = ApuSwitch::On;
            }
        } else {
            self.apu_spring_s = 0.0;
        }
        let starting = self.apu_n_pct < data.available_pct;
        if panel.apu_switch == ApuSwitch::Off || !fuel || (starting && !self.powered(panel)) {
            self.apu_running = false;
        }
        let rate = if self.apu_running { data.available_pct / data.start_s } else { -100.0 / data.stop_s };
        self.apu_n_pct = (self.apu_n_pct + rate * dt).clamp(0.0, 100.0);
        self.apu_available = self.apu_running && self.apu_n_pct >= data.available_pct;
    }

    fn electrics(&mut self, params: &Params, panel: &mut Panel, around: &Around) {
        panel.external_power &= panel.external_power_available;
        self.apu_generator_on_line = panel.apu_generator && self.apu_available;
        for k in 0..params.engines() {
            self.generator_on_line[k] =
                panel.generator[k] && around.running[k] && around.n2_pct[k] >= params.electrics.generator_n2_pct;
        }
        self.bus_powered = panel.external_power || self.apu_generator_on_line || self.generator_on_line.contains(&true);
    }

    fn hydraulic_pressure(&mut self, params: &Params, panel: &Panel, around: &Around) {
        let data = &params.hydraulics;
        for k in 0..params.engines() {
            let target = if around.hyd_leak[k] {
                0.0
            } else if around.n2_pct[k] >= data.engine_pump_n2_pct {
                data.nominal_psi
            } else if panel.hyd_elec_pump[k] && self.bus_powered {
                data.electric_psi
            } else {
                0.0
            };
            let tau = if target > self.hyd_psi[k] { data.build_s } else { data.decay_s };
            self.hyd_psi[k] += (target - self.hyd_psi[k]) * (around.dt / tau);
        }
    }

    fn bleed(&mut self, params: &Params, panel: &Panel, around: &Around) {
        let data = &params.bleed;
        let hot = params.apu.hot_loss_psi_c * (around.oat_c - 15.0).max(0.0);
        let mut source = if self.apu_available && panel.apu_bleed { params.apu.duct_psi - hot } else { 0.0 };
        let mut load = data.starter_drop_psi * f64::from(around.valves_open);
        for k in 0..params.engines() {
            if panel.bleed[k] && around.running[k] {
                let above = (around.n1_pct[k] - params.engine.n1_idle_pct).max(0.0);
                source = source.max((data.engine_idle_psi + data.engine_per_n1_psi * above).min(data.engine_max_psi));
            }
            if panel.engine_anti_ice[k] && around.running[k] {
                load += data.anti_ice_drop_psi;
            }
        }
        for pack in &panel.pack[..data.packs] {
            if *pack && self.bus_powered {
                load += data.pack_drop_psi;
            }
        }
        let target = (source - load).max(0.0);
        self.duct_psi += (target - self.duct_psi) * (around.dt / data.duct_lag_s);
    }

    fn burn(&mut self, params: &Params, panel: &Panel, around: &Around) {
        for k in 0..params.engines() {
            if let (Some(tank), _) = self.feed(panel, k) {
                let used = around.fuel_flow_kgh[k] / 3600.0 * around.dt;
                self.fuel_kg[tank] = (self.fuel_kg[tank] - used).max(0.0);
            }
        }
        if self.apu_running {
            self.fuel_kg[0] = (self.fuel_kg[0] - params.apu.fuel_kgh / 3600.0 * around.dt).max(0.0);
        }
    }

    fn surfaces(&mut self, params: &Params, panel: &mut Panel, around: &Around) {
        let data = &params.surfaces;
        let live = self.hydraulics(params);
        if around.spoil && panel.speedbrake_lever == Speedbrake::Armed {
            panel.speedbrake_lever = Speedbrake::Up;
        }
        if live {
            if !around.flap_jam {
                self.flap_deg = toward(self.flap_deg, panel.flap_lever, data.flap_deg_s * around.dt);
            }
            if !around.gear_jam {
                let down = if panel.gear_lever == Gear::Down { 1.0 } else { 0.0 };
                self.gear = toward(self.gear, down, around.dt / data.gear_travel_s);
            }
            let raised = panel.speedbrake_lever == Speedbrake::Up && !around.spoiler_fault;
            let up = if raised { 1.0 } else { 0.0 };
            self.speedbrake = toward(self.speedbrake, up, around.dt / data.speedbrake_travel_s);
        } else {
            self.speedbrake = toward(self.speedbrake, 0.0, around.dt / data.speedbrake_travel_s);
        }
        let wanted = [panel.column_pct, panel.wheel_pct, panel.pedals_pct];
        for (k, (control, wanted)) in self.control_pct.iter_mut().zip(wanted).enumerate() {
            let wanted = (wanted + around.autopilot[k]).clamp(-100.0, 100.0);
            // Without pressure the surfaces fall back to the middle, slowly.
            let (to, rate) = if live { (wanted, data.control_pct_s) } else { (0.0, data.control_pct_s * 0.1) };
            *control = toward(*control, to, rate * around.dt);
        }
    }
}

/// `from` moved toward `to` by at most `step`.
pub(super) fn toward(from: f64, to: f64, step: f64) -> f64 {
    from + (to - from).clamp(-step, step)
}
