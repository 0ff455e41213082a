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
    expr.eval(scope).map_or_else(|| UNKNOWN.to_string(), |value| in_words(value, format))
}

/// A value as a sentence speaks it.
pub fn in_words(value: Value, format: Format) -> String {
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

#[cfg(test)]
mod tests {
    use super::UNKNOWN;
    use crate::core::aircraft::Value;
    use crate::core::book::expr::{Name, Scope};
    use crate::core::book::{Folder, SourceFile, load};

    struct Now(Option<Value>);
    impl Scope for Now {
        fn value(&self, _: &Name) -> Option<Value> {
            self.0.clone()
        }
    }

    #[track_caller]
    fn check(kind: &str, text: &str, value: Option<Value>, wanted: &str) {
        let book = format!(
            "[book]\ntitle = \"x\"\n[signals.x]\nkind = \"{kind}\"\n[limits.a]\nwhen = \"true\"\nsay = \"{text}\"\n"
        );
        let folder = Folder { id: "x".into(), files: vec![SourceFile { name: "x".into(), text: book }] };
        let book = load(&folder, &|_| None).book;
        assert_eq!(book.limits[0].say.say(&Now(value), &|_| None), wanted, "{text}");
    }

    #[test]
    fn values_are_spoken_in_their_format() {
        let n = |n| Some(Value::Number(n));
        check("number", "Flaps {x:number}", n(20.0), "Flaps twenty");
        check("number", "Flaps {x}, {x + 1}", n(20.0), "Flaps twenty, twenty one");
        check("number", "Speed {x:digits}", n(83.7), "Speed eight four");
        check("number", "Minus {x:number}", n(-0.2), "Minus zero");
        check("number", "Heading {x:heading}", n(7.2), "Heading zero zero seven");
        check("number", "Altitude {x:altitude}", n(2500.3), "Altitude two thousand five hundred");
        check("number", "Trim {x:decimal}", n(4.54), "Trim four decimal five");
        check("word", "Runway {x:runway}", Some(Value::Word("09L".into())), "Runway zero nine left");
        check("word", "Mode {x}", Some(Value::Word("take_off".into())), "Mode take off");
        check("bool", "It is {x ? 'set' : 'off'}", Some(Value::Bool(true)), "It is set");
        check("number", "{{x}} {x > 1 ? 'fast' : 'slow':plain}", n(2.0), "{x} fast");
    }

    #[test]
    fn what_is_unknown_is_said_to_be_unknown() {
        check("number", "Flaps {x:number}", None, &format!("Flaps {UNKNOWN}"));
        check("number", "Ratio {x / 0:number}", Some(Value::Number(1.0)), "Ratio unknown");
        check("bool", "It is {x ? 'set' : 'off'}", None, "It is unknown");
    }
}
