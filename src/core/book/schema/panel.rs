//! Signals and the controls that set them.

use super::{Ask, Station, Template};
use crate::core::aircraft::{SignalId, ValueKind};
use crate::core::book::expr::Expr;
use serde::{Deserialize, Serialize};

/// `[signals.ID]`: `kind = "number" | "bool" | ["a", "b"]` (a list makes it a word of that set).
#[derive(Debug, Clone)]
pub struct Signal {
    /// The name, unit included.
    pub id: String,
    /// What people call it, for messages.
    pub title: String,
    /// Its type.
    pub kind: ValueKind,
    /// Older than this is unknown. Default 2 s.
    pub stale_after_s: f64,
}

/// How a control behaves under the hand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ControlKind {
    /// Any value in a range.
    Position,
    /// One of a few values.
    Detent,
    /// Pressed: a state is wanted, the press is the way.
    Momentary,
    /// Under a guard that must be lifted.
    Guarded,
    /// Turned step by step.
    Rotary,
    /// The pilot's hardware: asked for and watched, never set.
    Owned,
}

impl ControlKind {
    /// The kinds by the words that name them.
    pub const NAMED: &[(&str, ControlKind)] = &[
        ("position", ControlKind::Position),
        ("detent", ControlKind::Detent),
        ("momentary", ControlKind::Momentary),
        ("guarded", ControlKind::Guarded),
        ("rotary", ControlKind::Rotary),
        ("owned", ControlKind::Owned),
    ];
}

/// `[controls.ID]`.
#[derive(Debug, Clone)]
pub struct Control {
    /// The control's name: what the link is told to set.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// How it behaves.
    pub kind: ControlKind,
    /// The signal that shows where the *control* stands; by default the signal of the same name.
    pub signal: SignalId,
    /// The signal that shows that the *system* has followed; by default the same.
    pub indication: SignalId,
    /// The values it can take: type, and for words the set.
    pub values: ValueKind,
    /// The indication must arrive within this; on the sim's clock. Default 3 s.
    pub travel_s: f64,
    /// Whose it is: anything but the flight deck's is moved only by `make` in a flow of that station.
    pub station: Station,
    /// Needs the stricter score.
    pub critical: bool,
    /// Refusals: when the condition (with `to` bound) holds, the command is refused with the sentence.
    pub refuse: Vec<Refusal>,
    /// Said when a pilot's command is repeated aloud, `{to}` bound. Absent: nothing is repeated.
    pub echo: Option<Template>,
    /// Said when the indication has arrived.
    pub report: Option<Template>,
    /// The answer that is due once it stands where it was set: a cross-check.
    pub reply: Option<Ask>,
}

/// A placard or a condition that stands against a command: `refuse = [{ when = "…", say = "…" }]`.
#[derive(Debug, Clone)]
pub struct Refusal {
    /// Refuse when true. Unknown does not refuse.
    pub when: Expr,
    /// What is said instead.
    pub say: Template,
}
