//! Number words, the spelling alphabet and other spellings of the same spoken word.

/// The digits, as the model of speech writes them.
pub(super) const DIGITS: [&str; 10] = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];

const TEENS: [&str; 10] =
    ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"];

const TENS: [&str; 10] = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

/// The spelling alphabet of ICAO Annex 10 Volume II figure 5-1 and SERA.14020 table S14-2, in lower case.
pub const ALPHABET: [&str; 26] = [
    "alfa", "bravo", "charlie", "delta", "echo", "foxtrot", "golf", "hotel", "india", "juliett", "kilo", "lima",
    "mike", "november", "oscar", "papa", "quebec", "romeo", "sierra", "tango", "uniform", "victor", "whiskey", "x-ray",
    "yankee", "zulu",
];

/// The words that [`variants`] knows another spelling of.
pub const SPELLED_TWO_WAYS: &[&str] = &[
    "zero", "three", "four", "five", "nine", "niner", "thousand", "alfa", "alpha", "juliett", "juliet", "whiskey",
    "whisky", "x-ray", "xray", "centre", "center", "decimal",
];

/// Other spellings under which a word of the graph may arrive: a radio pronunciation (ICAO Annex 10 Volume II
/// 5.2.1.4.3.1: tree, fower, fife, niner, tousand) or another orthography. `oh` for zero is common practice, no source.
pub fn variants(word: &str) -> &'static [&'static str] {
    match word {
        "zero" => &["oh"],
        "three" => &["tree"],
        "four" => &["fower"],
        "five" => &["fife"],
        "nine" => &["niner"],
        "niner" => &["nine"],
        "thousand" => &["tousand"],
        "alfa" => &["alpha"],
        "alpha" => &["alfa"],
        "juliett" => &["juliet"],
        "juliet" => &["juliett"],
        "whiskey" => &["whisky"],
        "whisky" => &["whiskey"],
        "x-ray" => &["xray"],
        "xray" => &["x-ray"],
        "centre" => &["center"],
        "center" => &["centre"],
        "decimal" => &["dayseemal"],
        _ => &[],
    }
}

/// The digit that a word says: `three` and `tree` are 3, `oh` is 0.
pub fn digit(word: &str) -> Option<u8> {
    let plain = match word {
        "oh" => "zero",
        "tree" => "three",
        "fower" => "four",
        "fife" => "five",
        "niner" => "nine",
        w => w,
    };
    DIGITS.iter().position(|d| *d == plain).map(|i| i as u8)
}

/// The letter that a word of the spelling alphabet says, upper case.
pub fn letter(word: &str) -> Option<char> {
    let known = |w: &str| ALPHABET.iter().position(|a| *a == w);
    let i = known(word).or_else(|| variants(word).iter().find_map(|v| known(v)))?;
    Some((b'A' + i as u8) as char)
}

/// Ten to nineteen.
pub(super) fn teen(word: &str) -> Option<u32> {
    TEENS.iter().position(|t| *t == word).map(|i| i as u32 + 10)
}

/// Twenty, thirty … ninety.
pub(super) fn ten(word: &str) -> Option<u32> {
    TENS.iter().skip(2).position(|t| *t == word).map(|i| (i as u32 + 2) * 10)
}

pub(super) fn is_hundred(word: &str) -> bool {
    word == "hundred"
}

pub(super) fn is_thousand(word: &str) -> bool {
    matches!(word, "thousand" | "tousand")
}

pub(super) fn is_point(word: &str) -> bool {
    matches!(word, "decimal" | "dayseemal" | "point")
}

/// Whether a word is part of a spoken number: digits, teens, tens, hundred, thousand, decimal and point.
pub fn is_number_word(word: &str) -> bool {
    digit(word).is_some()
        || teen(word).is_some()
        || ten(word).is_some()
        || is_hundred(word)
        || is_thousand(word)
        || is_point(word)
}

/// 0 to 99 in words.
pub(super) fn below_hundred(n: u32) -> String {
    match n {
        0..=9 => DIGITS[n as usize].to_owned(),
        10..=19 => TEENS[n as usize - 10].to_owned(),
        _ if n.is_multiple_of(10) => TENS[n as usize / 10 % 10].to_owned(),
        _ => format!("{} {}", TENS[n as usize / 10 % 10], DIGITS[n as usize % 10]),
    }
}
