//! Spoken words into values.
//!
//! Every form that any of the four rule sets allows is understood under all of them. A unit word that belongs to the
//! value may stand with it ("flight level", "degrees", "feet", "knots", "hectopascals").

use super::SlotKind;
use super::say::plain;
use super::spelling::{digit, is_hundred, is_point, is_thousand, letter, teen, ten};
use crate::core::aircraft::Value;

/// What `words` (lower case) say in a slot of this kind; `None` if they are not a whole, valid value of it.
///
/// For a book's own slot this knows only values that are spoken as they are written; the graph knows the rest
/// ([`crate::core::grammar::WordGraph::slot_value`]).
pub fn value(kind: &SlotKind, words: &[&str]) -> Option<Value> {
    let number = |n: u32| Value::Number(f64::from(n));
    match kind {
        SlotKind::Heading => heading(trailing(words, &["degrees"])).map(number),
        SlotKind::Altitude => altitude(trailing(words, &["feet"])).map(number),
        SlotKind::Level => level(words.strip_prefix(&["flight", "level"]).unwrap_or(words)).map(number),
        SlotKind::Speed => digits(trailing(words, &["knots"]), 3).map(number),
        SlotKind::Frequency => frequency(words).map(Value::Number),
        SlotKind::Squawk => squawk(words).map(Value::Word),
        SlotKind::Runway => runway(words).map(Value::Word),
        SlotKind::Qnh => qnh(trailing(words, &["hectopascals"])).map(number),
        SlotKind::Number => whole(words).map(number),
        SlotKind::Letter => match words {
            [w] => letter(w).map(|l| Value::Word(l.to_string())),
            _ => None,
        },
        SlotKind::Named { values, .. } => {
            let said = words.join(" ");
            values.iter().find(|v| plain(v, super::Regime::default()) == said).cloned()
        }
    }
}

fn trailing<'a, 'b>(words: &'a [&'b str], units: &[&str]) -> &'a [&'b str] {
    match words.split_last() {
        Some((last, rest)) if units.contains(last) => rest,
        _ => words,
    }
}

/// All words as digits.
fn digit_list(words: &[&str]) -> Option<Vec<u8>> {
    if words.is_empty() { None } else { words.iter().map(|w| digit(w)).collect() }
}

fn joined(digits: &[u8]) -> u32 {
    digits.iter().fold(0, |n, d| n * 10 + u32::from(*d))
}

/// One to `most` digits (at most nine), no leading zero but for zero itself.
fn digits(words: &[&str], most: usize) -> Option<u32> {
    let list = digit_list(words)?;
    let fits = list.len() <= most && (list.len() == 1 || list[0] != 0);
    fits.then(|| joined(&list))
}

fn heading(words: &[&str]) -> Option<u32> {
    let list = digit_list(words)?;
    let n = joined(&list[..list.len().min(4)]);
    (list.len() == 3 && (1..=360).contains(&n)).then_some(n)
}

/// Where the words for thousands end, if there are any.
fn thousands<'a, 'b>(words: &'a [&'b str]) -> (Option<&'a [&'b str]>, &'a [&'b str]) {
    match words.iter().position(|w| is_thousand(w)) {
        Some(i) => (Some(&words[..i]), &words[i + 1..]),
        None => (None, words),
    }
}

/// "D hundred".
fn hundreds(words: &[&str]) -> Option<u32> {
    match words {
        [d, h] if is_hundred(h) => digit(d).filter(|d| *d > 0).map(|d| u32::from(d) * 100),
        _ => None,
    }
}

fn altitude(words: &[&str]) -> Option<u32> {
    let n = match thousands(words) {
        (Some(t), rest) => {
            let t = digits(t, 2).or_else(|| below_hundred(t)).filter(|t| *t > 0)?;
            t * 1000 + if rest.is_empty() { 0 } else { hundreds(rest)? }
        }
        (None, rest) => hundreds(rest).or_else(|| digits(rest, 5).filter(|n| n % 100 == 0))?,
    };
    (n <= 60_000).then_some(n)
}

fn level(words: &[&str]) -> Option<u32> {
    let n = hundreds(words).or_else(|| {
        let list = digit_list(words)?;
        match list.len() {
            2 if list[0] > 0 => Some(joined(&list)),
            3 => Some(joined(&list)),
            _ => None,
        }
    })?;
    (10..=600).contains(&n).then_some(n)
}

fn frequency(words: &[&str]) -> Option<f64> {
    let point = words.iter().position(|w| is_point(w))?;
    let mhz = digit_list(&words[..point])?;
    let tail = digit_list(&words[point + 1..])?;
    let khz = match tail[..] {
        [a] => u32::from(a) * 100,
        // The old five-figure form, in which the last digit of a 25 kHz step is left away.
        [a, b @ (2 | 7)] => u32::from(a) * 100 + u32::from(b) * 10 + 5,
        [a, 5] => u32::from(a) * 100 + 50,
        [_, _, _] => joined(&tail),
        _ => return None,
    };
    let channel = khz % 5 == 0 && !matches!(khz % 100, 20 | 45 | 70 | 95);
    let mhz = (mhz.len() == 3).then(|| joined(&mhz)).filter(|m| (118..=136).contains(m))?;
    channel.then(|| f64::from(mhz * 1000 + khz) / 1000.0)
}

fn squawk(words: &[&str]) -> Option<String> {
    let list = match words {
        [d, t] if is_thousand(t) => vec![digit(d).filter(|d| *d > 0)?, 0, 0, 0],
        _ => digit_list(words)?,
    };
    let octal = list.len() == 4 && list.iter().all(|d| *d < 8);
    octal.then(|| list.iter().map(|d| char::from(b'0' + d)).collect())
}

fn runway(words: &[&str]) -> Option<String> {
    let (side, number) = match words.split_last()? {
        (&"left", rest) => ("L", rest),
        (&"right", rest) => ("R", rest),
        (&("centre" | "center"), rest) => ("C", rest),
        _ => ("", words),
    };
    let list = digit_list(number)?;
    let n = joined(&list[..list.len().min(3)]);
    (list.len() <= 2 && (1..=36).contains(&n)).then(|| format!("{n:02}{side}"))
}

fn qnh(words: &[&str]) -> Option<u32> {
    let n = match words {
        ["one", t] if is_thousand(t) => 1000,
        _ => digits(words, 4)?,
    };
    (850..=1085).contains(&n).then_some(n)
}

/// 1 to 99 in words.
fn below_hundred(words: &[&str]) -> Option<u32> {
    match words {
        [w] => digit(w).map(u32::from).or_else(|| teen(w)).or_else(|| ten(w)).filter(|n| *n > 0),
        [t, d] => Some(ten(t)? + digit(d).filter(|d| *d > 0).map(u32::from)?),
        _ => None,
    }
}

/// 1 to 999 in words, "and" allowed behind "hundred".
fn below_thousand(words: &[&str]) -> Option<u32> {
    match words {
        [d, h, rest @ ..] if is_hundred(h) => {
            let n = digit(d).filter(|d| *d > 0).map(u32::from)? * 100;
            let rest = rest.strip_prefix(&["and"]).filter(|r| !r.is_empty()).unwrap_or(rest);
            Some(n + if rest.is_empty() { 0 } else { below_hundred(rest)? })
        }
        _ => below_hundred(words),
    }
}

/// 0 to 999,999: digit by digit, in words, or with the thousands digit by digit ("one two thousand").
fn whole(words: &[&str]) -> Option<u32> {
    match thousands(words) {
        (Some(t), rest) => {
            let t = below_thousand(t).or_else(|| digits(t, 3)).filter(|t| *t > 0)?;
            let rest = match rest.strip_prefix(&["and"]) {
                // "two thousand and five", but not "two thousand and three hundred".
                Some(small) => Some(below_hundred(small)?),
                None if rest.is_empty() => Some(0),
                None => below_thousand(rest),
            }?;
            Some(t * 1000 + rest)
        }
        (None, rest) => digits(rest, 6).or_else(|| below_thousand(rest)),
    }
}
