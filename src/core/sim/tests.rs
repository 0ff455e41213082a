//! The aircraft as a whole, by what it publishes: helpers here, one file a subject.

mod figures;
mod flight;
mod flying_on;
mod modes;
mod oracle;
mod panel;
mod systems;
mod t4;
mod whole;

use super::*;

/// A number that the aircraft publishes.
#[track_caller]
fn num(a: &Aircraft, name: &str) -> f64 {
    a.get(name).and_then(|v| v.number()).unwrap_or_else(|| panic!("{name} is no number"))
}

/// A truth that the aircraft publishes.
#[track_caller]
fn truth(a: &Aircraft, name: &str) -> bool {
    a.get(name).and_then(|v| v.truth()).unwrap_or_else(|| panic!("{name} is no truth"))
}

/// A word that the aircraft publishes.
#[track_caller]
fn word(a: &Aircraft, name: &str) -> String {
    a.get(name).and_then(|v| v.word().map(str::to_owned)).unwrap_or_else(|| panic!("{name} is no word"))
}

/// Reads `name=value` pairs separated by blanks and sets them in order; none may be refused.
#[track_caller]
fn set(a: &mut Aircraft, pairs: &str) {
    for pair in pairs.split_whitespace() {
        let (name, text) = pair.split_once('=').expect("name=value");
        if let Err(refused) = a.set(name, &value(text)) {
            panic!("{pair}: {refused}");
        }
    }
}

fn value(text: &str) -> Value {
    match (text.parse::<bool>(), text.parse::<f64>()) {
        (Ok(b), _) => Value::Bool(b),
        (_, Ok(n)) => Value::Number(n),
        _ => Value::Word(text.to_owned()),
    }
}

/// Steps until `done`, at most `limit_s`; the seconds it took, or none.
fn until(a: &mut Aircraft, limit_s: f64, done: impl Fn(&Aircraft) -> bool) -> Option<f64> {
    let start = a.time();
    while a.time().since(start) < limit_s {
        a.step();
        if done(a) {
            return Some(a.time().since(start));
        }
    }
    None
}

/// Steps for so many seconds.
fn wait(a: &mut Aircraft, seconds: f64) {
    until(a, seconds, |_| false);
}

/// Fails unless `got` is from `low` to `high`.
#[track_caller]
fn between(what: &str, got: f64, low: f64, high: f64) {
    assert!((low..=high).contains(&got), "{what}: {got} is not from {low} to {high}");
}

/// On the runway with this wind from ahead, brakes released after the engines have settled at takeoff thrust.
fn rolling(seed: u64, headwind_kt: f64) -> Aircraft {
    let mut a = Aircraft::tarn_t2(seed);
    let wind = Setup { wind_from_deg: 270.0, wind_kt: headwind_kt, ..Setup::default() };
    a.place(&Setup { place: Place::LinedUp, ..wind });
    set(&mut a, "parking_brake=false brakes_pct=100 thrust_lever_1_pct=86 thrust_lever_2_pct=86");
    wait(&mut a, 15.0);
    assert!(num(&a, "ground_speed_kt") < 0.1, "the brakes hold");
    set(&mut a, "brakes_pct=0");
    a
}

/// At the stand with the APU running, its bleed open, and the pumps on.
fn ready_to_start(seed: u64) -> Aircraft {
    let mut a = Aircraft::tarn_t2(seed);
    set(&mut a, "battery=true external_power=true apu_switch=start apu_generator=true apu_bleed=true");
    set(&mut a, "fuel_pump_left=true fuel_pump_right=true hyd_elec_pump_1=true doors_closed=true");
    until(&mut a, 60.0, |a| truth(a, "apu_available") && num(a, "duct_pressure_psi") > 40.0).expect("APU");
    a
}

/// Starts engine `k` (1 or 2) as the flow does: starter, fuel at 22 % N2, until it is stable.
fn start(a: &mut Aircraft, k: usize) -> Option<f64> {
    set(a, &format!("engine_start_{k}=start"));
    let fuel = until(a, 40.0, |a| num(a, &format!("n2_{k}_pct")) >= 22.0)?;
    set(a, &format!("fuel_lever_{k}=run"));
    let idle = until(a, 60.0, |a| truth(a, &format!("engine_running_{k}")) && num(a, &format!("n2_{k}_pct")) > 59.5)?;
    Some(fuel + idle)
}

/// The files of signal names and the aircraft name the same signals with the same types.
#[test]
fn publishes_exactly_the_books_signals() {
    let both = include_str!("../../../phrasebooks/common/signals.toml");
    publishes(&Aircraft::tarn_t2(1), [both, include_str!("../../../phrasebooks/saltmarsh-t2/signals.toml")]);
    publishes(&Aircraft::tarn_t4(1), [both, include_str!("../../../phrasebooks/common/aircraft/tarn-t4-signals.toml")]);
}

fn publishes(aircraft: &Aircraft, files: [&str; 2]) {
    let mut wanted = BTreeMap::new();
    for text in files {
        let table: toml::Table = toml::from_str(text).unwrap();
        for (name, signal) in table["signals"].as_table().unwrap() {
            let kind = match &signal["kind"] {
                toml::Value::String(s) if s == "number" => ValueKind::Number,
                toml::Value::String(s) if s == "bool" => ValueKind::Bool,
                toml::Value::String(s) if s == "word" => ValueKind::Word(vec![]),
                toml::Value::Array(words) => {
                    ValueKind::Word(words.iter().map(|w| w.as_str().unwrap().to_owned()).collect())
                }
                other => panic!("{name}: {other}"),
            };
            assert!(wanted.insert(name.clone(), kind).is_none(), "{name} twice");
        }
    }
    let shown: BTreeMap<String, ValueKind> =
        aircraft.signals().iter().map(|s| (s.name.to_owned(), s.kind.clone())).collect();
    assert_eq!(shown, wanted);
    for (name, value) in aircraft.read() {
        assert!(value.fits(&shown[&name]), "{name} = {value}");
        assert_eq!(aircraft.get(&name), Some(value));
    }
}
