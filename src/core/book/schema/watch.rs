//! What is watched: callouts and limits.

use super::{Ask, By, ControlId, FlowId, PhaseId, Template};
use crate::core::aircraft::SignalId;
use crate::core::book::expr::Expr;
use crate::core::grammar::CallId;
use serde::{Deserialize, Serialize};

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
    /// The call by which the *pilot* makes it when it is his (`heard_as`): made for him when it stays away.
    pub heard_as: Option<CallId>,
    /// After this long, session clock. Default 2 s.
    pub missing_s: f64,
    /// Phase entered when made.
    pub then_phase: Option<PhaseId>,
    /// Made again in the same phases: at each new truth of `when`, at each new value of a crossing (`repeatable`).
    pub repeatable: bool,
    /// The aircraft makes this call itself.
    pub own_voice: Option<OwnVoice>,
}

/// `own_voice = { if, heard, steps_in_s }`: a call that the aircraft makes itself.
#[derive(Debug, Clone)]
pub struct OwnVoice {
    /// Only while this holds (`if`); absent is true. While it does not hold, the call is ours as any other.
    pub only_if: Option<Expr>,
    /// True while, or after, the aircraft makes the call; absent: nobody can tell, and the call is never ours.
    pub heard: Option<Expr>,
    /// We step in when the aircraft has been silent for so long from the mark, sim clock.
    pub steps_in_s: f64,
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
    /// A reply due from the pilot: until it is heard or the value is back, the words are repeated.
    pub reply: Option<Ask>,
    /// Said once when all repeats stay unanswered.
    pub unanswered: Option<Template>,
    /// Flow that this ends as not done.
    pub ends_flow: Option<FlowId>,
}
