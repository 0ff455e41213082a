//! How a word sounds, roughly: English spelling → phones, and how far apart two phones are.
//!
//! An approximation for comparing words with each other, not for speaking them: spelling rules of thumb with the commonest
//! exceptions, and distances by how and where a sound is made. Neither is measured on listeners.

use super::spelling::variants;

/// A sound of English, in the notation of the CMU pronouncing dictionary without stress.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Phone(u8);

/// Kind, and what tells sounds of a kind apart: of a vowel height and frontness, and whether it glides; of a consonant
/// place, manner and voice.
#[derive(Clone, Copy)]
enum Make {
    Vowel(i32, i32, i32),
    Consonant(i32, i32, i32),
}
use Make::{Consonant, Vowel};

/// Every phone. Height from 0 (low) to 4, frontness from 0 (back) to 4; place from 0 (lips) to 6 (throat), manner: stop 0,
/// affricate 1, fricative 2, nasal 4, liquid 5, glide 6.
const PHONES: &[(&str, Make)] = &[
    ("AA", Vowel(0, 1, 0)),
    ("AE", Vowel(0, 4, 0)),
    ("AH", Vowel(1, 2, 0)),
    ("AO", Vowel(1, 0, 0)),
    ("AW", Vowel(0, 2, 2)),
    ("AY", Vowel(0, 2, 1)),
    ("EH", Vowel(2, 4, 0)),
    ("ER", Vowel(2, 2, 0)),
    ("EY", Vowel(3, 4, 1)),
    ("IH", Vowel(3, 3, 0)),
    ("IY", Vowel(4, 4, 0)),
    ("OW", Vowel(2, 0, 2)),
    ("OY", Vowel(1, 0, 1)),
    ("UH", Vowel(3, 1, 0)),
    ("UW", Vowel(4, 0, 0)),
    ("B", Consonant(0, 0, 1)),
    ("CH", Consonant(4, 1, 0)),
    ("D", Consonant(3, 0, 1)),
    ("DH", Consonant(2, 2, 1)),
    ("F", Consonant(1, 2, 0)),
    ("G", Consonant(5, 0, 1)),
    ("HH", Consonant(6, 2, 0)),
    ("JH", Consonant(4, 1, 1)),
    ("K", Consonant(5, 0, 0)),
    ("L", Consonant(3, 5, 1)),
    ("M", Consonant(0, 4, 1)),
    ("N", Consonant(3, 4, 1)),
    ("NG", Consonant(5, 4, 1)),
    ("P", Consonant(0, 0, 0)),
    ("R", Consonant(4, 5, 1)),
    ("S", Consonant(3, 2, 0)),
    ("SH", Consonant(4, 2, 0)),
    ("T", Consonant(3, 0, 0)),
    ("TH", Consonant(2, 2, 0)),
    ("V", Consonant(1, 2, 1)),
    ("W", Consonant(0, 6, 1)),
    ("Y", Consonant(4, 6, 1)),
    ("Z", Consonant(3, 2, 1)),
    ("ZH", Consonant(4, 2, 1)),
];

/// Hundredths of a phone: what it costs to take one sound for another of quite another kind.
pub const WHOLE: u32 = 100;

impl Phone {
    fn named(name: &str) -> Option<Phone> {
        PHONES.iter().position(|(n, _)| *n == name).map(|i| Phone(i as u8))
    }

    /// Its name in the notation of the CMU dictionary.
    pub fn name(self) -> &'static str {
        PHONES.get(usize::from(self.0)).map_or("", |(name, _)| name)
    }

    /// How far another sound is, in hundredths; 0 for the same, [`WHOLE`] at most.
    pub fn distance(self, other: Phone) -> u32 {
        if self == other {
            return 0;
        }
        let make = |p: Phone| PHONES[usize::from(p.0)].1;
        let apart = match (make(self), make(other)) {
            (Vowel(h, f, g), Vowel(h2, f2, g2)) => {
                15 + 11 * h.abs_diff(h2) + 9 * f.abs_diff(f2) + if g == g2 { 0 } else { 15 }
            }
            (Consonant(p, m, v), Consonant(p2, m2, v2)) => {
                15 + 6 * p.abs_diff(p2) + 12 * m.abs_diff(m2).min(4) + 12 * v.abs_diff(v2)
            }
            _ => WHOLE,
        };
        apart.min(WHOLE)
    }

    /// What it costs to miss this sound, or to hear it where it is not: stops and breath are easily lost.
    pub fn lost(self) -> u32 {
        match PHONES[usize::from(self.0)].1 {
            Vowel(..) => 90,
            Consonant(_, 0, _) | Consonant(6, ..) => 55,
            Consonant(_, 5 | 6, _) => 60,
            Consonant(..) => 70,
        }
    }
}

/// Words whose spelling does not tell their sound.
const EXCEPTIONS: &[(&str, &str)] = &[
    ("a", "AH"),
    ("abeam", "AH B IY M"),
    ("again", "AH G EH N"),
    ("any", "EH N IY"),
    ("are", "AA R"),
    ("autopilot", "AO T OW P AY L AH T"),
    ("bear", "B EH R"),
    ("brake", "B R EY K"),
    ("checked", "CH EH K T"),
    ("closed", "K L OW Z D"),
    ("come", "K AH M"),
    ("confirm", "K AH N F ER M"),
    ("control", "K AH N T R OW L"),
    ("course", "K AO R S"),
    ("do", "D UW"),
    ("done", "D AH N"),
    ("eight", "EY T"),
    ("engine", "EH N JH IH N"),
    ("engines", "EH N JH IH N Z"),
    ("eye", "AY"),
    ("fire", "F AY ER"),
    ("flight", "F L AY T"),
    ("four", "F AO R"),
    ("fuel", "F Y UW L"),
    ("gear", "G IH R"),
    ("give", "G IH V"),
    ("go", "G OW"),
    ("golf", "G AA L F"),
    ("have", "HH AE V"),
    ("heading", "HH EH D IH NG"),
    ("hotel", "HH OW T EH L"),
    ("hundred", "HH AH N D R AH D"),
    ("i", "AY"),
    ("idle", "AY D AH L"),
    ("ignition", "IH G N IH SH AH N"),
    ("india", "IH N D IY AH"),
    ("juliett", "JH UW L IY EH T"),
    ("kilo", "K IY L OW"),
    ("lever", "L EH V ER"),
    ("lights", "L AY T S"),
    ("lima", "L IY M AH"),
    ("live", "L IH V"),
    ("minimum", "M IH N IH M AH M"),
    ("minimums", "M IH N IH M AH M Z"),
    ("my", "M AY"),
    ("no", "N OW"),
    ("oh", "OW"),
    ("okay", "OW K EY"),
    ("one", "W AH N"),
    ("only", "OW N L IY"),
    ("open", "OW P AH N"),
    ("papa", "P AH P AA"),
    ("please", "P L IY Z"),
    ("pressure", "P R EH SH ER"),
    ("pressurisation", "P R EH SH ER AY Z EY SH AH N"),
    ("put", "P UH T"),
    ("quebec", "K AH B EH K"),
    ("ready", "R EH D IY"),
    ("said", "S EH D"),
    ("say", "S EY"),
    ("seven", "S EH V AH N"),
    ("sierra", "S IY EH R AH"),
    ("some", "S AH M"),
    ("speed", "S P IY D"),
    ("steer", "S T IH R"),
    ("takeoff", "T EY K AO F"),
    ("the", "DH AH"),
    ("there", "DH EH R"),
    ("thousand", "TH AW Z AH N D"),
    ("three", "TH R IY"),
    ("throttle", "TH R AA T AH L"),
    ("to", "T UW"),
    ("two", "T UW"),
    ("uniform", "Y UW N IH F AO R M"),
    ("unit", "Y UW N IH T"),
    ("victor", "V IH K T ER"),
    ("was", "W AA Z"),
    ("what", "W AH T"),
    ("whiskey", "W IH S K IY"),
    ("x-ray", "EH K S R EY"),
    ("yes", "Y EH S"),
    ("you", "Y UW"),
    ("your", "Y AO R"),
    ("zero", "Z IH R OW"),
    ("zulu", "Z UW L UW"),
];

/// Names of single letters.
const LETTERS: [&str; 26] = [
    "EY",
    "B IY",
    "S IY",
    "D IY",
    "IY",
    "EH F",
    "JH IY",
    "EY CH",
    "AY",
    "JH EY",
    "K EY",
    "EH L",
    "EH M",
    "EH N",
    "OW",
    "P IY",
    "K Y UW",
    "AA R",
    "EH S",
    "T IY",
    "Y UW",
    "V IY",
    "D AH B AH L Y UW",
    "EH K S",
    "W AY",
    "Z IY",
];

/// Pieces of spelling and their sound, longest first where one begins another. `^` stands for the word's start, `$` for its
/// end.
const RULES: &[(&str, &str)] = &[
    ("tions$", "SH AH N Z"),
    ("tion", "SH AH N"),
    ("sion", "ZH AH N"),
    ("ture$", "CH ER"),
    ("ough", "AO"),
    ("augh", "AO"),
    ("eigh", "EY"),
    ("igh", "AY"),
    ("tch", "CH"),
    ("dge", "JH"),
    ("sch", "SH"),
    ("air", "EH R"),
    ("are$", "EH R"),
    ("ear", "IH R"),
    ("eer", "IH R"),
    ("ire$", "AY R"),
    ("ore$", "AO R"),
    ("ure$", "Y UH R"),
    ("our", "AW R"),
    ("oar", "AO R"),
    ("oor", "AO R"),
    ("tre$", "T ER"),
    ("ble$", "B AH L"),
    ("ple$", "P AH L"),
    ("tle$", "T AH L"),
    ("dle$", "D AH L"),
    ("kle$", "K AH L"),
    ("gle$", "G AH L"),
    ("fle$", "F AH L"),
    ("zle$", "Z AH L"),
    ("ies$", "IY Z"),
    ("ses$", "S IH Z"),
    ("xes$", "K S IH Z"),
    ("ches$", "CH IH Z"),
    ("shes$", "SH IH Z"),
    ("ted$", "T IH D"),
    ("ded$", "D IH D"),
    ("cked$", "K T"),
    ("ped$", "P T"),
    ("ssed$", "S T"),
    ("shed$", "SH T"),
    ("ched$", "CH T"),
    ("ing", "IH NG"),
    ("^kn", "N"),
    ("^wr", "R"),
    ("^gn", "N"),
    ("mb$", "M"),
    ("ck", "K"),
    ("ch", "CH"),
    ("sh", "SH"),
    ("th", "TH"),
    ("ph", "F"),
    ("wh", "W"),
    ("gh", ""),
    ("ng", "NG"),
    ("nk", "NG K"),
    ("qu", "K W"),
    ("x", "K S"),
    ("ai", "EY"),
    ("ay", "EY"),
    ("au", "AO"),
    ("aw", "AO"),
    ("al$", "AH L"),
    ("ar", "AA R"),
    ("ee", "IY"),
    ("ea", "IY"),
    ("ei", "EY"),
    ("ey$", "IY"),
    ("ew", "UW"),
    ("er", "ER"),
    ("ie", "IY"),
    ("ir", "ER"),
    ("oa", "OW"),
    ("oi", "OY"),
    ("oy", "OY"),
    ("oo", "UW"),
    ("ou", "AW"),
    ("ow$", "OW"),
    ("ow", "AW"),
    ("or", "AO R"),
    ("old", "OW L D"),
    ("ost", "OW S T"),
    ("ur", "ER"),
    ("ui", "UW"),
    ("ue$", "UW"),
    ("y$", "IY"),
    ("^y", "Y"),
    ("o$", "OW"),
    ("i$", "IY"),
    ("bb", "B"),
    ("cc", "K"),
    ("dd", "D"),
    ("ff", "F"),
    ("gg", "G"),
    ("ll", "L"),
    ("mm", "M"),
    ("nn", "N"),
    ("pp", "P"),
    ("rr", "R"),
    ("ss", "S"),
    ("tt", "T"),
    ("zz", "Z"),
    ("b", "B"),
    ("d", "D"),
    ("f", "F"),
    ("h", "HH"),
    ("j", "JH"),
    ("k", "K"),
    ("l", "L"),
    ("m", "M"),
    ("n", "N"),
    ("p", "P"),
    ("q", "K"),
    ("r", "R"),
    ("s", "S"),
    ("t", "T"),
    ("v", "V"),
    ("w", "W"),
    ("z", "Z"),
];

/// The sounds of a spoken word, by its spelling; at least one for a word with a letter in it.
pub fn phones(word: &str) -> Vec<Phone> {
    let word = word.to_lowercase();
    let all = |text: &str| text.split(' ').filter_map(Phone::named).collect::<Vec<_>>();
    let known = |w: &str| EXCEPTIONS.iter().find(|(e, _)| *e == w).map(|(_, sound)| all(sound));
    if let Some(sound) = known(&word) {
        return sound;
    }
    if let [letter @ b'a'..=b'z'] = word.as_bytes() {
        return all(LETTERS[usize::from(letter - b'a')]);
    }
    // Another orthography sounds the same; another pronunciation (niner) does not.
    if let Some(sound) = variants(&word).iter().filter(|v| v.get(..2) == word.get(..2)).find_map(|v| known(v))
        && word.len() > 5
    {
        return sound;
    }
    word.split(|c: char| !c.is_ascii_lowercase()).flat_map(|part| spelled(part, &all)).collect()
}

/// Syllables of a spoken word, by its spelling; a figure counts for one.
pub fn syllables(word: &str) -> usize {
    let vowels = phones(word).iter().filter(|p| matches!(PHONES[usize::from(p.0)].1, Vowel(..))).count();
    vowels + word.chars().filter(char::is_ascii_digit).count()
}

fn spelled(word: &str, all: &dyn Fn(&str) -> Vec<Phone>) -> Vec<Phone> {
    let letters = word.as_bytes();
    let mut out = Vec::new();
    let mut at = 0;
    while at < letters.len() {
        let rest = &word[at..];
        let rule = RULES.iter().find(|(piece, _)| {
            let (start, piece) = piece.strip_prefix('^').map_or((false, *piece), |p| (true, p));
            let (end, piece) = piece.strip_suffix('$').map_or((false, piece), |p| (true, p));
            // A word is not all ending.
            (!start || at == 0) && (!end || (rest == piece && (at > 0 || letters.len() < 3))) && rest.starts_with(piece)
        });
        if let Some((piece, sound)) = rule {
            out.extend(all(sound));
            at += piece.trim_matches(['^', '$']).len();
            continue;
        }
        let next = letters.get(at + 1).copied();
        // A vowel before one consonant and a last e (or -es, -ed) is long, and the e is not heard.
        let tail = rest.get(2..).unwrap_or("");
        let long = matches!(tail, "e" | "es" | "ed" | "ing") && next.is_some_and(|n| !b"aeiouwxy".contains(&n));
        let soft = matches!(next, Some(b'e' | b'i' | b'y'));
        let sound = match (letters[at], long) {
            (b'a', true) => "EY",
            (b'e', true) => "IY",
            (b'i' | b'y', true) => "AY",
            (b'o', true) => "OW",
            (b'u', true) => "UW",
            (b'a', false) if at + 1 == letters.len() => "AH",
            (b'a', false) => "AE",
            (b'e', false) if at + 1 == letters.len() && at > 1 => "",
            (b'e', false) if at > 1 && matches!(rest, "es" | "ed") => "",
            (b'e', false) => "EH",
            (b'i' | b'y', false) => "IH",
            (b'o', false) => "AA",
            (b'u', false) => "AH",
            (b'c', _) if soft => "S",
            (b'c', _) => "K",
            (b'g', _) if soft && at > 0 => "JH",
            (b'g', _) => "G",
            _ => "",
        };
        out.extend(all(sound));
        at += 1;
    }
    out
}

/// How far two rows of sounds are apart, in hundredths of a phone: the cheapest way to turn one into the other.
pub fn distance(a: &[Phone], b: &[Phone]) -> u32 {
    let mut row: Vec<u32> = vec![0];
    for p in b {
        row.push(row[row.len() - 1] + p.lost());
    }
    for p in a {
        let mut before = row[0];
        row[0] += p.lost();
        for (j, q) in b.iter().enumerate() {
            let other = before + p.distance(*q);
            before = row[j + 1];
            row[j + 1] = other.min(before + p.lost()).min(row[j] + q.lost());
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::words::ALPHABET;

    fn sound(word: &str) -> String {
        phones(word).iter().map(|p| p.name()).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn spelling_tells_the_sound() {
        for (word, wanted) in [
            ("flaps", "F L AE P S"),
            ("five", "F AY V"),
            ("nine", "N AY N"),
            ("niner", "N IH N ER"),
            ("check", "CH EH K"),
            ("set", "S EH T"),
            ("right", "R AY T"),
            ("gear", "G IH R"),
            ("speed", "S P IY D"),
            ("brakes", "B R EY K S"),
            ("completed", "K AA M P L IY T IH D"),
            ("station", "S T AE SH AH N"),
            ("alpha", "AE L F AH"),
            ("qnh", "K N HH"),
            ("b", "B IY"),
            ("take-off", "T EY K AA F"),
            ("two", "T UW"),
            ("up", "AH P"),
            ("go", "G OW"),
            ("", ""),
        ] {
            assert_eq!(sound(word), wanted, "{word}");
        }
    }

    #[test]
    fn every_word_has_a_sound_and_every_exception_is_a_phone() {
        for (word, sound) in EXCEPTIONS {
            assert!(sound.split(' ').all(|p| Phone::named(p).is_some()), "{word}");
        }
        for sound in RULES.iter().map(|r| r.1).chain(LETTERS).filter(|s| !s.is_empty()) {
            assert!(sound.split(' ').all(|p| Phone::named(p).is_some()), "{sound}");
        }
        assert!(EXCEPTIONS.is_sorted_by_key(|e| e.0));
        for word in ALPHABET {
            assert!(!phones(word).is_empty(), "{word}");
        }
    }

    #[test]
    fn what_sounds_alike_is_near() {
        let apart = |a: &str, b: &str| distance(&phones(a), &phones(b));
        assert_eq!(apart("set", "set"), 0);
        assert_eq!(apart("right", "write"), 0);
        // The pair for which "niner" was introduced, and letters of one rhyme, against words with nothing in common.
        assert!(apart("five", "nine") < apart("five", "two"));
        assert!(apart("b", "d") < 50 && apart("m", "n") < 50);
        assert!(apart("flaps", "flap") < apart("flaps", "gear"));
        assert!(apart("on", "off") < 2 * WHOLE);
    }

    #[test]
    fn a_distance_is_one() {
        let all: Vec<Phone> = (0..PHONES.len() as u8).map(Phone).collect();
        for a in &all {
            assert_eq!(a.distance(*a), 0);
            for b in &all {
                assert_eq!(a.distance(*b), b.distance(*a), "{} {}", a.name(), b.name());
                assert!(a == b || (15..=WHOLE).contains(&a.distance(*b)));
            }
        }
        let words = ["flaps", "five", "nine", "gear", "up"].map(phones);
        for (a, b) in words.iter().flat_map(|a| words.iter().map(move |b| (a, b))) {
            assert_eq!(distance(a, b), distance(b, a));
        }
    }
}
