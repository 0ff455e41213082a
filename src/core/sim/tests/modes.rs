//! The autopilot's modes, what throws it off, going around, landing by hand, stopping, and the places to begin in.

use super::*;
use crate::core::sim::country::THERE;

fn placed(place: Place) -> Aircraft {
    let mut a = Aircraft::tarn_t2(2);
    a.place(&Setup { place, mass_kg: 48_000.0, fuel_kg: 4_000.0, ..Setup::default() });
    a
}

/// Lateral mode, what is armed there, vertical mode, what is armed there, autothrust.
fn modes(a: &Aircraft) -> [String; 5] {
    ["ap_lateral_mode", "ap_lateral_armed", "ap_vertical_mode", "ap_vertical_armed", "autothrust_mode"]
        .map(|name| word(a, name))
}

#[test]
fn places_begin_settled() {
    for (name, wanted, speeds) in [
        ("climb", ["heading", "none", "level_change", "altitude", "climb"], (245.0, 255.0)),
        ("cruise", ["heading", "none", "altitude", "none", "speed"], (277.0, 283.0)),
        ("approach", ["heading", "localiser", "altitude", "glide_path", "speed"], (180.0, 192.0)),
        ("final_approach", ["localiser", "none", "glide_path", "none", "speed"], (125.0, 131.0)),
        ("final_approach 3", ["localiser", "none", "glide_path", "none", "speed"], (125.0, 131.0)),
    ] {
        let mut a = placed(Place::named(name).unwrap());
        let (speed, altitude) = (num(&a, "ias_kt"), num(&a, "altitude_ft"));
        between(name, speed, speeds.0, speeds.1);
        wait(&mut a, 1.0);
        assert_eq!(modes(&a), wanted.map(str::to_owned), "{name}");
        for _ in 0..20 {
            wait(&mut a, 0.5);
            between(name, num(&a, "ias_kt"), speed - 4.0, speed + 4.0);
            between(name, num(&a, "pitch_deg"), -3.0, 12.0);
            assert!(truth(&a, "ap_engaged") && !truth(&a, "master_caution"), "{name}");
            assert!(!truth(&a, "overspeed_warning") && !truth(&a, "stall_warning"), "{name}");
        }
        let change = num(&a, "altitude_ft") - altitude;
        match name {
            "climb" => between(name, change, 400.0, 800.0),
            "cruise" | "approach" => between(name, change, -15.0, 15.0),
            _ => {
                between(name, change, -130.0, -90.0);
                between(name, num(&a, "glide_path_dots"), -0.1, 0.1);
                between(name, num(&a, "localiser_dots"), -0.1, 0.1);
            }
        }
    }
    let mut a = placed(Place::named("landed").unwrap());
    assert!(truth(&a, "on_ground") && word(&a, "speedbrake_lever") == "up");
    set(&mut a, "brakes_pct=40");
    until(&mut a, 20.0, |a| num(a, "ground_speed_kt") < 0.5).expect("stops");
    between("elevation", num(&a, "altitude_ft"), 209.9, 210.1);
    for bad in ["moon", "climb 4", "approach far", ""] {
        assert!(Place::named(bad).unwrap_err().contains("final_approach 4"), "{bad}");
    }
}

#[test]
fn approach_captures_both_beams() {
    for (wind_from_deg, wind_kt) in [(0.0, 0.0), (150.0, 25.0), (330.0, 25.0), (240.0, 30.0)] {
        let mut a = Aircraft::tarn_t2(2);
        let place = Place::named("approach").unwrap();
        a.place(&Setup { place, mass_kg: 48_000.0, fuel_kg: 4_000.0, wind_from_deg, wind_kt, ..Setup::default() });
        until(&mut a, 120.0, |a| word(a, "ap_lateral_mode") == "localiser").expect("localiser");
        until(&mut a, 240.0, |a| word(a, "ap_vertical_mode") == "glide_path").expect("glide path");
        between("across", num(&a, "localiser_dots"), -0.2, 0.2);
        set(&mut a, "gear_lever=down flap_lever=20 selected_speed_kt=150 speedbrake_lever=armed autobrake=medium");
        until(&mut a, 90.0, |a| num(a, "ias_kt") < 158.0).expect("slows");
        set(&mut a, "flap_lever=35 selected_speed_kt=128");
        until(&mut a, 200.0, |a| num(a, "radio_height_ft") < 1_000.0).expect("1,000 ft");
        while num(&a, "radio_height_ft") > 60.0 {
            wait(&mut a, 0.5);
            between("localiser", num(&a, "localiser_dots"), -0.3, 0.3);
            between("glide path", num(&a, "glide_path_dots"), -0.5, 0.5);
            between("speed", num(&a, "ias_kt"), 124.0, 134.0);
        }
        until(&mut a, 30.0, |a| truth(a, "on_ground")).expect("touches down");
        between("sink", a.body.touchdown_fpm, 30.0, 300.0);
        let seen = a.body.position.from(&a.country.airports[THERE]);
        between("across, m", seen.right_m, -15.0, 15.0);
        between("along, m", -seen.before_m, 150.0, 900.0);
        set(&mut a, "thrust_lever_1_pct=0 thrust_lever_2_pct=0");
        until(&mut a, 60.0, |a| num(a, "ground_speed_kt") < 30.0).expect("stops");
        let seen = a.body.position.from(&a.country.airports[THERE]);
        between("across when slow, m", seen.right_m, -20.0, 20.0);
    }
}

#[test]
fn going_around() {
    let mut a = placed(Place::named("final_approach 2").unwrap());
    until(&mut a, 60.0, |a| num(a, "radio_height_ft") < 250.0).expect("low");
    set(&mut a, "go_around=true");
    a.step();
    assert_eq!(modes(&a), ["go_around", "none", "go_around", "altitude", "go_around"].map(str::to_owned));
    assert!(truth(&a, "go_around"));
    let mut lowest = 250.0_f64;
    until(&mut a, 10.0, |a| num(a, "vertical_speed_fpm") > 500.0).expect("climbs");
    lowest = lowest.min(num(&a, "radio_height_ft"));
    assert!(lowest > 150.0, "{lowest}");
    assert!(!truth(&a, "go_around"), "springs back");
    set(&mut a, "gear_lever=up flap_lever=20 selected_speed_kt=150");
    until(&mut a, 60.0, |a| num(a, "radio_height_ft") > 1_000.0).expect("climbs away");
    between("speed", num(&a, "ias_kt"), 125.0, 160.0);
    between("track", num(&a, "track_deg"), 238.0, 242.0);
    until(&mut a, 120.0, |a| word(a, "ap_vertical_mode") == "altitude").expect("levels off");
    between("missed approach altitude", num(&a, "altitude_ft"), 2_950.0, 3_050.0);
    assert_eq!(word(&a, "autothrust_mode"), "speed");
}

#[test]
fn selections_are_flown() {
    let mut a = placed(Place::named("cruise").unwrap());
    let course = num(&a, "heading_deg");
    let to = (course - 90.0).rem_euclid(360.0);
    set(&mut a, &format!("selected_heading_deg={to}"));
    wait(&mut a, 8.0);
    between("turns the shorter way", num(&a, "bank_deg"), -26.0, -20.0);
    wait(&mut a, 150.0);
    between("heading", num(&a, "heading_deg") - to, -0.5, 0.5);
    between("altitude in the turn", num(&a, "altitude_ft"), 23_980.0, 24_020.0);
    // Vertical speed down, and an altitude on the way that is captured by itself.
    set(&mut a, "selected_altitude_ft=22000 ap_vertical_mode=vertical_speed selected_vertical_speed_fpm=-1500");
    wait(&mut a, 25.0);
    between("vertical speed", num(&a, "vertical_speed_fpm"), -1_550.0, -1_450.0);
    between("speed", num(&a, "ias_kt"), 276.0, 284.0);
    assert_eq!(word(&a, "ap_vertical_armed"), "altitude");
    until(&mut a, 80.0, |a| word(a, "ap_vertical_mode") == "altitude_capture").expect("captures");
    assert!(truth(&a, "altitude_alert"), "within 900 ft");
    until(&mut a, 40.0, |a| word(a, "ap_vertical_mode") == "altitude").expect("holds");
    wait(&mut a, 20.0);
    between("holds", num(&a, "altitude_ft"), 21_990.0, 22_010.0);
    assert!(!truth(&a, "altitude_alert"));
    // A change of the subscale is flown after: 10 hPa are about 270 ft at sea level (K, standards).
    set(&mut a, "qnh_hpa=1003.25");
    between("shows lower", num(&a, "altitude_ft"), 21_700.0, 21_750.0);
    wait(&mut a, 60.0);
    between("holds what is shown", num(&a, "altitude_ft"), 21_990.0, 22_010.0);
    // A new altitude while it captures another: the capture is left.
    set(&mut a, "selected_altitude_ft=23000 ap_vertical_mode=level_change");
    until(&mut a, 120.0, |a| word(a, "ap_vertical_mode") == "altitude_capture").expect("captures");
    set(&mut a, "selected_altitude_ft=26000");
    a.step();
    assert_eq!(word(&a, "ap_vertical_mode"), "vertical_speed");
    // High up the speed becomes a Mach number by itself, and comes back in the descent.
    set(&mut a, "selected_altitude_ft=33000 selected_speed_kt=290 ap_vertical_mode=level_change");
    until(&mut a, 900.0, |a| truth(a, "speed_in_mach")).expect("changes over");
    between("at", num(&a, "altitude_ft"), 25_500.0, 28_500.0);
    until(&mut a, 1_500.0, |a| word(a, "ap_vertical_mode") == "altitude").expect("FL330");
    wait(&mut a, 60.0);
    between("Mach number", num(&a, "mach"), 0.715, 0.725);
    set(&mut a, "selected_altitude_ft=20000 ap_vertical_mode=level_change");
    until(&mut a, 600.0, |a| !truth(a, "speed_in_mach")).expect("changes back");
    between("selected speed", num(&a, "selected_speed_kt"), 280.0, 280.0);
}

#[test]
fn what_throws_the_autopilot_off() {
    for (deed, fault) in [
        ("column_pct=40", ""),
        ("wheel_pct=-40", ""),
        ("generator_1=false generator_2=false", ""),
        ("column_pct=0", "hyd_leak_1 hyd_leak_2"),
    ] {
        let mut a = placed(Place::named("cruise").unwrap());
        set(&mut a, deed);
        fault.split_whitespace().for_each(|f| a.inject(f).unwrap());
        until(&mut a, 30.0, |a| !truth(a, "ap_engaged")).unwrap_or_else(|| panic!("{deed} {fault}"));
        assert!(truth(&a, "ap_warning"), "{deed} {fault}");
        set(&mut a, "ap_warning=false");
        assert!(!truth(&a, "ap_warning"));
    }
    // By its own switch: no warning; modes stay for the director, and go with it.
    let mut a = placed(Place::named("cruise").unwrap());
    set(&mut a, "ap_engaged=false");
    wait(&mut a, 1.0);
    assert!(!truth(&a, "ap_warning") && word(&a, "ap_vertical_mode") == "altitude");
    set(&mut a, "flight_director=false");
    a.step();
    assert_eq!(modes(&a)[..4], ["off", "none", "off", "none"].map(str::to_owned));
    // Engaged again, it keeps what it finds.
    set(&mut a, "selected_altitude_ft=30000");
    set(&mut a, "ap_engaged=true");
    wait(&mut a, 1.0);
    assert_eq!(modes(&a)[..4], ["heading", "none", "vertical_speed", "altitude"].map(str::to_owned));
}

#[test]
fn what_the_autopilot_refuses() {
    let ground = placed(Place::LinedUp);
    let cruise = placed(Place::named("cruise").unwrap());
    let mut bare = placed(Place::named("cruise").unwrap());
    set(&mut bare, "ap_engaged=false flight_director=false");
    bare.step();
    let mut pulled = placed(Place::named("cruise").unwrap());
    set(&mut pulled, "ap_engaged=false column_pct=30");
    for (a, pair, part) in [
        (&ground, "ap_engaged=true", "200 ft above the ground"),
        (&pulled, "ap_engaged=true", "let go"),
        (&cruise, "ap_lateral_mode=localiser", "engages by itself"),
        (&cruise, "ap_vertical_mode=glide_path", "engages by itself"),
        (&bare, "ap_lateral_mode=heading", "flight director"),
        (&bare, "ap_vertical_armed=glide_path", "flight director"),
        (&cruise, "selected_altitude_ft=50000", "from 0 to 41000"),
        (&cruise, "selected_speed_kt=90", "from 100 to 330"),
        (&cruise, "reverse_lever=idle", "on the ground"),
        (&cruise, "nav_frequency_mhz=117.2", "from 108 to 111.95"),
    ] {
        let (name, text) = pair.split_once('=').unwrap();
        let refused = a.clone().set(name, &value(text)).expect_err(pair).to_string();
        assert!(refused.contains(part) && refused.ends_with('.'), "{pair}: {refused}");
    }
}

#[test]
fn placards_and_warnings() {
    let mut a = placed(Place::named("climb").unwrap());
    set(&mut a, "gear_lever=down");
    wait(&mut a, 1.0);
    assert!(truth(&a, "overspeed_warning"), "the gear goes out to 235 kt");
    until(&mut a, 120.0, |a| !truth(a, "overspeed_warning")).expect("autothrust heeds it");
    let mut a = placed(Place::named("final_approach 4").unwrap());
    set(&mut a, "gear_lever=up");
    until(&mut a, 90.0, |a| num(a, "radio_height_ft") < 790.0).expect("low");
    wait(&mut a, 0.1);
    assert!(truth(&a, "gear_warning"));
    set(&mut a, "gear_lever=down");
    until(&mut a, 12.0, |a| word(a, "gear_position") == "down").expect("gear");
    assert!(!truth(&a, "gear_warning"));
    // Slowed by hand with idle thrust in level flight until the warning comes.
    let mut a = placed(Place::Airborne { height_ft: 5_000.0, ias_kt: 190.0 });
    set(&mut a, "thrust_lever_1_pct=0 thrust_lever_2_pct=0");
    let hold = |a: &mut Aircraft| {
        let pull = (-num(a, "vertical_speed_fpm") * 0.05).clamp(-40.0, 40.0);
        set(a, &format!("column_pct={pull}"));
        a.step();
    };
    let mut stalls = 0.0;
    for _ in 0..60 * 120 {
        hold(&mut a);
        if truth(&a, "stall_warning") {
            stalls = num(&a, "ias_kt");
            break;
        }
    }
    // Clean at 48 t the data stall at 133 kt; the warning comes before.
    between("stall warning", stalls, 134.0, 145.0);
}

/// Lands from short final with what is set before touchdown and after; the run from touchdown to 20 kt, m.
fn landing_run(surface: Surface, before: &str, after: &str, fault: &str) -> f64 {
    let mut a = Aircraft::tarn_t2(2);
    let place = Place::FinalApproach { distance_nm: 1.5 };
    a.place(&Setup { place, mass_kg: 48_000.0, fuel_kg: 4_000.0, surface, ..Setup::default() });
    set(&mut a, before);
    if !fault.is_empty() {
        a.inject(fault).unwrap();
    }
    until(&mut a, 60.0, |a| truth(a, "on_ground")).expect("touches down");
    let from = a.rolled_m();
    set(&mut a, "thrust_lever_1_pct=0 thrust_lever_2_pct=0");
    set(&mut a, after);
    until(&mut a, 120.0, |a| num(a, "ground_speed_kt") < 20.0).expect("stops");
    a.rolled_m() - from
}

#[test]
fn stopping() {
    let dry = landing_run(Surface::Dry, "autobrake=medium", "", "");
    let high = landing_run(Surface::Dry, "autobrake=high", "", "");
    let low = landing_run(Surface::Dry, "autobrake=low", "", "");
    assert!(high < 0.85 * dry && dry < 0.8 * low, "{high} {dry} {low}");
    // The autobrake holds a deceleration: reverse takes load off the brakes, not metres off the run.
    let reverse = landing_run(Surface::Dry, "autobrake=medium", "reverse_lever=full", "");
    between("with reverse", reverse / dry, 0.85, 1.02);
    // On ice nothing holds it, and reverse and speedbrakes count.
    let ice = landing_run(Surface::Slippery, "autobrake=high", "", "");
    let ice_reverse = landing_run(Surface::Slippery, "autobrake=high", "reverse_lever=full", "");
    assert!(ice > 1.3 * high && ice_reverse < 0.85 * ice, "{ice} {ice_reverse} {high}");
    let none = landing_run(Surface::Slippery, "autobrake=high", "", "spoiler_fault");
    assert!(none > 1.1 * ice, "{none} {ice}");
    // One reverser stuck: the other turns the nose a little.
    let mut a = placed(Place::FinalApproach { distance_nm: 1.5 });
    a.inject("reverser_stuck_2").unwrap();
    until(&mut a, 60.0, |a| truth(a, "on_ground")).expect("touches down");
    set(&mut a, "thrust_lever_1_pct=0 thrust_lever_2_pct=0 reverse_lever=full");
    wait(&mut a, 4.0);
    assert!(truth(&a, "reverse_1") && !truth(&a, "reverse_2"));
    assert!(a.set("thrust_lever_1_pct", &Value::Number(50.0)).is_err(), "reverse is out");
    // Thrust again: reverse must be in, speedbrakes go down by themselves.
    set(&mut a, "reverse_lever=stowed");
    set(&mut a, "thrust_lever_1_pct=91 thrust_lever_2_pct=91");
    wait(&mut a, 1.0);
    assert_eq!(word(&a, "speedbrake_lever"), "down");
}

#[test]
fn wind_drifts_and_turns_keep_the_airspeed() {
    let mut a = Aircraft::tarn_t2(1);
    let place = Place::Airborne { height_ft: 5_000.0, ias_kt: 210.0 };
    a.place(&Setup { place, wind_from_deg: 360.0, wind_kt: 40.0, ..Setup::default() });
    wait(&mut a, 10.0);
    // Heading 270 with 40 kt from the right: drift to the left, atan(40 / 226 kt true) is 10 degrees.
    between("track", num(&a, "track_deg"), 259.0, 261.0);
    set(&mut a, "ap_engaged=true autothrust=true selected_speed_kt=210 ap_vertical_mode=altitude");
    wait(&mut a, 40.0);
    set(&mut a, "selected_heading_deg=90");
    for _ in 0..120 {
        wait(&mut a, 1.0);
        between("speed in the turn", num(&a, "ias_kt"), 203.0, 217.0);
    }
    between("heading", num(&a, "heading_deg"), 89.5, 90.5);
    between("track", num(&a, "track_deg"), 99.0, 101.0);
}

#[test]
fn centre_of_gravity_and_trim() {
    let at = |cg: f64| {
        let mut a = Aircraft::tarn_t2(3);
        let place = Place::LinedUp;
        a.place(&Setup { place, zero_fuel_cg_pct: Some(cg), ..Setup::default() });
        set(&mut a, "parking_brake=false thrust_lever_1_pct=90 thrust_lever_2_pct=90");
        let cg = num(&a, "cg_pct");
        until(&mut a, 60.0, |a| num(a, "ias_kt") >= 135.0).expect("135 kt");
        set(&mut a, "column_pct=60");
        (cg, until(&mut a, 15.0, |a| !truth(a, "on_ground")).expect("lifts off"))
    };
    let (forward, usual, aft) = (at(17.0), at(25.0), at(33.0));
    // 43 t at 25 % and 9 t in the wings at 27 %.
    between("centre of gravity", usual.0, 25.34, 25.36);
    assert!(forward.0 < usual.0 && usual.0 < aft.0);
    assert!(forward.1 > usual.1 && usual.1 > aft.1, "{forward:?} {usual:?} {aft:?}");
}

#[test]
fn beams_are_where_they_should_be() {
    let a = placed(Place::LinedUp);
    let airport = &a.country.airports[THERE];
    let at = |before_nm: f64, right_m: f64, height_m: f64| {
        let nm = crate::core::physics::NM_M;
        Beam::at(&a.country, airport, airport.place(before_nm * nm, right_m), height_m)
    };
    // Two dots at the threshold are 105 m: the course sector of ICAO Annex 10 Vol I, 3.1.3.7.3 (from memory).
    let threshold = at(0.0, 105.0, 15.24);
    between("full scale", threshold.localiser_dots.unwrap(), -2.0001, -1.9999);
    // 50 ft over the threshold and 3 degrees: 318 ft in a nautical mile (K, standard formula).
    let three = at(3.0, 0.0, (50.0 + 3.0 * roll_ft()) * 0.3048);
    between("on the path", three.glide_dots.unwrap(), -0.001, 0.001);
    between("path", three.above_m, -0.01, 0.01);
    // A quarter of the angle less is about two dots high: 0.24 of it is full scale (Annex 10 Vol I, from memory).
    let low = at(5.0, 0.0, 0.76 * (5.0 * 1_852.0 + 290.8) * libm::tan(3.0_f64.to_radians()));
    between("full scale low", low.glide_dots.unwrap(), 1.98, 2.02);
    assert!(at(20.0, 0.0, 900.0).glide_dots.is_none() && at(30.0, 0.0, 900.0).localiser_dots.is_none());
    assert!(at(-2.0, 0.0, 300.0).glide_dots.is_none(), "past it");
    assert!(at(10.0, 9_000.0, 900.0).glide_dots.is_none(), "beside it");
}

fn roll_ft() -> f64 {
    crate::core::physics::roll::path_ft_per_nm(3.0)
}
