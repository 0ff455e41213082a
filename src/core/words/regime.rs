//! Whose radio rules apply. They disagree; `standards.md` rows are cited in the tests of [`super::say`].

use serde::{Deserialize, Serialize};

/// A set of radiotelephony rules.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Regime {
    /// ICAO Annex 10 Volume II: every flight level, pressure and squawk digit by digit.
    #[default]
    Icao,
    /// EU SERA.14035: whole hundreds of flight levels, 1000 hPa and whole thousands of squawks by name.
    Sera,
    /// UK CAP 413 (2011 pages): "degrees" after a heading that ends in zero, "hectopascals" below 1000.
    Uk,
    /// US FAA: "point", "niner", "center", and no leading zero on a runway.
    Faa,
}

impl Regime {
    /// All of them.
    pub const ALL: [Regime; 4] = [Regime::Icao, Regime::Sera, Regime::Uk, Regime::Faa];

    /// The word between the whole part of a number and the rest.
    pub fn point(self) -> &'static str {
        if self == Regime::Faa { "point" } else { "decimal" }
    }

    /// The word for one digit, 0 to 9.
    pub(super) fn digit(self, digit: u8) -> &'static str {
        match digit {
            9 if self == Regime::Faa => "niner",
            d => super::spelling::DIGITS[d as usize % 10],
        }
    }
}
