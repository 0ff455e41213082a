//! The radio's two sides: the controller's voice as it comes over the air, and the pilot's words as they are heard.

mod air;
mod both;
pub mod chain;
mod pilot;

pub use air::{Air, AirError};
pub use both::BothEars;
pub use chain::Chain;
pub use pilot::{RadioEar, breath};
