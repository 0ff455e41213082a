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

/// An aircraft with its tables, the lever of takeoff, and what is tried: masses with flaps, landing masses with the flap.
struct Type {
    new: fn(u64) -> Aircraft,
    tables: Performance,
    lever_pct: f64,
    takeoffs: Vec<(f64, u32)>,
    landings: Vec<f64>,
    landing_flap: u32,
    cruises: Vec<(f64, f64)>,
}

fn types() -> [Type; 2] {
    [
        Type {
            new: Aircraft::tarn_t2,
            tables: Performance::tarn_t2(),
            lever_pct: 91.0,
            takeoffs: vec![(44_000.0, 12), (52_000.0, 12), (58_000.0, 12), (52_000.0, 5), (52_000.0, 20)],
            landings: vec![42_000.0, 48_000.0, 52_000.0],
            landing_flap: 35,
            cruises: vec![
                (44_000.0, 24_000.0),
                (52_000.0, 24_000.0),
                (52_000.0, 15_000.0),
                (50_000.0, 33_000.0),
                (57_000.0, 28_000.0),
            ],
        },
        Type {
            new: Aircraft::tarn_t4,
            tables: Performance::tarn_t4(),
            lever_pct: 92.0,
            takeoffs: vec![(150_000.0, 10), (205_000.0, 10), (215_000.0, 20), (205_000.0, 20)],
            landings: vec![140_000.0, 160_000.0, 174_000.0],
            landing_flap: 30,
            cruises: vec![(150_000.0, 24_000.0), (190_000.0, 28_000.0), (180_000.0, 33_000.0), (205_000.0, 15_000.0)],
        },
    ]
}

fn levers(a: &mut Aircraft, pct: f64) {
    (1..=a.params.engines()).for_each(|k| set(a, &format!("thrust_lever_{k}_pct={pct}")));
}

/// Lined up with this mass and flap, thrust settled on the brakes, then released.
fn released(of: &Type, mass_kg: f64, flap: u32) -> Aircraft {
    let mut a = (of.new)(6);
    a.place(&Setup { place: Place::LinedUp, mass_kg, ..a.usual() });
    set(&mut a, &format!("flap_lever={flap} parking_brake=false brakes_pct=100"));
    levers(&mut a, of.lever_pct);
    wait(&mut a, 18.0);
    set(&mut a, "brakes_pct=0");
    a
}

#[test]
fn it_stops_and_it_goes_within_the_field_length() {
    for of in types() {
        for (mass_kg, flap) in &of.takeoffs {
            let plain = case(*mass_kg, *flap);
            let long = of.tables.takeoff(&plain).unwrap();
            let figures = of.tables.takeoff(&TakeoffCase { runway_m: long.needed_m + 1.0, ..plain }).unwrap();
            let mut a = released(&of, *mass_kg, *flap);
            between("takeoff N1", num(&a, "n1_1_pct"), figures.n1_pct - 0.7, figures.n1_pct + 0.7);
            // An outer engine fails at V1; the first action comes two seconds later (25.109(a)).
            let dead = format!("engine_failure_{}", a.params.engines());
            until(&mut a, 60.0, |a| num(a, "ias_kt") >= figures.v1_kt).expect("V1");
            let mut stops = a.clone();
            stops.inject(&dead).unwrap();
            wait(&mut stops, 2.0);
            levers(&mut stops, 0.0);
            set(&mut stops, "speedbrake_lever=up");
            until(&mut stops, 60.0, |a| num(a, "ground_speed_kt") < 0.5).expect("stops");
            let what = format!("{} {mass_kg} {flap}: {figures:?}", a.name());
            between(&what, stops.rolled_m() / figures.needed_m, 0.75, 1.0);
            a.inject(&dead).unwrap();
            until(&mut a, 30.0, |a| num(a, "ias_kt") >= figures.vr_kt).expect("VR");
            // One engine out: slower, and to a lesser pitch.
            set(&mut a, "column_pct=45");
            until(&mut a, 20.0, |a| num(a, "pitch_deg") >= 10.0).expect("pitch");
            set(&mut a, "column_pct=0");
            until(&mut a, 30.0, |a| num(a, "radio_height_ft") >= 35.0).expect("35 ft");
            between(&what, a.rolled_m() / figures.needed_m, 0.6, 1.0);
            // V2 by 35 ft (25.107(c)).
            between(&what, num(&a, "ias_kt"), figures.v2_kt - 0.5, figures.v2_kt + 25.0);
        }
    }
}

#[test]
fn it_lands_within_the_landing_distance() {
    for of in types() {
        for mass_kg in &of.landings {
            let mut a = (of.new)(6);
            let place = Place::FinalApproach { distance_nm: 2.0 };
            let fuel_kg = mass_kg * 0.06;
            a.place(&Setup { place, mass_kg: *mass_kg, fuel_kg, ..Setup::default() });
            let wanted = LandingCase {
                mass_kg: num(&a, "mass_kg"),
                flap: of.landing_flap,
                pressure_altitude_ft: 210.0,
                oat_c: 15.0,
                headwind_kt: 0.0,
                gust_kt: 0.0,
                slope_pct: 0.0,
                runway_m: 5_000.0,
                surface: Surface::Dry,
                reverse: false,
            };
            let figures = of.tables.landing(&wanted).unwrap();
            set(&mut a, &format!("autobrake=high selected_speed_kt={}", figures.approach.vapp_kt));
            until(&mut a, 90.0, |a| truth(a, "on_ground")).expect("touches down");
            levers(&mut a, 0.0);
            until(&mut a, 60.0, |a| num(a, "ground_speed_kt") < 0.5).expect("stops");
            let run = -a.body.position.from(&a.country.airports[THERE]).before_m;
            between(&format!("{} {mass_kg}", a.name()), run / figures.distance_m, 0.75, 1.0);
        }
    }
}

#[test]
fn stall_speeds_of_the_tables_are_those_of_the_wing() {
    for of in types() {
        let a = (of.new)(1);
        for flap in of.tables.takeoff_flaps() {
            let mass_kg = of.landings[0];
            let vsr = of.tables.takeoff(&case(mass_kg, flap)).unwrap().vsr_kt;
            let (_, _, lift_max) = a.params.flap(f64::from(flap));
            let own = libm::sqrt(2.0 * mass_kg * G0_M_S2 / (1.225 * a.params.airframe.wing_m2 * lift_max)) / KT_M_S;
            between("stall speed", vsr - own, -0.1, 0.2);
        }
        for flap in of.tables.landing_flaps() {
            let limit = a.params.flaps.iter().find(|f| f.detent == flap).map(|f| f.max_kt);
            assert_eq!(of.tables.flap_limit_kt(flap), limit, "placard of flaps {flap}");
        }
    }
}

#[test]
fn cruise_burns_what_the_tables_say() {
    for of in types() {
        for (mass_kg, level_ft) in &of.cruises {
            let mut a = (of.new)(6);
            a.place(&Setup { place: Place::Cruise, mass_kg: *mass_kg, ..a.usual() });
            set(&mut a, &format!("selected_altitude_ft={level_ft} ap_vertical_mode=level_change"));
            until(&mut a, 2_400.0, |a| word(a, "ap_vertical_mode") == "altitude")
                .unwrap_or_else(|| panic!("{level_ft}"));
            wait(&mut a, 120.0);
            let flow: f64 = (1..=a.params.engines()).map(|k| num(&a, &format!("fuel_flow_{k}_kgh"))).sum();
            let table = of.tables.cruise_kgh(num(&a, "mass_kg"), *level_ft).unwrap();
            let what = format!("{} {mass_kg} {level_ft}: {flow} of {table} at {}", a.name(), num(&a, "ias_kt"));
            between(&what, flow / table, 0.95, 1.05);
        }
    }
}

#[test]
fn with_an_engine_out_it_climbs_as_part_25_asks() {
    // 25.121(b) (from memory): gear up, takeoff flaps, V2, one engine out: 2.4 % with two engines, 3.0 % with four, here
    // at the greatest mass on a standard day. 25.111(c)(3), S: from 400 ft 1.2 and 1.7 % are asked, which is less.
    for (of, flap, mass_kg, asked) in
        types().iter().zip([(12, 58_000.0, 0.024), (10, 215_000.0, 0.030)]).map(|(of, c)| (of, c.0, c.1, c.2))
    {
        let figures = of.tables.takeoff(&case(mass_kg, flap)).unwrap();
        let mut a = (of.new)(6);
        a.place(&Setup { place: Place::Airborne { height_ft: 500.0, ias_kt: figures.v2_kt }, mass_kg, ..a.usual() });
        set(&mut a, &format!("flap_lever={flap} selected_altitude_ft=9000"));
        a.systems.flap_deg = f64::from(flap);
        levers(&mut a, of.lever_pct);
        a.trim_and_power();
        levers(&mut a, of.lever_pct);
        set(&mut a, &format!("ap_engaged=true selected_speed_kt={}", figures.v2_kt));
        set(&mut a, "go_around=true");
        wait(&mut a, 10.0);
        let dead = a.params.engines();
        a.inject(&format!("engine_failure_{dead}")).unwrap();
        wait(&mut a, 20.0);
        let from = num(&a, "altitude_ft");
        let went = a.rolled_m();
        wait(&mut a, 20.0);
        let gradient = (num(&a, "altitude_ft") - from) * crate::core::physics::FT_M / (a.rolled_m() - went);
        let what = format!("{} at {:.0} kt", a.name(), num(&a, "ias_kt"));
        between(&what, num(&a, "ias_kt"), figures.v2_kt - 5.0, figures.v2_kt + 8.0);
        between(&what, gradient, asked, 0.15);
    }
}
