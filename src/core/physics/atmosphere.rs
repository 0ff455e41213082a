//! The ICAO standard atmosphere (Doc 7488) up to 20 km, by pressure altitude, and the altimeter.
//!
//! Heights are geopotential. Outside −5 km … 20 km the altitude is clamped, so that results are always finite.

use super::{FT_M, G0_M_S2, KT_M_S};

/// Sea-level temperature, K.
pub const T0_K: f64 = 288.15;
/// Sea-level pressure, hPa.
pub const P0_HPA: f64 = 1013.25;
/// Specific gas constant of dry air, J/(kg K).
pub const R_J_KG_K: f64 = 287.05287;
/// Ratio of specific heats.
pub const GAMMA: f64 = 1.4;
/// Ice point, K.
pub const ICE_K: f64 = 273.15;
/// Lapse rate of the troposphere, K/m.
const LAPSE_K_M: f64 = 0.0065;
/// The tropopause, m.
const TROPOPAUSE_M: f64 = 11_000.0;
/// Temperature above the tropopause (to 20 km), K.
const ISOTHERMAL_K: f64 = 216.65;
/// Range of the formulas, m.
const RANGE_M: (f64, f64) = (-5_000.0, 20_000.0);
/// g / (R L): the exponent of pressure in the troposphere, 5.25588.
const EXPONENT: f64 = G0_M_S2 / (R_J_KG_K * LAPSE_K_M);

/// Air at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Static temperature, K.
    pub temperature_k: f64,
    /// Static pressure, hPa.
    pub pressure_hpa: f64,
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Speed of sound, kt.
    pub sound_kt: f64,
}

impl Air {
    /// Static temperature, °C.
    pub fn temperature_c(&self) -> f64 {
        self.temperature_k - ICE_K
    }
    /// Pressure as a part of the sea-level standard.
    pub fn delta(&self) -> f64 {
        self.pressure_hpa / P0_HPA
    }
    /// Density as a part of the sea-level standard.
    pub fn sigma(&self) -> f64 {
        self.delta() / self.theta()
    }
    /// Absolute temperature as a part of the sea-level standard.
    pub fn theta(&self) -> f64 {
        self.temperature_k / T0_K
    }
}

/// The standard atmosphere at a pressure altitude, ft.
pub fn isa(pressure_altitude_ft: f64) -> Air {
    air(pressure_altitude_ft, 0.0)
}

/// The atmosphere at a pressure altitude, ft, that is `deviation_c` warmer than standard.
pub fn air(pressure_altitude_ft: f64, deviation_c: f64) -> Air {
    let temperature_k = isa_temperature_c(pressure_altitude_ft) + ICE_K + deviation_c;
    let pressure_hpa = pressure_hpa(pressure_altitude_ft);
    Air {
        temperature_k,
        pressure_hpa,
        density_kg_m3: pressure_hpa * 100.0 / (R_J_KG_K * temperature_k),
        sound_kt: sound_kt(temperature_k),
    }
}

/// Speed of sound, kt, at an absolute temperature, K.
pub fn sound_kt(temperature_k: f64) -> f64 {
    libm::sqrt(GAMMA * R_J_KG_K * temperature_k) / KT_M_S
}

/// Standard temperature, °C, at a pressure altitude, ft.
pub fn isa_temperature_c(pressure_altitude_ft: f64) -> f64 {
    let h = metres(pressure_altitude_ft);
    (T0_K - LAPSE_K_M * h).max(ISOTHERMAL_K) - ICE_K
}

/// How much warmer than standard, °C, `oat_c` is at a pressure altitude, ft.
pub fn isa_deviation_c(pressure_altitude_ft: f64, oat_c: f64) -> f64 {
    oat_c - isa_temperature_c(pressure_altitude_ft)
}

/// Static pressure, hPa, at a pressure altitude, ft.
pub fn pressure_hpa(pressure_altitude_ft: f64) -> f64 {
    let h = metres(pressure_altitude_ft);
    let troposphere = |h: f64| P0_HPA * libm::pow(1.0 - LAPSE_K_M * h / T0_K, EXPONENT);
    if h <= TROPOPAUSE_M {
        troposphere(h)
    } else {
        troposphere(TROPOPAUSE_M) * libm::exp(-G0_M_S2 * (h - TROPOPAUSE_M) / (R_J_KG_K * ISOTHERMAL_K))
    }
}

/// Pressure altitude, ft, of a static pressure, hPa (positive): the inverse of [`pressure_hpa`].
pub fn pressure_altitude_ft(pressure_hpa: f64) -> f64 {
    let at_tropopause = P0_HPA * libm::pow(ISOTHERMAL_K / T0_K, EXPONENT);
    let h = if pressure_hpa >= at_tropopause {
        T0_K / LAPSE_K_M * (1.0 - libm::pow(pressure_hpa / P0_HPA, 1.0 / EXPONENT))
    } else {
        TROPOPAUSE_M + R_J_KG_K * ISOTHERMAL_K / G0_M_S2 * libm::log(at_tropopause / pressure_hpa)
    };
    h.clamp(RANGE_M.0, RANGE_M.1) / FT_M
}

/// What an altimeter shows, ft, in a static pressure, hPa, with its subscale at `setting_hpa`.
pub fn altimeter_ft(static_hpa: f64, setting_hpa: f64) -> f64 {
    pressure_altitude_ft(static_hpa) - pressure_altitude_ft(setting_hpa)
}

/// Pressure altitude, ft, where an altimeter set to `qnh_hpa` shows `altitude_ft`.
pub fn pressure_altitude_of_ft(altitude_ft: f64, qnh_hpa: f64) -> f64 {
    altitude_ft + pressure_altitude_ft(qnh_hpa)
}

/// The setting, hPa, with which an altimeter on an aerodrome shows its elevation, ft, in a static pressure, hPa.
pub fn qnh_hpa(static_hpa: f64, elevation_ft: f64) -> f64 {
    pressure_hpa(pressure_altitude_ft(static_hpa) - elevation_ft)
}

/// Density altitude, ft, of dry air: where the standard atmosphere is as dense as at this pressure altitude, ft, and temperature, °C.
pub fn density_altitude_ft(pressure_altitude_ft: f64, oat_c: f64) -> f64 {
    let sigma = (pressure_hpa(pressure_altitude_ft) / P0_HPA) / ((oat_c + ICE_K) / T0_K);
    let at_tropopause = libm::pow(ISOTHERMAL_K / T0_K, EXPONENT - 1.0);
    let h = if sigma >= at_tropopause {
        T0_K / LAPSE_K_M * (1.0 - libm::pow(sigma, 1.0 / (EXPONENT - 1.0)))
    } else {
        TROPOPAUSE_M + R_J_KG_K * ISOTHERMAL_K / G0_M_S2 * libm::log(at_tropopause / sigma)
    };
    h / FT_M
}

/// hPa to inches of mercury.
pub fn inches_of_mercury(hpa: f64) -> f64 {
    hpa / HPA_INHG
}

/// Inches of mercury to hPa.
pub fn hpa_from_inches(inches: f64) -> f64 {
    inches * HPA_INHG
}

/// hPa in an inch of mercury at 0 °C.
const HPA_INHG: f64 = 33.863_886;

fn metres(pressure_altitude_ft: f64) -> f64 {
    (pressure_altitude_ft * FT_M).clamp(RANGE_M.0, RANGE_M.1)
}
