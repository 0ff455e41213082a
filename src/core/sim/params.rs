//! The numbers of an aircraft, as data: `phrasebooks/common/aircraft/*.toml`. Units stand in the keys.

use serde::Deserialize;

/// The most engines that an aircraft has here; arrays are this long and use the first [`Params::engines`].
pub(super) const ENGINES: usize = 4;
/// Tanks: one for each engine, then the centre.
pub(super) const TANKS: usize = ENGINES + 1;
/// The centre tank.
pub(super) const CENTRE: usize = ENGINES;

macro_rules! section {
    ($(#[$doc:meta])* $name:ident { $($field:ident: $type:ty),* $(,)? }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub(super) struct $name { $(pub $field: $type),* }
    };
}

section! {
    /// The whole file; its comments explain each number.
    Params {
        name: String, mass: Mass, airframe: Airframe, flaps: Vec<Flap>, surfaces: Travel, handling: Handling, trim: Trim,
        wheels: Wheels, autobrake: Autobrake, engine: Engine, start: Start, limits: Limits, apu: Apu, bleed: Bleed,
        hydraulics: Hydraulics, electrics: Electrics, takeoff: Takeoff, balance: Balance, placards: Placards,
        reverse: Reverse, autopilot: Autopilot, warnings: Warnings,
    }
}
section! { Mass { empty_kg: f64, usual_kg: f64, usual_fuel_kg: f64, sane_kg: [f64; 2], wing_tank_kg: f64, centre_tank_kg: f64 } }
section! {
    Airframe {
        wing_m2: f64, lift_zero: f64, lift_per_rad: f64, drag_zero: f64, drag_induced: f64, drag_gear: f64,
        drag_speedbrake: f64, spoiled_lift: f64, stall_softness_deg: f64, tail_strike_deg: f64, ground_effect_span_m: f64,
        drag_rise_mach: f64, drag_rise: f64, stall_warning_deg: f64,
    }
}
section! { Flap { detent: u32, max_kt: f64, lift: f64, drag: f64, lift_max: f64 } }
section! { Travel { flap_deg_s: f64, gear_travel_s: f64, speedbrake_travel_s: f64, control_pct_s: f64 } }
section! {
    Handling {
        pitch_rate_deg_s: f64, pitch_lag_s: f64, reference_kt: f64, ground_column_pct: f64, trim_column_pct: f64,
        nose_drop_deg_s: f64, stall_drop_deg_s: f64, roll_rate_deg_s: f64, bank_limit_deg: f64,
        pitch_limit_deg: [f64; 2], steer_deg_s: f64, steer_fades_kt: f64, rudder_deg_s: f64, yaw_asymmetry_deg_s: f64,
    }
}
section! { Trim { range: [f64; 2], takeoff: f64, green: [f64; 2] } }
section! {
    Wheels { rolling: f64, braking: f64, parking: f64, chocks: f64, belly: f64, wet: f64, slippery: f64, tug_kt: f64, tug_m_s2: f64 }
}
section! {
    Autobrake {
        takeoff_m_s2: f64, low_m_s2: f64, medium_m_s2: f64, high_m_s2: f64, takeoff_arms_kt: f64, override_pct: f64,
    }
}
section! {
    Engine {
        arms: Vec<f64>, static_thrust_n: f64, thrust_power: f64, mach_loss: f64, mach_gain: f64, corrected_n1_max_pct: f64,
        n1_idle_pct: f64, n1_max_pct: f64, lever_power: f64, n2_idle_pct: f64, n2_per_n1: f64, spool_up_pct_s: f64,
        spool_gain: f64, spool_down_pct_s: f64, spool_lag_s: f64, bleed_thrust_loss: f64, egt_idle_c: f64,
        egt_per_n1: f64, egt_lag_s: f64, egt_cool_s: f64, fuel_idle_kgh: f64, fuel_kgh_per_n: f64,
        fuel_mach_gain: f64, oil_idle_psi: f64, oil_per_n2: f64, windmill_n1_per_kt: f64, windmill_n2_per_kt: f64,
    }
}
section! {
    Start {
        duct_open_psi: f64, duct_turn_psi: f64, valve_delay_s: f64, motor_n2_pct: f64, motor_tau_s: f64,
        light_off_min_n2_pct: f64, light_off_s: f64, cool_fuel_n2_pct: f64, early_fuel_c_per_pct: f64,
        accel_pct_s: f64, accel_alone_pct_s: f64, cutout_n2_pct: f64, running_n2_pct: f64, light_off_egt_c: f64,
        peak_egt_c: f64, peak_n2_pct: f64, hot_start_egt_c: f64, egt_lag_s: f64, fuel_flow_kgh: f64,
        fan_turns_at_n2_pct: f64, spread: f64,
    }
}
section! { Limits { egt_start_c: f64, egt_takeoff_c: f64, oil_min_psi: f64 } }
section! {
    Apu { start_s: f64, switch_spring_s: f64, stop_s: f64, available_pct: f64, fuel_kgh: f64, duct_psi: f64, hot_loss_psi_c: f64 }
}
section! {
    Bleed {
        engine_idle_psi: f64, engine_per_n1_psi: f64, engine_max_psi: f64, packs: usize, pack_drop_psi: f64, starter_drop_psi: f64,
        anti_ice_drop_psi: f64, duct_lag_s: f64,
    }
}
section! {
    Hydraulics {
        nominal_psi: f64, electric_psi: f64, useful_psi: f64, build_s: f64, decay_s: f64, engine_pump_n2_pct: f64,
    }
}
section! { Electrics { generator_n2_pct: f64, standby_offset_kt: f64 } }
section! {
    Balance {
        zero_fuel_cg_pct: f64, main_tanks_pct: f64, centre_tank_pct: f64, trim_at_pct: f64, trim_per_pct: f64,
        limits_pct: [f64; 2],
    }
}
section! {
    Warnings {
        gear_ft: f64, gear_lever_pct: f64, gear_flap_deg: f64, altitude_near_ft: f64, altitude_far_ft: f64,
    }
}
section! { Placards { gear_extend_kt: f64, gear_retract_kt: f64, vmo_kt: f64, mmo: f64 } }
section! { Reverse { travel_s: f64, part: f64, full_lever_pct: f64 } }
section! {
    Autopilot {
        engage_ft: f64, bank_deg: f64, takeoff_bank_deg: f64, force_pct: f64, takeoff_lever_pct: f64,
        climb_lever_pct: f64, changeover_kt: f64, changeover_mach: f64, lever_pct_s: f64, flare_ft: f64,
        retard_ft: f64, approach_kt: f64, approach_kg: f64,
    }
}
section! { Takeoff { flaps: Vec<u32>, lever_pct: f64 } }

impl Params {
    /// The built-in Tarn T4.
    pub fn tarn_t4() -> Self {
        let text = include_str!("../../../phrasebooks/common/aircraft/tarn-t4.toml");
        toml::from_str(text).expect("the embedded aircraft file is well formed")
    }

    /// The built-in Tarn T2.
    pub fn tarn_t2() -> Self {
        let text = include_str!("../../../phrasebooks/common/aircraft/tarn-t2.toml");
        // The file is part of the program and a test reads it, so that a mistake cannot reach a user.
        toml::from_str(text).expect("the embedded aircraft file is well formed")
    }
}

impl Params {
    /// How many engines it has.
    pub fn engines(&self) -> usize {
        self.engine.arms.len().min(ENGINES)
    }

    /// Lift and drag that the flaps add and the greatest lift coefficient, between detents by the angle.
    pub fn flap(&self, deg: f64) -> (f64, f64, f64) {
        let mut last = &self.flaps[0];
        for next in &self.flaps[1..] {
            let (a, b) = (f64::from(last.detent), f64::from(next.detent));
            if deg <= b {
                let part = ((deg - a) / (b - a)).clamp(0.0, 1.0);
                let mix = |x: f64, y: f64| x + (y - x) * part;
                return (mix(last.lift, next.lift), mix(last.drag, next.drag), mix(last.lift_max, next.lift_max));
            }
            last = next;
        }
        (last.lift, last.drag, last.lift_max)
    }
}
