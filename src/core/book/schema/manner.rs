//! How the crew behaves towards the pilot: briefings, talk, to whom he speaks, what waits, human distractions.

use super::{By, FlowId, PhaseId, Template};
use crate::core::book::expr::Expr;
use crate::core::grammar::CallId;
use serde::{Deserialize, Serialize};

/// How much is said, least first. What belongs to a level is said at that level and above it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Only what is asked, answered, called out or warned of.
    Quiet,
    /// As on the line.
    #[default]
    Line,
    /// With explanations.
    Training,
}

/// `[calls.ID] later`: this call puts the others of its breath off (`when_clear = true` or `later = "EXPR"`).
#[derive(Debug, Clone)]
pub enum Later {
    /// Until nothing stands against what they set.
    Clear,
    /// Until this is true, with this call's own slots.
    Until(Expr),
}

/// `[briefings.ID]`: while it lasts ordinary calls sleep.
#[derive(Debug, Clone)]
pub struct Briefing {
    /// The name.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// Who briefs. When it is the program's, it speaks the topics in order.
    pub by: By,
    /// Phases in which it may begin; empty means all.
    pub phases: Vec<PhaseId>,
    /// What must come up.
    pub topics: Vec<Topic>,
    /// Said when it is complete.
    pub complete: Template,
}

/// `[[briefings.ID.topics]]`.
#[derive(Debug, Clone)]
pub struct Topic {
    /// The name, unique in the briefing.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// The hidden call with the words that tick it (`mention = ["runway $runway:value"]`).
    pub mention: Option<CallId>,
    /// What was heard must agree (slots bound).
    pub verify: Option<Expr>,
    /// Said when it does not.
    pub shown: Option<Template>,
    /// What the program says when it briefs.
    pub say: Template,
}

/// `[surprises.ID]`: something human that may happen, when the session asks for it.
#[derive(Debug, Clone)]
pub struct Surprise {
    /// The name.
    pub id: String,
    /// What happens.
    pub flow: FlowId,
    /// The moment from which it may happen.
    pub when: Expr,
    /// How likely in a session, 0 to 1. Default 0.5.
    pub chance: f64,
    /// At most so long after that moment, session clock. Default 20 s.
    pub within_s: f64,
}

/// `[manners]`.
#[derive(Debug, Clone, Default)]
pub struct Manners {
    /// While this is true callouts and limits below critical are not spoken (a resolution advisory, a ground-proximity warning).
    pub silent_when: Option<Expr>,
    /// While one of these is true, the pilot speaks to that station only: transmit key or microphone selector.
    pub to_radio_when: Option<Expr>,
    /// To ground.
    pub to_ground_when: Option<Expr>,
    /// To the cabin.
    pub to_cabin_when: Option<Expr>,
}
