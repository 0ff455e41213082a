//! What a controller clears in the course of a flight.

use super::{By, FlowId, PhaseId, SheetId};
use crate::core::book::expr::Expr;
use crate::core::radio::Scene;

/// `[clearances.ID]`: given once, when the radio is on, from the moment at which `when` holds; again after a phase rearms it.
#[derive(Debug, Clone)]
pub struct Clearance {
    /// The name.
    pub id: String,
    /// Who has the radio then. Default `pm`.
    pub by: By,
    /// Phases in which it may be given; empty means all.
    pub phases: Vec<PhaseId>,
    /// The moment from which it may be given.
    pub when: Expr,
    /// `scene`, `station`, `items`, `info`: as in the radio phrasebook.
    pub scene: Scene,
    /// `with = { BINDING = "EXPR" }`: values that are not drawn by chance.
    pub with: Vec<(String, Expr)>,
    /// `sets = { ENTRY = "EXPR" }`: what the flight sheet learns by a right readback, with the clearance's own values as
    /// slots. Nobody knows it before.
    pub sets: Vec<(SheetId, Expr)>,
    /// What begins with the right readback.
    pub flow: Option<FlowId>,
}
