//! Units: a table, and conversion between two that measure the same thing.

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Measures {
    /// m/s.
    Speed,
    /// m.
    Length,
    /// Degrees.
    Angle,
    /// Degrees a second.
    AngularRate,
    /// K.
    Temperature,
    /// Pa.
    Pressure,
    /// kg.
    Mass,
    /// kg/s.
    MassFlow,
    /// A part of one.
    Ratio,
    /// s.
    Time,
    /// N.
    Force,
    /// Hz.
    Frequency,
    /// m/s².
    Acceleration,
    /// V.
    Voltage,
}

/// A unit: `base = value * factor + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// Its name in link files and on the wire.
    pub name: &'static str,
    /// What it measures.
    pub measures: Measures,
    /// Base units in one of it.
    pub factor: f64,
    /// Base units at its zero.
    pub offset: f64,
}

const fn unit(name: &'static str, measures: Measures, factor: f64) -> Unit {
    Unit { name, measures, factor, offset: 0.0 }
}

const FT: f64 = 0.3048;
const NM: f64 = 1852.0;
const LB: f64 = 0.453_592_37;
const LBF: f64 = LB * 9.806_65;
const DEG_IN_RAD: f64 = 57.295_779_513_082_32;

/// Every unit. Exact definitions except where noted: NIST SP 811 (2008), appendix B, from memory.
pub const UNITS: &[Unit] = &[
    unit("kt", Measures::Speed, NM / 3600.0),
    unit("m/s", Measures::Speed, 1.0),
    unit("km/h", Measures::Speed, 1.0 / 3.6),
    unit("mph", Measures::Speed, 0.447_04),
    unit("ft/s", Measures::Speed, FT),
    unit("ft/min", Measures::Speed, FT / 60.0),
    unit("m", Measures::Length, 1.0),
    unit("km", Measures::Length, 1000.0),
    unit("ft", Measures::Length, FT),
    unit("in", Measures::Length, 0.0254),
    unit("nmi", Measures::Length, NM),
    unit("deg", Measures::Angle, 1.0),
    unit("rad", Measures::Angle, DEG_IN_RAD),
    unit("deg/s", Measures::AngularRate, 1.0),
    unit("rad/s", Measures::AngularRate, DEG_IN_RAD),
    Unit { name: "C", measures: Measures::Temperature, factor: 1.0, offset: 273.15 },
    Unit { name: "K", measures: Measures::Temperature, factor: 1.0, offset: 0.0 },
    Unit { name: "F", measures: Measures::Temperature, factor: 5.0 / 9.0, offset: 459.67 * 5.0 / 9.0 },
    Unit { name: "R", measures: Measures::Temperature, factor: 5.0 / 9.0, offset: 0.0 },
    unit("Pa", Measures::Pressure, 1.0),
    unit("hPa", Measures::Pressure, 100.0),
    unit("kPa", Measures::Pressure, 1000.0),
    unit("bar", Measures::Pressure, 100_000.0),
    // Conventional inch of mercury, rounded there to seven digits.
    unit("inHg", Measures::Pressure, 3386.389),
    unit("psi", Measures::Pressure, LBF / (0.0254 * 0.0254)),
    unit("psf", Measures::Pressure, LBF / (FT * FT)),
    unit("kg", Measures::Mass, 1.0),
    unit("t", Measures::Mass, 1000.0),
    unit("lb", Measures::Mass, LB),
    unit("slug", Measures::Mass, LBF / FT),
    unit("kg/s", Measures::MassFlow, 1.0),
    unit("kg/h", Measures::MassFlow, 1.0 / 3600.0),
    unit("lb/s", Measures::MassFlow, LB),
    unit("lb/h", Measures::MassFlow, LB / 3600.0),
    unit("1", Measures::Ratio, 1.0),
    unit("%", Measures::Ratio, 0.01),
    unit("s", Measures::Time, 1.0),
    unit("ms", Measures::Time, 0.001),
    unit("min", Measures::Time, 60.0),
    unit("h", Measures::Time, 3600.0),
    unit("N", Measures::Force, 1.0),
    unit("kN", Measures::Force, 1000.0),
    unit("lbf", Measures::Force, LBF),
    unit("Hz", Measures::Frequency, 1.0),
    unit("kHz", Measures::Frequency, 1e3),
    unit("MHz", Measures::Frequency, 1e6),
    unit("rpm", Measures::Frequency, 1.0 / 60.0),
    unit("m/s2", Measures::Acceleration, 1.0),
    unit("ft/s2", Measures::Acceleration, FT),
    unit("g", Measures::Acceleration, 9.806_65),
    unit("V", Measures::Voltage, 1.0),
];

/// Ends of signal names and the unit that they say; the longest that fits counts.
const SUFFIXES: &[(&str, &str)] = &[
    ("_kt", "kt"),
    ("_fpm", "ft/min"),
    ("_ft", "ft"),
    ("_m", "m"),
    ("_nmi", "nmi"),
    ("_deg", "deg"),
    ("_c", "C"),
    ("_hpa", "hPa"),
    ("_psi", "psi"),
    ("_kg", "kg"),
    ("_kgh", "kg/h"),
    ("_pct", "%"),
    ("_s", "s"),
    ("_khz", "kHz"),
    ("_mhz", "MHz"),
    ("_rpm", "rpm"),
    ("_g", "g"),
    ("_v", "V"),
];

/// The unit of this name.
pub fn find(name: &str) -> Option<&'static Unit> {
    UNITS.iter().find(|u| u.name == name)
}

/// The unit that a signal's name says, if it says one: `ias_kt` is in knots.
pub fn of_signal(signal: &str) -> Option<&'static Unit> {
    // What is numbered keeps its unit before the number: no signal ends so, `egt_1_c` has it at the end.
    let fits = SUFFIXES.iter().filter(|(end, _)| signal.ends_with(end) && signal.len() > end.len());
    fits.max_by_key(|(end, _)| end.len()).and_then(|(_, unit)| find(unit))
}

/// A value in `from` as one in `to`; `None` if they measure different things or the result is not finite.
pub fn convert(value: f64, from: &Unit, to: &Unit) -> Option<f64> {
    if from == to {
        return Some(value);
    }
    if from.measures != to.measures {
        return None;
    }
    let base = value * from.factor + from.offset;
    let out = (base - to.offset) / to.factor;
    out.is_finite().then_some(out)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(value: f64, from: &str, to: &str, want: f64) {
        let got = convert(value, find(from).expect(from), find(to).expect(to)).expect("the same kind");
        assert!((got - want).abs() <= 1e-6 * want.abs().max(1e-3), "{value} {from} = {got} {to}, not {want}");
    }

    /// NIST SP 811 (2008), appendix B.8 and B.9, values from memory to the digits printed there; degrees Celsius and
    /// Rankine by their definitions (BIPM SI brochure, 2.3.1).
    #[test]
    fn the_table_agrees_with_the_published_factors() {
        check(1.0, "kt", "m/s", 0.514_444_4);
        check(1.0, "kt", "km/h", 1.852);
        check(1.0, "mph", "m/s", 0.447_04);
        check(1.0, "ft/s", "m/s", 0.3048);
        check(1.0, "ft/min", "m/s", 0.005_08);
        check(1.0, "ft/s", "ft/min", 60.0);
        check(1.0, "nmi", "m", 1852.0);
        check(1.0, "in", "ft", 1.0 / 12.0);
        check(1.0, "rad", "deg", 57.295_78);
        check(32.0, "F", "C", 0.0);
        check(212.0, "F", "C", 100.0);
        check(518.67, "R", "C", 15.0);
        check(288.15, "K", "C", 15.0);
        check(29.921_25, "inHg", "hPa", 1013.25);
        check(1.0, "psi", "Pa", 6_894.757);
        check(1.0, "psf", "Pa", 47.880_26);
        check(1.0, "lb", "kg", 0.453_592_37);
        check(1.0, "slug", "kg", 14.593_90);
        check(1.0, "lb/h", "kg/h", 0.453_592_37);
        check(1.0, "lb/s", "kg/h", 1_632.932_53);
        check(1.0, "lbf", "N", 4.448_222);
        check(0.5, "1", "%", 50.0);
        check(1.0, "g", "m/s2", 9.806_65);
        check(60.0, "rpm", "Hz", 1.0);
    }

    #[test]
    fn names_say_their_units() {
        for (signal, unit) in [
            ("ias_kt", Some("kt")),
            ("vertical_speed_fpm", Some("ft/min")),
            ("egt_1_c", Some("C")),
            ("fuel_flow_2_kgh", Some("kg/h")),
            ("mass_kg", Some("kg")),
            ("thrust_lever_1_pct", Some("%")),
            ("flap_lever", None),
            ("mach", None),
            ("_kt", None),
        ] {
            assert_eq!(of_signal(signal).map(|u| u.name), unit, "{signal}");
        }
    }

    #[test]
    fn what_measures_something_else_is_refused() {
        assert_eq!(convert(1.0, find("kt").unwrap(), find("ft").unwrap()), None);
        assert_eq!(convert(1e300, find("km").unwrap(), find("in").unwrap()).map(f64::is_finite), Some(true));
        assert_eq!(convert(f64::MAX, find("km").unwrap(), find("in").unwrap()), None);
    }

    proptest! {
        #[test]
        fn there_and_back(i in 0..UNITS.len(), j in 0..UNITS.len(), v in -1e6f64..1e6) {
            let (a, b) = (&UNITS[i], &UNITS[j]);
            if let Some(w) = convert(v, a, b) {
                let back = convert(w, b, a).expect("the same kind");
                prop_assert!((back - v).abs() <= 1e-9 * v.abs().max(1000.0), "{} {} {}", v, w, back);
            } else {
                prop_assert!(a.measures != b.measures);
            }
        }
    }
}
