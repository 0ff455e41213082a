//! Fuel on the way: does it add up, is it level, does it reach.

use super::table::entry;
use super::takeoff::mass;
use super::{Performance, Problem, Quantity};

/// What is known of the fuel, kg.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FuelState {
    /// At departure.
    pub departed_kg: f64,
    /// Used since, by the flow meters.
    pub used_kg: f64,
    /// Left and right main tanks now.
    pub left_kg: f64,
    /// See `left_kg`.
    pub right_kg: f64,
    /// In other tanks now.
    pub other_kg: f64,
    /// Still to be burnt to the destination, as planned.
    pub to_destination_kg: f64,
    /// From the destination to the alternate, as planned; 0 without one.
    pub to_alternate_kg: f64,
    /// Without fuel.
    pub zero_fuel_kg: f64,
}

/// What a fuel check finds.
#[derive(Debug, Clone, PartialEq)]
pub enum FuelFinding {
    /// Less is on board than departed less what was used: it may be leaking.
    Missing {
        /// kg.
        kg: f64,
    },
    /// More is on board than that: a figure is wrong.
    TooMuch {
        /// kg.
        kg: f64,
    },
    /// Left and right differ by more than allowed; positive is more left.
    Uneven {
        /// kg.
        kg: f64,
    },
    /// At the destination less would be left than alternate and final reserve need.
    Short {
        /// kg.
        left_kg: f64,
        /// kg.
        needed_kg: f64,
    },
}

impl Performance {
    /// Fuel flow in cruise, all engines, kg/h.
    ///
    /// # Errors
    /// Outside the tables.
    pub fn cruise_kgh(&self, mass_kg: f64, altitude_ft: f64) -> Result<f64, Problem> {
        Ok(self.file.fuel.cruise_kgh.read(mass(mass_kg), entry(Quantity::Altitude, altitude_ft))?)
    }

    /// Final reserve at a landing mass, kg.
    ///
    /// # Errors
    /// Outside the tables.
    pub fn reserve_kg(&self, mass_kg: f64) -> Result<f64, Problem> {
        let fuel = &self.file.fuel;
        Ok(fuel.holding_kgh.read(mass(mass_kg))? * fuel.reserve_min / 60.0)
    }

    /// Everything that is wrong with the fuel; empty when nothing is.
    ///
    /// # Errors
    /// The mass at the destination is outside the tables.
    pub fn fuel_check(&self, state: &FuelState) -> Result<Vec<FuelFinding>, Problem> {
        let data = &self.file.fuel;
        let on_board = state.left_kg + state.right_kg + state.other_kg;
        let missing = state.departed_kg - state.used_kg - on_board;
        let bearable = data.leak_kg.max(data.leak_part * state.departed_kg);
        let mut findings = Vec::new();
        if missing > bearable {
            findings.push(FuelFinding::Missing { kg: missing });
        } else if -missing > bearable {
            findings.push(FuelFinding::TooMuch { kg: -missing });
        }
        let uneven = state.left_kg - state.right_kg;
        if libm::fabs(uneven) > data.imbalance_kg {
            findings.push(FuelFinding::Uneven { kg: uneven });
        }
        let left_kg = on_board - state.to_destination_kg;
        let needed_kg = state.to_alternate_kg + self.reserve_kg(state.zero_fuel_kg + left_kg.max(0.0))?;
        if left_kg < needed_kg {
            findings.push(FuelFinding::Short { left_kg, needed_kg });
        }
        Ok(findings)
    }
}
