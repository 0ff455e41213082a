//! The Tarn T4: engines in pairs, a whole flight, its tables, and the class that it belongs to.

use super::*;

fn levers(a: &mut Aircraft, pct: f64) {
    (1..=4).for_each(|k| set(a, &format!("thrust_lever_{k}_pct={pct}")));
}

/// At the stand with the APU running and its bleed open.
fn ready(oat_c: f64) -> Aircraft {
    let mut a = Aircraft::tarn_t4(3);
    a.place(&Setup { oat_c, ..a.usual() });
    set(
        &mut a,
        "battery=true external_power=true apu_switch=start apu_generator=true apu_bleed=true doors_closed=true",
    );
    set(&mut a, "fuel_pump_1=true fuel_pump_2=true fuel_pump_3=true fuel_pump_4=true");
    until(&mut a, 90.0, |a| truth(a, "apu_available")).expect("APU");
    wait(&mut a, 10.0);
    a
}

/// Starts these engines at once, fuel at 20 % N2 or after 25 s; which of them run a hundred seconds later.
fn started(a: &mut Aircraft, engines: &[usize]) -> Vec<usize> {
    for k in engines {
        set(a, &format!("engine_start_{k}=start"));
    }
    until(a, 25.0, |a| engines.iter().all(|k| num(a, &format!("n2_{k}_pct")) >= 20.0));
    for k in engines {
        set(a, &format!("fuel_lever_{k}=run"));
    }
    wait(a, 100.0);
    for k in engines {
        // Whatever did not start is put back.
        if !truth(a, &format!("engine_running_{k}")) {
            set(a, &format!("engine_start_{k}=off fuel_lever_{k}=cutoff"));
        }
    }
    (1..=4).filter(|k| truth(a, &format!("engine_running_{k}"))).collect()
}

#[test]
fn engines_start_in_pairs_while_there_is_air() {
    // As a check of the aircraft: engines in pairs up to 30 °C outside (common practice, no source).
    for (oat_c, pair) in [(-10.0, true), (15.0, true), (25.0, true), (30.0, true), (32.0, false), (38.0, false)] {
        let mut a = ready(oat_c);
        assert_eq!(started(&mut a, &[3, 4]).len(), if pair { 2 } else { 0 }, "{oat_c}");
        if pair {
            assert_eq!(started(&mut a, &[1, 2]), [1, 2, 3, 4], "{oat_c}");
        } else {
            let mut a = ready(oat_c);
            for (k, so_far) in [(4, 1), (3, 2), (2, 3), (1, 4)] {
                assert_eq!(started(&mut a, &[k]).len(), so_far, "{oat_c}: one at a time");
            }
        }
    }
    // Three at once are too many on any day, and packs take the air of one.
    assert_eq!(started(&mut ready(0.0), &[2, 3, 4]), Vec::<usize>::new());
    let mut a = ready(15.0);
    set(&mut a, "pack_1=true");
    wait(&mut a, 5.0);
    assert_eq!(started(&mut a, &[3, 4]).len(), 0);
}

#[test]
fn a_freighter_has_its_own_signals() {
    let a = Aircraft::tarn_t4(1);
    assert_eq!(a.name(), "Tarn T4");
    assert!(a.get("cabin_ready").is_none() && a.get("fuel_left_kg").is_none());
    assert_eq!(a.get("main_deck_secure"), Some(Value::Bool(false)));
    between("mass", num(&a, "mass_kg"), 204_999.9, 205_000.1);
    let tanks: f64 = (1..=4).map(|k| num(&a, &format!("fuel_tank_{k}_kg"))).sum();
    between("fuel", tanks + num(&a, "fuel_centre_kg"), 49_999.9, 50_000.1);
    assert!(Aircraft::tarn_t2(1).get("n1_3_pct").is_none());
    for fault in a.faults() {
        assert_eq!(a.clone().inject(fault), Ok(()), "{fault}");
    }
    assert!(Aircraft::tarn_t2(1).inject("hot_start_4").is_err());
}

/// Lined up, thrust set, released, rotated at this speed, gear up; at 400 ft the autopilot takes it.
fn departs(setup: Setup, rotate_kt: f64, climb_kt: f64) -> Aircraft {
    let mut a = Aircraft::tarn_t4(5);
    a.place(&Setup { place: Place::LinedUp, ..setup });
    set(&mut a, &format!("parking_brake=false selected_speed_kt={climb_kt} selected_altitude_ft=9000"));
    levers(&mut a, 92.0);
    until(&mut a, 90.0, |a| num(a, "ias_kt") >= rotate_kt).expect("VR");
    set(&mut a, "column_pct=60");
    until(&mut a, 20.0, |a| num(a, "pitch_deg") >= 12.0).expect("pitch");
    set(&mut a, "column_pct=0");
    until(&mut a, 20.0, |a| num(a, "radio_height_ft") >= 35.0).expect("climbs");
    set(&mut a, "gear_lever=up");
    until(&mut a, 60.0, |a| num(a, "radio_height_ft") >= 400.0).expect("400 ft");
    set(&mut a, "ap_engaged=true autothrust=true");
    a
}

#[test]
fn it_flies_from_takeoff_to_cruise() {
    let mut a = departs(Aircraft::tarn_t4(1).usual(), 150.0, 172.0);
    for _ in 0..30 {
        wait(&mut a, 1.0);
        between("climb speed", num(&a, "ias_kt"), 155.0, 178.0);
        between("climb", num(&a, "vertical_speed_fpm"), 800.0, 3_500.0);
    }
    set(&mut a, "ap_vertical_mode=level_change selected_speed_kt=240");
    until(&mut a, 120.0, |a| num(a, "ias_kt") > 200.0).expect("accelerates");
    set(&mut a, "flap_lever=0 ap_lateral_mode=heading selected_heading_deg=90");
    until(&mut a, 500.0, |a| word(a, "ap_vertical_mode") == "altitude").expect("levels off");
    set(&mut a, "selected_altitude_ft=31000 selected_speed_kt=300 ap_vertical_mode=level_change");
    until(&mut a, 2_400.0, |a| word(a, "ap_vertical_mode") == "altitude").expect("FL310");
    wait(&mut a, 120.0);
    between("altitude", num(&a, "altitude_ft"), 30_980.0, 31_020.0);
    between("Mach number", num(&a, "mach"), 0.79, 0.81);
    assert!(!truth(&a, "master_caution"));
    // An outer engine fails: the autopilot holds heading and altitude with what is left.
    a.inject("engine_failure_4").unwrap();
    wait(&mut a, 60.0);
    assert!(truth(&a, "master_caution") && !truth(&a, "engine_running_4"));
    between("heading", num(&a, "heading_deg"), 85.0, 95.0);
    between("altitude", num(&a, "altitude_ft"), 30_900.0, 31_100.0);
}

#[test]
fn it_lands() {
    for name in ["approach", "final_approach 4"] {
        let mut a = Aircraft::tarn_t4(5);
        let place = Place::named(name).unwrap();
        a.place(&Setup { place, mass_kg: 165_000.0, fuel_kg: 20_000.0, ..Setup::default() });
        if name == "approach" {
            until(&mut a, 300.0, |a| word(a, "ap_vertical_mode") == "glide_path").expect("glide path");
            set(&mut a, "gear_lever=down flap_lever=20 selected_speed_kt=160 speedbrake_lever=armed autobrake=medium");
            until(&mut a, 120.0, |a| num(a, "ias_kt") < 168.0).expect("slows");
            set(&mut a, "flap_lever=30 selected_speed_kt=140");
        }
        until(&mut a, 300.0, |a| num(a, "radio_height_ft") < 500.0).expect("500 ft");
        between("speed", num(&a, "ias_kt"), 137.0, 144.0);
        between("localiser", num(&a, "localiser_dots"), -0.25, 0.25);
        between("glide path", num(&a, "glide_path_dots"), -0.3, 0.3);
        until(&mut a, 90.0, |a| truth(a, "on_ground")).expect("touches down");
        between("sink", a.body.touchdown_fpm, 30.0, 300.0);
        levers(&mut a, 0.0);
        set(&mut a, "reverse_lever=full");
        wait(&mut a, 4.0);
        assert!((1..=4).all(|k| truth(&a, &format!("reverse_{k}"))), "reverse");
        until(&mut a, 60.0, |a| num(a, "ground_speed_kt") < 60.0).expect("slows");
        set(&mut a, "reverse_lever=stowed");
        until(&mut a, 60.0, |a| num(a, "ground_speed_kt") < 1.0).expect("stops");
    }
}
