//! VREF, the approach additive, landing distance, the descent path.

use super::table::entry;
use super::takeoff::{altitude, mass, temperature};
use super::{Performance, Problem, Quantity, Surface};
use crate::core::physics::roll;

/// What landing figures are asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LandingCase {
    /// At touchdown, kg.
    pub mass_kg: f64,
    /// Flap detent.
    pub flap: u32,
    /// Of the runway, ft.
    pub pressure_altitude_ft: f64,
    /// Outside air temperature, °C.
    pub oat_c: f64,
    /// Steady headwind, kt; negative is a tailwind.
    pub headwind_kt: f64,
    /// Gust above the steady wind along the runway, kt, not negative.
    pub gust_kt: f64,
    /// Uphill positive, per cent.
    pub slope_pct: f64,
    /// Of the runway, m.
    pub runway_m: f64,
    /// How the runway is.
    pub surface: Surface,
    /// Reverse thrust is used and counted; only on a slippery runway does it make a difference here.
    pub reverse: bool,
}

/// Speeds of the approach, kt, whole numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Approach {
    /// Reference speed.
    pub vref_kt: f64,
    /// What wind adds.
    pub additive_kt: f64,
    /// What is flown.
    pub vapp_kt: f64,
    /// Stall speed in this configuration, not rounded.
    pub vsr0_kt: f64,
}

/// Landing figures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Landing {
    /// Speeds.
    pub approach: Approach,
    /// From the threshold to a stop as flown, m.
    pub distance_m: f64,
    /// With the margin that it must have, m.
    pub needed_m: f64,
}

/// The figures, if the runway is long enough.
fn fits(landing: Landing, case: &LandingCase) -> Result<Landing, Problem> {
    if landing.needed_m > case.runway_m {
        return Err(Problem::TooShort { needed_m: landing.needed_m, there_m: case.runway_m });
    }
    Ok(landing)
}

impl Performance {
    /// Flap detents that the landing tables know.
    pub fn landing_flaps(&self) -> Vec<u32> {
        self.file.landing.iter().map(|l| l.flap).collect()
    }

    /// Placard speed of a landing flap, kt; none if the tables do not know it.
    pub fn flap_limit_kt(&self, flap: u32) -> Option<f64> {
        self.file.landing.iter().find(|l| l.flap == flap).map(|l| l.max_kt)
    }

    fn landing_table(&self, flap: u32) -> Result<&super::data::Landing, Problem> {
        let known = || Problem::NoFlap { flap, known: self.landing_flaps() };
        self.file.landing.iter().find(|l| l.flap == flap).ok_or_else(known)
    }

    /// What wind adds to VREF, kt: a share of the headwind and of the gust, not less than the least, not more than the
    /// most, and so that the sum keeps below the flap limit; a whole number.
    ///
    /// # Errors
    /// The wind is outside the limits.
    pub fn additive_kt(&self, flap: u32, vref_kt: f64, headwind_kt: f64, gust_kt: f64) -> Result<f64, Problem> {
        let (limits, data) = (&self.file.limits, &self.file.approach);
        let head = entry(Quantity::Headwind, headwind_kt).within([-limits.tailwind_kt, limits.headwind_kt])?;
        let gust = entry(Quantity::Gust, gust_kt).within([0.0, limits.headwind_kt])?;
        let wanted = data.headwind_part * head.max(0.0) + data.gust_part * gust;
        let wanted = libm::ceil(wanted.clamp(data.least_kt, data.most_kt) - 1e-9);
        let room = self.landing_table(flap)?.max_kt - data.below_flap_limit_kt - vref_kt;
        if room < 0.0 {
            return Err(Problem::FlapLimit { vref_kt, flap });
        }
        Ok(wanted.min(libm::floor(room)))
    }

    /// Approach speeds.
    ///
    /// # Errors
    /// Something is outside the tables or limits.
    pub fn approach(&self, mass_kg: f64, flap: u32, headwind_kt: f64, gust_kt: f64) -> Result<Approach, Problem> {
        let table = self.landing_table(flap)?;
        let m = mass(mass_kg);
        let vsr0_kt = table.vsr_kt.read(m)?;
        // 14 CFR 25.125(b)(2): at least 1.23 VSR0 and VMCL, which is not above VMCA here.
        let least = (1.23 * vsr0_kt).max(self.file.control.vmca_kt.gives[0]);
        let vref_kt = libm::ceil(table.vref_kt.read(m)?.max(least) - 1e-9);
        let additive_kt = self.additive_kt(flap, vref_kt, headwind_kt, gust_kt)?;
        Ok(Approach { vref_kt, additive_kt, vapp_kt: vref_kt + additive_kt, vsr0_kt })
    }

    /// Landing figures as a dispatcher plans them.
    ///
    /// # Errors
    /// Something is outside the tables or limits, or the runway is too short.
    pub fn landing(&self, case: &LandingCase) -> Result<Landing, Problem> {
        let stop = &self.file.stop;
        let (approach, dry_m, distance_m) = self.stop(case)?;
        let dry_needed_m = dry_m / stop.dispatch_part;
        let needed_m = match case.surface {
            Surface::Dry => dry_needed_m,
            Surface::Wet => (dry_needed_m * stop.wet_part).max(distance_m),
            Surface::Slippery => (dry_needed_m * stop.wet_part).max(distance_m * stop.slippery_part),
        };
        fits(Landing { approach, distance_m, needed_m }, case)
    }

    /// Landing figures as a crew looks at them in flight: the stop and a smaller margin.
    ///
    /// # Errors
    /// As [`landing`](Self::landing).
    pub fn landing_in_flight(&self, case: &LandingCase) -> Result<Landing, Problem> {
        let (approach, _, distance_m) = self.stop(case)?;
        let needed_m = distance_m * self.file.stop.in_flight_part;
        fits(Landing { approach, distance_m, needed_m }, case)
    }

    /// Speeds, the distance to a stop on a dry runway, and on this one.
    fn stop(&self, case: &LandingCase) -> Result<(Approach, f64, f64), Problem> {
        let file = &self.file;
        if case.mass_kg > file.limits.landing_kg {
            let limit_kg = file.limits.landing_kg;
            return Err(Problem::TooHeavy { what: Quantity::LandingMass, kg: case.mass_kg, limit_kg });
        }
        let approach = self.approach(case.mass_kg, case.flap, case.headwind_kt, case.gust_kt)?;
        let head = self.data_wind_kt(case.headwind_kt)?;
        let slope = entry(Quantity::Slope, case.slope_pct).within(file.slope.range_pct)?;
        entry(Quantity::RunwayLength, case.runway_m).within(file.limits.runway_m)?;
        let (pa, oat) = (altitude(case.pressure_altitude_ft), temperature(case.oat_c));
        let stop = &file.stop;
        let wind = if head >= 0.0 { stop.per_headwind_kt * head } else { stop.per_tailwind_kt * -head };
        let slides = case.surface == Surface::Slippery && !case.reverse;
        let dry_m = self.landing_table(case.flap)?.distance_m.read(mass(case.mass_kg))?
            * stop.air_factor.read(pa, oat)?
            * (1.0 + wind)
            * (1.0 + stop.per_pct * slope)
            * (1.0 + stop.per_kt_above_vref * approach.additive_kt);
        let slides = if slides { stop.no_reverse_slippery } else { 1.0 };
        Ok((approach, dry_m, dry_m * self.surface(case.surface).landing_factor * slides))
    }

    /// How far before a place the descent begins, nautical miles: the path, what a tailwind stretches, and room to slow
    /// down from the descent speed, kt, before it.
    ///
    /// # Errors
    /// An altitude or the speed is outside the tables, or the descent goes up.
    pub fn top_of_descent_nm(
        &self,
        from_ft: f64,
        to_ft: f64,
        descent_kt: f64,
        ground_speed_kt: f64,
        tailwind_kt: f64,
    ) -> Result<f64, Problem> {
        let data = &self.file.descent;
        let from = entry(Quantity::Altitude, from_ft).within(data.altitude_ft)?;
        let to = entry(Quantity::Altitude, to_ft).within(data.altitude_ft)?;
        if from < to {
            return Err(Problem::NoDescent { from_ft, to_ft });
        }
        let ground = entry(Quantity::GroundSpeed, ground_speed_kt).within([100.0, 700.0])?;
        let tail = entry(Quantity::Tailwind, tailwind_kt).within([-150.0, 150.0])?;
        let slowing = data.slowing_nm.read(entry(Quantity::DescentSpeed, descent_kt))?;
        // The path is flown through the air: the wind carries it so much further or less.
        let still = (ground - tail).max(100.0);
        Ok((from - to) / roll::path_ft_per_nm(data.path_deg) * (ground / still) + slowing)
    }

    /// Altitude above a place, ft, that the path has this many nautical miles before it.
    pub fn path_height_ft(&self, distance_nm: f64) -> f64 {
        distance_nm * roll::path_ft_per_nm(self.file.descent.path_deg)
    }
}
