//! Words to look for in a spoken line.

use std::fmt;

/// One piece of a pattern: words that stand together. Between two pieces any words may stand.
type Piece = Vec<String>;

/// `"gear up"`, `"holding at * flaps"`: whole words in order, somewhere in the line; case and punctuation do not count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    text: String,
    pieces: Vec<Piece>,
}

impl Pattern {
    /// From text as written. `None` when there is no word in it.
    pub fn new(text: &str) -> Option<Pattern> {
        let pieces: Vec<Piece> = text.split('*').map(words).filter(|p| !p.is_empty()).collect();
        (!pieces.is_empty()).then(|| Pattern { text: text.into(), pieces })
    }
    /// Whether `line` has it.
    pub fn matches(&self, line: &str) -> bool {
        let line = words(line);
        let mut from = 0;
        // Taking the first place for each piece leaves most room for those after it.
        self.pieces.iter().all(|piece| {
            let place = line[from..].windows(piece.len()).position(|w| w == piece.as_slice());
            from += place.unwrap_or(0) + piece.len();
            place.is_some()
        })
    }
}

impl fmt::Display for Pattern {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "\"{}\"", self.text)
    }
}

/// Lower-case words; an apostrophe inside a word stays out of it, any other mark parts words.
fn words(text: &str) -> Vec<String> {
    let kept: String = text.chars().filter(|c| !matches!(c, '\'' | '\u{2019}')).collect();
    kept.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).map(str::to_lowercase).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn whole_words_in_order() {
        let check = |pattern: &str, line: &str, want: bool| {
            assert_eq!(Pattern::new(pattern).unwrap().matches(line), want, "{pattern:?} in {line:?}");
        };
        check("gear up", "Gear up, Captain", true);
        check("gear up", "gear upper", false);
        check("gear up", "landing gear. Up!", true);
        check("gear up", "gear is up", false);
        check("gear * up", "gear is up", true);
        check("gear * up", "gear up", true);
        check("gear * gear", "gear", false);
        check("a b * b c", "a b c", false);
        check("don't", "Dont!", true);
        check("V one", "v-one", true);
        check("eighty", "", false);
    }

    #[test]
    fn no_word_is_no_pattern() {
        assert_eq!(Pattern::new(" * ,"), None);
    }

    proptest! {
        #[test]
        fn never_panics_and_finds_itself(pattern in ".{0,30}", before in ".{0,20}", after in ".{0,20}") {
            if let Some(p) = Pattern::new(&pattern) {
                let _ = p.matches(&before);
                let line = format!("{before} {pattern} {after}");
                prop_assert!(p.matches(&line));
            }
        }
    }
}
