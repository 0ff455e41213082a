//! The gross-error check of load figures.

use super::{NoData, Performance, Problem, Quantity};

/// Load figures as someone gives them; those that nobody has given are left out of the check.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LoadFigures {
    /// Without fuel, kg.
    pub zero_fuel_kg: Option<f64>,
    /// In the tanks at the stand, kg.
    pub fuel_kg: Option<f64>,
    /// At brake release, kg.
    pub takeoff_kg: Option<f64>,
    /// At touchdown, kg.
    pub landing_kg: Option<f64>,
    /// What the aircraft itself weighs at this moment, kg.
    pub own_kg: Option<f64>,
    /// Fuel on board by the aircraft's gauges, kg.
    pub own_fuel_kg: Option<f64>,
    /// Centre of gravity at takeoff, per cent of the mean chord.
    pub cg_pct: Option<f64>,
}

/// What does not fit.
#[derive(Debug, Clone, PartialEq)]
pub enum LoadFinding {
    /// Two figures that should be equal are not.
    Differ {
        /// The one.
        what: Quantity,
        /// kg.
        kg: f64,
        /// The other.
        with: Quantity,
        /// kg.
        other_kg: f64,
    },
    /// Above a limit.
    Above {
        /// The figure.
        what: Quantity,
        /// kg.
        kg: f64,
        /// kg.
        limit_kg: f64,
    },
    /// The centre of gravity is outside the envelope of this mass.
    OutOfBalance {
        /// Per cent.
        cg_pct: f64,
        /// Forward limit.
        forward_pct: f64,
        /// Aft limit.
        aft_pct: f64,
    },
    /// Not a number that a mass can be.
    Impossible {
        /// The figure.
        what: Quantity,
    },
}

impl Performance {
    /// Forward and aft limit of the centre of gravity at a mass, per cent; none outside the envelope.
    pub fn balance_limits_pct(&self, mass_kg: f64) -> Option<(f64, f64)> {
        let all = &self.file.load.envelope;
        let pair = all.windows(2).find(|p| (p[0].mass_kg..=p[1].mass_kg).contains(&mass_kg))?;
        let part = (mass_kg - pair[0].mass_kg) / (pair[1].mass_kg - pair[0].mass_kg);
        let mix = |a: f64, b: f64| a + (b - a) * part;
        Some((mix(pair[0].forward_pct, pair[1].forward_pct), mix(pair[0].aft_pct, pair[1].aft_pct)))
    }

    /// Why there are no limits at a mass.
    pub(super) fn no_balance(&self, mass_kg: f64) -> Problem {
        let all = &self.file.load.envelope;
        let (low, high) = (all[0].mass_kg, all[all.len() - 1].mass_kg);
        Problem::NoData(NoData { what: Quantity::Mass, value: mass_kg, low, high })
    }

    /// Everything that does not fit: zero fuel and fuel, less what taxiing burns, is the takeoff mass; zero fuel and
    /// fuel on board is what the aircraft weighs; each keeps its limit; the balance keeps its envelope.
    pub fn load_check(&self, figures: &LoadFigures) -> Vec<LoadFinding> {
        let (limits, data) = (&self.file.limits, &self.file.load);
        let mut findings = Vec::new();
        let all = [
            (Quantity::ZeroFuelMass, figures.zero_fuel_kg, limits.zero_fuel_kg),
            (Quantity::TakeoffMass, figures.takeoff_kg, limits.takeoff_kg),
            (Quantity::LandingMass, figures.landing_kg, limits.landing_kg),
            (Quantity::Fuel, figures.fuel_kg, f64::INFINITY),
        ];
        for (what, kg, limit_kg) in all {
            match kg {
                Some(kg) if !kg.is_finite() || kg < 0.0 || (kg == 0.0 && what != Quantity::Fuel) => {
                    findings.push(LoadFinding::Impossible { what });
                }
                Some(kg) if kg > limit_kg => findings.push(LoadFinding::Above { what, kg, limit_kg }),
                _ => {}
            }
        }
        let mut same = |what, kg: Option<f64>, with, other: Option<f64>, spare: f64| {
            if let (Some(kg), Some(other_kg)) = (kg, other)
                && libm::fabs(kg - other_kg) > data.tolerance_kg + spare
            {
                findings.push(LoadFinding::Differ { what, kg, with, other_kg });
            }
        };
        let taxi = self.file.fuel.taxi_kg;
        let sum = figures.zero_fuel_kg.zip(figures.fuel_kg).map(|(zero, fuel)| zero + fuel);
        same(Quantity::LoadSum, sum.map(|s| s - taxi), Quantity::TakeoffMass, figures.takeoff_kg, 0.0);
        let own = figures.zero_fuel_kg.zip(figures.own_fuel_kg).map(|(zero, fuel)| zero + fuel);
        same(Quantity::BoardSum, own, Quantity::OwnWeight, figures.own_kg, 0.0);
        // At the stand the aircraft still has what taxiing burns.
        same(Quantity::TakeoffMass, figures.takeoff_kg, Quantity::OwnWeight, figures.own_kg, taxi);
        if let (Some(cg_pct), Some((forward_pct, aft_pct))) =
            (figures.cg_pct, figures.takeoff_kg.and_then(|kg| self.balance_limits_pct(kg)))
            && !(forward_pct..=aft_pct).contains(&cg_pct)
        {
            findings.push(LoadFinding::OutOfBalance { cg_pct, forward_pct, aft_pct });
        }
        findings
    }

    /// The order of speeds that somebody gives; what it breaks, empty when nothing.
    pub fn speeds_check(&self, v1_kt: f64, vr_kt: f64, v2_kt: f64) -> Vec<super::Relation> {
        super::takeoff::order_broken(v1_kt, vr_kt, v2_kt)
    }
}
