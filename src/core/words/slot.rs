//! The typed slots that a wording can hold.

use crate::core::aircraft::Value;
use serde::{Deserialize, Serialize};

/// What a slot holds. Numbers come out in the unit named here.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SlotKind {
    /// Three digits, 001 to 360: `Number` of degrees.
    Heading,
    /// Feet, by hundreds or thousands, 0 to 60,000: `Number`.
    Altitude,
    /// Flight level, 10 to 600: `Number` (180 for FL180).
    Level,
    /// Knots, 0 to 999: `Number`.
    Speed,
    /// VHF channel in MHz, 118.000 to 136.990: `Number`.
    Frequency,
    /// Four octal digits: `Word` ("0421").
    Squawk,
    /// Two digits 01–36 and left, right or centre: `Word` ("09L").
    Runway,
    /// Altimeter setting in hPa, 850 to 1,085: `Number`.
    Qnh,
    /// Any whole number from 0 to 999,999, by digits or in words: `Number`.
    Number,
    /// One letter of the spelling alphabet: `Word` ("A").
    Letter,
    /// A book's own slot: index into the graph's table of named slots, each a list of (value, expansion).
    Named {
        /// The slot type's name in the book (`flap`).
        name: String,
        /// What it can be, in the book's order.
        values: Vec<Value>,
    },
}
