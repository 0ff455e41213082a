//! Calibrated, equivalent and true airspeed and Mach number, each from the others; subsonic.
//!
//! Speeds are in kt and not negative; Mach numbers are below 1.

use super::atmosphere::{Air, GAMMA, ICE_K, P0_HPA, T0_K, isa, pressure_altitude_ft, sound_kt};

/// (γ − 1) / 2.
const HALF: f64 = (GAMMA - 1.0) / 2.0;
/// γ / (γ − 1).
const POWER: f64 = GAMMA / (GAMMA - 1.0);

/// Speed of sound at sea level in the standard atmosphere, kt (661.48).
pub fn sound_sea_level_kt() -> f64 {
    sound_kt(T0_K)
}

/// Impact pressure over static pressure at a Mach number.
fn impact_ratio(mach: f64) -> f64 {
    libm::pow(1.0 + HALF * mach * mach, POWER) - 1.0
}

/// Mach number of an impact pressure over static pressure.
fn mach_of_impact(ratio: f64) -> f64 {
    libm::sqrt(((libm::pow(ratio + 1.0, 1.0 / POWER) - 1.0) / HALF).max(0.0))
}

/// Mach number of a calibrated airspeed, kt, at a pressure altitude, ft. The temperature plays no part.
pub fn mach_from_cas(cas_kt: f64, pressure_altitude_ft: f64) -> f64 {
    mach_of_impact(impact_ratio(cas_kt / sound_sea_level_kt()) / isa(pressure_altitude_ft).delta())
}

/// Calibrated airspeed, kt, of a Mach number at a pressure altitude, ft.
pub fn cas_from_mach(mach: f64, pressure_altitude_ft: f64) -> f64 {
    cas_in(mach, &isa(pressure_altitude_ft))
}

/// Calibrated airspeed, kt, of a Mach number in `air` (only its pressure counts).
pub fn cas_in(mach: f64, air: &Air) -> f64 {
    sound_sea_level_kt() * mach_of_impact(impact_ratio(mach) * air.delta())
}

/// True airspeed, kt, of a Mach number at an outside temperature, °C.
pub fn tas_from_mach(mach: f64, oat_c: f64) -> f64 {
    mach * sound_kt(oat_c + ICE_K)
}

/// Mach number of a true airspeed, kt, at an outside temperature, °C.
pub fn mach_from_tas(tas_kt: f64, oat_c: f64) -> f64 {
    tas_kt / sound_kt(oat_c + ICE_K)
}

/// True airspeed, kt, of a calibrated airspeed, kt, at a pressure altitude, ft, and an outside temperature, °C.
pub fn tas_from_cas(cas_kt: f64, pressure_altitude_ft: f64, oat_c: f64) -> f64 {
    tas_from_mach(mach_from_cas(cas_kt, pressure_altitude_ft), oat_c)
}

/// Calibrated airspeed, kt, of a true airspeed, kt, at a pressure altitude, ft, and an outside temperature, °C.
pub fn cas_from_tas(tas_kt: f64, pressure_altitude_ft: f64, oat_c: f64) -> f64 {
    cas_from_mach(mach_from_tas(tas_kt, oat_c), pressure_altitude_ft)
}

/// Equivalent airspeed, kt, of a Mach number at a pressure altitude, ft: the dynamic pressure as a sea-level speed.
pub fn eas_from_mach(mach: f64, pressure_altitude_ft: f64) -> f64 {
    mach * sound_sea_level_kt() * libm::sqrt(isa(pressure_altitude_ft).delta())
}

/// Mach number of an equivalent airspeed, kt, at a pressure altitude, ft.
pub fn mach_from_eas(eas_kt: f64, pressure_altitude_ft: f64) -> f64 {
    eas_kt / (sound_sea_level_kt() * libm::sqrt(isa(pressure_altitude_ft).delta()))
}

/// Equivalent airspeed, kt, of a calibrated airspeed, kt, at a pressure altitude, ft.
pub fn eas_from_cas(cas_kt: f64, pressure_altitude_ft: f64) -> f64 {
    eas_from_mach(mach_from_cas(cas_kt, pressure_altitude_ft), pressure_altitude_ft)
}

/// Calibrated airspeed, kt, of an equivalent airspeed, kt, at a pressure altitude, ft.
pub fn cas_from_eas(eas_kt: f64, pressure_altitude_ft: f64) -> f64 {
    cas_from_mach(mach_from_eas(eas_kt, pressure_altitude_ft), pressure_altitude_ft)
}

/// Pressure altitude, ft, where this calibrated airspeed, kt, is this Mach number (both positive).
pub fn crossover_altitude_ft(cas_kt: f64, mach: f64) -> f64 {
    let delta = impact_ratio(cas_kt / sound_sea_level_kt()) / impact_ratio(mach);
    pressure_altitude_ft(delta * P0_HPA)
}
