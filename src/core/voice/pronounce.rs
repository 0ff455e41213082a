//! Written words to words that a speaking program reads rightly: a lexicon from data.

use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};

/// Which written words are spelled and which are replaced, and how a program wants its letters.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Lexicon {
    /// Said letter by letter.
    #[serde(default)]
    letters: BTreeSet<String>,
    /// Said as other words.
    #[serde(default)]
    words: BTreeMap<String, String>,
    /// Program → letter → what to write for it.
    #[serde(default)]
    letter_names: BTreeMap<String, BTreeMap<String, String>>,
}

/// A lexicon that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the pronunciation list is not right: {0}")]
pub struct LexiconError(String);

const BUILT_IN: &str = include_str!("../../../phrasebooks/pronounce.toml");

impl Lexicon {
    /// The one in the program. Its text is tested; should it be damaged, words are spoken as they are written.
    pub fn built_in() -> Self {
        Self::parse(BUILT_IN).unwrap_or_default()
    }

    /// From TOML with `letters`, `[words]` and `[letter_names.PROGRAM]`.
    pub fn parse(text: &str) -> Result<Self, LexiconError> {
        toml::from_str(text).map_err(|e| LexiconError(e.message().trim().to_string()))
    }

    /// The text as `program` should get it. What is not in the lexicon stays as it is.
    pub fn respell(&self, text: &str, program: &str) -> String {
        let names = self.letter_names.get(program);
        let mut out = String::with_capacity(text.len() + 16);
        let mut rest = text;
        while let Some(first) = rest.chars().next() {
            let in_word = first.is_alphanumeric();
            let end = rest.find(|c: char| c.is_alphanumeric() != in_word).unwrap_or(rest.len());
            let (token, after) = rest.split_at(end);
            if in_word {
                self.word(token, names, &mut out)
            } else {
                out.push_str(token)
            }
            rest = after;
        }
        out
    }

    fn word(&self, token: &str, names: Option<&BTreeMap<String, String>>, out: &mut String) {
        if let Some(words) = self.words.get(token) {
            for (i, word) in words.split(' ').enumerate() {
                if i > 0 {
                    out.push(' ');
                }
                // A lone capital in a replacement is a letter too.
                match names.and_then(|n| n.get(word)) {
                    Some(name) => out.push_str(name),
                    None => out.push_str(word),
                }
            }
        } else if self.letters.contains(token) {
            for (i, letter) in token.chars().enumerate() {
                if i > 0 {
                    out.push(' ');
                }
                match names.and_then(|n| n.get(letter.encode_utf8(&mut [0; 4]) as &str)) {
                    Some(name) => out.push_str(name),
                    None => out.push(letter),
                }
            }
        } else {
            out.push_str(token);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(program: &str, text: &str, want: &str) {
        assert_eq!(Lexicon::built_in().respell(text, program), want);
    }

    #[test]
    fn abbreviations_are_spelled_and_words_stay() {
        for (program, text, want) in [
            ("flite", "APU on, QNH set.", "ay P U on, Q N H set."),
            ("espeak-ng", "APU on, QNH set.", "[[eI]] P U on, Q N H set."),
            ("", "V1", "V one"),
            ("", "N1 is stable at V2.", "N one is stable at V two."),
            ("flite", "The captain's APUs", "The captain's APUs"),
            ("flite", "Flaps 5, set", "Flaps 5, set"),
            ("", "", ""),
        ] {
            check(program, text, want);
        }
    }

    #[test]
    fn the_built_in_list_is_whole() {
        let list = Lexicon::parse(BUILT_IN).unwrap();
        let twice: Vec<_> = list.letters.iter().filter(|w| list.words.contains_key(*w)).collect();
        assert_eq!(twice, Vec::<&String>::new(), "in both lists");
        assert!(list.letters.iter().chain(list.words.keys()).all(|w| w.chars().all(char::is_alphanumeric)));
    }

    #[test]
    fn a_wrong_list_is_a_sentence() {
        let said = Lexicon::parse("spell = 3").unwrap_err().to_string();
        insta::assert_snapshot!(said, @"the pronunciation list is not right: unknown field `spell`, expected one of `letters`, `words`, `letter_names`");
    }

    proptest! {
        #[test]
        fn text_without_listed_words_is_untouched(text in "[a-z ,.'é0-9-]{0,40}") {
            prop_assume!(!text.split(|c: char| !c.is_alphanumeric()).any(|w| ["kt", "ft", "rpm"].contains(&w)));
            prop_assert_eq!(Lexicon::built_in().respell(&text, "flite"), text);
        }

        #[test]
        fn any_text_is_taken(text in any::<String>()) {
            Lexicon::built_in().respell(&text, "espeak-ng");
        }
    }
}
