//! What can be wrong with a link file, beside what can be wrong with any file of ours.

use crate::core::book::Severity;
use crate::core::book::rules::Rule;

/// A signal that the book does not have.
pub const LINK_SIGNAL: &Rule = &Rule {
    id: "link-signal",
    severity: Severity::Warning,
    means: "The link file gives a signal or a control that the book does not have: it is not used.",
    mend: "Correct the name, or add the signal to the book.",
};

/// A unit that is not known, or that does not measure what the signal is.
pub const LINK_UNIT: &Rule = &Rule {
    id: "link-unit",
    severity: Severity::Error,
    means: "The unit is not in the table of units, or it measures something else than the signal's name says.",
    mend: "Write the unit that the property has in the simulator; docs/link-protocol.md lists all units.",
};

/// An entry without a source, or with two.
pub const LINK_SOURCE: &Rule = &Rule {
    id: "link-source",
    severity: Severity::Error,
    means: "It is not said, or said twice, where a value comes from, or a key does not fit the type of the signal.",
    mend: "Give a signal either `path` or `is`; give `words` to signals that are words, `unit` to numbers.",
};

/// A path or an address that cannot be used.
pub const LINK_ADDRESS: &Rule = &Rule {
    id: "link-address",
    severity: Severity::Error,
    means: "A path holds a space or a control character, or an address is not HOST:PORT.",
    mend: "Write the path as the simulator has it, and addresses as in \"127.0.0.1:5401\".",
};

/// Every rule of this page.
pub const RULES: &[&Rule] = &[LINK_ADDRESS, LINK_SIGNAL, LINK_SOURCE, LINK_UNIT];
