//! The flight sheet: the plan and data that both pilots hold, and the figures that are computed for it.

use super::{Format, PhaseId, SheetId, Template};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::book::expr::Expr;
use crate::core::physics::performance::figures::Function;
use serde::{Deserialize, Serialize};

/// Index into [`Book::figures`](super::Book::figures).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct FigureId(pub u16);

/// `[sheet.ID]`: an entry of the flight sheet.
#[derive(Debug, Clone)]
pub struct SheetEntry {
    /// The name.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// Where it stands on the sheet: entries of one group stand together.
    pub group: String,
    /// Its type.
    pub kind: ValueKind,
    /// How its value is spoken by the engine.
    pub format: Format,
    /// Value unless something sets it.
    pub value: Option<Value>,
    /// Phases in which it matters: only there is it computed, checked, compared, and does a change reopen anything. Empty
    /// means all.
    pub phases: Vec<PhaseId>,
    /// What it is computed from (`compute` or `formula`).
    pub derived: Option<Derived>,
    /// A given value that differs from the computed one by more than this is spoken of (`within`, in the entry's unit).
    pub within: Option<f64>,
    /// Only a step on the way to others (`quiet = true`): that it was computed anew is not spoken of.
    pub quiet: bool,
    /// What must not be true of it.
    pub checks: Vec<Check>,
    /// What on the aircraft it is compared with.
    pub compare: Option<Compare>,
    /// Missing here, it is asked for.
    pub needed_in: Vec<PhaseId>,
    /// How it is asked for; without it, by one of the engine's own sentences.
    pub ask: Option<Template>,
    /// Entries that it is computed from, sorted.
    pub depends: Vec<SheetId>,
}

impl Default for SheetEntry {
    /// A number without a name.
    fn default() -> Self {
        SheetEntry {
            id: String::new(),
            title: String::new(),
            group: String::new(),
            kind: ValueKind::Number,
            format: Format::Plain,
            value: None,
            phases: Vec::new(),
            derived: None,
            within: None,
            quiet: false,
            checks: Vec::new(),
            compare: None,
            needed_in: Vec::new(),
            ask: None,
            depends: Vec::new(),
        }
    }
}

/// How a value is computed.
#[derive(Debug, Clone)]
pub enum Derived {
    /// `formula = "EXPR"`.
    Formula(Expr),
    /// `compute = "FIGURE.OUTPUT"`: which of the figure's outputs, by index.
    Figure(FigureId, usize),
}

/// `[figures.ID]`: a performance function of the aircraft's own tables, with what goes into it.
#[derive(Debug, Clone)]
pub struct Figure {
    /// The name.
    pub id: String,
    /// What it computes.
    pub function: Function,
    /// One expression an input, in the function's order.
    pub inputs: Vec<Expr>,
}

/// `check = [{ when, say }]`: impossible or contradictory values.
#[derive(Debug, Clone)]
pub struct Check {
    /// Wrong when true.
    pub when: Expr,
    /// Said once each time that it becomes true.
    pub say: Template,
    /// The value is not kept (`refuse = true`); else it stays, in doubt, and nothing is computed from it.
    pub refuse: bool,
    /// The value is in doubt meanwhile; without (`doubt = false`) the sentence is all: a limit is exceeded, and the value
    /// may well be right.
    pub doubt: bool,
}

/// `compare = { with, within, for_s, phases, say }`: what the pilot set on the aircraft against the sheet.
#[derive(Debug, Clone)]
pub struct Compare {
    /// What the aircraft shows.
    pub with: Expr,
    /// Numbers may differ by this much.
    pub within: f64,
    /// Different for this long, sim clock.
    pub for_s: f64,
    /// Compared in these phases; empty means where the entry matters.
    pub phases: Vec<PhaseId>,
    /// Said when they differ; without it, one of the engine's own sentences.
    pub say: Option<Template>,
}

/// Where a value of the sheet came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// The book's own value.
    Book,
    /// A sheet file or a script.
    #[default]
    File,
    /// Typed by the pilot.
    Typed,
    /// Spoken by the pilot.
    Spoken,
    /// Computed from other entries and tables.
    Computed,
    /// Read off the aircraft.
    Aircraft,
    /// A step of a flow wrote it.
    Flow,
    /// Cleared by a controller and read back.
    Radio,
    /// Taken for granted on entering a phase from outside.
    Assumed,
}

impl Source {
    /// Its name, as in the journal.
    pub fn word(self) -> &'static str {
        match self {
            Source::Book => "book",
            Source::File => "file",
            Source::Typed => "typed",
            Source::Spoken => "spoken",
            Source::Computed => "computed",
            Source::Aircraft => "aircraft",
            Source::Flow => "flow",
            Source::Radio => "radio",
            Source::Assumed => "assumed",
        }
    }
}
