//! What the page is sent: sections, each as JSON, each sent again only when it has changed.

use super::wording::Piece;
use serde::Serialize;

/// What was last heard.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct LastHeard {
    /// The session's clock, for people.
    pub at: String,
    /// How it came: `voice`, `words` (typed or touched).
    pub by: &'static str,
    /// The best reading.
    pub text: String,
    /// Its score in nats, rounded.
    pub score: f64,
    /// What it was taken for; empty if for nothing.
    pub taken: Vec<String>,
    /// Why not.
    pub why: String,
    /// What else it could have been, with scores.
    pub others: Vec<(String, f64)>,
}

/// What the second pilot does.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Doing {
    /// Being said at this moment: who and what.
    pub saying: Vec<(String, String)>,
    /// What waits for the pilot.
    pub for_you: Vec<String>,
    /// What goes on.
    pub now: Vec<Work>,
    /// What comes next.
    pub next: Vec<String>,
    /// Commands that were put off until later.
    pub put_off: Vec<String>,
    /// The briefing that goes on: its title, empty if there is none, and its topics with whether they have come up.
    pub briefing: (String, Vec<(String, bool)>),
}

/// Something under way.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Work {
    /// Who does it.
    pub who: String,
    /// Its title.
    pub what: String,
    /// The present step.
    pub step: String,
    /// Step and number of steps; empty if it has none.
    pub of: String,
}

/// The running checklist.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Reading {
    /// As spoken; empty if none is being read.
    pub title: String,
    /// What it waits for.
    pub waits: String,
    /// Whether the pilot's answer is due.
    pub due: bool,
    /// Whether the pilot holds it.
    pub held: bool,
    /// The items.
    pub items: Vec<ItemRow>,
    /// Lists that wait behind it.
    pub behind: Vec<String>,
    /// How the present item can be answered.
    pub answers: Vec<Vec<Piece>>,
}

/// One item.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ItemRow {
    /// The challenge.
    pub challenge: String,
    /// `you`, `second pilot`, `both`.
    pub whose: &'static str,
    /// `open`, `now`, `agreed`, `contradicted`, `cannot_see`, `skipped`, `no_answer`.
    pub state: String,
    /// What you answered.
    pub you: String,
    /// What the second pilot answered.
    pub second: String,
    /// How you are expected to answer: the book's first wording; empty if the item is not yours.
    pub expected: String,
    /// How the second pilot will answer; empty if the item is not his.
    pub second_says: String,
    /// What the aircraft shows.
    pub shown: String,
    /// Whether that is what the book wants.
    pub agrees: Option<bool>,
    /// `seen`, `heard_only`, `simulated`.
    pub known: String,
    /// Not to be left out.
    pub killer: bool,
}

/// Phase, roles and figures.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Flight {
    /// The phase.
    pub phase: String,
    /// Phases that may follow.
    pub next: Vec<String>,
    /// What you are.
    pub you: String,
    /// What the second pilot is.
    pub second: String,
    /// Title, value (empty when not seen).
    pub figures: Vec<(String, String)>,
    /// Speeds of the sheet.
    pub speeds: Vec<(String, String)>,
}

/// What can be said, of one meaning.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// What these calls do.
    pub title: &'static str,
    /// They answer something that is due.
    pub due: bool,
    /// How each is said.
    pub calls: Vec<Said>,
}

/// A call that can be said.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Said {
    /// Its wording.
    pub say: Vec<Piece>,
    /// Asked about before it is done by touch.
    pub critical: bool,
}

/// Calls on the conversation itself, as words; empty where the book has none or it is not live.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Keys {
    /// Stops where we are.
    pub hold: String,
    /// Goes on.
    pub resume: String,
    /// Says the last thing again.
    pub repeat: String,
    /// Leaves the present item.
    pub skip: String,
    /// Stops our talk.
    pub stop: String,
    /// Whether push-to-talk does something here.
    pub talk: bool,
}

/// A room's health.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Health {
    /// Which room.
    pub room: &'static str,
    /// `good`, `waits`, `bad`.
    pub state: &'static str,
    /// In words.
    pub text: String,
}

/// Something refused or not done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Refused {
    /// The session's clock.
    pub at: String,
    /// What.
    pub what: String,
    /// Why.
    pub why: String,
}

/// A line of the score.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScoreLine {
    /// The session's clock.
    pub at: String,
    /// `you`, `second`, `flight`.
    pub side: &'static str,
    /// Who of those on the second pilot's side; empty for himself.
    pub who: &'static str,
    /// The words.
    pub text: String,
}

/// An entry of the flight sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entry {
    /// Its name.
    pub id: String,
    /// For people.
    pub title: String,
    /// `number`, `bool`, `word`.
    pub kind: &'static str,
    /// The words it can be; empty for any.
    pub among: Vec<String>,
    /// As it stands; empty if there is none.
    pub value: String,
    /// Who set it, or where it comes from.
    pub by: String,
    /// When, on the session's clock; empty for what was there before.
    pub at: String,
    /// Who has cross-checked it, and by what; empty if nobody.
    pub checked: String,
    /// Whether a check says that it cannot be right, and nobody has confirmed it.
    pub doubted: bool,
    /// `flight` (somebody on this flight wrote, checked or doubts it), `given` (book, computed, read off) or `open`.
    pub part: &'static str,
}
