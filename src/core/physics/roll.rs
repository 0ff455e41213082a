//! Ground roll with a steady acceleration, the stop after a reject, and the three-degree path.

use super::{DEG_RAD, FT_M, KT_M_S, NM_M};

/// Seconds at V1 that the accelerate-stop distance includes (14 CFR 25.109(a)).
pub const REJECT_MARGIN_S: f64 = 2.0;

/// A run along the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// How far, m.
    pub distance_m: f64,
    /// How long, s.
    pub time_s: f64,
}

/// From standstill to `speed_kt` at a steady acceleration (positive, m/s²): s = V² / 2a, t = V / a.
pub fn ground_roll(speed_kt: f64, acceleration_m_s2: f64) -> Run {
    between(0.0, speed_kt, acceleration_m_s2)
}

/// From one speed, kt, to another at a steady acceleration, m/s²; both of one sign, or the run has no end.
pub fn between(from_kt: f64, to_kt: f64, acceleration_m_s2: f64) -> Run {
    let (u, v) = (from_kt * KT_M_S, to_kt * KT_M_S);
    Run { distance_m: (v * v - u * u) / (2.0 * acceleration_m_s2), time_s: (v - u) / acceleration_m_s2 }
}

/// By what a headwind, kt (negative: tailwind), multiplies the roll to an *air*speed, kt: ((V − w) / V)².
pub fn wind_factor(liftoff_kt: f64, headwind_kt: f64) -> f64 {
    let part = (liftoff_kt - headwind_kt) / liftoff_kt;
    part * part
}

/// Distance, m, to accelerate to V1, run 2 s at V1 and stop with a steady deceleration (positive, m/s²).
pub fn accelerate_stop_m(v1_kt: f64, acceleration_m_s2: f64, deceleration_m_s2: f64) -> f64 {
    ground_roll(v1_kt, acceleration_m_s2).distance_m
        + reject_margin_m(v1_kt)
        + ground_roll(v1_kt, deceleration_m_s2).distance_m
}

/// Distance, m, run in the two seconds at V1.
pub fn reject_margin_m(v1_kt: f64) -> f64 {
    REJECT_MARGIN_S * v1_kt * KT_M_S
}

/// kt a second of an acceleration, m/s².
pub fn kt_per_second(acceleration_m_s2: f64) -> f64 {
    acceleration_m_s2 / KT_M_S
}

/// Feet lost in a nautical mile on a path of `angle_deg`.
pub fn path_ft_per_nm(angle_deg: f64) -> f64 {
    libm::tan(angle_deg * DEG_RAD) * NM_M / FT_M
}

/// Rate of descent, ft/min, on a path of `angle_deg` at a ground speed, kt.
pub fn rate_of_descent_fpm(ground_speed_kt: f64, angle_deg: f64) -> f64 {
    path_ft_per_nm(angle_deg) * ground_speed_kt / 60.0
}

/// Ground speed, kt, at which a path of `angle_deg` needs a rate of descent, ft/min.
pub fn ground_speed_for_descent_kt(rate_fpm: f64, angle_deg: f64) -> f64 {
    rate_fpm * 60.0 / path_ft_per_nm(angle_deg)
}
