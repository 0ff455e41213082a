//! Links to an aircraft, the pure half: the Antiphon link protocol, text off a wire, units, time, reaching a wanted state.
//!
//! Nothing here panics over what comes from outside: what is faulty is counted ([`Faults`]) and told once.
//! `docs/link-protocol.md` describes the protocol, `docs/links.md` the link file of the property-tree adapter.

pub mod clock;
pub mod cost;
pub mod delay;
pub mod faults;
pub mod intake;
pub mod lines;
pub mod message;
pub mod pending;
pub mod property;
pub mod units;
pub mod watch;

pub use clock::Clock;
pub use delay::Delay;
pub use faults::{FaultKind, Faults};
pub use intake::{Event, Intake};
pub use lines::Lines;
pub use message::Message;
