//! What was wrong with what came in: counted, told once, never fatal.

use serde::Serialize;
use std::collections::BTreeMap;

/// Kinds of faults.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum FaultKind {
    /// A line longer than [`super::lines::MAX_LINE`].
    TooLong,
    /// Not JSON, not a message, not a row of numbers.
    Unreadable,
    /// A message of a type that this version does not know.
    UnknownMessage,
    /// A signal that was not described, or that the book does not have.
    UnknownSignal,
    /// A unit that is unknown or does not measure what the signal is.
    WrongUnit,
    /// A value that is not of the signal's type, or not finite.
    WrongValue,
    /// The same state twice.
    Duplicate,
    /// A state older than the one before.
    Backwards,
    /// A message before the greeting, or one that only the other side sends.
    OutOfTurn,
    /// The other side speaks another version.
    Version,
    /// More states than can be of use: some were put together.
    Flood,
    /// The other side told of an error.
    TheirError,
}

impl FaultKind {
    fn sentence(self) -> &'static str {
        match self {
            FaultKind::TooLong => "the simulator sent a line that is too long; it was passed over",
            FaultKind::Unreadable => "the simulator sent something that is not a message; it was passed over",
            FaultKind::UnknownMessage => "the simulator sent a message that this version does not know",
            FaultKind::UnknownSignal => "the simulator sent a signal that is not known here; it is not used",
            FaultKind::WrongUnit => "the simulator gave a unit that does not fit the signal; the signal is not used",
            FaultKind::WrongValue => "the simulator sent a value that does not fit the signal; it was not used",
            FaultKind::Duplicate => "the simulator sent the same state twice; the second was not used",
            FaultKind::Backwards => "the simulator sent a state older than the one before; it was not used",
            FaultKind::OutOfTurn => "the simulator sent a message out of turn; it was passed over",
            FaultKind::Version => "the simulator speaks another version of the link; update the older of the two",
            FaultKind::Flood => "the simulator sends more states than can be of use; some are put together",
            FaultKind::TheirError => "the simulator tells of an error",
        }
    }
}

/// Counts by kind.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Faults {
    counts: BTreeMap<FaultKind, u64>,
}

/// Longest detail that is told, characters.
const DETAIL: usize = 80;

impl Faults {
    /// Counts one; the first of its kind gives a sentence to be told, with `detail` if there is any.
    pub fn count(&mut self, kind: FaultKind, detail: &str) -> Option<String> {
        let n = self.counts.entry(kind).or_default();
        *n += 1;
        if *n > 1 {
            return None;
        }
        let detail: String = detail.chars().filter(|c| !c.is_control()).take(DETAIL).collect();
        let sentence = kind.sentence();
        Some(if detail.is_empty() { sentence.to_string() } else { format!("{sentence} ({detail})") })
    }

    /// How many of a kind.
    pub fn of(&self, kind: FaultKind) -> u64 {
        self.counts.get(&kind).copied().unwrap_or(0)
    }

    /// Everything counted.
    pub fn all(&self) -> &BTreeMap<FaultKind, u64> {
        &self.counts
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_of_a_kind_is_told_and_all_are_counted() {
        let mut f = Faults::default();
        let told = f.count(FaultKind::WrongUnit, "ias_kt in parsec\n").expect("the first");
        assert!(told.ends_with("(ias_kt in parsec)"), "{told}");
        assert_eq!(f.count(FaultKind::WrongUnit, "again"), None);
        assert!(f.count(FaultKind::Duplicate, "").is_some());
        assert_eq!((f.of(FaultKind::WrongUnit), f.of(FaultKind::TooLong)), (2, 0));
    }
}
