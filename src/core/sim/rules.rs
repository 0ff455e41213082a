//! What a hand cannot do: ranges, locks, and things that are not there. Each refusal is one sentence.

use super::autopilot::{Lateral, Vertical};
use super::panel::{Reverse, StartSelector, Tug, Words};
use super::{Aircraft, Refused, SignalSpec};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::physics::FT_M;

/// There is no such control; the nearest name is offered.
pub(super) fn unknown(name: &str, specs: &[SignalSpec]) -> Refused {
    let score = |s: &&SignalSpec| strsim::jaro_winkler(s.name, name);
    let near = specs.iter().filter(|s| s.control).max_by(|a, b| score(a).total_cmp(&score(b)));
    Refused(match near {
        Some(s) if score(&s) > 0.8 => format!("There is no control \"{name}\"; did you mean \"{}\"?", s.name),
        _ => format!("There is no control \"{name}\" on this aircraft."),
    })
}

/// The value is of the control's type.
pub(super) fn fits(name: &str, to: &Value, kind: &ValueKind) -> Result<(), Refused> {
    if to.fits(kind) {
        return Ok(());
    }
    let wanted = match kind {
        ValueKind::Bool => "true or false".to_owned(),
        ValueKind::Number => "a number".to_owned(),
        ValueKind::Word(words) => format!("one of {}", words.join(", ")),
    };
    Err(Refused(format!("\"{name}\" takes {wanted}, not {to}.")))
}

/// The value is in range and nothing stands in the way.
pub(super) fn allowed(a: &Aircraft, name: &str, to: &Value) -> Result<(), Refused> {
    match to {
        Value::Number(n) => number(a, name, *n),
        Value::Bool(b) => switch(a, name, *b),
        Value::Word(w) => word(a, name, w),
    }
}

fn refuse<T>(text: impl Into<String>) -> Result<T, Refused> {
    Err(Refused(text.into()))
}

fn number(a: &Aircraft, name: &str, to: f64) -> Result<(), Refused> {
    let (low, high) = match name {
        "brakes_pct" => (0.0, 100.0),
        _ if name.starts_with("thrust_lever_") => {
            let out = a.panel.reverse_lever != Reverse::Stowed;
            if out && to > 5.0 {
                return refuse("The thrust levers stay closed while reverse is out; stow reverse first.");
            }
            (0.0, 100.0)
        }
        "selected_heading_deg" => (0.0, 360.0),
        "selected_altitude_ft" => (0.0, 41_000.0),
        "selected_speed_kt" => (100.0, a.params.placards.vmo_kt),
        "selected_mach" => (0.30, a.params.placards.mmo),
        "selected_vertical_speed_fpm" => (-6_000.0, 6_000.0),
        "nav_frequency_mhz" => (108.0, 111.95),
        "column_pct" | "wheel_pct" | "pedals_pct" => (-100.0, 100.0),
        "trim_units" => (a.params.trim.range[0], a.params.trim.range[1]),
        "qnh_hpa" => (870.0, 1085.0),
        "flap_lever" => {
            let detents: Vec<String> = a.params.flaps.iter().map(|f| f.detent.to_string()).collect();
            let known = a.params.flaps.iter().any(|f| f64::from(f.detent) == to);
            return if known {
                Ok(())
            } else {
                refuse(format!("The flap lever has no detent {to}; it has {}.", detents.join(", ")))
            };
        }
        _ => return Ok(()),
    };
    if (low..=high).contains(&to) {
        Ok(())
    } else {
        refuse(format!("\"{name}\" goes from {low} to {high}; {to} is outside."))
    }
}

fn switch(a: &Aircraft, name: &str, to: bool) -> Result<(), Refused> {
    let moving = !a.body.on_ground || a.body.ground_speed_kt() > 0.5;
    match (name, to) {
        ("external_power", true) if !a.panel.external_power_available => {
            refuse("No external power is connected; ask the ground crew for it.")
        }
        ("external_power_available", true) if moving => refuse("Ground power can be connected only while parked."),
        ("doors_closed", false) if moving => refuse("The doors stay closed while the aircraft moves."),
        ("chocks", true) if moving => refuse("Chocks can be placed only while the aircraft stands."),
        ("bypass_pin", true) if moving => refuse("The bypass pin can be placed only while the aircraft stands."),
        ("ap_engaged", true) => autopilot(a),
        _ => Ok(()),
    }
}

fn autopilot(a: &Aircraft) -> Result<(), Refused> {
    let data = &a.params.autopilot;
    if a.autopilot.engaged {
        return Ok(());
    }
    if a.body.on_ground || a.body.height_m < data.engage_ft * FT_M {
        return refuse(format!(
            "The autopilot engages only in flight, {} ft above the ground or more.",
            data.engage_ft
        ));
    }
    if !a.systems.hydraulics(&a.params) || !a.systems.bus_powered {
        return refuse("The autopilot needs hydraulic pressure and electrical power.");
    }
    if libm::fabs(a.panel.column_pct).max(libm::fabs(a.panel.wheel_pct)) > data.force_pct {
        return refuse("The autopilot does not engage against your hands; let go of column and wheel first.");
    }
    Ok(())
}

fn word(a: &Aircraft, name: &str, to: &str) -> Result<(), Refused> {
    match (name, to) {
        ("gear_lever", "up") if a.body.on_ground => {
            refuse("The gear lever is locked down while there is weight on the wheels.")
        }
        (_, "start") if name.starts_with("engine_start_") => {
            let k = (0..a.params.engines()).find(|k| name.ends_with(["1", "2", "3", "4"][*k])).unwrap_or(0);
            if a.running()[k] && a.panel.engine_start[k] == StartSelector::Off {
                refuse(format!(
                    "Engine {} is already running; leave its start selector at off.",
                    ["one", "two", "three", "four"][k]
                ))
            } else {
                Ok(())
            }
        }
        ("reverse_lever", "idle" | "full") if !a.body.on_ground => {
            refuse("The reverse lever is locked until the wheels are on the ground.")
        }
        ("reverse_lever", "idle" | "full") if !a.levers_closed() => {
            refuse("The reverse lever moves only with the thrust levers closed; close them first.")
        }
        ("ap_lateral_mode" | "ap_vertical_mode", _) if !a.autopilot.guiding() => {
            refuse("Modes need the autopilot or the flight director; switch one of them on first.")
        }
        ("ap_lateral_armed" | "ap_vertical_armed", w) if w != "none" && !a.autopilot.guiding() => {
            refuse("Modes need the autopilot or the flight director; switch one of them on first.")
        }
        ("ap_lateral_mode", w) if w != a.autopilot.lateral.word() && Lateral::parse(w) != Some(Lateral::Heading) => {
            refuse(format!("\"{w}\" engages by itself; choose heading, or arm the localiser."))
        }
        ("ap_vertical_mode", w) if w != a.autopilot.vertical.word() => match Vertical::parse(w) {
            Some(Vertical::LevelChange | Vertical::Rate | Vertical::Altitude) => Ok(()),
            _ => refuse(format!("\"{w}\" engages by itself; choose level_change, vertical_speed or altitude.")),
        },
        ("tug", "attached" | "pushing") if !a.body.on_ground => refuse("There is no tug in the air."),
        ("tug", "attached") if a.panel.tug == Tug::Away && a.body.ground_speed_kt() > 0.5 => {
            refuse("The tug can be attached only while the aircraft stands.")
        }
        ("tug", "pushing") if a.panel.tug == Tug::Away => refuse("The tug is away; attach it before it can push."),
        ("tug", "away") if a.body.on_ground && a.body.ground_speed_kt() > 0.5 && a.panel.tug != Tug::Away => {
            refuse("The tug can leave only when the aircraft stands; set it to attached first.")
        }
        ("squawk", code) if code.len() != 4 || !code.bytes().all(|b| (b'0'..=b'7').contains(&b)) => {
            refuse(format!("A squawk code has four digits from 0 to 7; \"{code}\" has not."))
        }
        _ => Ok(()),
    }
}
