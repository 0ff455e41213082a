//! Antiphon: the second pilot for someone who sits alone at a two-crew airliner simulation.
//!
//! Two floors. [`core`] is pure: no clock, file, socket, thread, log, global or unseeded randomness.
//! [`edge`] touches the world. `core` never names `edge`; `docs/architecture.md` tells the rest.
//!
//! For simulation and ground practice only, never for flight.

pub mod cli;
pub mod core;
pub mod edge;
