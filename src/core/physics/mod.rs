//! Atmosphere, airspeeds, wind, ground roll: closed formulas in trade units, named in the functions.
//!
//! Every check names its source: the letter codes and keys are explained in `tests.rs`.

pub mod airspeed;
pub mod atmosphere;
pub mod performance;
pub mod roll;
pub mod wind;

#[cfg(test)]
mod tests;

/// Knots to metres a second (the international nautical mile is 1,852 m).
pub const KT_M_S: f64 = 1852.0 / 3600.0;
/// Feet to metres.
pub const FT_M: f64 = 0.3048;
/// Metres in a nautical mile.
pub const NM_M: f64 = 1852.0;
/// Standard gravity, m/s².
pub const G0_M_S2: f64 = 9.80665;
/// Degrees to radians.
pub const DEG_RAD: f64 = core::f64::consts::PI / 180.0;
