//! The built-in aircraft from outside: how fast it runs, and that a session can begin anywhere on the way.

use crate::sessions::book;
use antiphon::core::script;
use antiphon::core::sim::{Aircraft, Place, Setup};
use antiphon::core::time::SimTime;
use antiphon::edge::app::stage;
use std::time::Instant;

#[test]
fn it_runs_two_hundred_times_faster_than_time() {
    for (new, name) in [(Aircraft::tarn_t2 as fn(u64) -> Aircraft, "cruise"), (Aircraft::tarn_t4, "approach")] {
        let mut aircraft = new(1);
        aircraft.place(&Setup { place: Place::named(name).expect("a place"), ..aircraft.usual() });
        let (begin, mut values) = (Instant::now(), 0);
        let seconds = 300.0;
        for frame in 0.. {
            if aircraft.time() >= SimTime::from_secs(seconds) {
                break;
            }
            aircraft.step();
            // Twenty times a second, as often as the engine sees it.
            if frame % 3 == 0 {
                values += aircraft.read().len();
            }
        }
        let rate = seconds / begin.elapsed().as_secs_f64();
        println!("{}: {rate:.0} times real time, {values} values read", aircraft.name());
        assert!(rate >= 200.0, "{}: only {rate:.0} times real time", aircraft.name());
    }
}

#[test]
fn a_script_begins_where_it_says() {
    for (place, signal, low, high) in [
        ("climb", "altitude_ft", 5_990.0, 6_010.0),
        ("cruise", "altitude_ft", 23_990.0, 24_010.0),
        ("approach", "distance_nm", 12.9, 13.2),
        ("final_approach 4", "distance_nm", 3.99, 4.01),
        ("landed", "ground_speed_kt", 20.0, 40.0),
    ] {
        let text = format!(
            "[script]\ntitle = \"x\"\nbook = \"saltmarsh-t2\"\n[world]\nplace = \"{place}\"\n[[steps]]\nat = 1\nsay = \"x\"\n"
        );
        let script = script::parse(&text).expect("a script");
        let link = stage::aircraft(&book("saltmarsh-t2"), &script, 1).expect("a place");
        let value = antiphon::edge::link::Link::values(&link)[signal].number().expect("a number");
        assert!((low..=high).contains(&value), "{place}: {signal} is {value}");
    }
    let text =
        "[script]\ntitle = \"x\"\nbook = \"saltmarsh-t2\"\n[world]\nplace = \"moon\"\n[[steps]]\nat = 1\nsay = \"x\"\n";
    let said =
        stage::aircraft(&book("saltmarsh-t2"), &script::parse(text).expect("a script"), 1).err().expect("refused");
    assert!(said.contains("there is no place"), "{said}");
}
