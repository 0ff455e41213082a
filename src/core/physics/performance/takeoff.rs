//! Takeoff speeds, thrust, field length and trim.

use super::data;
use super::table::{Entry, entry};
use super::{Performance, Problem, Quantity, Surface};
use crate::core::physics::wind;

/// Full or reduced takeoff thrust.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum TakeoffThrust {
    /// All that the day gives.
    #[default]
    Full,
    /// This part of it, per cent: one of those that the tables hold.
    Reduced(f64),
}

/// What takeoff figures are asked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TakeoffCase {
    /// At brake release, kg.
    pub mass_kg: f64,
    /// Flap detent.
    pub flap: u32,
    /// Of the runway, ft.
    pub pressure_altitude_ft: f64,
    /// Outside air temperature, °C.
    pub oat_c: f64,
    /// Reported headwind, kt; negative is a tailwind. The tables take half of a headwind and half as much again of a
    /// tailwind, as 14 CFR 25.105(d) asks.
    pub headwind_kt: f64,
    /// Uphill positive, per cent.
    pub slope_pct: f64,
    /// Of the runway, m.
    pub runway_m: f64,
    /// How the runway is.
    pub surface: Surface,
    /// Thrust.
    pub thrust: TakeoffThrust,
    /// Centre of gravity, per cent of the mean chord.
    pub cg_pct: f64,
}

/// Takeoff figures. Speeds are calibrated airspeeds, kt, whole numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Takeoff {
    /// The first stopping action is not later.
    pub v1_kt: f64,
    /// Rotation.
    pub vr_kt: f64,
    /// About where it lifts off.
    pub vlof_kt: f64,
    /// Takeoff safety speed.
    pub v2_kt: f64,
    /// Stall speed in this configuration, not rounded.
    pub vsr_kt: f64,
    /// Minimum control speed on the ground.
    pub vmcg_kt: f64,
    /// Minimum control speed in the air.
    pub vmca_kt: f64,
    /// N1 to set, per cent.
    pub n1_pct: f64,
    /// Runway that is needed, m.
    pub needed_m: f64,
    /// Stabiliser trim, units.
    pub trim_units: f64,
}

/// A relation between speeds that 14 CFR 25.107 asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    /// V1 is at least VMCG: (a).
    V1NotBelowVmcg,
    /// VR is at least V1: (e).
    VrNotBelowV1,
    /// VR is at least 1.05 VMC: (e).
    VrAboveVmc,
    /// The lift-off speed is above VR.
    VlofAboveVr,
    /// V2 is at least the lift-off speed.
    V2NotBelowVlof,
    /// V2 is above VR: (c).
    V2AboveVr,
    /// V2 is at least 1.13 VSR: (b).
    V2AboveVsr,
    /// V2 is at least 1.10 VMC: (b).
    V2AboveVmc,
}

impl Takeoff {
    /// The relations of 14 CFR 25.107 that these speeds break; empty when all hold.
    pub fn broken(&self) -> Vec<Relation> {
        let hold = [
            (self.v1_kt >= self.vmcg_kt, Relation::V1NotBelowVmcg),
            (self.vr_kt >= self.v1_kt, Relation::VrNotBelowV1),
            (self.vr_kt >= 1.05 * self.vmca_kt, Relation::VrAboveVmc),
            (self.vlof_kt > self.vr_kt, Relation::VlofAboveVr),
            (self.v2_kt >= self.vlof_kt, Relation::V2NotBelowVlof),
            (self.v2_kt >= 1.13 * self.vsr_kt, Relation::V2AboveVsr),
            (self.v2_kt >= 1.10 * self.vmca_kt, Relation::V2AboveVmc),
        ];
        hold.into_iter().filter(|(holds, _)| !holds).map(|(_, what)| what).collect()
    }
}

/// Speeds that somebody gives, held to the order of 14 CFR 25.107: what they break.
pub(super) fn order_broken(v1_kt: f64, vr_kt: f64, v2_kt: f64) -> Vec<Relation> {
    let hold = [(v1_kt <= vr_kt, Relation::VrNotBelowV1), (vr_kt < v2_kt, Relation::V2AboveVr)];
    hold.into_iter().filter(|(holds, _)| !holds).map(|(_, what)| what).collect()
}

pub(super) fn mass(value: f64) -> Entry {
    entry(Quantity::Mass, value)
}

pub(super) fn altitude(value: f64) -> Entry {
    entry(Quantity::PressureAltitude, value)
}

pub(super) fn temperature(value: f64) -> Entry {
    entry(Quantity::Temperature, value)
}

impl Performance {
    /// Flap detents that the takeoff tables know, in their order.
    pub fn takeoff_flaps(&self) -> Vec<u32> {
        self.file.takeoff.iter().map(|t| t.flap).collect()
    }

    pub(super) fn surface(&self, surface: Surface) -> &data::Surface {
        match surface {
            Surface::Dry => &self.file.surface.dry,
            Surface::Wet => &self.file.surface.wet,
            Surface::Slippery => &self.file.surface.slippery,
        }
    }

    /// The wind with which tables are entered, kt.
    pub(super) fn data_wind_kt(&self, headwind_kt: f64) -> Result<f64, Problem> {
        let limits = &self.file.limits;
        let most = [-limits.tailwind_kt, limits.headwind_kt];
        Ok(wind::data_headwind_kt(entry(Quantity::Headwind, headwind_kt).within(most)?))
    }

    /// Takeoff figures.
    ///
    /// # Errors
    /// Something is outside the tables or limits, or the runway is too short.
    pub fn takeoff(&self, case: &TakeoffCase) -> Result<Takeoff, Problem> {
        let file = &self.file;
        let known = || Problem::NoFlap { flap: case.flap, known: self.takeoff_flaps() };
        let flap = file.takeoff.iter().find(|t| t.flap == case.flap).ok_or_else(known)?;
        if case.mass_kg > file.limits.takeoff_kg {
            let limit_kg = file.limits.takeoff_kg;
            return Err(Problem::TooHeavy { what: Quantity::TakeoffMass, kg: case.mass_kg, limit_kg });
        }
        let (m, pa, oat) = (mass(case.mass_kg), altitude(case.pressure_altitude_ft), temperature(case.oat_c));
        let head = self.data_wind_kt(case.headwind_kt)?;
        let slope = entry(Quantity::Slope, case.slope_pct).within(file.slope.range_pct)?;
        let runway_m = entry(Quantity::RunwayLength, case.runway_m).within(file.limits.runway_m)?;
        let thrust = self.thrust(case)?;
        let surface = self.surface(case.surface);
        let wind = &file.wind;
        let blown = if head >= 0.0 {
            (wind.field_per_headwind_kt * head, wind.v1_per_headwind_kt * head)
        } else {
            (wind.field_per_tailwind_kt * -head, wind.v1_per_tailwind_kt * -head)
        };
        let needed_m = flap.field_m.read(m)?
            * file.air.field_factor.read(pa, oat)?
            * (1.0 + blown.0)
            * (1.0 + file.slope.field_per_pct * slope)
            * surface.field_factor
            * thrust.map_or(1.0, |t| t.field_factor);
        if needed_m > runway_m {
            return Err(Problem::TooShort { needed_m, there_m: runway_m });
        }
        let vmcg_kt = file.control.vmcg_kt.read(pa)?;
        let vmca_kt = file.control.vmca_kt.read(pa)?;
        let vsr_kt = flap.vsr_kt.read(m)?;
        let vr = flap.vr_kt.read(m)? + file.air.vr_add_kt.read(pa, oat)? + thrust.map_or(0.0, |t| t.vr_add_kt);
        let v2 = flap.v2_kt.read(m)? + file.air.v2_add_kt.read(pa, oat)?;
        // The nearest knot, but never one that breaks what 25.107 asks.
        let vr_kt = libm::round(vr).max(libm::ceil(1.05 * vmca_kt));
        let least = (1.13 * vsr_kt).max(1.10 * vmca_kt);
        let v2_kt = libm::round(v2).max(libm::ceil(least)).max(vr_kt + 2.0);
        let spare = runway_m / needed_m;
        let (least, most) = (file.v1.below_vr_kt.at[0], file.v1.below_vr_kt.at[file.v1.below_vr_kt.at.len() - 1]);
        let below = file.v1.below_vr_kt.read(entry(Quantity::SpareRunway, spare.clamp(least, most)))?;
        let v1 = vr - below
            + file.air.v1_add_kt.read(pa, oat)?
            + blown.1
            + file.slope.v1_per_pct_kt * slope
            + surface.v1_add_kt
            + thrust.map_or(0.0, |t| t.v1_add_kt);
        let v1_kt = libm::round(v1).min(vr_kt).max(libm::ceil(vmcg_kt));
        if v1_kt > vr_kt {
            return Err(Problem::MinimumControl { vmcg_kt, vr_kt });
        }
        let n1 = file.air.n1_pct.read(pa, oat)? - thrust.map_or(0.0, |t| t.n1_less_pct);
        Ok(Takeoff {
            v1_kt,
            vr_kt,
            vlof_kt: (vr_kt + v2_kt) / 2.0,
            v2_kt,
            vsr_kt,
            vmcg_kt,
            vmca_kt,
            n1_pct: libm::round(n1 * 10.0) / 10.0,
            needed_m,
            trim_units: self.trim_units(case.mass_kg, case.flap, case.cg_pct)?,
        })
    }

    fn thrust(&self, case: &TakeoffCase) -> Result<Option<&data::Thrust>, Problem> {
        let TakeoffThrust::Reduced(part) = case.thrust else { return Ok(None) };
        let all = &self.file.thrust;
        let found = all.iter().find(|t| libm::fabs(t.part_pct - part) < 1e-9);
        let Some(thrust) = found else {
            let known = all.iter().map(|t| t.part_pct).collect();
            return Err(Problem::NoThrust { part_pct: part, known });
        };
        if case.oat_c > thrust.most_oat_c {
            return Err(Problem::TooHotToReduce { most_oat_c: thrust.most_oat_c });
        }
        if case.surface == Surface::Slippery {
            return Err(Problem::SlipperyToReduce);
        }
        Ok(Some(thrust))
    }

    /// Stabiliser trim for takeoff, units, a tenth exact.
    ///
    /// # Errors
    /// Outside the tables, or the trim would be outside the green band.
    pub fn trim_units(&self, mass_kg: f64, flap: u32, cg_pct: f64) -> Result<f64, Problem> {
        let trim = &self.file.trim;
        let known = || Problem::NoFlap { flap, known: trim.flap.iter().map(|f| f.flap).collect() };
        let add = trim.flap.iter().find(|f| f.flap == flap).ok_or_else(known)?.add;
        let by_cg = trim.by_cg.read(entry(Quantity::CentreOfGravity, cg_pct))?;
        let units = by_cg + trim.by_mass.read(mass(mass_kg))? + add;
        let units = libm::round(units * 10.0) / 10.0;
        let [low, high] = trim.green;
        if (low..=high).contains(&units) {
            return Ok(units);
        }
        Err(Problem::TrimOutside { units, low, high })
    }

    /// Speed, kt, at which the flaps go from one detent to the next less.
    ///
    /// # Errors
    /// There is no such step, or the mass is outside the tables.
    pub fn retraction_kt(&self, mass_kg: f64, from: u32) -> Result<f64, Problem> {
        let all = &self.file.flaps;
        let known = || Problem::NoFlap { flap: from, known: all.iter().map(|r| r.from).collect() };
        let step = all.iter().find(|r| r.from == from).ok_or_else(known)?;
        Ok(libm::ceil(step.speed_kt.read(mass(mass_kg))? - 1e-9))
    }
}
