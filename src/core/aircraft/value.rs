//! A value that a signal, a slot or a flight-sheet entry can hold.

use serde::{Deserialize, Serialize};
use std::fmt;

/// Number, truth or one word of a closed set. Never NaN: the edge refuses it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(untagged)]
pub enum Value {
    /// `true` / `false`.
    Bool(bool),
    /// A finite number in the unit that the name says.
    Number(f64),
    /// One word of an enumeration (`"up"`, `"27L"`, `"2400"`).
    Word(String),
}

/// The type of a [`Value`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ValueKind {
    /// Truth.
    Bool,
    /// Number.
    Number,
    /// One of these words; an empty list means any word.
    Word(Vec<String>),
}

impl Value {
    /// The number inside, if it is one.
    pub fn number(&self) -> Option<f64> {
        if let Value::Number(n) = self { Some(*n) } else { None }
    }
    /// The truth inside, if it is one.
    pub fn truth(&self) -> Option<bool> {
        if let Value::Bool(b) = self { Some(*b) } else { None }
    }
    /// The word inside, if it is one.
    pub fn word(&self) -> Option<&str> {
        if let Value::Word(w) = self { Some(w) } else { None }
    }
    /// Whether two values are the same for a control: numbers within one part in a million, others exactly.
    pub fn same(&self, other: &Value) -> bool {
        match (self, other) {
            (Value::Number(a), Value::Number(b)) => (a - b).abs() <= 1e-6 * a.abs().max(b.abs()).max(1.0),
            (a, b) => a == b,
        }
    }
    /// Whether the value belongs to `kind` (and is finite).
    pub fn fits(&self, kind: &ValueKind) -> bool {
        match (self, kind) {
            (Value::Bool(_), ValueKind::Bool) => true,
            (Value::Number(n), ValueKind::Number) => n.is_finite(),
            (Value::Word(w), ValueKind::Word(all)) => all.is_empty() || all.contains(w),
            _ => false,
        }
    }
}

impl fmt::Display for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Value::Bool(b) => write!(f, "{b}"),
            Value::Number(n) => write!(f, "{n}"),
            Value::Word(w) => f.write_str(w),
        }
    }
}
