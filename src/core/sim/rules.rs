//! What a hand cannot do: ranges, locks, and things that are not there. Each refusal is one sentence.

use super::panel::{StartSelector, Tug};
use super::{Aircraft, Refused, SignalSpec};
use crate::core::aircraft::{Value, ValueKind};

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
        "thrust_lever_1_pct" | "thrust_lever_2_pct" | "brakes_pct" => (0.0, 100.0),
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
        _ => Ok(()),
    }
}

fn word(a: &Aircraft, name: &str, to: &str) -> Result<(), Refused> {
    match (name, to) {
        ("gear_lever", "up") if a.body.on_ground => {
            refuse("The gear lever is locked down while there is weight on the wheels.")
        }
        ("engine_start_1" | "engine_start_2", "start") => {
            let k = usize::from(name.ends_with('2'));
            if a.running()[k] && a.panel.engine_start[k] == StartSelector::Off {
                refuse(format!("Engine {} is already running; leave its start selector at off.", ["one", "two"][k]))
            } else {
                Ok(())
            }
        }
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
