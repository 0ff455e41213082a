//! What can wrongly be said for a value: figures changed round, a neighbour, the value before, another item's.

use super::item::Item;
use super::phrases::{DIGITS, Phrases, TIME, form_of};
use crate::core::aircraft::Value;
use crate::core::words::{Regime, SlotKind, say, value};

/// The most wrong values for one right one.
pub const MOST: usize = 14;

/// The figures of a value as text, where it has any: "270", "0421", "118.705".
fn figures(kind: &str, value: &Value) -> Option<String> {
    match value {
        Value::Number(n) if kind == "heading" => Some(format!("{n:03}")),
        Value::Number(n) if kind == "frequency" => Some(format!("{n:.3}")),
        Value::Number(n) => Some(format!("{n}")),
        Value::Word(w) if matches!(kind, "squawk" | TIME) => Some(w.clone()),
        _ => None,
    }
}

/// A value of this type from its figures, if there is such a value.
fn from_figures(kind: &str, text: &str) -> Option<Value> {
    if text.starts_with('0') && !matches!(kind, "heading" | "squawk" | TIME) {
        return None;
    }
    let candidate = match kind {
        "squawk" => Value::Word(text.to_string()),
        TIME => {
            let fits = match text.len() {
                2 => text < "60",
                4 => &text[..2] < "24" && &text[2..] < "60",
                _ => false,
            };
            return fits.then(|| Value::Word(text.to_string()));
        }
        _ => Value::Number(text.parse().ok()?),
    };
    if kind == DIGITS {
        return Some(candidate).filter(|v| v.number().is_some_and(|n| n >= 0.0));
    }
    // Whatever can be spoken and understood as this type is a value of it.
    let slot = super::super::words::BUILT_IN.iter().find(|(n, _)| *n == kind).map(|(_, k)| k)?;
    let said = say(form_of(kind), &candidate, Regime::Icao);
    let words: Vec<&str> = said.split(' ').collect();
    value(slot, &words).filter(|v| v.same(&candidate))
}

/// Steps to a neighbouring value.
fn steps(kind: &str, value: f64) -> Vec<f64> {
    let by: &[f64] = match kind {
        "heading" => &[10.0, -10.0, 5.0, -5.0, 20.0, -20.0, 100.0, -100.0, 180.0, -180.0],
        "level" => &[10.0, -10.0, 20.0, -20.0, 100.0, -100.0],
        "altitude" => &[1000.0, -1000.0, 500.0, -500.0, 2000.0, -2000.0],
        "speed" => &[10.0, -10.0, 20.0, -20.0],
        "qnh" => &[1.0, -1.0, 10.0, -10.0, 2.0, -2.0],
        "frequency" => &[0.1, -0.1, 0.025, -0.025, 0.05, 1.0, -1.0],
        DIGITS => &[1.0, -1.0, 10.0, -10.0, 100.0, -100.0],
        _ => &[],
    };
    by.iter().map(|d| value + d).collect()
}

/// The plausible wrong values for one of an item's, likeliest first; at most [`MOST`], never the right one.
///
/// `others` are the other items of the same clearance, `before` those of the one before it.
pub fn plausible(phrases: &Phrases, item: &Item, binding: &str, others: &[Item], before: &[Item]) -> Vec<Value> {
    let Some(right) = item.slots.get(binding) else { return Vec::new() };
    let Some(kind) = phrases.items.get(&item.kind).and_then(|k| k.slots.get(binding)) else { return Vec::new() };
    let mut out: Vec<Value> = Vec::new();
    let mut put = |v: Value| {
        if !v.same(right) && !out.iter().any(|o| o.same(&v)) && out.len() < MOST {
            out.push(v);
        }
    };
    // The value before, and other items' values of the same type; then figures of other types that fit this one.
    let typed = |i: &Item, want: bool| -> Vec<Value> {
        let slots = phrases.items.get(&i.kind).map(|k| &k.slots);
        let of = i.slots.iter().filter(|(b, _)| (slots.and_then(|s| s.get(*b)) == Some(kind)) == want);
        of.map(|(_, v)| v.clone()).collect()
    };
    before.iter().chain(others).flat_map(|i| typed(i, true)).for_each(&mut put);
    if let Some(text) = figures(kind, right) {
        // Two neighbouring figures changed round.
        let bytes = text.as_bytes();
        for i in 1..bytes.len() {
            if bytes[i] != b'.' && bytes[i - 1] != b'.' && bytes[i] != bytes[i - 1] {
                let mut turned = bytes.to_vec();
                turned.swap(i - 1, i);
                String::from_utf8(turned).ok().and_then(|t| from_figures(kind, &t)).into_iter().for_each(&mut put);
            }
        }
        if let Some(n) = right.number() {
            // Thousands and hundreds changed round: 3,400 and 4,300.
            if kind == "altitude" && n < 10_000.0 {
                let (t, h) = (libm::floor(n / 1000.0), libm::floor(n % 1000.0 / 100.0));
                put(Value::Number(h * 1000.0 + t * 100.0));
            }
            for step in steps(kind, n) {
                let text = if kind == "heading" { format!("{step:03}") } else { format!("{step:.3}") };
                let text = if kind == "frequency" { text.as_str() } else { text.trim_end_matches(".000") };
                from_figures(kind, text).into_iter().for_each(&mut put);
            }
        }
        for i in 0..bytes.len() {
            // One figure beside the right one.
            if bytes[i].is_ascii_digit() && matches!(kind.as_str(), "squawk" | TIME) {
                for by in [1, 9] {
                    let mut near = bytes.to_vec();
                    near[i] = b'0' + (near[i] - b'0' + by) % 10;
                    String::from_utf8(near).ok().and_then(|t| from_figures(kind, &t)).into_iter().for_each(&mut put);
                }
            }
        }
        let foreign = others.iter().chain(before).flat_map(|i| typed(i, false)).filter_map(|v| v.number());
        for n in foreign {
            if let Some(v) = from_figures(kind, &format!("{n}")).filter(|_| kind != "frequency") {
                put(v);
            }
        }
        return out.into_iter().filter(|v| sensible(kind, v)).collect();
    }
    match phrases.slot_kind(kind) {
        SlotKind::Named { values, .. } => values.into_iter().for_each(&mut put),
        SlotKind::Runway => {
            let all = phrases.world.airports.iter().flat_map(|a| &a.runways);
            let right = right.to_string();
            let here = phrases.world.airports.iter().find(|a| a.runways.contains(&right));
            let near = here.into_iter().flat_map(|a| &a.runways);
            near.chain(all).for_each(|r| put(Value::Word(r.clone())));
            // The number without its side, or with the other.
            let bare = right.trim_end_matches(['L', 'R', 'C']);
            for side in ["", "L", "R"] {
                put(Value::Word(format!("{bare}{side}")));
            }
        }
        SlotKind::Letter => {
            let airports = phrases.world.airports.iter();
            airports.flat_map(|a| a.points.iter().chain(&a.taxiways)).for_each(|l| put(Value::Word(l.clone())));
        }
        _ => {}
    }
    out
}

/// Nobody takes flight level 13 for 180.
fn sensible(kind: &str, value: &Value) -> bool {
    match (kind, value.number()) {
        ("altitude", Some(n)) => n >= 300.0,
        ("level", Some(n)) => n >= 30.0,
        ("speed", Some(n)) => n >= 80.0,
        (_, _) => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(kind: &str, slots: &[(&str, Value)]) -> Item {
        Item { kind: kind.into(), slots: slots.iter().map(|(b, v)| ((*b).into(), v.clone())).collect() }
    }

    fn check(item: &Item, binding: &str, others: &[Item], before: &[Item], wanted: &[&str]) {
        let phrases = Phrases::built_in().unwrap();
        let all = plausible(&phrases, item, binding, others, before);
        let told: Vec<String> = all.iter().map(Value::to_string).collect();
        for w in wanted {
            assert!(told.iter().any(|t| t == w), "{w} is not among {told:?}");
        }
        assert!(all.len() <= MOST && !all.iter().any(|v| v.same(&item.slots[binding])), "{told:?}");
    }

    #[test]
    fn wrong_values() {
        let n = Value::Number;
        let w = |t: &str| Value::Word(t.into());
        let heading = item("heading", &[("heading", n(240.0))]);
        check(&heading, "heading", &[], &[], &["250", "230", "204", "60"]);
        // Another item's figures, and the heading before.
        let speed = item("speed", &[("speed", n(220.0)), ("way", w("reduce"))]);
        let before = item("turn", &[("turn", w("left")), ("heading", n(90.0))]);
        check(&heading, "heading", std::slice::from_ref(&speed), &[before], &["220", "90"]);
        check(&item("level", &[("way", w("climb")), ("level", n(180.0))]), "level", &[], &[], &["190", "170", "80"]);
        let altitude = item("altitude", &[("way", w("climb")), ("altitude", n(3400.0))]);
        check(&altitude, "altitude", &[], &[], &["4300", "4400", "2400"]);
        check(&altitude, "way", &[], &[], &["descend", "maintain"]);
        check(&item("squawk", &[("squawk", w("4203"))]), "squawk", &[], &[], &["2403", "4023", "4213"]);
        check(&item("contact", &[("frequency", n(118.705))]), "frequency", &[], &[], &["118.75", "118.805", "119.705"]);
        check(&item("qnh", &[("qnh", n(1013.0))]), "qnh", &[], &[], &["1031", "1014", "1003"]);
        check(&item("land", &[("runway", w("32L"))]), "runway", &[], &[], &["32R", "14L", "32"]);
        check(&item("taxi", &[("point", w("A")), ("runway", w("27"))]), "point", &[], &[], &["B", "K"]);
        check(&item("turn", &[("turn", w("left")), ("heading", n(5.0))]), "turn", &[], &[], &["right"]);
        check(&item("altimeter", &[("altimeter", n(2992.0))]), "altimeter", &[], &[], &["2993", "9292", "2892"]);
        check(&item("clock", &[("time", w("0920"))]), "time", &[], &[], &["0902", "0930"]);
    }
}
