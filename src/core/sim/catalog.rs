//! Every signal by name: its type, how it is read, and how it is set if it is a control.

use super::Aircraft;
use super::panel::{ApuSwitch, Autobrake, FuelLever, Gear, Speedbrake, StartSelector, Transponder, Tug};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::physics::{FT_M, atmosphere};

/// The type of a signal, as it can stand in a table.
#[derive(Debug, Clone, Copy)]
pub(super) enum Kind {
    Bool,
    Number,
    Words(&'static [&'static str]),
    AnyWord,
}

impl Kind {
    /// As the rest of the program sees it.
    pub fn value_kind(self) -> ValueKind {
        match self {
            Kind::Bool => ValueKind::Bool,
            Kind::Number => ValueKind::Number,
            Kind::Words(words) => ValueKind::Word(words.iter().map(|w| (*w).to_owned()).collect()),
            Kind::AnyWord => ValueKind::Word(vec![]),
        }
    }
}

/// One line of the table. `write` gets a value that fits the kind and that the rules allow.
pub(super) struct Entry {
    pub name: &'static str,
    pub kind: Kind,
    pub read: fn(&Aircraft) -> Value,
    pub write: Option<fn(&mut Aircraft, &Value)>,
}

/// A reading.
macro_rules! shown {
    ($name:literal, |$a:ident| $e:expr) => {
        Entry { name: $name, kind: Kind::Number, read: |$a| Value::Number($e), write: None }
    };
    ($name:literal, bool, |$a:ident| $e:expr) => {
        Entry { name: $name, kind: Kind::Bool, read: |$a| Value::Bool($e), write: None }
    };
}
/// A control that is a number of the panel.
macro_rules! lever {
    ($name:literal, $($field:tt)+) => {
        Entry {
            name: $name,
            kind: Kind::Number,
            read: |a| Value::Number(a.panel.$($field)+),
            write: Some(|a, v| if let Value::Number(n) = v { a.panel.$($field)+ = *n }),
        }
    };
}
/// A control that is a switch of the panel.
macro_rules! switch {
    ($name:literal, $($field:tt)+) => {
        Entry {
            name: $name,
            kind: Kind::Bool,
            read: |a| Value::Bool(a.panel.$($field)+),
            write: Some(|a, v| if let Value::Bool(b) = v { a.panel.$($field)+ = *b }),
        }
    };
}
/// A control that takes one of a few words.
macro_rules! selector {
    ($name:literal, $type:ty, $($field:tt)+) => {
        Entry {
            name: $name,
            kind: Kind::Words(<$type>::WORDS),
            read: |a| Value::Word(a.panel.$($field)+.word().to_owned()),
            write: Some(|a, v| if let Some(p) = v.word().and_then(<$type>::parse) { a.panel.$($field)+ = p }),
        }
    };
}

/// All of them; the order has no meaning.
pub(super) static TABLE: &[Entry] = &[
    // Air data and motion
    shown!("ias_kt", |a| a.body.cas_kt),
    shown!("ias_standby_kt", |a| a.standby_kt),
    shown!("ground_speed_kt", |a| a.body.ground_speed_kt()),
    shown!("mach", |a| a.body.mach),
    shown!("altitude_ft", |a| atmosphere::altimeter_ft(a.body.air.pressure_hpa, a.panel.altimeter_hpa)),
    shown!("radio_height_ft", |a| (a.body.height_m / FT_M).clamp(0.0, 2500.0)),
    shown!("vertical_speed_fpm", |a| a.body.up_m_s / FT_M * 60.0),
    shown!("pitch_deg", |a| a.body.pitch_deg),
    shown!("bank_deg", |a| a.body.bank_deg),
    shown!("heading_deg", |a| a.body.heading_deg),
    shown!("on_ground", bool, |a| a.body.on_ground),
    shown!("oat_c", |a| a.body.air.temperature_c()),
    lever!("qnh_hpa", altimeter_hpa),
    shown!("mass_kg", |a| a.mass_kg()),
    // Flight controls
    lever!("thrust_lever_1_pct", thrust_lever_pct[0]),
    lever!("thrust_lever_2_pct", thrust_lever_pct[1]),
    lever!("column_pct", column_pct),
    lever!("wheel_pct", wheel_pct),
    lever!("pedals_pct", pedals_pct),
    shown!("elevator_pct", |a| a.systems.control_pct[0]),
    shown!("aileron_pct", |a| a.systems.control_pct[1]),
    shown!("rudder_pct", |a| a.systems.control_pct[2]),
    lever!("brakes_pct", brakes_pct),
    switch!("parking_brake", parking_brake),
    selector!("gear_lever", Gear, gear_lever),
    Entry {
        name: "gear_position",
        kind: Kind::Words(&["up", "transit", "down"]),
        read: |a| Value::Word(a.gear_word().to_owned()),
        write: None,
    },
    lever!("flap_lever", flap_lever),
    shown!("flap_deg", |a| a.systems.flap_deg),
    selector!("speedbrake_lever", Speedbrake, speedbrake_lever),
    lever!("trim_units", trim_units),
    selector!("autobrake", Autobrake, autobrake),
    // Warnings
    Entry {
        name: "master_caution",
        kind: Kind::Bool,
        read: |a| Value::Bool(a.warnings.master),
        write: Some(|a, v| {
            if let Value::Bool(b) = v {
                a.warnings.master = *b
            }
        }),
    },
    shown!("config_warning", bool, |a| a.warnings.config),
    // Engines
    shown!("n1_1_pct", |a| a.engines[0].n1_pct),
    shown!("n2_1_pct", |a| a.engines[0].n2_pct),
    shown!("egt_1_c", |a| a.engines[0].egt_c),
    shown!("fuel_flow_1_kgh", |a| a.engines[0].fuel_flow_kgh),
    shown!("oil_pressure_1_psi", |a| a.engines[0].oil_psi(&a.params.engine)),
    shown!("engine_running_1", bool, |a| a.running()[0]),
    shown!("start_valve_1", bool, |a| a.engines[0].valve),
    shown!("engine_fire_1", bool, |a| a.fire[0] > 0.0),
    shown!("n1_2_pct", |a| a.engines[1].n1_pct),
    shown!("n2_2_pct", |a| a.engines[1].n2_pct),
    shown!("egt_2_c", |a| a.engines[1].egt_c),
    shown!("fuel_flow_2_kgh", |a| a.engines[1].fuel_flow_kgh),
    shown!("oil_pressure_2_psi", |a| a.engines[1].oil_psi(&a.params.engine)),
    shown!("engine_running_2", bool, |a| a.running()[1]),
    shown!("start_valve_2", bool, |a| a.engines[1].valve),
    shown!("engine_fire_2", bool, |a| a.fire[1] > 0.0),
    selector!("engine_start_1", StartSelector, engine_start[0]),
    selector!("engine_start_2", StartSelector, engine_start[1]),
    selector!("fuel_lever_1", FuelLever, fuel_lever[0]),
    selector!("fuel_lever_2", FuelLever, fuel_lever[1]),
    // Electrics and APU
    switch!("battery", battery),
    switch!("external_power_available", external_power_available),
    switch!("external_power", external_power),
    switch!("generator_1", generator[0]),
    switch!("generator_2", generator[1]),
    shown!("generator_on_line_1", bool, |a| a.systems.generator_on_line[0]),
    shown!("generator_on_line_2", bool, |a| a.systems.generator_on_line[1]),
    shown!("bus_powered", bool, |a| a.systems.bus_powered),
    selector!("apu_switch", ApuSwitch, apu_switch),
    shown!("apu_available", bool, |a| a.systems.apu_available),
    shown!("apu_n_pct", |a| a.systems.apu_n_pct),
    switch!("apu_generator", apu_generator),
    shown!("apu_generator_on_line", bool, |a| a.systems.apu_generator_on_line),
    switch!("apu_bleed", apu_bleed),
    // Fuel
    switch!("fuel_pump_left", fuel_pump[0]),
    switch!("fuel_pump_right", fuel_pump[1]),
    switch!("fuel_pump_centre", fuel_pump[2]),
    shown!("fuel_left_kg", |a| a.systems.fuel_kg[0]),
    shown!("fuel_right_kg", |a| a.systems.fuel_kg[1]),
    shown!("fuel_centre_kg", |a| a.systems.fuel_kg[2]),
    shown!("fuel_total_kg", |a| a.systems.fuel_total_kg()),
    // Hydraulics and air
    switch!("hyd_elec_pump_1", hyd_elec_pump[0]),
    switch!("hyd_elec_pump_2", hyd_elec_pump[1]),
    shown!("hyd_pressure_1_psi", |a| a.systems.hyd_psi[0]),
    shown!("hyd_pressure_2_psi", |a| a.systems.hyd_psi[1]),
    switch!("bleed_1", bleed[0]),
    switch!("bleed_2", bleed[1]),
    switch!("pack_1", pack[0]),
    switch!("pack_2", pack[1]),
    shown!("duct_pressure_psi", |a| a.systems.duct_psi),
    // Ice, lights, signs, radios
    switch!("engine_anti_ice_1", engine_anti_ice[0]),
    switch!("engine_anti_ice_2", engine_anti_ice[1]),
    switch!("probe_heat", probe_heat),
    switch!("window_heat", window_heat),
    switch!("beacon", beacon),
    switch!("nav_lights", nav_lights),
    switch!("taxi_light", taxi_light),
    switch!("landing_lights", landing_lights),
    switch!("strobes", strobes),
    switch!("seatbelt_signs", seatbelt_signs),
    selector!("transponder", Transponder, transponder),
    Entry {
        name: "squawk",
        kind: Kind::AnyWord,
        read: |a| Value::Word(a.panel.squawk.clone()),
        write: Some(|a, v| {
            if let Value::Word(w) = v {
                a.panel.squawk.clone_from(w)
            }
        }),
    },
    // People outside and in the cabin
    switch!("doors_closed", doors_closed),
    switch!("cabin_ready", cabin_ready),
    switch!("chocks", chocks),
    selector!("tug", Tug, tug),
    switch!("bypass_pin", bypass_pin),
    switch!("interphone", interphone),
    // What the air does along and across the runway
    shown!("headwind_kt", |a| a.wind().headwind_kt),
    shown!("crosswind_kt", |a| a.wind().crosswind_kt),
];
