//! The built-in world: two aerodromes on a flat map, and what their instrument landing systems send.
//!
//! Positions are metres east and north of the threshold of the first aerodrome's runway.

use crate::core::physics::{DEG_RAD, FT_M, NM_M};
use serde::Deserialize;

/// The whole file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Country {
    pub beams: Beams,
    pub airports: Vec<Airport>,
}

/// What is the same for every instrument landing system here; the file explains each number.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Beams {
    pub glide_deg: f64,
    pub threshold_crossing_ft: f64,
    pub localiser_beyond_m: f64,
    pub localiser_half_m: f64,
    pub glide_full_part: f64,
    pub localiser_nm: f64,
    pub localiser_near_nm: f64,
    pub localiser_deg: f64,
    pub localiser_wide_deg: f64,
    pub glide_nm: f64,
    pub glide_side_deg: f64,
}

/// An aerodrome with its one runway.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Airport {
    pub ident: String,
    pub name: String,
    pub runway: String,
    pub east_nm: f64,
    pub north_nm: f64,
    pub elevation_ft: f64,
    pub heading_deg: f64,
    pub length_m: f64,
    pub localiser_mhz: f64,
}

/// Where the departure begins, in [`Country::airports`].
pub(super) const HERE: usize = 0;
/// Where the flight ends.
pub(super) const THERE: usize = 1;

impl Country {
    /// The built-in one.
    pub fn built_in() -> Self {
        let text = include_str!("../../../phrasebooks/common/aircraft/airports.toml");
        // The file is part of the program and a test reads it, so that a mistake cannot reach a user.
        toml::from_str(text).expect("the embedded file of aerodromes is well formed")
    }

    /// The aerodrome nearer to a position.
    pub fn nearest(&self, at: Position) -> usize {
        let far = |k: usize| at.from(&self.airports[k]).distance_m;
        if far(THERE) < far(HERE) { THERE } else { HERE }
    }

    /// The aerodrome whose localiser is on this frequency, MHz.
    pub fn tuned(&self, mhz: f64) -> Option<&Airport> {
        self.airports.iter().find(|a| libm::fabs(a.localiser_mhz - mhz) < 0.02)
    }
}

/// A place on the map, m.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Position {
    pub east_m: f64,
    pub north_m: f64,
}

/// Where a place lies as seen from a runway's threshold.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    pub distance_m: f64,
    /// From the place to the threshold, degrees.
    pub bearing_deg: f64,
    /// Before the threshold along the runway's direction, m; past it negative.
    pub before_m: f64,
    /// Right of the centre line as one lands, m.
    pub right_m: f64,
}

impl Position {
    /// As seen from a runway's threshold.
    pub fn from(self, airport: &Airport) -> Seen {
        let (east, north) = (airport.east_nm * NM_M - self.east_m, airport.north_nm * NM_M - self.north_m);
        let course = airport.heading_deg * DEG_RAD;
        let (sin, cos) = (libm::sin(course), libm::cos(course));
        Seen {
            distance_m: libm::sqrt(east * east + north * north),
            bearing_deg: (libm::atan2(east, north) / DEG_RAD).rem_euclid(360.0),
            before_m: east * sin + north * cos,
            right_m: north * sin - east * cos,
        }
    }
}

impl Airport {
    /// The place that is so far before the threshold and right of the centre line, m.
    pub fn place(&self, before_m: f64, right_m: f64) -> Position {
        let course = self.heading_deg * DEG_RAD;
        let (sin, cos) = (libm::sin(course), libm::cos(course));
        Position {
            east_m: self.east_nm * NM_M - before_m * sin + right_m * cos,
            north_m: self.north_nm * NM_M - before_m * cos - right_m * sin,
        }
    }
}

/// What the receiver makes of a tuned runway.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Beam {
    pub course_deg: f64,
    pub glide_deg: f64,
    /// Of the threshold, nautical miles.
    pub distance_nm: f64,
    /// The centre line lies to the right by so many dots; none if it is not received.
    pub localiser_dots: Option<f64>,
    /// The path lies above by so many dots; none if it is not received.
    pub glide_dots: Option<f64>,
    /// Right of the centre line, m.
    pub right_m: f64,
    /// Above the path, m.
    pub above_m: f64,
}

/// Needles stop at two and a half dots.
const PEG: f64 = 2.5;

impl Beam {
    /// At a place and a height above the runway, m.
    pub fn at(country: &Country, airport: &Airport, place: Position, height_m: f64) -> Beam {
        let beams = &country.beams;
        let seen = place.from(airport);
        let distance_nm = seen.distance_m / NM_M;
        let tan = libm::tan(beams.glide_deg * DEG_RAD);
        let aerial_m = airport.length_m + beams.localiser_beyond_m;
        let to_aerial = seen.before_m + aerial_m;
        let off = libm::atan2(seen.right_m, to_aerial) / DEG_RAD;
        let dot = libm::atan2(beams.localiser_half_m, aerial_m) / DEG_RAD / 2.0;
        let wide = if distance_nm <= beams.localiser_near_nm { beams.localiser_wide_deg } else { beams.localiser_deg };
        let heard = distance_nm <= beams.localiser_nm && libm::fabs(off) <= wide;
        // The path meets the runway where it has lost the threshold crossing height.
        let to_origin = seen.before_m + beams.threshold_crossing_ft * FT_M / tan;
        let up = libm::atan2(height_m, to_origin.max(1.0)) / DEG_RAD;
        let glide_dot = beams.glide_deg * beams.glide_full_part / 2.0;
        let side = libm::fabs(libm::atan2(seen.right_m, to_origin) / DEG_RAD);
        let path = to_origin > 30.0 && distance_nm <= beams.glide_nm && side <= beams.glide_side_deg;
        let lit = path && up <= 1.75 * beams.glide_deg && up >= 0.3 * beams.glide_deg;
        Beam {
            course_deg: airport.heading_deg,
            glide_deg: beams.glide_deg,
            distance_nm,
            localiser_dots: heard.then_some((-off / dot).clamp(-PEG, PEG)),
            glide_dots: lit.then_some(((beams.glide_deg - up) / glide_dot).clamp(-PEG, PEG)),
            right_m: seen.right_m,
            above_m: height_m - to_origin * tan,
        }
    }
}
