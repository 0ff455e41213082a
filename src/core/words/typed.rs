//! Typed text ("V1", "FL180", "118.5", "27L") into the words that are spoken for it.

use super::Regime;
use super::say::{Form, cardinal, say};
use super::spelling::ALPHABET;
use crate::core::aircraft::Value;

/// The ways in which one written token can be spoken, likeliest first; each is words parted by spaces.
///
/// The token has no spaces. Punctuation around it is ignored. A token of plain letters is its own only reading, but a
/// single letter may also be spelled. At most [`MOST`] readings; none for a token that cannot be spoken.
pub fn readings(token: &str) -> Vec<String> {
    let token = token.to_lowercase().replace('’', "'").replace('−', "-");
    let mut whole: Vec<String> = vec![String::new()];
    let runs = runs(&token);
    for (i, run) in runs.iter().enumerate() {
        let after_digits = i > 0 && matches!(runs[i - 1], Run::Number(_));
        let alone = runs.len() == 1;
        let ways = match run {
            Run::Number(n) => {
                let mut ways = number(n);
                // "27L" is a runway: its digits come before "twenty seven".
                if matches!(runs.get(i + 1), Some(Run::Letters("l" | "r" | "c"))) {
                    ways.reverse();
                }
                ways
            }
            Run::Letters(w) => letters(w, after_digits, alone),
            Run::Sign(w) => vec![(*w).to_owned()],
        };
        let mut next = Vec::new();
        for head in &whole {
            for way in &ways {
                let said = if head.is_empty() { way.clone() } else { format!("{head} {way}") };
                if next.len() < MOST && !next.contains(&said) {
                    next.push(said);
                }
            }
        }
        whole = next;
    }
    whole.retain(|w| !w.is_empty());
    whole
}

/// The most readings that a token has.
pub const MOST: usize = 12;

/// The likeliest reading; empty if there is none.
pub fn spell(token: &str) -> String {
    readings(token).into_iter().next().unwrap_or_default()
}

enum Run<'a> {
    Number(&'a str),
    Letters(&'a str),
    Sign(&'static str),
}

fn runs(token: &str) -> Vec<Run<'_>> {
    let mut out = Vec::new();
    let mut rest = token;
    while let Some(c) = rest.chars().next() {
        let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
        let mut second = rest.chars().skip(1);
        let len = if c.is_ascii_digit() {
            let mut end = 0;
            let bytes = rest.as_bytes();
            while end < bytes.len() {
                let inner = matches!(bytes[end], b'.' | b',') && bytes.get(end + 1).is_some_and(u8::is_ascii_digit);
                if !bytes[end].is_ascii_digit() && !inner {
                    break;
                }
                end += 1;
            }
            out.push(Run::Number(&rest[..end]));
            end
        } else if c.is_alphabetic() {
            // An inner hyphen or apostrophe stays with its word, a closing apostrophe too.
            let mut end = 0;
            let mut chars = rest.char_indices().peekable();
            while let Some((i, c)) = chars.next() {
                let next_letter = chars.peek().is_some_and(|(_, d)| d.is_alphabetic());
                if !(c.is_alphabetic() || c == '\'' || (c == '-' && next_letter)) {
                    break;
                }
                end = i + c.len_utf8();
            }
            out.push(Run::Letters(&rest[..end]));
            end
        } else {
            match c {
                '-' if out.is_empty() && digit(second.next()) => out.push(Run::Sign("minus")),
                '%' => out.push(Run::Sign("percent")),
                '°' => out.push(Run::Sign("degrees")),
                _ => {}
            }
            c.len_utf8()
        };
        rest = &rest[len..];
    }
    out
}

fn letters(word: &str, after_digits: bool, alone: bool) -> Vec<String> {
    let one = |s: &str| vec![s.to_owned()];
    match word {
        "l" if after_digits => one("left"),
        "r" if after_digits => one("right"),
        "c" if after_digits => vec!["centre".to_owned(), "center".to_owned()],
        "ft" if after_digits => one("feet"),
        "kt" | "kts" if after_digits => one("knots"),
        "hpa" if after_digits => one("hectopascals"),
        "fl" if !alone => one("flight level"),
        "fl" => vec!["flight level".to_owned(), "fl".to_owned()],
        w if w.len() == 1 && w.is_ascii() => {
            let i = (w.as_bytes()[0].wrapping_sub(b'a')) as usize;
            std::iter::once(w.to_owned()).chain(ALPHABET.get(i).map(|a| (*a).to_owned())).collect()
        }
        w => one(w),
    }
}

fn number(text: &str) -> Vec<String> {
    let grouped = text.split(',').skip(1).all(|g| g.len() >= 3 && g.as_bytes()[..3].iter().all(u8::is_ascii_digit));
    let plain: String = if grouped { text.replace(',', "") } else { text.replace(',', ".") };
    let regime = Regime::Icao;
    let digits = say(Form::Digits, &Value::Word(plain.clone()), regime);
    let (whole, tail) = plain.split_once('.').unwrap_or((&plain, ""));
    let small = whole.parse::<u32>().ok().filter(|n| *n < 1_000_000 && (whole.len() == 1 || !whole.starts_with('0')));
    let mut all = Vec::new();
    if !tail.is_empty() {
        let tail = say(Form::Digits, &Value::Word(tail.to_owned()), regime);
        for point in ["decimal", "point"] {
            all.push(digits.replace("decimal", point));
            all.extend(small.map(|n| format!("{} {point} {tail}", cardinal(n, true))));
        }
        return all;
    }
    let words: Vec<String> = small.map(|n| vec![cardinal(n, true), cardinal(n, false)]).unwrap_or_default();
    if whole.len() <= 2 {
        all.extend(words.iter().cloned());
        all.push(digits);
    } else {
        all.push(digits);
        all.extend(small.map(|n| say(Form::Altitude, &Value::Number(f64::from(n)), regime)));
        all.extend(words.iter().cloned());
    }
    let mut seen: Vec<String> = Vec::new();
    all.retain(|w| !seen.contains(w) && (seen.push(w.clone()), true).1);
    all
}
