//! Phases: the graph, and what is true in each.

use super::{PhaseId, SheetId, Template};
use crate::core::aircraft::Value;
use crate::core::book::expr::Expr;

/// `[phases.ID]`.
#[derive(Debug, Clone, Default)]
pub struct Phase {
    /// The name.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// No conversation here: calls marked `chat` sleep.
    pub sterile: bool,
    /// Phases that may follow.
    pub next: Vec<PhaseId>,
    /// Entered by itself from a phase that lists it in `next`, when this becomes true.
    pub enter_when: Option<Expr>,
    /// Flows, checklists and callouts named here are as if never done once this phase is entered (`rearms`): ids.
    pub rearms: Vec<String>,
    /// Where the built-in aircraft is put when a session begins here (`place`); absent: at the stand, or lined up in the
    /// phases of flight roles.
    pub place: Option<String>,
    /// What the aircraft shows in this phase: looked at when it is entered from outside (`expects`).
    pub expects: Vec<Expect>,
    /// Flows and checklists that count as done when it is entered from outside (`assumes`); absent: those of the phases on
    /// the shortest way here.
    pub assumes: Option<Vec<String>>,
    /// Entries of the sheet that are set then (`assumes_sheet`).
    pub assumes_sheet: Vec<(SheetId, Value)>,
}

/// `expects = [{ when, say }]`.
#[derive(Debug, Clone)]
pub struct Expect {
    /// What should be true.
    pub when: Expr,
    /// Said when it is not.
    pub say: Template,
}
