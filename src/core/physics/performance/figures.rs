//! The performance functions by name, as a book asks for them: numbers in, numbers out.

use super::{LandingCase, Performance, Problem, Surface, TakeoffCase, TakeoffThrust};
use crate::core::physics::{atmosphere, wind};

/// What goes into a function.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Input {
    /// A number in the unit that the input's name says.
    Number(f64),
    /// How a runway is.
    Surface(Surface),
}

/// Something that can be computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Function {
    /// Takeoff speeds, thrust, runway and trim.
    Takeoff,
    /// Takeoff trim alone.
    Trim,
    /// Speed at which the flaps leave a detent.
    Retraction,
    /// VREF and what is flown.
    Approach,
    /// Landing distance, with the margin of a dispatcher.
    Landing,
    /// Landing distance, with the margin that is looked at in flight.
    LandingInFlight,
    /// Where the descent begins.
    TopOfDescent,
    /// Height of the descent path.
    Path,
    /// Fuel flow in cruise.
    Cruise,
    /// Final reserve.
    Reserve,
    /// Limits of the centre of gravity.
    Balance,
    /// Greatest masses.
    Limits,
    /// Wind along and across a runway.
    Wind,
    /// Pressure altitude of a runway.
    PressureAltitude,
}

/// The name of the input that takes a word, and its words.
pub const SURFACE: (&str, &[(&str, Surface)]) =
    ("surface", &[("dry", Surface::Dry), ("wet", Surface::Wet), ("slippery", Surface::Slippery)]);

struct Shape(Function, &'static str, &'static [&'static str], &'static [&'static str]);

/// What goes into the two landing functions, and what comes out.
const LANDING: (&[&str], &[&str]) = (
    &["mass_kg", "flap", "pressure_altitude_ft", "oat_c", "headwind_kt", "gust_kt", "slope_pct", "runway_m", "surface"],
    &["vref_kt", "additive_kt", "vapp_kt", "distance_m", "needed_m"],
);

const SHAPES: &[Shape] = &[
    Shape(
        Function::Takeoff,
        "takeoff",
        &[
            "mass_kg",
            "flap",
            "pressure_altitude_ft",
            "oat_c",
            "headwind_kt",
            "slope_pct",
            "runway_m",
            "surface",
            "thrust_pct",
            "cg_pct",
        ],
        &["v1_kt", "vr_kt", "v2_kt", "n1_pct", "needed_m", "trim_units"],
    ),
    Shape(Function::Trim, "trim", &["mass_kg", "flap", "cg_pct"], &["trim_units"]),
    Shape(Function::Retraction, "retraction", &["mass_kg", "flap"], &["speed_kt"]),
    Shape(
        Function::Approach,
        "approach",
        &["mass_kg", "flap", "headwind_kt", "gust_kt"],
        &["vref_kt", "additive_kt", "vapp_kt"],
    ),
    Shape(Function::Landing, "landing", LANDING.0, LANDING.1),
    Shape(Function::LandingInFlight, "landing_in_flight", LANDING.0, LANDING.1),
    Shape(
        Function::TopOfDescent,
        "top_of_descent",
        &["from_ft", "to_ft", "descent_kt", "ground_speed_kt", "tailwind_kt"],
        &["distance_nm"],
    ),
    Shape(Function::Path, "path", &["distance_nm"], &["height_ft"]),
    Shape(Function::Cruise, "cruise", &["mass_kg", "altitude_ft"], &["flow_kgh"]),
    Shape(Function::Reserve, "reserve", &["mass_kg"], &["reserve_kg"]),
    Shape(Function::Balance, "balance", &["mass_kg"], &["forward_pct", "aft_pct"]),
    Shape(
        Function::Limits,
        "limits",
        &[],
        &["takeoff_kg", "landing_kg", "zero_fuel_kg", "crosswind_kt", "tailwind_kt"],
    ),
    Shape(Function::Wind, "wind", &["from_deg", "wind_kt", "runway_deg"], &["headwind_kt", "crosswind_kt"]),
    Shape(Function::PressureAltitude, "pressure_altitude", &["elevation_ft", "qnh_hpa"], &["pressure_altitude_ft"]),
];

impl Function {
    /// The names of all.
    pub fn names() -> Vec<&'static str> {
        SHAPES.iter().map(|s| s.1).collect()
    }
    /// The function of this name.
    pub fn named(name: &str) -> Option<Function> {
        SHAPES.iter().find(|s| s.1 == name).map(|s| s.0)
    }
    fn shape(self) -> &'static Shape {
        SHAPES.iter().find(|s| s.0 == self).unwrap_or(&SHAPES[0])
    }
    /// Its name.
    pub fn name(self) -> &'static str {
        self.shape().1
    }
    /// Names of what goes in, in order; units stand in the names.
    pub fn inputs(self) -> &'static [&'static str] {
        self.shape().2
    }
    /// Names of what comes out, in order.
    pub fn outputs(self) -> &'static [&'static str] {
        self.shape().3
    }
}

/// A detent of the flaps; what is not a whole number is none.
fn detent(flap: f64) -> u32 {
    if (0.0..1000.0).contains(&flap) && libm::floor(flap) == flap { flap as u32 } else { u32::MAX }
}

impl Performance {
    /// Computes a function; the outputs in the order of [`Function::outputs`].
    ///
    /// # Errors
    /// Outside the tables or limits; a wrong number of inputs counts as outside.
    pub fn figure(&self, function: Function, inputs: &[Input]) -> Result<Vec<f64>, Problem> {
        let wanted = function.inputs();
        if inputs.len() != wanted.len() {
            return Err(Problem::Inputs { wanted: wanted.len() });
        }
        let place = |name: &str| wanted.iter().position(|w| *w == name).map(|i| inputs[i]);
        let n = |name: &str| match place(name) {
            Some(Input::Number(n)) => n,
            _ => f64::NAN,
        };
        let surface = match place(SURFACE.0) {
            Some(Input::Surface(s)) => s,
            _ => Surface::default(),
        };
        match function {
            Function::Takeoff => {
                let part = n("thrust_pct");
                let t = self.takeoff(&TakeoffCase {
                    mass_kg: n("mass_kg"),
                    flap: detent(n("flap")),
                    pressure_altitude_ft: n("pressure_altitude_ft"),
                    oat_c: n("oat_c"),
                    headwind_kt: n("headwind_kt"),
                    slope_pct: n("slope_pct"),
                    runway_m: n("runway_m"),
                    surface,
                    thrust: if part == 100.0 { TakeoffThrust::Full } else { TakeoffThrust::Reduced(part) },
                    cg_pct: n("cg_pct"),
                })?;
                Ok(vec![t.v1_kt, t.vr_kt, t.v2_kt, t.n1_pct, t.needed_m, t.trim_units])
            }
            Function::Trim => Ok(vec![self.trim_units(n("mass_kg"), detent(n("flap")), n("cg_pct"))?]),
            Function::Retraction => Ok(vec![self.retraction_kt(n("mass_kg"), detent(n("flap")))?]),
            Function::Approach => {
                let a = self.approach(n("mass_kg"), detent(n("flap")), n("headwind_kt"), n("gust_kt"))?;
                Ok(vec![a.vref_kt, a.additive_kt, a.vapp_kt])
            }
            Function::Landing | Function::LandingInFlight => {
                let case = LandingCase {
                    mass_kg: n("mass_kg"),
                    flap: detent(n("flap")),
                    pressure_altitude_ft: n("pressure_altitude_ft"),
                    oat_c: n("oat_c"),
                    headwind_kt: n("headwind_kt"),
                    gust_kt: n("gust_kt"),
                    slope_pct: n("slope_pct"),
                    runway_m: n("runway_m"),
                    surface,
                    reverse: true,
                };
                let l = match function {
                    Function::Landing => self.landing(&case),
                    _ => self.landing_in_flight(&case),
                }?;
                let a = l.approach;
                Ok(vec![a.vref_kt, a.additive_kt, a.vapp_kt, l.distance_m, l.needed_m])
            }
            Function::TopOfDescent => Ok(vec![self.top_of_descent_nm(
                n("from_ft"),
                n("to_ft"),
                n("descent_kt"),
                n("ground_speed_kt"),
                n("tailwind_kt"),
            )?]),
            Function::Path => Ok(vec![self.path_height_ft(n("distance_nm"))]),
            Function::Cruise => Ok(vec![self.cruise_kgh(n("mass_kg"), n("altitude_ft"))?]),
            Function::Reserve => Ok(vec![self.reserve_kg(n("mass_kg"))?]),
            Function::Balance => {
                let kg = n("mass_kg");
                let (forward, aft) = self.balance_limits_pct(kg).ok_or_else(|| self.no_balance(kg))?;
                Ok(vec![forward, aft])
            }
            Function::Limits => {
                let (takeoff, landing, zero_fuel) = self.greatest_kg();
                let (cross, tail) = self.greatest_wind_kt();
                Ok(vec![takeoff, landing, zero_fuel, cross, tail])
            }
            Function::Wind => {
                let w = wind::components(n("from_deg"), n("wind_kt"), n("runway_deg"));
                Ok(vec![w.headwind_kt, w.crosswind_kt])
            }
            Function::PressureAltitude => {
                Ok(vec![atmosphere::pressure_altitude_of_ft(n("elevation_ft"), n("qnh_hpa"))])
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbers(all: &[f64]) -> Vec<Input> {
        all.iter().map(|n| Input::Number(*n)).collect()
    }

    #[test]
    fn every_function_has_its_name_and_computes_or_refuses() {
        let t2 = Performance::tarn_t2();
        for shape in SHAPES {
            assert_eq!(Function::named(shape.1), Some(shape.0));
            let wrong = vec![Input::Number(-1e9); shape.2.len()];
            // Never a panic, whatever goes in; and a wrong count is refused.
            let _ = t2.figure(shape.0, &wrong);
            assert!(t2.figure(shape.0, &[wrong.as_slice(), &[Input::Number(0.0)]].concat()).is_err());
        }
    }

    #[test]
    fn figures_are_those_of_the_tables() {
        let t2 = Performance::tarn_t2();
        let check = |function: &str, inputs: &[f64], wanted: &[f64]| {
            let function = Function::named(function).unwrap();
            assert_eq!(t2.figure(function, &numbers(inputs)).unwrap(), wanted, "{}", function.name());
        };
        check("retraction", &[52_000.0, 12.0], &[t2.retraction_kt(52_000.0, 12).unwrap()]);
        check("trim", &[52_000.0, 12.0, 25.0], &[t2.trim_units(52_000.0, 12, 25.0).unwrap()]);
        let (takeoff, landing, zero_fuel) = t2.greatest_kg();
        let (cross, tail) = t2.greatest_wind_kt();
        check("limits", &[], &[takeoff, landing, zero_fuel, cross, tail]);
        // On the runway's own heading all of the wind is headwind.
        let wind = t2.figure(Function::Wind, &numbers(&[270.0, 12.0, 270.0])).unwrap();
        assert!((wind[0] - 12.0).abs() < 1e-9 && wind[1].abs() < 1e-9, "{wind:?}");
    }

    #[test]
    fn a_flap_between_detents_is_refused() {
        let refused = Performance::tarn_t2().figure(Function::Trim, &numbers(&[52_000.0, 11.5, 25.0]));
        assert!(matches!(refused, Err(Problem::NoFlap { .. })), "{refused:?}");
    }
}
