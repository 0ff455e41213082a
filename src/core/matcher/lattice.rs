//! Written text as everything that it may stand for: "27" is "two seven" and "twenty seven" at once.

use crate::core::grammar::WordGraph;
use crate::core::words::readings;

/// Texts with more points are not looked at: nobody says so much in one breath.
pub(super) const MOST_POINTS: usize = 240;

/// Points between words, and words between points. Point 0 is the start; every word leads to a later point.
#[derive(Debug, Default)]
pub struct Lattice {
    /// For each point the words that may follow: index into `words`, and the point behind it.
    pub edges: Vec<Vec<(usize, usize)>>,
    /// The different words.
    pub words: Vec<String>,
}

impl Lattice {
    /// Reads `text`; a hyphen parts words unless the graph knows the whole.
    pub fn new(text: &str, graph: &WordGraph) -> Self {
        let mut lattice = Lattice { edges: vec![Vec::new()], words: Vec::new() };
        for token in text.split_whitespace() {
            // Commas and stops between words without a space: "up,flaps".
            let inner = |c: char| matches!(c, ',' | ';' | ':' | '!' | '?' | '/' | '.');
            let number = token.contains(|c: char| c.is_ascii_digit());
            let pieces: Vec<&str> = if number { vec![token] } else { token.split(inner).collect() };
            for piece in pieces {
                let ways: Vec<Vec<String>> =
                    readings(piece).iter().map(|r| r.split(' ').flat_map(|w| parted(w, graph)).collect()).collect();
                if !ways.is_empty() {
                    lattice.push(&ways);
                }
            }
        }
        lattice
    }

    fn push(&mut self, ways: &[Vec<String>]) {
        let from = self.edges.len() - 1;
        let inner: usize = ways.iter().map(|w| w.len() - 1).sum();
        let end = from + inner + 1;
        self.edges.resize(end + 1, Vec::new());
        let mut next = from + 1;
        for way in ways {
            let mut at = from;
            for (i, word) in way.iter().enumerate() {
                let to = if i + 1 == way.len() { end } else { next };
                let word = self.word(word);
                self.edges[at].push((word, to));
                if to != end {
                    next += 1;
                }
                at = to;
            }
        }
    }

    fn word(&mut self, word: &str) -> usize {
        self.words.iter().position(|w| w == word).unwrap_or_else(|| {
            self.words.push(word.to_owned());
            self.words.len() - 1
        })
    }

    /// The point behind the last word.
    pub fn end(&self) -> usize {
        self.edges.len() - 1
    }
}

fn parted(word: &str, graph: &WordGraph) -> Vec<String> {
    if word.contains('-') && graph.word(word).is_none() {
        word.split('-').filter(|w| !w.is_empty()).map(str::to_owned).collect()
    } else {
        vec![word.to_owned()]
    }
}
