//! How the speech model writes a spoken word: with a capital or without, in letters or digits, joined or apart.
//!
//! What a word may look like depends on what stands before it ([`Tail`]): after "2" the word "seven" may go on the same
//! number ("27"), after "flaps" it may not. Where digits leave something owing ("3," for three thousand …), the tail
//! says how many are due.

/// What the text so far ends with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub enum Tail {
    /// Nothing is written yet.
    Begin,
    /// A word in letters.
    Word,
    /// "twenty" … "ninety" in letters.
    Tens,
    /// A single capital letter.
    Letter,
    /// A digit.
    Digit,
    /// The decimal sign within a number.
    Point,
    /// A comma between words.
    Comma,
    /// A full stop.
    Stop,
    /// One more digit is due.
    Due1,
    /// Two more digits are due.
    Due2,
    /// Three more digits are due.
    Due3,
    /// The digit before stands for hundreds: that word must follow.
    DueHundred,
}

use Tail::*;

/// A set of tails as bits.
pub type Tails = u16;

const fn set(tails: &[Tail]) -> Tails {
    let mut s = 0;
    let mut i = 0;
    while i < tails.len() {
        s |= 1 << tails[i] as u16;
        i += 1;
    }
    s
}

impl Tail {
    /// The set of this one.
    pub fn bit(self) -> Tails {
        1 << self as u16
    }
    /// Whether a call can end here: nothing is owing.
    pub fn settled(self) -> bool {
        self.bit() & SETTLED != 0
    }
    /// Whether a comma can follow.
    pub fn takes_comma(self) -> bool {
        self.bit() & set(&[Word, Tens, Letter, Digit]) != 0
    }
}

/// A new word can begin here.
pub const SETTLED: Tails = set(&[Begin, Word, Tens, Letter, Digit, Point, Comma, Stop]);

/// One way to write a word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Form {
    /// After what it can stand.
    pub after: Tails,
    /// What is written, its space included; may be empty.
    pub text: String,
    /// What the text then ends with.
    pub then: Tail,
}

/// What a spoken word counts, in English and in the radio's own pronunciation (ICAO Annex 10 Vol II 5.2.1.4.3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Count {
    /// 0 to 9.
    Unit(u8),
    /// 10 to 19.
    Teen(u8),
    /// 2 for twenty … 9 for ninety.
    Tens(u8),
    /// hundred
    Hundred,
    /// thousand
    Thousand,
    /// decimal, point
    Point,
}

/// The number that a word stands for, if it is one of a number.
pub fn count(word: &str) -> Option<Count> {
    const UNITS: [&[&str]; 10] = [
        &["zero", "oh"],
        &["one", "wun"],
        &["two", "too"],
        &["three", "tree"],
        &["four", "fower"],
        &["five", "fife"],
        &["six"],
        &["seven"],
        &["eight", "ait"],
        &["nine", "niner"],
    ];
    const TEENS: [&str; 10] =
        ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"];
    const TENS: [&str; 8] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
    if let Some(i) = UNITS.iter().position(|u| u.contains(&word)) {
        return Some(Count::Unit(i as u8));
    }
    if let Some(i) = TEENS.iter().position(|t| *t == word) {
        return Some(Count::Teen(i as u8 + 10));
    }
    if let Some(i) = TENS.iter().position(|t| *t == word) {
        return Some(Count::Tens(i as u8 + 2));
    }
    match word {
        "hundred" => Some(Count::Hundred),
        "thousand" | "tousand" => Some(Count::Thousand),
        "decimal" | "point" | "dayseemal" => Some(Count::Point),
        _ => None,
    }
}

/// Whether the word is one letter.
pub fn is_letter(word: &str) -> bool {
    word.len() == 1 && word.as_bytes()[0].is_ascii_alphabetic()
}

/// Whether the word may be written joined with its neighbour ("take off" as "takeoff").
pub fn joins(word: &str) -> bool {
    word.len() > 1 && count(word).is_none() && word.bytes().all(|b| b.is_ascii_alphabetic())
}

/// The word with a capital.
pub fn capital(word: &str) -> String {
    let mut c = word.chars();
    c.next().map(|first| first.to_uppercase().chain(c).collect()).unwrap_or_default()
}

/// All ways to write one spoken word.
pub fn forms(word: &str) -> Vec<Form> {
    let mut out = Vec::new();
    let mut put = |after: Tails, text: String, then: Tail| out.push(Form { after, text, then });
    let counted = count(word);
    let tens = matches!(counted, Some(Count::Tens(_)));
    let plain = if tens { Tail::Tens } else { Word };
    put(SETTLED, format!(" {word}"), plain);
    if is_letter(word) {
        let upper = capital(word);
        put(SETTLED, format!(" {upper}"), Letter);
        put(set(&[Letter, Digit]), upper.clone(), Letter);
        put(Letter.bit(), format!("-{upper}"), Letter);
    } else {
        put(SETTLED, format!(" {}", capital(word)), plain);
    }
    // "QNH", "APU": a short word may stand for letters.
    if (2..=4).contains(&word.len()) && counted.is_none() && word.bytes().all(|b| b.is_ascii_alphabetic()) {
        put(SETTLED, format!(" {}", word.to_uppercase()), Letter);
    }
    for other in crate::core::words::variants(word) {
        put(SETTLED, format!(" {other}"), plain);
        put(SETTLED, format!(" {}", capital(other)), plain);
    }
    // "09L": a runway's side after its number (ICAO Annex 14 Vol I 5.2.2.4).
    let side = match word {
        "left" => Some("L"),
        "right" => Some("R"),
        "center" | "centre" => Some("C"),
        _ => None,
    };
    if let Some(side) = side {
        put(Digit.bit(), side.into(), Letter);
    }
    if word == "and" {
        put(Due2.bit(), String::new(), Due2);
    }
    let glue = set(&[Letter, Digit, Point]);
    match counted {
        None => {}
        Some(Count::Unit(d)) => {
            put(SETTLED, format!(" {d}"), Digit);
            put(glue, format!("{d}"), Digit);
            put(set(&[Letter, Digit]), format!("-{d}"), Digit);
            put(Tail::Tens.bit(), format!("-{word}"), Word);
            put(Due1.bit(), format!("{d}"), Digit);
            put(Due2.bit(), format!("0{d}"), Digit);
            put(Due3.bit(), format!("00{d}"), Digit);
            put(Due3.bit(), format!("{d}"), DueHundred);
            // Written as the word that sounds alike, where nothing tells the model that a number is meant.
            let alike: &[&str] = match d {
                2 => &["to", "too"],
                4 => &["for"],
                // "Niner", which ordinary text does not know.
                9 => &["liner"],
                _ => &[],
            };
            for a in alike.iter().filter(|a| **a != word) {
                put(SETTLED, format!(" {a}"), Word);
            }
        }
        Some(Count::Teen(n)) => {
            put(SETTLED, format!(" {n}"), Digit);
            put(glue, format!("{n}"), Digit);
            put(Due2.bit(), format!("{n}"), Digit);
            put(Due3.bit(), format!("0{n}"), Digit);
        }
        Some(Count::Tens(d)) => {
            for (after, text) in
                [(SETTLED, format!(" {d}")), (glue | Due2.bit(), format!("{d}")), (Due3.bit(), format!("0{d}"))]
            {
                put(after, format!("{text}0"), Digit);
                put(after, text, Due1);
            }
        }
        Some(Count::Hundred) => {
            for tail in [Digit, DueHundred] {
                put(tail.bit(), "00".into(), Digit);
                put(tail.bit(), String::new(), Due2);
            }
        }
        Some(Count::Thousand) => {
            for comma in ["", ","] {
                put(Digit.bit(), format!("{comma}000"), Digit);
                put(Digit.bit(), comma.into(), Due3);
            }
        }
        Some(Count::Point) => put(Digit.bit(), ".".into(), Point),
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether the words can be written so.
    fn writes(words: &str, text: &str) -> bool {
        let mut states = vec![(String::new(), Begin)];
        for word in words.split(' ') {
            let forms = forms(word);
            states = states
                .iter()
                .flat_map(|(s, tail)| {
                    forms.iter().filter(|f| f.after & tail.bit() != 0).map(move |f| (format!("{s}{}", f.text), f.then))
                })
                .filter(|(s, _)| format!(" {text}").starts_with(s.as_str()))
                .collect();
        }
        states.iter().any(|(s, tail)| *s == format!(" {text}") && tail.settled())
    }

    #[test]
    fn writes_words_as_the_model_does() {
        for (words, text) in [
            ("set flaps twenty", "Set flaps 20"),
            ("set flaps twenty", "set flaps twenty"),
            ("flaps fifteen", "Flaps 15"),
            ("v one", "V1"),
            ("v one", "V-1"),
            ("v one", "V one"),
            ("heading two seven zero", "Heading 270"),
            ("heading two seven zero", "Heading 2 7 0"),
            ("heading two seven zero", "Heading 2-7-0"),
            ("heading two seven zero", "heading to 70"),
            ("q n h one zero one three", "QNH 1013"),
            ("qnh one zero one three", "QNH 1013"),
            ("runway zero niner left", "Runway 09L"),
            ("speed one niner zero", "Speed one liner zero"),
            ("runway zero niner left", "runway 09 left"),
            ("one one eight decimal five", "118.5"),
            ("one one eight decimal five", "118 decimal 5"),
            ("twenty five", "25"),
            ("twenty five", "twenty-five"),
            ("twenty five", "20 5"),
            ("three thousand four hundred", "3,400"),
            ("three thousand four hundred", "3400"),
            ("three thousand four hundred", "three thousand 400"),
            ("three thousand", "3,000"),
            ("one two thousand", "12,000"),
            ("five hundred", "500"),
            ("five hundred twenty", "520"),
            ("five hundred and twenty five", "525"),
            ("two thousand five", "2005"),
            ("nine hundred ninety nine thousand nine hundred ninety nine", "999,999"),
            ("flight level one eight zero", "Flight level 180"),
        ] {
            assert!(writes(words, text), "{words:?} as {text:?}");
        }
    }

    #[test]
    fn writes_nothing_else() {
        for (words, text) in [
            ("twenty", "2"),
            ("three thousand four", "34"),
            ("three thousand four", "3400"),
            ("flaps five", "flaps5"),
            ("two seven", "207"),
            ("hundred", "00"),
        ] {
            assert!(!writes(words, text), "{words:?} as {text:?}");
        }
    }
}
