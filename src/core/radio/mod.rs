//! Radio practice: clearances by chance, what may be said for an answer, how it is scored, how the controller goes on.
//!
//! [`Phrases`] is the phrasebook (`phrasebooks/radio`), [`Generator`] draws [`Exercise`]s, [`graph`] is the live grammar
//! of one answer for the ear, [`Reader`] takes words apart, [`judge`] scores them, [`Drill`] leads a session.

mod callsign;
mod cards;
mod clearance;
mod drill;
mod exchange;
mod forms;
mod hearing;
mod item;
mod phrases;
mod progress;
mod reading;
mod rules;
mod score;
mod slips;
mod summary;

pub use callsign::Callsign;
pub use clearance::{Generator, Weights};
pub use drill::{Drill, Plan, Prompt, Reply};
pub use exchange::{Exchange, Next, Phraseology};
pub use hearing::{MOST_CALLS, graph};
pub use item::{Exercise, Item, Mode, written};
pub use phrases::{Phrases, Scene, StandardWord};
pub use progress::{Day, Progress, Standing};
pub use reading::{Manner, Piece, Reader, Style, What};
pub use rules::{Cited, Doubt, Need, NeedRule, REGIONS, Rules, name_of};
pub use score::{Answer, CallsignScore, FASTEST_WPM, ItemScore, Note, Said, Score, Verdict, Words, judge};
pub use slips::plausible;
pub use summary::{Summary, Tally, mean, mode_name};

#[cfg(test)]
mod tests;
