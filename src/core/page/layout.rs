//! What the page shows of aircraft and sheet: `phrasebooks/page.toml`, built into the program.

use crate::core::aircraft::SignalId;
use crate::core::book::Book;
use serde::Deserialize;

/// The whole file.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Layout {
    /// Figures of the aircraft.
    #[serde(default)]
    pub figures: Vec<Figure>,
    /// Speeds of the sheet.
    #[serde(default)]
    pub speeds: Vec<Speed>,
}

/// A figure of the aircraft.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Figure {
    /// For people.
    pub title: String,
    /// The signal's name.
    pub signal: String,
    /// Written after a number.
    #[serde(default)]
    pub unit: String,
    /// For true.
    #[serde(default = "yes")]
    pub on: String,
    /// For false.
    #[serde(default = "no")]
    pub off: String,
}

fn yes() -> String {
    "yes".into()
}

fn no() -> String {
    "no".into()
}

/// A speed of the sheet.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Speed {
    /// For people.
    pub title: String,
    /// The sheet's entry.
    pub entry: String,
}

impl Layout {
    /// The one that is built in, less what the book does not have; a unit test proves that it can be read.
    pub fn built_in(book: &Book) -> Layout {
        let mut all: Layout = toml::from_str(include_str!("../../../phrasebooks/page.toml")).unwrap_or_default();
        all.figures.retain(|f| book.signal(&f.signal).is_some());
        all.speeds.retain(|s| book.sheet.iter().any(|e| e.id == s.entry));
        all
    }

    /// The signals of the figures, in order.
    pub fn signals(&self, book: &Book) -> Vec<SignalId> {
        self.figures.iter().filter_map(|f| book.signal(&f.signal)).collect()
    }
}
