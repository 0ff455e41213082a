//! The parsed form of a wording.

use std::fmt;
use std::ops::Range;

/// A rule expansion with its place in the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expansion {
    /// Bytes of the text it came from.
    pub span: Range<usize>,
    /// What it is.
    pub shape: Shape,
}

/// What an expansion can be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Shape {
    /// One spoken word: lower case, apostrophes and inner hyphens kept.
    Word(String),
    /// One after the other. Empty only where a problem was reported.
    Sequence(Vec<Expansion>),
    /// One of several.
    Choice(Vec<Expansion>),
    /// Once or not at all.
    Optional(Box<Expansion>),
    /// Between `min` and `max` times.
    Repeat {
        /// What is repeated.
        what: Box<Expansion>,
        /// At least.
        min: u32,
        /// At most.
        max: u32,
    },
    /// `$name` or `$name:binding`: a rule, or a slot of that type.
    Reference {
        /// Name of the rule or of the slot's type.
        name: String,
        /// The slot's own name; `None` where the text gives none.
        binding: Option<String>,
    },
}

impl Expansion {
    /// A word that stands in no text, for grammars made by the program.
    pub fn word(word: &str) -> Self {
        Expansion { span: 0..0, shape: Shape::Word(word.to_lowercase()) }
    }
}

/// Prints the expansion as grammar text again.
impl fmt::Display for Expansion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fn joined(f: &mut fmt::Formatter<'_>, all: &[Expansion], by: &str) -> fmt::Result {
            for (i, e) in all.iter().enumerate() {
                if i > 0 {
                    f.write_str(by)?;
                }
                write!(f, "{e}")?;
            }
            Ok(())
        }
        match &self.shape {
            Shape::Word(w) => f.write_str(w),
            Shape::Sequence(all) => joined(f, all, " "),
            Shape::Choice(all) => {
                f.write_str("(")?;
                joined(f, all, " | ")?;
                f.write_str(")")
            }
            Shape::Optional(e) => write!(f, "[{e}]"),
            Shape::Repeat { what, min, max } if min == max => write!(f, "({what}) <{min}>"),
            Shape::Repeat { what, min, max } => write!(f, "({what}) <{min}-{max}>"),
            Shape::Reference { name, binding: None } => write!(f, "${name}"),
            Shape::Reference { name, binding: Some(b) } => write!(f, "${name}:{b}"),
        }
    }
}
