//! TOML text → an owned tree with a place on everything.

use super::Cx;
use crate::core::book::rules;
use toml::de::{DeTable, DeValue};

/// A stretch of one of the sources, in bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Span {
    /// Index of the source.
    pub file: u16,
    /// First byte.
    pub start: usize,
    /// One past the last.
    pub end: usize,
}

impl Span {
    /// A stretch within this one, if the text of this one stands in the file as it is (no escapes).
    pub fn within(self, inner: Option<usize>, start: usize, end: usize) -> Span {
        match inner {
            Some(at) => Span { file: self.file, start: at + start, end: at + end.max(start) },
            None => self,
        }
    }
}

/// A value and where it stands.
#[derive(Debug, Clone)]
pub struct Node {
    /// Where.
    pub at: Span,
    /// What.
    pub tree: Tree,
}

/// What TOML can hold, as far as a book needs it.
#[derive(Debug, Clone)]
pub enum Tree {
    /// A string; the byte where its content begins if it is written without escapes.
    Text(String, Option<usize>),
    /// An integer or a float.
    Number(f64),
    /// A boolean.
    Truth(bool),
    /// An array.
    List(Vec<Node>),
    /// A table, in the order of the file.
    Table(Vec<Entry>),
    /// A date or a number that cannot be held: never legal.
    Other,
    /// Stands on a line with a syntax fault, which has been told: nothing more is said about it.
    Broken,
}

/// A key with its value.
#[derive(Debug, Clone)]
pub struct Entry {
    /// The key.
    pub key: String,
    /// Where the key stands.
    pub at: Span,
    /// The value.
    pub value: Node,
}

impl Node {
    /// What to call it in a message.
    pub fn sort(&self) -> &'static str {
        match &self.tree {
            Tree::Text(..) => "a string",
            Tree::Number(_) => "a number",
            Tree::Truth(_) => "true or false",
            Tree::List(_) => "a list",
            Tree::Table(_) => "a table",
            Tree::Other => "a date or an endless number",
            Tree::Broken => "not readable",
        }
    }
    /// The entries, if it is a table.
    pub fn entries(&self) -> &[Entry] {
        if let Tree::Table(e) = &self.tree { e } else { &[] }
    }
    /// The entry of this key.
    pub fn get(&self, key: &str) -> Option<&Entry> {
        self.entries().iter().find(|e| e.key == key)
    }
    /// The text, if it is a string.
    pub fn text(&self) -> Option<&str> {
        if let Tree::Text(s, _) = &self.tree { Some(s) } else { None }
    }
    /// The elements of a list; a single value counts as a list of one.
    pub fn each(&self) -> &[Node] {
        if let Tree::List(all) = &self.tree { all } else { std::slice::from_ref(self) }
    }
}

/// Parses one source. Syntax faults go to `cx`, the first of each statement only; what could be read is returned.
pub fn parse(cx: &Cx, file: u16, text: &str) -> Vec<Entry> {
    let (table, errors) = DeTable::parse_recoverable(text);
    let mut broken: Vec<usize> = Vec::new();
    for e in &errors {
        let span = e.span().unwrap_or(0..0);
        let start = span.start.min(text.len());
        // Recovery after a fault reports its own consequences, on the same line or the lines right after it.
        let line = line_of(text, start);
        let follows = broken.last().is_some_and(|l| line <= l + 1);
        let duplicate = e.message().starts_with("duplicate key");
        if !duplicate {
            broken.push(line);
        }
        if follows && !duplicate {
            continue;
        }
        let at = Span { file, start, end: span.end.clamp(start, text.len()) };
        if duplicate {
            let name = text.get(at.start..at.end).unwrap_or("this key");
            cx.raise(
                rules::DUPLICATE_ID,
                at,
                format!("`{name}` is written twice here."),
                Some("rename or remove one of them".into()),
            );
        } else {
            let text =
                format!("This is not well-formed TOML: {}.", e.message().replace('\n', ", ").trim_end_matches('.'));
            cx.raise(rules::SYNTAX, at, text, None);
        }
    }
    let mut all = entries(file, text, table.get_ref());
    if !broken.is_empty() {
        spoil(&mut all, &|at| broken.contains(&line_of(text, at.start.min(text.len()))));
    }
    all
}

fn line_of(text: &str, at: usize) -> usize {
    text.as_bytes()[..at].iter().filter(|b| **b == b'\n').count()
}

/// Marks every plain value on a line with a fault: what recovery made of it is a guess.
fn spoil(all: &mut [Entry], faulty: &dyn Fn(Span) -> bool) {
    for e in all {
        spoil_node(&mut e.value, faulty);
    }
}

fn spoil_node(node: &mut Node, faulty: &dyn Fn(Span) -> bool) {
    match &mut node.tree {
        Tree::Table(all) => spoil(all, faulty),
        Tree::List(all) => all.iter_mut().for_each(|n| spoil_node(n, faulty)),
        _ if faulty(node.at) => node.tree = Tree::Broken,
        _ => {}
    }
}

fn entries(file: u16, source: &str, table: &DeTable<'_>) -> Vec<Entry> {
    let mut all: Vec<Entry> = table
        .iter()
        .map(|(k, v)| {
            let (key_at, value_at) = (k.span(), v.span());
            Entry {
                key: k.get_ref().to_string(),
                at: Span { file, start: key_at.start, end: key_at.end },
                value: node(file, source, v.get_ref(), value_at),
            }
        })
        .collect();
    all.sort_by_key(|e| e.at.start);
    all
}

fn node(file: u16, source: &str, value: &DeValue<'_>, at: std::ops::Range<usize>) -> Node {
    let tree = match value {
        DeValue::String(s) => Tree::Text(s.to_string(), verbatim(source, &at, s)),
        DeValue::Integer(i) => {
            i64::from_str_radix(i.as_str(), i.radix()).map_or(Tree::Other, |n| Tree::Number(n as f64))
        }
        DeValue::Float(f) => match f.as_str().parse::<f64>() {
            Ok(n) if n.is_finite() => Tree::Number(n),
            _ => Tree::Other,
        },
        DeValue::Boolean(b) => Tree::Truth(*b),
        DeValue::Datetime(_) => Tree::Other,
        DeValue::Array(all) => Tree::List(all.iter().map(|v| node(file, source, v.get_ref(), v.span())).collect()),
        DeValue::Table(t) => Tree::Table(entries(file, source, t)),
    };
    Node { at: Span { file, start: at.start, end: at.end }, tree }
}

/// Where the content of a string begins in the source, if it stands there letter by letter.
fn verbatim(source: &str, at: &std::ops::Range<usize>, content: &str) -> Option<usize> {
    let written = source.get(at.clone())?;
    ["\"\"\"\n", "\"\"\"", "'''\n", "'''", "\"", "'"]
        .iter()
        .find(|quote| written.strip_prefix(**quote).is_some_and(|rest| rest.starts_with(content)))
        .map(|quote| at.start + quote.len())
}
