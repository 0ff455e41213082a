//! What is read aloud and verified, and what is watched: checklists, callouts, limits.

use super::{Ask, By, ControlId, FlowId, PhaseId, Template};
use crate::core::aircraft::SignalId;
use crate::core::book::expr::Expr;
use crate::core::grammar::CallId;
use serde::{Deserialize, Serialize};

/// How the program knows that an item is true.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// A signal shows it.
    Seen,
    /// The pilot's word only.
    HeardOnly,
    /// No source: spoken for the exercise.
    Simulated,
}

/// `[checklists.ID]`.
#[derive(Debug, Clone)]
pub struct Checklist {
    /// The name.
    pub id: String,
    /// What people call it, spoken first.
    pub title: Template,
    /// Who reads.
    pub reader: By,
    /// Phases in which it may be called for; empty means all.
    pub phases: Vec<PhaseId>,
    /// The items in order.
    pub items: Vec<Item>,
    /// The completion call, spoken last.
    pub complete: Template,
    /// Phase entered when complete.
    pub then_phase: Option<PhaseId>,
}

/// One item: `[[checklists.ID.items]]`.
#[derive(Debug, Clone)]
pub struct Item {
    /// The name, unique in the list.
    pub id: String,
    /// The challenge.
    pub challenge: Template,
    /// Who answers.
    pub by: By,
    /// The list waits here until this is true (`waits_for`).
    pub waits_for: Option<Expr>,
    /// The hidden call with the accepted responses (`respond = ["set", "flaps $flap:value"]`); none when only the program ever answers.
    pub respond: Option<CallId>,
    /// What the program says when the item is its own.
    pub say: Option<Template>,
    /// The aircraft must agree (slots of the response bound).
    pub verify: Option<Expr>,
    /// How the aircraft's own state is told in a challenge ("Flaps show {flap_angle_deg}").
    pub shown: Option<Template>,
    /// Told how it is known: `seen` if there is a `verify`, else `heard_only` or `simulated`.
    pub known: Known,
    /// Cannot be skipped but by the explicit word, and is recorded so.
    pub killer: bool,
    /// Asked again after this many seconds. Default 8.
    pub within_s: f64,
}

/// What makes a callout.
#[derive(Debug, Clone)]
pub enum Edge {
    /// `when = "EXPR"`, optional `for_s`: becomes true and stays so.
    When {
        /// The condition.
        expr: Expr,
        /// For how long, sim clock.
        for_s: f64,
    },
    /// `signal = "ID"`, `rises_through` or `falls_through = "EXPR"`: an exact crossing, interpolated by the link.
    Through {
        /// The signal.
        signal: SignalId,
        /// The value, re-evaluated when what it reads changes.
        value: Expr,
        /// Rising or falling.
        rising: bool,
    },
}

/// Which part of the spoken words is due at the value.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Due {
    /// The first sample.
    #[default]
    Onset,
    /// The last sample.
    End,
}

/// `[callouts.ID]`.
#[derive(Debug, Clone)]
pub struct Callout {
    /// The name.
    pub id: String,
    /// Whose call; silent when it is the pilot's.
    pub by: By,
    /// Armed in these phases; re-armed when one of them is entered from outside of them.
    pub phases: Vec<PhaseId>,
    /// What makes it.
    pub edge: Edge,
    /// Further condition at that moment (`if`).
    pub only_if: Option<Expr>,
    /// The words.
    pub say: Template,
    /// Onset or end at the value.
    pub due: Due,
    /// How urgent.
    pub priority: Priority,
    /// A reply due from the pilot.
    pub reply: Option<Ask>,
    /// Phase entered when made.
    pub then_phase: Option<PhaseId>,
}

/// Urgency of speech; later ones pre-empt earlier ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Priority {
    /// Talk that can wait.
    Chat,
    /// Flows, lists, answers.
    #[default]
    Routine,
    /// Deviations, refusals.
    Caution,
    /// Takeoff and landing calls; never cut by anything but another.
    Critical,
}

/// `[limits.ID]`: a watch that is always on in its phases.
#[derive(Debug, Clone)]
pub struct Limit {
    /// The name.
    pub id: String,
    /// Watched in these phases; empty means all.
    pub phases: Vec<PhaseId>,
    /// Whose job.
    pub by: By,
    /// Exceeded when true …
    pub when: Expr,
    /// … for this long, sim clock.
    pub for_s: f64,
    /// Said once per excursion.
    pub say: Template,
    /// How urgent.
    pub priority: Priority,
    /// Done at once, in order (engine start cut-off): `then = [{ set = "…", to = "…" }]`.
    pub then: Vec<(ControlId, Expr)>,
    /// Flow that this ends as not done.
    pub ends_flow: Option<FlowId>,
}
