//! Reading the keys of one entry, with a problem for each that is missing, unknown or of the wrong type.

use super::Cx;
use super::tree::{Entry, Node, Span, Tree};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::book::problem::nearest;
use crate::core::book::rules;

/// One table of a book being read.
#[derive(Clone, Copy)]
pub struct Reader<'c, 'a> {
    /// Where problems go.
    pub cx: &'c Cx,
    /// What it is called in messages: "call `flaps`".
    pub what: &'c str,
    /// Where it is named.
    pub at: Span,
    /// Its keys.
    pub entries: &'a [Entry],
}

impl<'c, 'a> Reader<'c, 'a> {
    /// Reads `node`, which must be a table; what is not counts as an empty one, with a problem.
    pub fn new(cx: &'c Cx, what: &'c str, at: Span, node: &'a Node) -> Self {
        if !matches!(node.tree, Tree::Table(_)) {
            cx.wrong_type(node, what, "a table");
        }
        Reader { cx, what, at, entries: node.entries() }
    }

    /// Reports every key that is not one of `legal`, with the nearest of them.
    pub fn only(&self, legal: &[&str]) {
        for e in self.entries.iter().filter(|e| !legal.contains(&e.key.as_str())) {
            let hint = match nearest(&e.key, legal.iter().copied()) {
                Some(n) => format!("did you mean `{n}`?"),
                None => format!("the keys here are {}", legal.join(", ")),
            };
            self.cx.raise(
                rules::UNKNOWN_KEY,
                e.at,
                format!("{} has no key `{}`.", upper(self.what), e.key),
                Some(hint),
            );
        }
    }

    /// The value of a key, whatever it is.
    pub fn node(&self, key: &str) -> Option<&'a Node> {
        self.entries.iter().find(|e| e.key == key).map(|e| &e.value)
    }

    /// The same; its absence is a problem.
    pub fn need(&self, key: &str, example: &str) -> Option<&'a Node> {
        let found = self.node(key);
        if found.is_none() {
            let text = format!("{} needs the key `{key}`.", upper(self.what));
            self.cx.raise(rules::MISSING_KEY, self.at, text, Some(format!("add `{key} = {example}`")));
        }
        found
    }

    /// A string.
    pub fn text(&self, key: &str) -> Option<&'a str> {
        let node = self.node(key)?;
        if node.text().is_none() {
            self.cx.wrong_type(node, key, "a string");
        }
        node.text()
    }

    /// `title`, by default the id with spaces.
    pub fn title(&self, id: &str) -> String {
        self.text("title").map_or_else(|| id.replace('_', " "), str::to_string)
    }

    /// A number within a range.
    pub fn number(&self, key: &str, low: f64, high: f64) -> Option<f64> {
        let node = self.node(key)?;
        let Tree::Number(n) = node.tree else {
            self.cx.wrong_type(node, key, "a number");
            return None;
        };
        if n < low || n > high {
            let text = format!("`{key}` must be between {low} and {high}.");
            self.cx.raise(rules::NUMBER_RANGE, node.at, text, Some(format!("write `{key} = {}`", n.clamp(low, high))));
            return None;
        }
        Some(n)
    }

    /// A duration in seconds, up to a day.
    pub fn seconds(&self, key: &str) -> Option<f64> {
        self.number(key, 0.0, 86_400.0)
    }

    /// A truth; absent is false.
    pub fn truth(&self, key: &str) -> bool {
        match self.node(key) {
            None => false,
            Some(Node { tree: Tree::Truth(b), .. }) => *b,
            Some(node) => {
                self.cx.wrong_type(node, key, "true or false");
                false
            }
        }
    }

    /// One word of a closed set.
    pub fn choice<T: Copy>(&self, key: &str, all: &[(&str, T)]) -> Option<T> {
        let node = self.node(key)?;
        let Some(word) = node.text() else {
            self.cx.wrong_type(node, key, "a word in quotes");
            return None;
        };
        let found = all.iter().find(|(w, _)| *w == word).map(|(_, t)| *t);
        if found.is_none() {
            let legal = all.iter().map(|(w, _)| *w);
            let hint = match nearest(word, legal.clone()) {
                Some(n) => format!("did you mean \"{n}\"?"),
                None => format!("it can be {}", legal.collect::<Vec<_>>().join(", ")),
            };
            self.cx.raise(rules::UNKNOWN_VALUE, node.at, format!("`{key}` cannot be \"{word}\"."), Some(hint));
        }
        found
    }

    /// A string or a list of strings, each with its node.
    pub fn texts(&self, key: &str) -> Vec<(&'a str, &'a Node)> {
        let Some(node) = self.node(key) else { return Vec::new() };
        let mut all = Vec::new();
        for n in node.each() {
            match n.text() {
                Some(t) => all.push((t, n)),
                None => self.cx.wrong_type(n, key, "a string or a list of strings"),
            }
        }
        all
    }

    /// The type of a value: `"number"`, `"bool"`, `"word"` or a list of words.
    pub fn kind(&self, key: &str) -> Option<ValueKind> {
        let node = self.node(key)?;
        if let Tree::List(all) = &node.tree {
            let words: Vec<String> = all.iter().filter_map(|n| n.text().map(str::to_string)).collect();
            if words.len() != all.len() || words.is_empty() {
                self.cx.wrong_type(node, key, "a list of words in quotes");
                return None;
            }
            return Some(ValueKind::Word(words));
        }
        let all = [("number", 0), ("bool", 1), ("word", 2)];
        Some(match self.choice(key, &all)? {
            0 => ValueKind::Number,
            1 => ValueKind::Bool,
            _ => ValueKind::Word(Vec::new()),
        })
    }
}

/// A plain value of a book.
pub fn value(node: &Node) -> Option<Value> {
    match &node.tree {
        Tree::Text(s, _) => Some(Value::Word(s.clone())),
        Tree::Number(n) => Some(Value::Number(*n)),
        Tree::Truth(b) => Some(Value::Bool(*b)),
        _ => None,
    }
}

/// With the first letter in upper case, for the head of a sentence.
pub fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}
