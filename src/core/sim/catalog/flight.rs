//! What flying from one aerodrome to another adds: position, beams, autopilot, reverse, warnings of flight.

use super::super::Aircraft;
use super::super::autopilot::{Lateral, LateralArmed, Thrust, Vertical, VerticalArmed};
use super::super::country::THERE;
use super::super::panel::{Reverse, Words};
use super::super::warnings::HeightCall;
use super::{Entry, Kind};
use crate::core::aircraft::Value;
use crate::core::physics::{FT_M, NM_M};

/// A number that the autopilot is given.
macro_rules! selected {
    ($name:literal, $field:ident) => {
        Entry {
            name: $name,
            kind: Kind::Number,
            read: |a| Value::Number(a.autopilot.$field),
            write: Some(|a, v| {
                if let Value::Number(n) = v {
                    a.autopilot.$field = *n
                }
            }),
        }
    };
}
/// A truth of the autopilot that a hand changes.
macro_rules! button {
    ($name:literal, |$a:ident| $e:expr, |$b:ident, $to:ident| $write:expr) => {
        Entry {
            name: $name,
            kind: Kind::Bool,
            read: |$a| Value::Bool($e),
            write: Some(|$b, v| {
                if let Value::Bool($to) = v {
                    $write
                }
            }),
        }
    };
}
/// A mode: always shown, and chosen by hand as far as the rules allow.
macro_rules! mode {
    ($name:literal, $type:ty, |$a:ident| $e:expr, |$b:ident, $to:ident| $write:expr) => {
        Entry {
            name: $name,
            kind: Kind::Words(<$type>::WORDS),
            read: |$a| Value::Word($e.word().to_owned()),
            write: Some(|$b, v| {
                if let Some($to) = v.word().and_then(<$type>::parse) {
                    $write
                }
            }),
        }
    };
}

fn climb_fpm(a: &Aircraft) -> f64 {
    a.body.up_m_s / FT_M * 60.0
}

/// Distance and direction to the threshold of the tuned runway, or of the destination's.
fn way(a: &Aircraft) -> (f64, f64) {
    let airport = a.country.tuned(a.panel.nav_mhz).unwrap_or(&a.country.airports[THERE]);
    let seen = a.body.position.from(airport);
    (seen.distance_m / NM_M, seen.bearing_deg)
}

/// All of them; the order has no meaning.
pub(super) static TABLE: &[Entry] = &[
    // Position and beams
    shown!("distance_nm", |a| way(a).0),
    shown!("bearing_deg", |a| way(a).1),
    shown!("track_deg", |a| a.body.track_deg()),
    lever!("nav_frequency_mhz", nav_mhz),
    shown!("localiser_valid", bool, |a| a.beam.is_some_and(|b| b.localiser_dots.is_some())),
    shown!("localiser_dots", |a| a.beam.and_then(|b| b.localiser_dots).unwrap_or(0.0)),
    shown!("glide_path_valid", bool, |a| a.beam.is_some_and(|b| b.glide_dots.is_some())),
    shown!("glide_path_dots", |a| a.beam.and_then(|b| b.glide_dots).unwrap_or(0.0)),
    shown!("wind_from_deg", |a| a.world.wind_from_deg.rem_euclid(360.0)),
    shown!("wind_kt", |a| a.world.wind_kt),
    shown!("tat_c", |a| a.body.air.temperature_k * (1.0 + 0.2 * a.body.mach * a.body.mach)
        - crate::core::physics::atmosphere::ICE_K),
    // Load
    shown!("zero_fuel_mass_kg", |a| a.zero_fuel_kg),
    shown!("cg_pct", |a| a.cg_pct()),
    // Autopilot
    button!("ap_engaged", |a| a.autopilot.engaged, |a, to| {
        let (heading, climb) = (a.body.heading_deg, climb_fpm(a));
        a.autopilot.engage(*to, heading, climb)
    }),
    button!("flight_director", |a| a.autopilot.director, |a, to| a.autopilot.director = *to),
    button!("autothrust", |a| a.autopilot.autothrust, |a, to| a.autopilot.autothrust = *to),
    button!("go_around", |a| a.autopilot.go_around, |a, to| {
        if *to {
            let (on_ground, heading) = (a.body.on_ground, a.body.heading_deg);
            a.autopilot.press_go_around(on_ground, heading)
        }
    }),
    button!("ap_warning", |a| a.autopilot.warning, |a, to| a.autopilot.warning = *to),
    mode!("ap_lateral_mode", Lateral, |a| a.autopilot.lateral, |a, to| {
        a.autopilot.lateral = to;
    }),
    mode!("ap_vertical_mode", Vertical, |a| a.autopilot.vertical, |a, to| {
        if to != a.autopilot.vertical {
            let (climb, altitude) = (climb_fpm(a), a.altitude_ft());
            a.autopilot.choose(to, climb, altitude)
        }
    }),
    mode!("ap_lateral_armed", LateralArmed, |a| a.autopilot.lateral_armed(), |a, to| {
        a.autopilot.localiser_armed = to == LateralArmed::Localiser && a.autopilot.lateral != Lateral::Localiser;
    }),
    mode!("ap_vertical_armed", VerticalArmed, |a| a.autopilot.vertical_armed(), |a, to| {
        let path = matches!(to, VerticalArmed::GlidePath | VerticalArmed::Both);
        a.autopilot.glide_armed = path && a.autopilot.vertical != Vertical::GlidePath;
    }),
    Entry {
        name: "autothrust_mode",
        kind: Kind::Words(Thrust::WORDS),
        read: |a| Value::Word(a.autopilot.thrust.word().to_owned()),
        write: None,
    },
    selected!("selected_heading_deg", heading_deg),
    selected!("selected_altitude_ft", altitude_ft),
    selected!("selected_speed_kt", speed_kt),
    selected!("selected_mach", mach),
    button!("speed_in_mach", |a| a.autopilot.in_mach, |a, to| {
        a.autopilot.in_mach = *to;
        if *to {
            a.autopilot.mach = a.body.mach;
        } else {
            a.autopilot.speed_kt = libm::round(a.body.cas_kt);
        }
    }),
    selected!("selected_vertical_speed_fpm", vertical_speed_fpm),
    // Stopping
    selector!("reverse_lever", Reverse, reverse_lever),
    shown!("speedbrake_pct", |a| a.systems.speedbrake * 100.0),
    shown!("autobrake_active", bool, |a| a.braking),
    // Warnings
    shown!("overspeed_warning", bool, |a| a.warnings.overspeed),
    shown!("stall_warning", bool, |a| a.warnings.stall),
    shown!("gear_warning", bool, |a| a.warnings.gear),
    shown!("altitude_alert", bool, |a| a.warnings.altitude),
    Entry {
        name: "height_call",
        kind: Kind::Words(HeightCall::WORDS),
        read: |a| Value::Word(a.warnings.height.call.word().to_owned()),
        write: None,
    },
];
