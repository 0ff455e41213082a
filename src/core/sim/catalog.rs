//! Every signal by name: its type, how it is read, and how it is set if it is a control.
//!
//! What comes once an engine, and what only a twin or only a four-engined aircraft has, stands in tables of its own;
//! what flying adds stands in `flight.rs`.

use super::Aircraft;
use super::CENTRE;
use super::panel::{
    ApuSwitch, AudioSelector, Autobrake, FuelLever, Gear, Speedbrake, StartSelector, Transponder, Tug, Words,
};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::physics::FT_M;

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
#[derive(Debug)]
pub(super) struct Entry {
    pub name: &'static str,
    pub kind: Kind,
    pub read: fn(&Aircraft) -> Value,
    pub write: Option<fn(&mut Aircraft, &Value)>,
}

/// The tables of an aircraft with so many engines.
pub(super) fn tables(engines: usize) -> Vec<&'static Entry> {
    let each = [ENGINE_1, ENGINE_2, ENGINE_3, ENGINE_4];
    let own = if engines > 2 { FOUR } else { TWIN };
    let all = [TABLE, flight::TABLE, own].into_iter().chain(each.into_iter().take(engines));
    all.flatten().collect()
}

/// A reading.
macro_rules! shown {
    ($name:expr, |$a:ident| $e:expr) => {
        Entry { name: $name, kind: Kind::Number, read: |$a| Value::Number($e), write: None }
    };
    ($name:expr, bool, |$a:ident| $e:expr) => {
        Entry { name: $name, kind: Kind::Bool, read: |$a| Value::Bool($e), write: None }
    };
}
/// A control that is a number of the panel.
macro_rules! lever {
    ($name:expr, $($field:tt)+) => {
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
    ($name:expr, $($field:tt)+) => {
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
    ($name:expr, $type:ty, $($field:tt)+) => {
        Entry {
            name: $name,
            kind: Kind::Words(<$type>::WORDS),
            read: |a| Value::Word(a.panel.$($field)+.word().to_owned()),
            write: Some(|a, v| if let Some(p) = v.word().and_then(<$type>::parse) { a.panel.$($field)+ = p }),
        }
    };
}

mod flight;

/// What every aircraft here has; the order has no meaning.
static TABLE: &[Entry] = &[
    // Air data and motion
    shown!("ias_kt", |a| a.body.cas_kt),
    shown!("ias_standby_kt", |a| a.standby_kt),
    shown!("ground_speed_kt", |a| a.body.ground_speed_kt()),
    shown!("mach", |a| a.body.mach),
    shown!("altitude_ft", |a| a.altitude_ft()),
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
    // Electrics and APU
    switch!("battery", battery),
    switch!("external_power_available", external_power_available),
    switch!("external_power", external_power),
    shown!("bus_powered", bool, |a| a.systems.bus_powered),
    selector!("apu_switch", ApuSwitch, apu_switch),
    shown!("apu_available", bool, |a| a.systems.apu_available),
    shown!("apu_n_pct", |a| a.systems.apu_n_pct),
    switch!("apu_generator", apu_generator),
    shown!("apu_generator_on_line", bool, |a| a.systems.apu_generator_on_line),
    switch!("apu_bleed", apu_bleed),
    // Fuel
    switch!("fuel_pump_centre", fuel_pump[CENTRE]),
    shown!("fuel_centre_kg", |a| a.systems.fuel_kg[CENTRE]),
    shown!("fuel_total_kg", |a| a.systems.fuel_total_kg()),
    // Air
    switch!("pack_1", pack[0]),
    switch!("pack_2", pack[1]),
    shown!("duct_pressure_psi", |a| a.systems.duct_psi),
    // Ice, lights, signs, radios
    switch!("probe_heat", probe_heat),
    switch!("window_heat", window_heat),
    switch!("beacon", beacon),
    switch!("nav_lights", nav_lights),
    switch!("height_voice", height_voice),
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
    switch!("chocks", chocks),
    selector!("tug", Tug, tug),
    switch!("bypass_pin", bypass_pin),
    switch!("interphone", interphone),
    selector!("audio_selector", AudioSelector, audio_selector),
    switch!("resolution_advisory", resolution_advisory),
    switch!("ground_proximity", ground_proximity),
    // What the air does along and across the runway
    shown!("headwind_kt", |a| a.wind().headwind_kt),
    shown!("crosswind_kt", |a| a.wind().crosswind_kt),
];

/// What comes once an engine: its number, and where it stands.
macro_rules! engine {
    ($table:ident, $n:literal, $k:literal) => {
        static $table: &[Entry] = &[
            lever!(concat!("thrust_lever_", $n, "_pct"), thrust_lever_pct[$k]),
            shown!(concat!("n1_", $n, "_pct"), |a| a.engines[$k].n1_pct),
            shown!(concat!("n2_", $n, "_pct"), |a| a.engines[$k].n2_pct),
            shown!(concat!("egt_", $n, "_c"), |a| a.engines[$k].egt_c),
            shown!(concat!("fuel_flow_", $n, "_kgh"), |a| a.engines[$k].fuel_flow_kgh),
            shown!(concat!("oil_pressure_", $n, "_psi"), |a| a.engines[$k].oil_psi(&a.params.engine)),
            shown!(concat!("engine_running_", $n), bool, |a| a.running()[$k]),
            shown!(concat!("start_valve_", $n), bool, |a| a.engines[$k].valve),
            shown!(concat!("engine_fire_", $n), bool, |a| a.fire[$k] > 0.0),
            shown!(concat!("reverse_", $n), bool, |a| a.reverse[$k] >= 1.0),
            selector!(concat!("engine_start_", $n), StartSelector, engine_start[$k]),
            selector!(concat!("fuel_lever_", $n), FuelLever, fuel_lever[$k]),
            switch!(concat!("generator_", $n), generator[$k]),
            shown!(concat!("generator_on_line_", $n), bool, |a| a.systems.generator_on_line[$k]),
            switch!(concat!("hyd_elec_pump_", $n), hyd_elec_pump[$k]),
            shown!(concat!("hyd_pressure_", $n, "_psi"), |a| a.systems.hyd_psi[$k]),
            switch!(concat!("bleed_", $n), bleed[$k]),
            switch!(concat!("engine_anti_ice_", $n), engine_anti_ice[$k]),
        ];
    };
}
engine!(ENGINE_1, "1", 0);
engine!(ENGINE_2, "2", 1);
engine!(ENGINE_3, "3", 2);
engine!(ENGINE_4, "4", 3);

/// What only the twin has: tanks by side, people in the cabin.
static TWIN: &[Entry] = &[
    switch!("fuel_pump_left", fuel_pump[0]),
    switch!("fuel_pump_right", fuel_pump[1]),
    shown!("fuel_left_kg", |a| a.systems.fuel_kg[0]),
    shown!("fuel_right_kg", |a| a.systems.fuel_kg[1]),
    switch!("cabin_ready", cabin_ready),
];

/// What only the four-engined freighter has: a tank for each engine, freight where the cabin would be.
static FOUR: &[Entry] = &[
    switch!("fuel_pump_1", fuel_pump[0]),
    switch!("fuel_pump_2", fuel_pump[1]),
    switch!("fuel_pump_3", fuel_pump[2]),
    switch!("fuel_pump_4", fuel_pump[3]),
    shown!("fuel_tank_1_kg", |a| a.systems.fuel_kg[0]),
    shown!("fuel_tank_2_kg", |a| a.systems.fuel_kg[1]),
    shown!("fuel_tank_3_kg", |a| a.systems.fuel_kg[2]),
    shown!("fuel_tank_4_kg", |a| a.systems.fuel_kg[3]),
    switch!("main_deck_secure", cabin_ready),
];
