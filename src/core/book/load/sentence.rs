//! Sentence text (`"Flaps {to:number}"`) → a template.

use super::condition::{self, Env, Fault};
use crate::core::aircraft::ValueKind;
use crate::core::book::problem::nearest;
use crate::core::book::rules::{self, Rule};
use crate::core::book::schema::{Format, Part, Template};

/// The formats with the word that asks for each.
pub const FORMATS: &[(&str, Format)] = &[
    ("plain", Format::Plain),
    ("number", Format::Number),
    ("digits", Format::Digits),
    ("heading", Format::Heading),
    ("altitude", Format::Altitude),
    ("level", Format::Level),
    ("runway", Format::Runway),
    ("decimal", Format::Decimal),
    ("speed", Format::Speed),
    ("frequency", Format::Frequency),
    ("squawk", Format::Squawk),
    ("qnh", Format::Qnh),
    ("letters", Format::Letters),
];

/// Parses a sentence. `holes` are the names that the engine fills; elsewhere there are none.
///
/// # Errors
/// Every fault found; at least one.
pub fn compile(text: &str, env: &Env, holes: Option<&[&str]>) -> Result<Template, Vec<Fault>> {
    let (mut parts, mut faults, mut plain) = (Vec::new(), Vec::new(), String::new());
    let fault = |rule: &'static Rule, start: usize, end: usize, text: &str, hint: Option<String>| Fault {
        rule,
        start,
        end,
        text: text.into(),
        hint,
    };
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        let rest = &text[at..];
        if rest.starts_with("{{") || rest.starts_with("}}") {
            plain.push(c);
            at += 2;
        } else if c == '}' {
            let hint = "write `}}` for a brace".to_string();
            faults.push(fault(rules::TEMPLATE_SYNTAX, at, at + 1, "This brace closes nothing.", Some(hint)));
            at += 1;
        } else if c == '{' {
            let Some(end) = closing(rest) else {
                let hint = "close it with `}`, or write `{{` for a brace".to_string();
                let text = "This brace is never closed.";
                faults.push(fault(rules::TEMPLATE_SYNTAX, at, at + 1, text, Some(hint)));
                break;
            };
            if !plain.is_empty() {
                parts.push(Part::Text(std::mem::take(&mut plain)));
            }
            match value(&rest[1..end], env, holes) {
                Ok(part) => parts.push(part),
                Err(more) => {
                    faults.extend(more.into_iter().map(|f| Fault { start: f.start + at + 1, end: f.end + at + 1, ..f }))
                }
            }
            at += end + 1;
        } else {
            plain.push(c);
            at += c.len_utf8();
        }
    }
    if !plain.is_empty() {
        parts.push(Part::Text(plain));
    }
    if faults.is_empty() { Ok(Template { parts }) } else { Err(faults) }
}

/// Where the brace that opens `text` is closed, quotes respected.
fn closing(text: &str) -> Option<usize> {
    let mut quote = None;
    for (i, c) in text.char_indices().skip(1) {
        match quote {
            Some(q) if c == q => quote = None,
            Some(_) => {}
            None if c == '\'' || c == '"' => quote = Some(c),
            None if c == '}' => return Some(i),
            None => {}
        }
    }
    None
}

fn value(inside: &str, env: &Env, holes: Option<&[&str]>) -> Result<Part, Vec<Fault>> {
    let name = inside.trim();
    if name.is_empty() {
        let text = "There is nothing between these braces.".into();
        return Err(vec![Fault { rule: rules::TEMPLATE_SYNTAX, start: 0, end: inside.len(), text, hint: None }]);
    }
    if let Some(holes) = holes {
        if holes.contains(&name) {
            return Ok(Part::Hole(name.to_string()));
        }
        // A lone word that is no signal can only be meant as a hole.
        let lone = name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
        if lone && name != "phase" && env.names.signals.find(name).is_none() {
            let hint = match nearest(name, holes.iter().copied()) {
                Some(n) => format!("did you mean \"{{{n}}}\"?"),
                None if holes.is_empty() => "this sentence has no holes".to_string(),
                None => format!("it can have {{{}}}", holes.join("}, {")),
            };
            let text = format!("The engine does not fill `{{{name}}}` here.");
            return Err(vec![Fault { rule: rules::UNKNOWN_HOLE, start: 0, end: inside.len(), text, hint: Some(hint) }]);
        }
    }
    let (expr_text, format) = split(inside)?;
    let expr = condition::compile(expr_text, env, None)?;
    fit(&expr.kind, format, inside)?;
    Ok(Part::Value(expr, format))
}

/// Divides `EXPR:FORMAT`. The colon of `c ? a : b` is no format, for what follows it is preceded by a `?`.
fn split(inside: &str) -> Result<(&str, Format), Vec<Fault>> {
    let Some(colon) = last_colon(inside) else { return Ok((inside, Format::Plain)) };
    let word = inside[colon + 1..].trim();
    if let Some((_, f)) = FORMATS.iter().find(|(w, _)| *w == word) {
        return Ok((&inside[..colon], *f));
    }
    let hint = match nearest(word, FORMATS.iter().map(|(w, _)| *w)) {
        Some(n) => format!("did you mean \"{n}\"?"),
        None => format!("the formats are {}", FORMATS.iter().map(|(w, _)| *w).collect::<Vec<_>>().join(", ")),
    };
    let text = format!("There is no format `{word}`.");
    Err(vec![Fault { rule: rules::UNKNOWN_FORMAT, start: colon + 1, end: inside.len(), text, hint: Some(hint) }])
}

/// The colon outside of quotes that no `?` before it has claimed.
fn last_colon(text: &str) -> Option<usize> {
    let (mut quote, mut claims) = (None, 0);
    for (i, c) in text.char_indices() {
        match quote {
            Some(q) if c == q => quote = None,
            Some(_) => {}
            None => match c {
                '\'' | '"' => quote = Some(c),
                '?' => claims += 1,
                ':' if claims > 0 => claims -= 1,
                ':' => return Some(i),
                _ => {}
            },
        }
    }
    None
}

/// Whether a value of this type can be spoken in this way.
fn fit(kind: &ValueKind, format: Format, inside: &str) -> Result<(), Vec<Fault>> {
    let err = |rule, text: &str, hint: String| {
        Err(vec![Fault { rule, start: 0, end: inside.len(), text: text.into(), hint: Some(hint) }])
    };
    match (kind, format) {
        (ValueKind::Bool, _) => {
            let expr = inside.split(':').next().unwrap_or(inside).trim();
            err(
                rules::TRUTH_IN_SENTENCE,
                "A truth has no words of its own.",
                format!("write {{{expr} ? 'on' : 'off'}}"),
            )
        }
        (ValueKind::Number, Format::Runway | Format::Squawk | Format::Letters) => {
            err(rules::UNKNOWN_FORMAT, "This format is for words, and the value is a number.", "use `digits`".into())
        }
        (
            ValueKind::Word(_),
            Format::Number
            | Format::Heading
            | Format::Altitude
            | Format::Level
            | Format::Decimal
            | Format::Speed
            | Format::Frequency
            | Format::Qnh,
        ) => err(
            rules::UNKNOWN_FORMAT,
            "This format is for numbers, and the value is a word.",
            "use `plain`, `letters` or `digits`".into(),
        ),
        _ => Ok(()),
    }
}
