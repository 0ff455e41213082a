//! Wind components along and across a track.

use super::DEG_RAD;

/// Components of a wind, kt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Positive: headwind. Negative: tailwind.
    pub headwind_kt: f64,
    /// Positive: from the right. Negative: from the left.
    pub crosswind_kt: f64,
}

/// Part of a reported headwind that takeoff path data may take credit for (14 CFR 25.105(d)).
pub const HEADWIND_CREDIT: f64 = 0.5;
/// Part of a reported tailwind that takeoff path data must reckon with (14 CFR 25.105(d)).
pub const TAILWIND_DEBIT: f64 = 1.5;

/// Components of a wind *from* `from_deg` with `speed_kt` on a track, both directions from the same north.
pub fn components(from_deg: f64, speed_kt: f64, track_deg: f64) -> Components {
    let angle = (from_deg - track_deg) * DEG_RAD;
    Components { headwind_kt: speed_kt * libm::cos(angle), crosswind_kt: speed_kt * libm::sin(angle) }
}

/// The cautious reading of a gusting wind: crosswind with the gust, headwind without, tailwind with.
pub fn with_gust(from_deg: f64, speed_kt: f64, gust_kt: f64, track_deg: f64) -> Components {
    let (steady, gust) =
        (components(from_deg, speed_kt, track_deg), components(from_deg, gust_kt.max(speed_kt), track_deg));
    Components { headwind_kt: steady.headwind_kt.min(gust.headwind_kt), crosswind_kt: gust.crosswind_kt }
}

/// The head- or tailwind, kt, with which takeoff path data are entered.
pub fn data_headwind_kt(headwind_kt: f64) -> f64 {
    headwind_kt * if headwind_kt >= 0.0 { HEADWIND_CREDIT } else { TAILWIND_DEBIT }
}

/// Least wind, kt, at `angle_deg` off the track that gives a headwind; none if the wind is abeam or behind.
pub fn wind_for_headwind_kt(headwind_kt: f64, angle_deg: f64) -> Option<f64> {
    let part = libm::cos(angle_deg * DEG_RAD);
    (part > 1e-9).then(|| headwind_kt / part)
}

/// Greatest wind, kt, at `angle_deg` off the track that keeps to a crosswind limit; none if it has no crosswind.
pub fn wind_for_crosswind_kt(limit_kt: f64, angle_deg: f64) -> Option<f64> {
    let part = libm::fabs(libm::sin(angle_deg * DEG_RAD));
    (part > 1e-9).then(|| limit_kt / part)
}
