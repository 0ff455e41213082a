//! The speech model's tokens: bytes ↔ ids.
//!
//! The file holds the tokens in order of id, each a length (one byte; from 128 on two bytes, low 7 bits first) and its
//! bytes; a space is U+2581. Merging the adjacent pair whose joined token has the lowest id reproduces the model's own
//! tokenisation, and does so word by word: the tokens of a text are the tokens of its words, each with its space.

/// Id of a token.
pub type Token = u32;

/// The sign that stands for a space.
const SPACE: &str = "\u{2581}";
/// Ids below this are signs of control and single bytes that stand for nothing else.
const FIRST_TEXT: Token = 259;

/// Why a token file is refused: one sentence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the token file is damaged at byte {at}: delete it and run `make setup`")]
pub struct TokenFileError {
    /// Where.
    pub at: usize,
}

/// The table of tokens.
#[derive(Debug, Clone)]
pub struct Tokens {
    all: Vec<Vec<u8>>,
    /// Ids of text tokens, sorted by their bytes.
    sorted: Vec<Token>,
}

impl Tokens {
    /// Reads a token file.
    ///
    /// # Errors
    /// The file is empty, or ends within a token.
    pub fn parse(bytes: &[u8]) -> Result<Tokens, TokenFileError> {
        let mut all = Vec::new();
        let mut at = 0;
        while at < bytes.len() {
            let broken = TokenFileError { at };
            let mut length = bytes[at] as usize;
            at += 1;
            if length >= 128 {
                let high = *bytes.get(at).ok_or(broken.clone())? as usize;
                length = (length & 127) | high << 7;
                at += 1;
            }
            all.push(bytes.get(at..at + length).ok_or(broken)?.to_vec());
            at += length;
        }
        if all.len() <= FIRST_TEXT as usize {
            return Err(TokenFileError { at });
        }
        Ok(Tokens { sorted: sorted(&all, FIRST_TEXT), all })
    }

    /// Reads a list of tokens, one a line in order of id, as byte-level vocabularies are written: a space is U+0120.
    ///
    /// # Errors
    /// It is empty.
    pub fn of_lines(text: &str) -> Result<Tokens, TokenFileError> {
        let all: Vec<Vec<u8>> = text.lines().map(|l| l.replace('\u{120}', SPACE).into_bytes()).collect();
        if all.len() < 256 {
            return Err(TokenFileError { at: text.len() });
        }
        Ok(Tokens { sorted: sorted(&all, 0), all })
    }

    /// The token that is written so.
    pub fn named(&self, name: &str) -> Option<Token> {
        self.find(name.as_bytes())
    }

    /// How many tokens there are.
    pub fn len(&self) -> usize {
        self.all.len()
    }
    /// Whether there are none: never, once parsed.
    pub fn is_empty(&self) -> bool {
        self.all.is_empty()
    }

    /// The text token with exactly these bytes.
    fn find(&self, bytes: &[u8]) -> Option<Token> {
        let i = self.sorted.partition_point(|t| self.all[*t as usize].as_slice() < bytes);
        self.sorted.get(i).copied().filter(|t| self.all[*t as usize] == bytes)
    }

    /// The tokens of a text; what the table does not know is spelled in bytes.
    pub fn encode(&self, text: &str) -> Vec<Token> {
        let text = text.replace(' ', SPACE);
        let mut pieces: Vec<&str> = Vec::new();
        let mut rest = text.as_str();
        while let Some(c) = rest.chars().next() {
            let (head, tail) = rest.split_at(c.len_utf8());
            pieces.push(head);
            rest = tail;
        }
        // Where each piece begins in `text`; a merge only takes a boundary away.
        let mut starts: Vec<usize> = Vec::with_capacity(pieces.len() + 1);
        let mut at = 0;
        for p in &pieces {
            starts.push(at);
            at += p.len();
        }
        starts.push(at);
        loop {
            let best = (0..starts.len().saturating_sub(2))
                .filter_map(|i| self.find(&text.as_bytes()[starts[i]..starts[i + 2]]).map(|t| (t, i)))
                .min();
            match best {
                Some((_, i)) => starts.remove(i + 1),
                None => break,
            };
        }
        let mut out = Vec::new();
        for w in starts.windows(2) {
            let bytes = &text.as_bytes()[w[0]..w[1]];
            match self.find(bytes) {
                Some(t) => out.push(t),
                None => out.extend(bytes.iter().map(|b| Token::from(*b) + 3)),
            }
        }
        out
    }

    /// The text of tokens, without the space at its beginning; control signs vanish.
    pub fn text(&self, tokens: &[Token]) -> String {
        let bytes: Vec<u8> =
            tokens.iter().filter(|t| **t > 2).filter_map(|t| self.all.get(*t as usize)).flatten().copied().collect();
        String::from_utf8_lossy(&bytes).replace(SPACE, " ").trim_start().to_string()
    }

    /// Whether ` word` is a single token, and one of the `first` that the model learned: a common word.
    pub fn is_common(&self, word: &str, first: Token) -> bool {
        self.find(format!("{SPACE}{word}").as_bytes()).is_some_and(|t| t < first)
    }
}

/// Ids from `first` on, by their bytes.
fn sorted(all: &[Vec<u8>], first: Token) -> Vec<Token> {
    let mut sorted: Vec<Token> = (first..all.len() as Token).collect();
    sorted.sort_by(|a, b| all[*a as usize].cmp(&all[*b as usize]).then(a.cmp(b)));
    sorted
}

/// A small table for tests: single bytes, then these tokens (a space is written as a space).
#[cfg(test)]
pub(crate) fn small(tokens: &[&str]) -> Tokens {
    let mut file = Vec::new();
    let mut put = |bytes: &[u8]| {
        assert!(bytes.len() < 128);
        file.push(bytes.len() as u8);
        file.extend_from_slice(bytes);
    };
    for t in ["<unk>", "<s>", "</s>"] {
        put(t.as_bytes());
    }
    (0..=255u8).for_each(|b| put(&[b]));
    for t in tokens {
        put(t.replace(' ', SPACE).as_bytes());
    }
    Tokens::parse(&file).expect("a sound table")
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn merges_by_lowest_id() {
        let t = small(&[" ", "a", "b", "c", " a", "bc", " ab"]);
        assert_eq!(t.encode(" abc"), [263, 264]);
        assert_eq!(t.encode(" ab"), [265]);
        assert_eq!(t.encode("cé"), [262, 0xc3 + 3, 0xa9 + 3]);
        assert_eq!(t.encode(""), [] as [u32; 0]);
        assert_eq!(t.text(&[1, 263, 264, 0xc3 + 3, 0xa9 + 3, 2]), "abcé");
        assert!(t.is_common("a", 264) && !t.is_common("a", 263) && !t.is_common("b", 999));
    }

    #[test]
    fn reads_long_tokens_and_refuses_a_cut_file() {
        let mut file: Vec<u8> = (0..300).flat_map(|_| [1, b'x']).collect();
        file.extend([0x80 | 0x48, 0x01]);
        file.extend([b'y'; 0xc8]);
        assert_eq!(Tokens::parse(&file).unwrap().all[300], [b'y'; 200]);
        file.pop();
        assert_eq!(Tokens::parse(&file).unwrap_err(), TokenFileError { at: 600 });
        assert!(Tokens::parse(&[]).is_err());
    }

    proptest! {
        #[test]
        fn never_panics_on_any_file(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
            let _ = Tokens::parse(&bytes);
        }

        #[test]
        fn text_comes_back(text in "[a-d é]{0,20}") {
            let t = small(&[" ", "a", "b", "c", " a", "bc", "d", "ab", "cd", "abcd"]);
            prop_assert_eq!(t.text(&t.encode(&text)), text.trim_start());
        }
    }
}
