//! Speaking a sentence.

use super::expr::{Expr, Scope};
use super::schema::{Format, Part, Template};
use crate::core::aircraft::Value;
use crate::core::words::{Form, Regime, say};

/// Said for a value that is not known: a sentence must not lie.
pub const UNKNOWN: &str = "unknown";

impl Template {
    /// The sentence with its values now, `holes` filled by the caller. What is unknown is spoken as [`UNKNOWN`].
    pub fn say(&self, scope: &dyn Scope, holes: &dyn Fn(&str) -> Option<String>) -> String {
        let mut text = String::new();
        for part in &self.parts {
            match part {
                Part::Text(t) => text.push_str(t),
                Part::Value(expr, format) => text.push_str(&spoken(expr, *format, scope)),
                Part::Hole(name) => text.push_str(holes(name).as_deref().unwrap_or(UNKNOWN)),
            }
        }
        text
    }

    /// Whether it says nothing.
    pub fn is_empty(&self) -> bool {
        self.parts.is_empty()
    }
}

fn spoken(expr: &Expr, format: Format, scope: &dyn Scope) -> String {
    let Some(value) = expr.eval(scope) else { return UNKNOWN.to_string() };
    // Gauges show fractions that nobody speaks; only two formats have places after the point.
    let value = match (value, format) {
        (Value::Number(n), Format::Decimal | Format::Frequency) => Value::Number(n),
        // `+ 0.0` turns minus zero into zero.
        (Value::Number(n), _) => Value::Number(libm::round(n) + 0.0),
        (other, _) => other,
    };
    match (&value, format) {
        // A word of the book is spoken as the book writes it.
        (Value::Word(w), Format::Plain) => w.replace('_', " "),
        _ => say(form(format), &value, Regime::Icao),
    }
}

fn form(format: Format) -> Form {
    match format {
        Format::Plain | Format::Number => Form::Plain,
        Format::Digits => Form::Digits,
        Format::Heading => Form::Heading,
        Format::Altitude => Form::Altitude,
        Format::Level => Form::Level,
        Format::Runway => Form::Runway,
        Format::Decimal => Form::Decimal,
        Format::Speed => Form::Speed,
        Format::Frequency => Form::Frequency,
        Format::Squawk => Form::Squawk,
        Format::Qnh => Form::Qnh,
        Format::Letters => Form::Letter,
    }
}
