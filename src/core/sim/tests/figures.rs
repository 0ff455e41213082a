//! The aircraft as it flies, against its own performance tables.

use super::*;
use crate::core::physics::performance::{LandingCase, Performance, TakeoffCase, TakeoffThrust};
use crate::core::physics::{G0_M_S2, KT_M_S};
use crate::core::sim::country::THERE;

fn case(mass_kg: f64, flap: u32) -> TakeoffCase {
    TakeoffCase {
        mass_kg,
        flap,
        pressure_altitude_ft: 0.0,
        oat_c: 15.0,
        headwind_kt: 0.0,
        slope_pct: 0.0,
        runway_m: 5_000.0,
        surface: Surface::Dry,
        thrust: TakeoffThrust::Full,
        cg_pct: 25.35,
    }
}

/// Lined up with this mass and flap, thrust settled on the brakes, then released.
fn released(mass_kg: f64, flap: u32) -> Aircraft {
    let mut a = Aircraft::tarn_t2(6);
    a.place(&Setup { place: Place::LinedUp, mass_kg, ..Setup::default() });
    set(&mut a, &format!("flap_lever={flap} parking_brake=false brakes_pct=100"));
    set(&mut a, "thrust_lever_1_pct=91 thrust_lever_2_pct=91");
    wait(&mut a, 15.0);
    set(&mut a, "brakes_pct=0");
    a
}

#[test]
fn it_stops_and_it_goes_within_the_field_length() {
    let tables = Performance::tarn_t2();
    for (mass_kg, flap) in [(44_000.0, 12), (52_000.0, 12), (58_000.0, 12), (52_000.0, 5), (52_000.0, 20)] {
        let long = tables.takeoff(&case(mass_kg, flap)).unwrap();
        let figures = tables.takeoff(&TakeoffCase { runway_m: long.needed_m + 1.0, ..case(mass_kg, flap) }).unwrap();
        let mut a = released(mass_kg, flap);
        between("takeoff N1", num(&a, "n1_1_pct"), figures.n1_pct - 0.7, figures.n1_pct + 0.7);
        // The engine fails at V1; the first action comes two seconds later (25.109(a)).
        until(&mut a, 60.0, |a| num(a, "ias_kt") >= figures.v1_kt).expect("V1");
        let mut stops = a.clone();
        stops.inject("engine_failure_2").unwrap();
        wait(&mut stops, 2.0);
        set(&mut stops, "thrust_lever_1_pct=0 thrust_lever_2_pct=0 speedbrake_lever=up");
        until(&mut stops, 60.0, |a| num(a, "ground_speed_kt") < 0.5).expect("stops");
        between("stops within", stops.rolled_m() / figures.needed_m, 0.75, 1.0);
        a.inject("engine_failure_2").unwrap();
        until(&mut a, 30.0, |a| num(a, "ias_kt") >= figures.vr_kt).expect("VR");
        // One engine out: slower, and to a lesser pitch.
        set(&mut a, "column_pct=45");
        until(&mut a, 20.0, |a| num(a, "pitch_deg") >= 10.0).expect("pitch");
        set(&mut a, "column_pct=0");
        until(&mut a, 30.0, |a| num(a, "radio_height_ft") >= 35.0).expect("35 ft");
        between("goes within", a.rolled_m() / figures.needed_m, 0.6, 1.05);
        assert!(num(&a, "ias_kt") >= figures.v2_kt - 0.5, "V2 by 35 ft (25.107(c))");
    }
}

#[test]
fn it_lands_within_the_landing_distance() {
    let tables = Performance::tarn_t2();
    for mass_kg in [42_000.0, 48_000.0, 52_000.0] {
        let mut a = Aircraft::tarn_t2(6);
        let place = Place::FinalApproach { distance_nm: 2.0 };
        a.place(&Setup { place, mass_kg, fuel_kg: 3_000.0, ..Setup::default() });
        let figures = tables
            .landing(&LandingCase {
                mass_kg: num(&a, "mass_kg"),
                flap: 35,
                pressure_altitude_ft: 210.0,
                oat_c: 15.0,
                headwind_kt: 0.0,
                gust_kt: 0.0,
                slope_pct: 0.0,
                runway_m: 5_000.0,
                surface: Surface::Dry,
                reverse: false,
            })
            .unwrap();
        set(&mut a, &format!("autobrake=high selected_speed_kt={}", figures.approach.vapp_kt));
        until(&mut a, 90.0, |a| truth(a, "on_ground")).expect("touches down");
        set(&mut a, "thrust_lever_1_pct=0 thrust_lever_2_pct=0");
        until(&mut a, 60.0, |a| num(a, "ground_speed_kt") < 0.5).expect("stops");
        let run = -a.body.position.from(&a.country.airports[THERE]).before_m;
        between("landing distance", run / figures.distance_m, 0.75, 1.0);
    }
}

#[test]
fn stall_speeds_of_the_tables_are_those_of_the_wing() {
    let (tables, a) = (Performance::tarn_t2(), Aircraft::tarn_t2(1));
    for flap in tables.takeoff_flaps() {
        let vsr = tables.takeoff(&case(50_000.0, flap)).unwrap().vsr_kt;
        let (_, _, lift_max) = a.params.flap(f64::from(flap));
        let own = libm::sqrt(2.0 * 50_000.0 * G0_M_S2 / (1.225 * a.params.airframe.wing_m2 * lift_max)) / KT_M_S;
        between("stall speed", vsr - own, -0.1, 0.1);
    }
}

#[test]
fn cruise_burns_what_the_tables_say() {
    let tables = Performance::tarn_t2();
    for (mass_kg, level_ft) in
        [(44_000.0, 24_000.0), (52_000.0, 24_000.0), (52_000.0, 15_000.0), (50_000.0, 33_000.0), (57_000.0, 28_000.0)]
    {
        let mut a = Aircraft::tarn_t2(6);
        a.place(&Setup { place: Place::Cruise, mass_kg, ..Setup::default() });
        set(&mut a, &format!("selected_altitude_ft={level_ft} ap_vertical_mode=level_change selected_speed_kt=280"));
        until(&mut a, 2_400.0, |a| word(a, "ap_vertical_mode") == "altitude").unwrap_or_else(|| panic!("{level_ft}"));
        wait(&mut a, 120.0);
        let flow = num(&a, "fuel_flow_1_kgh") + num(&a, "fuel_flow_2_kgh");
        let table = tables.cruise_kgh(num(&a, "mass_kg"), level_ft).unwrap();
        between("cruise fuel flow", flow / table, 0.95, 1.05);
    }
}
