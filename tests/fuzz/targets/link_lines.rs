//! Bytes of a simulator: nothing panics, every frame has a finite time and finite numbers.
#![no_main]

use antiphon::core::aircraft::{Value, ValueKind};
use antiphon::core::link::property::wire;
use antiphon::core::link::{Event, Intake};
use libfuzzer_sys::fuzz_target;

const GREETING: &[u8] = b"{\"type\":\"hello\",\"protocol\":1}\n{\"type\":\"describe\",\"signals\":{\"ias_kt\":{\"unit\":\"m/s\",\"settable\":true},\"on_ground\":{},\"gear_lever\":{\"settable\":true}}}\n";

fuzz_target!(|bytes: &[u8]| {
    let words = ValueKind::Word(vec!["up".into(), "down".into()]);
    let known = [("ias_kt", ValueKind::Number), ("on_ground", ValueKind::Bool), ("gear_lever", words)];
    let mut intake = Intake::new(known.into_iter().map(|(n, k)| (n.to_string(), k)).collect());
    // The first byte says whether it has been greeted, and how the bytes come in pieces.
    let (first, rest) = bytes.split_first().unwrap_or((&0, &[]));
    if first % 2 == 0 {
        intake.push(GREETING);
    }
    for piece in rest.chunks(usize::from(first / 2) + 1) {
        for event in intake.push(piece) {
            if let Event::Frame { time_s, delta } = event {
                assert!(time_s.is_finite());
                assert!(delta.values().flatten().filter_map(Value::number).all(f64::is_finite));
            }
        }
    }
    wire::row(rest, usize::from(*first), ',');
    wire::reply(&String::from_utf8_lossy(rest));
});
