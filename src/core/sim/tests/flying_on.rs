//! Going on in the air from what was last seen.

use super::*;

/// An aircraft that goes on from what `a` shows, and nothing else that it knows.
fn gone_on(a: &Aircraft) -> Aircraft {
    let mut b = Aircraft::tarn_t2(9);
    b.fly_on(&b.usual(), &a.read(), a.time());
    b
}

/// How far two aircraft may differ in what they show.
const SAME: &[(&str, f64)] = &[
    ("distance_nm", 0.05),
    ("bearing_deg", 0.3),
    ("altitude_ft", 15.0),
    ("radio_height_ft", 15.0),
    ("ias_kt", 1.5),
    ("ground_speed_kt", 4.0),
    ("vertical_speed_fpm", 150.0),
    ("heading_deg", 1.0),
    ("bank_deg", 2.0),
    ("mass_kg", 10.0),
    ("fuel_total_kg", 10.0),
    ("fuel_centre_kg", 10.0),
    ("oat_c", 0.5),
    ("flap_deg", 0.1),
    ("n1_1_pct", 8.0),
    ("selected_altitude_ft", 0.1),
    ("selected_heading_deg", 0.1),
    ("selected_speed_kt", 0.6),
];

fn check(place: Place, mass_kg: f64, prepare: impl Fn(&mut Aircraft)) {
    let mut a = Aircraft::tarn_t2(9);
    a.place(&Setup { place, mass_kg, fuel_kg: 6_000.0, ..a.usual() });
    prepare(&mut a);
    let mut b = gone_on(&a);
    assert_eq!(a.time(), b.time());
    // Ten seconds later what was not seen, such as where the elevator stood, has moved it a little.
    for (after, wider) in [(1, 1.0), (600, 4.0)] {
        for _ in 0..after {
            a.step();
            b.step();
        }
        for (name, within) in SAME {
            let within = within * wider;
            between(
                &format!("{place:?} {after} {name}"),
                num(&b, name),
                num(&a, name) - within,
                num(&a, name) + within,
            );
        }
        for name in
            ["ap_engaged", "autothrust", "ap_lateral_mode", "ap_vertical_mode", "gear_position", "ap_lateral_armed"]
        {
            assert_eq!(a.get(name), b.get(name), "{place:?} {after} {name}");
        }
    }
}

#[test]
fn the_flight_goes_on_where_it_was() {
    let steps = |a: &mut Aircraft, s: usize| (0..s * 60).for_each(|_| a.step());
    check(Place::Climb, 50_000.0, |a| {
        steps(a, 60);
        set(a, "selected_heading_deg=120");
        steps(a, 12);
    });
    check(Place::Cruise, 48_000.0, |a| steps(a, 30));
    check(Place::Approach { distance_nm: 13.0 }, 47_000.0, |a| steps(a, 20));
    check(Place::FinalApproach { distance_nm: 5.0 }, 46_000.0, |a| steps(a, 20));
}
