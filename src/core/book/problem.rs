//! What is wrong with a book: a stable id, a place, one plain sentence, a hint with the corrected text.

use super::rules::Rule;
use serde::Serialize;
use std::fmt;

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// The book cannot be flown.
    Error,
    /// The book can be flown, but is hardly meant so.
    Warning,
}

/// A stretch of a file. Lines and columns count from 1; columns count characters.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Place {
    /// The file's name as the loader was given it.
    pub file: String,
    /// Line of the first character.
    pub line: u32,
    /// Column of the first character.
    pub column: u32,
    /// First byte.
    pub start: usize,
    /// One past the last byte.
    pub end: usize,
}

/// One finding.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// Stable name of the kind of problem; `docs/diagnostics.md` explains each.
    pub id: &'static str,
    /// How bad.
    pub severity: Severity,
    /// Where; absent when it is about the book as a whole.
    pub place: Option<Place>,
    /// One plain sentence.
    pub text: String,
    /// What to write instead.
    pub hint: Option<String>,
}

impl Problem {
    /// A finding of this kind, without a place.
    pub fn new(rule: &'static Rule, text: impl Into<String>) -> Self {
        Problem { id: rule.id, severity: rule.severity, place: None, text: text.into(), hint: None }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(p) = &self.place {
            write!(f, "{}:{}:{}: ", p.file, p.line, p.column)?;
        }
        let word = match self.severity {
            Severity::Error => "error",
            Severity::Warning => "warning",
        };
        write!(f, "{word} [{}] {}", self.id, self.text)?;
        if let Some(hint) = &self.hint {
            write!(f, " — {hint}")?;
        }
        Ok(())
    }
}

/// The name nearest to `wrong`, if one is near enough to be meant: at most a third of its letters differ.
pub fn nearest<'a>(wrong: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wrong_lower = wrong.to_lowercase();
    names
        .into_iter()
        .map(|n| (strsim::osa_distance(&wrong_lower, &n.to_lowercase()), n))
        .filter(|(d, n)| *d <= (wrong.chars().count().max(n.chars().count()) / 3).max(1))
        .min_by(|a, b| a.cmp(b))
        .map(|(_, n)| n)
}

#[cfg(test)]
mod tests {
    use super::nearest;

    #[test]
    fn the_nearest_name_is_offered_and_a_far_one_is_not() {
        let names = ["ias_kt", "altitude_ft", "gear_lever", "gear_position"];
        let check = |wrong, want: Option<&str>| assert_eq!(nearest(wrong, names), want, "{wrong}");
        check("ias_kts", Some("ias_kt"));
        check("IAS_KT", Some("ias_kt"));
        check("gaer_lever", Some("gear_lever"));
        check("gear_postion", Some("gear_position"));
        check("oil", None);
        check("", None);
    }
}
