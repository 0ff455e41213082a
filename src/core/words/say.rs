//! Values into spoken words, for the voice. The words that stand around a value ("heading", "runway") are the book's.

use super::spelling::{ALPHABET, DIGITS, below_hundred};
use super::{Regime, SlotKind};
use crate::core::aircraft::Value;

/// How a value is spoken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Form {
    /// A number in words ("forty two", "minus five", "two decimal five"), a truth as "on" or "off", a word as it is with
    /// spaces for underscores.
    #[default]
    Plain,
    /// Digit by digit, letters by the spelling alphabet.
    Digits,
    /// Three digits.
    Heading,
    /// Hundreds and thousands; a number that has neither digit by digit.
    Altitude,
    /// "flight level" and the digits.
    Level,
    /// Digits.
    Speed,
    /// VHF channel: six digits, or four when the last two are zero.
    Frequency,
    /// Four digits.
    Squawk,
    /// Digits and left, right or centre.
    Runway,
    /// Altimeter setting in hPa.
    Qnh,
    /// Digits with one decimal.
    Decimal,
    /// A word of the spelling alphabet.
    Letter,
}

impl From<&SlotKind> for Form {
    fn from(kind: &SlotKind) -> Self {
        match kind {
            SlotKind::Heading => Form::Heading,
            SlotKind::Altitude => Form::Altitude,
            SlotKind::Level => Form::Level,
            SlotKind::Speed => Form::Speed,
            SlotKind::Frequency => Form::Frequency,
            SlotKind::Squawk => Form::Squawk,
            SlotKind::Runway => Form::Runway,
            SlotKind::Qnh => Form::Qnh,
            SlotKind::Letter => Form::Letter,
            SlotKind::Number | SlotKind::Named { .. } => Form::Plain,
        }
    }
}

/// `value` in words. A value that does not fit the form is spoken plainly.
pub fn say(form: Form, value: &Value, regime: Regime) -> String {
    fitting(form, value, regime).unwrap_or_else(|| plain(value, regime))
}

/// A number that is whole and at least zero.
fn whole(value: &Value) -> Option<u32> {
    let n = value.number()?;
    let r = libm::round(n);
    ((n - r).abs() < 1e-6 && (0.0..=4e9).contains(&r)).then_some(r as u32)
}

fn fitting(form: Form, value: &Value, regime: Regime) -> Option<String> {
    match form {
        Form::Plain => None,
        Form::Digits => match value {
            Value::Word(w) => Some(spelled(w, regime)),
            Value::Number(n) => Some(spelled(&format!("{}", trimmed(*n, 3)), regime)),
            Value::Bool(_) => None,
        },
        Form::Heading => {
            let n = whole(value).filter(|n| *n <= 360)?;
            let said = spelled(&format!("{n:03}"), regime);
            // CAP 413: said when the heading ends in zero.
            Some(if regime == Regime::Uk && n % 10 == 0 { said + " degrees" } else { said })
        }
        Form::Altitude => {
            let n = whole(value)?;
            if n == 0 || !n.is_multiple_of(100) || n >= 100_000 {
                return Some(spelled(&n.to_string(), regime));
            }
            let mut parts = Vec::new();
            if n >= 1000 {
                parts.push(format!("{} thousand", spelled(&(n / 1000).to_string(), regime)));
            }
            if n % 1000 > 0 {
                parts.push(format!("{} hundred", regime.digit((n % 1000 / 100) as u8)));
            }
            Some(parts.join(" "))
        }
        Form::Level => {
            let n = whole(value).filter(|n| *n <= 999)?;
            let by_name = matches!(regime, Regime::Sera | Regime::Uk) && n > 0 && n.is_multiple_of(100);
            Some(match by_name {
                true => format!("flight level {} hundred", regime.digit((n / 100) as u8)),
                false => format!("flight level {}", spelled(&n.to_string(), regime)),
            })
        }
        Form::Speed => whole(value).map(|n| spelled(&n.to_string(), regime)),
        Form::Frequency => {
            let khz = libm::round(value.number().filter(|n| (0.0..1e6).contains(n))? * 1000.0) as u32;
            let (mhz, khz) = (khz / 1000, khz % 1000);
            let tail = if khz.is_multiple_of(100) { (khz / 100).to_string() } else { format!("{khz:03}") };
            let (mhz, tail) = (spelled(&mhz.to_string(), regime), spelled(&tail, regime));
            Some(format!("{mhz} {} {tail}", regime.point()))
        }
        Form::Squawk => {
            let code = match value {
                Value::Word(w) => w.clone(),
                _ => format!("{:04}", whole(value)?),
            };
            let known = code.len() == 4 && code.bytes().all(|b| b.is_ascii_digit());
            Some(match code.strip_suffix("000") {
                Some(d) if regime == Regime::Sera && known && d != "0" => format!("{} thousand", spelled(d, regime)),
                _ => spelled(&code, regime),
            })
        }
        Form::Runway => {
            let w = match value {
                Value::Word(w) => w.clone(),
                _ => format!("{:02}", whole(value)?),
            };
            let (number, side) = match w.char_indices().last()? {
                (i, 'L') => (&w[..i], " left"),
                (i, 'R') => (&w[..i], " right"),
                (i, 'C') if regime == Regime::Faa => (&w[..i], " center"),
                (i, 'C') => (&w[..i], " centre"),
                _ => (w.as_str(), ""),
            };
            let number = if regime == Regime::Faa { number.trim_start_matches('0') } else { number };
            Some(spelled(number, regime) + side)
        }
        Form::Qnh => {
            let n = whole(value)?;
            let said = match n {
                1000 if regime == Regime::Sera => "one thousand".to_owned(),
                _ => spelled(&n.to_string(), regime),
            };
            Some(if regime == Regime::Uk && n < 1000 { said + " hectopascals" } else { said })
        }
        Form::Decimal => {
            let n = value.number()?;
            Some(spelled(&format!("{n:.1}"), regime))
        }
        Form::Letter => match value {
            Value::Word(w) => Some(spelled(w, regime)),
            _ => None,
        },
    }
}

/// Rounded to `places`, so that what is left of binary fractions is not read out.
fn trimmed(n: f64, places: i32) -> f64 {
    let scale = libm::pow(10.0, f64::from(places));
    libm::round(n * scale) / scale
}

/// Digits and letters one by one; anything else is left out but for sign and point.
fn spelled(text: &str, regime: Regime) -> String {
    let mut words = Vec::new();
    for c in text.chars() {
        match c {
            '0'..='9' => words.push(regime.digit(c as u8 - b'0')),
            '.' => words.push(regime.point()),
            '-' => words.push("minus"),
            c if c.is_ascii_alphabetic() => words.push(ALPHABET[(c.to_ascii_lowercase() as u8 - b'a') as usize]),
            _ => {}
        }
    }
    words.join(" ")
}

/// See [`Form::Plain`].
pub(super) fn plain(value: &Value, regime: Regime) -> String {
    match value {
        Value::Bool(true) => "on".to_owned(),
        Value::Bool(false) => "off".to_owned(),
        Value::Word(w) => w.replace('_', " "),
        Value::Number(n) => number(*n, regime),
    }
}

/// A number in words; decimals (three at most) digit by digit. "and" behind hundred, but not under FAA (common practice,
/// no source). From a thousand million on it is read digit by digit.
fn number(n: f64, regime: Regime) -> String {
    let n = trimmed(n, 3);
    let text = format!("{}", n.abs());
    let (whole, tail) = text.split_once('.').unwrap_or((&text, ""));
    let mut said = match whole.parse::<u32>() {
        Ok(w) if w < 1_000_000_000 => cardinal(w, regime != Regime::Faa),
        _ => spelled(whole, regime),
    };
    if !tail.is_empty() {
        said = format!("{said} {} {}", regime.point(), spelled(tail, regime));
    }
    if n < 0.0 { format!("minus {said}") } else { said }
}

/// A whole number below a thousand million in words, with or without "and" ("one hundred and five").
pub(super) fn cardinal(n: u32, and: bool) -> String {
    let joint = if and { " and " } else { " " };
    match n {
        0..=99 => below_hundred(n),
        100..=999 => {
            let head = format!("{} hundred", DIGITS[n as usize / 100]);
            if n.is_multiple_of(100) { head } else { format!("{head}{joint}{}", below_hundred(n % 100)) }
        }
        _ => {
            let (unit, name) = if n < 1_000_000 { (1000, "thousand") } else { (1_000_000, "million") };
            let head = format!("{} {name}", cardinal(n / unit, and));
            match n % unit {
                0 => head,
                rest @ 1..=99 => format!("{head}{joint}{}", below_hundred(rest)),
                rest => format!("{head} {}", cardinal(rest, and)),
            }
        }
    }
}
