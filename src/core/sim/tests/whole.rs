//! A whole flight from Harrow Point to Eastmere with the autopilot, and the autopilot's modes one by one.

use super::*;
use crate::core::physics::{atmosphere, roll};
use crate::core::sim::country::THERE;

/// Steps until `done`, writing a line every so often when asked to.
#[track_caller]
fn go(a: &mut Aircraft, what: &str, limit_s: f64, done: impl Fn(&Aircraft) -> bool) {
    let took = until(a, limit_s, done);
    if std::env::var_os("SHOW").is_some() {
        println!(
            "{what:28} {:7.1}s ias {:5.1} alt {:7.0} vs {:6.0} hdg {:5.1} dist {:6.2} pitch {:4.1} bank {:5.1} lever {:4.1} lat {} vert {} thr {} fuel {:6.0}",
            a.time().secs(),
            num(a, "ias_kt"),
            num(a, "altitude_ft"),
            num(a, "vertical_speed_fpm"),
            num(a, "heading_deg"),
            num(a, "distance_nm"),
            num(a, "pitch_deg"),
            num(a, "bank_deg"),
            num(a, "thrust_lever_1_pct"),
            word(a, "ap_lateral_mode"),
            word(a, "ap_vertical_mode"),
            word(a, "autothrust_mode"),
            num(a, "fuel_total_kg"),
        );
    }
    assert!(took.is_some(), "{what}: not in {limit_s} s");
}

/// The direction to a place before the destination's threshold, nautical miles.
fn toward(a: &Aircraft, before_nm: f64, right_nm: f64) -> f64 {
    let nm = crate::core::physics::NM_M;
    let to = a.country.airports[THERE].place(before_nm * nm, right_nm * nm);
    let (east, north) = (to.east_m - a.body.position.east_m, to.north_m - a.body.position.north_m);
    (libm::atan2(east, north) / crate::core::physics::DEG_RAD).rem_euclid(360.0)
}

/// Takes off by hand, and gives the autopilot what it needs at 400 ft.
fn departs(a: &mut Aircraft, setup: &Setup) {
    a.place(&Setup { place: Place::LinedUp, ..setup.clone() });
    set(a, "selected_speed_kt=155 selected_altitude_ft=5000 selected_heading_deg=270 parking_brake=false");
    set(a, "thrust_lever_1_pct=91 thrust_lever_2_pct=91");
    go(a, "rotate", 90.0, |a| num(a, "ias_kt") >= 133.0);
    assert_eq!((word(a, "ap_lateral_mode"), word(a, "ap_vertical_mode")), ("takeoff".into(), "takeoff".into()));
    set(a, "column_pct=60");
    go(a, "pitch", 15.0, |a| num(a, "pitch_deg") >= 13.0);
    set(a, "column_pct=0");
    go(a, "positive climb", 15.0, |a| num(a, "radio_height_ft") >= 35.0 && num(a, "vertical_speed_fpm") > 500.0);
    set(a, "gear_lever=up");
    go(a, "400 ft", 30.0, |a| num(a, "radio_height_ft") >= 400.0);
    set(a, "ap_engaged=true autothrust=true");
}

/// Steers to a place before the threshold, nautical miles, a little each second, until `done`.
#[track_caller]
fn steer(a: &mut Aircraft, what: &str, to_nm: (f64, f64), limit_s: f64, done: impl Fn(&Aircraft) -> bool) {
    let begin = a.time();
    while a.time().since(begin) < limit_s {
        let way = toward(a, to_nm.0, to_nm.1);
        set(a, &format!("selected_heading_deg={way}"));
        if until(a, 1.0, &done).is_some() {
            return go(a, what, 1.0, |_| true);
        }
    }
    panic!("{what}: not in {limit_s} s");
}

/// Where the base leg begins: nautical miles before the threshold, and right of the centre line.
const CORNER: (f64, f64) = (14.0, 5.0);

/// Nautical miles from the destination's threshold along and right of its centre line.
fn seen(a: &Aircraft) -> (f64, f64) {
    let seen = a.body.position.from(&a.country.airports[THERE]);
    (seen.before_m / crate::core::physics::NM_M, seen.right_m / crate::core::physics::NM_M)
}

#[test]
fn from_runway_to_runway() {
    let mut a = Aircraft::tarn_t2(4);
    let setup = Setup {
        mass_kg: 50_000.0,
        fuel_kg: 5_500.0,
        qnh_hpa: 1_004.0,
        oat_c: 18.0,
        wind_from_deg: 285.0,
        wind_kt: 14.0,
        ..Setup::default()
    };
    let vertical = |mode: &'static str| move |a: &Aircraft| word(a, "ap_vertical_mode") == mode;
    let lateral = |mode: &'static str| move |a: &Aircraft| word(a, "ap_lateral_mode") == mode;
    departs(&mut a, &setup);
    let mass = num(&a, "mass_kg");
    go(&mut a, "1,500 ft", 60.0, |a| num(a, "radio_height_ft") >= 1_500.0);
    between("takeoff climb speed", num(&a, "ias_kt"), 150.0, 160.0);
    set(&mut a, "ap_vertical_mode=level_change selected_speed_kt=210");
    go(&mut a, "flaps 5", 60.0, |a| num(a, "ias_kt") >= 165.0);
    assert_eq!(word(&a, "autothrust_mode"), "climb", "a level change up takes climb thrust");
    set(&mut a, "flap_lever=5");
    go(&mut a, "flaps up", 60.0, |a| num(a, "ias_kt") >= 190.0);
    set(&mut a, "flap_lever=0 ap_lateral_mode=heading selected_heading_deg=20");
    go(&mut a, "captures 5,000", 200.0, vertical("altitude_capture"));
    assert_eq!(word(&a, "autothrust_mode"), "speed");
    assert_eq!(word(&a, "ap_vertical_armed"), "none", "what is captured no longer waits");
    let highest = climbs_no_further(&mut a, "holds 5,000");
    between("overshoot", highest, 4_975.0, 5_050.0);
    set(&mut a, "qnh_hpa=1013.25 selected_altitude_ft=24000 ap_vertical_mode=level_change selected_speed_kt=250");
    go(&mut a, "turned", 120.0, |a| (num(a, "heading_deg") - 20.0).abs() < 2.0);
    steer(&mut a, "10,000", CORNER, 300.0, |a| num(a, "altitude_ft") >= 10_000.0);
    between("climb speed", num(&a, "ias_kt"), 248.0, 252.0);
    between("climb", num(&a, "vertical_speed_fpm"), 2_000.0, 4_000.0);
    set(&mut a, "selected_speed_kt=290");
    steer(&mut a, "cruise", CORNER, 900.0, vertical("altitude"));
    wait(&mut a, 60.0);
    go(&mut a, "in cruise", 1.0, |_| true);
    between("cruise altitude", num(&a, "altitude_ft"), 23_995.0, 24_005.0);
    between("cruise speed", num(&a, "ias_kt"), 289.0, 291.0);
    // CAS 290 at FL240, by the formula that the tables check.
    let mach = crate::core::physics::airspeed::mach_from_cas(290.0, 24_000.0);
    between("Mach number", num(&a, "mach") - mach, -0.003, 0.003);
    // As much warmer than standard as on the runway at 253 ft of pressure altitude: 3.5 degrees.
    between("ISA and three and a half", num(&a, "oat_c") - atmosphere::isa_temperature_c(24_000.0), 3.4, 3.6);
    // Twin of 50 t at M 0.68 and FL240: of the order of two tonnes an hour.
    let flow = num(&a, "fuel_flow_1_kgh") + num(&a, "fuel_flow_2_kgh");
    between("fuel flow", flow, 1_700.0, 3_000.0);
    between("pitch", num(&a, "pitch_deg"), 0.5, 4.0);
    steer(&mut a, "top of descent", CORNER, 2_000.0, |a| num(a, "distance_nm") <= 64.0);
    set(&mut a, "selected_altitude_ft=10000 ap_vertical_mode=level_change");
    let (top, from) = (num(&a, "altitude_ft"), num(&a, "distance_nm"));
    steer(&mut a, "11,000", CORNER, 900.0, |a| num(a, "altitude_ft") <= 11_000.0);
    assert_eq!(word(&a, "autothrust_mode"), "idle");
    between("descent speed", num(&a, "ias_kt"), 287.0, 293.0);
    // An idle descent is near three degrees: 318 ft in a nautical mile (K, standard formula).
    between("ft/NM", (top - num(&a, "altitude_ft")) / (from - num(&a, "distance_nm")), 280.0, 420.0);
    set(&mut a, "selected_speed_kt=250");
    steer(&mut a, "level at 10,000", CORNER, 300.0, vertical("altitude"));
    set(&mut a, "qnh_hpa=1004 selected_altitude_ft=3000 ap_vertical_mode=level_change");
    steer(&mut a, "level at 3,000", CORNER, 900.0, vertical("altitude"));
    set(&mut a, "selected_speed_kt=220");
    steer(&mut a, "corner", CORNER, 900.0, |a| seen(a).0 > 13.0);
    set(&mut a, "selected_heading_deg=150 selected_speed_kt=190");
    go(&mut a, "slower", 200.0, |a| num(a, "ias_kt") < 205.0);
    set(&mut a, "flap_lever=5");
    go(&mut a, "base", 300.0, |a| seen(a).1 < 2.5);
    set(&mut a, "selected_heading_deg=210 ap_lateral_armed=localiser ap_vertical_armed=glide_path");
    go(&mut a, "localiser", 300.0, lateral("localiser"));
    go(&mut a, "established", 300.0, |a| num(a, "localiser_dots").abs() < 0.1 && num(a, "bank_deg").abs() < 2.0);
    between("wind correction", num(&a, "heading_deg"), 240.5, 246.0);
    between("track", num(&a, "track_deg"), 236.0, 241.0);
    set(&mut a, "selected_speed_kt=170 flap_lever=12");
    assert_eq!(word(&a, "ap_vertical_armed"), "glide_path");
    go(&mut a, "glide path", 300.0, vertical("glide_path"));
    // 3,000 ft of altitude are 2,790 above the runway: 8.6 NM from where the path meets it, 300 m past the threshold.
    between("meets the path", num(&a, "distance_nm"), 8.2, 9.3);
    set(&mut a, "gear_lever=down flap_lever=20 selected_speed_kt=150 speedbrake_lever=armed autobrake=medium");
    go(&mut a, "slow", 200.0, |a| num(a, "ias_kt") < 156.0);
    set(&mut a, "flap_lever=35 selected_speed_kt=133");
    for gate in [1_000.0, 500.0] {
        go(&mut a, "gate", 300.0, |a| num(a, "radio_height_ft") < gate);
        // Stabilised (FSF ALAR BN 7.1): path within a dot, VREF to VREF + 20, at most 1,000 ft/min, landing configuration.
        between("localiser", num(&a, "localiser_dots"), -0.25, 0.25);
        between("glide path", num(&a, "glide_path_dots"), -0.25, 0.25);
        between("speed", num(&a, "ias_kt"), 131.0, 136.0);
        // K: 3 degrees at this ground speed.
        let sink = roll::rate_of_descent_fpm(num(&a, "ground_speed_kt"), 3.0);
        between("sink", -num(&a, "vertical_speed_fpm") / sink, 0.93, 1.07);
        assert_eq!((word(&a, "gear_position"), num(&a, "flap_deg")), ("down".into(), 35.0));
        assert!(num(&a, "thrust_lever_1_pct") > 15.0, "spooled up");
    }
    go(&mut a, "flare", 300.0, vertical("flare"));
    go(&mut a, "touchdown", 60.0, |a| truth(a, "on_ground"));
    between("sink at touchdown", a.body.touchdown_fpm, 40.0, 240.0);
    between("past the threshold, m", -seen(&a).0 * 1_852.0, 200.0, 900.0);
    between("off the centre line, m", seen(&a).1 * 1_852.0, -12.0, 12.0);
    between("touchdown speed", num(&a, "ias_kt"), 118.0, 133.0);
    assert_eq!(word(&a, "autothrust_mode"), "retard");
    set(&mut a, "thrust_lever_1_pct=0 thrust_lever_2_pct=0");
    go(&mut a, "spoilers", 4.0, |a| num(a, "speedbrake_pct") > 99.0);
    assert_eq!((word(&a, "ap_lateral_mode"), truth(&a, "autobrake_active")), ("rollout".into(), true));
    set(&mut a, "reverse_lever=full");
    go(&mut a, "reverse out", 4.0, |a| truth(a, "reverse_1") && truth(a, "reverse_2"));
    go(&mut a, "70 kt", 60.0, |a| num(a, "ias_kt") < 70.0);
    assert!(num(&a, "n1_1_pct") > 60.0, "reverse thrust");
    between("off the centre line, m", seen(&a).1 * 1_852.0, -15.0, 15.0);
    set(&mut a, "reverse_lever=stowed");
    go(&mut a, "stopped", 60.0, |a| num(a, "ground_speed_kt") < 1.0);
    between("where it stops, m", -seen(&a).0 * 1_852.0, 900.0, 2_000.0);
    // What was burnt is what the mass has lost.
    let burnt = mass - num(&a, "mass_kg");
    between("trip fuel, kg", burnt, 1_200.0, 2_400.0);
    let weighed = num(&a, "zero_fuel_mass_kg") + num(&a, "fuel_total_kg");
    between("zero fuel and fuel", weighed - num(&a, "mass_kg"), -1e-6, 1e-6);
    assert!(!truth(&a, "ap_warning") && !truth(&a, "overspeed_warning") && !truth(&a, "stall_warning"));
}

/// Waits until the altitude is held, and twenty seconds more: the highest altitude on the way.
fn climbs_no_further(a: &mut Aircraft, what: &str) -> f64 {
    go(a, what, 60.0, |a| word(a, "ap_vertical_mode") == "altitude");
    let mut highest = num(a, "altitude_ft");
    for _ in 0..20 * 60 {
        a.step();
        highest = highest.max(num(a, "altitude_ft"));
    }
    highest
}
