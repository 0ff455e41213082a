//! The word graph: what can be said, word by word, and which call each way through it means.

use crate::core::aircraft::Value;
use crate::core::words::SlotKind;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Index of a call in its book.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CallId(pub u16);
/// Index of a node of the graph.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct NodeId(pub u32);
/// Index of a spoken word (lower case, no punctuation).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WordId(pub u32);
/// Index of a slot within its call.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SlotId(pub u8);

/// What passing an arc consumes or marks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Label {
    /// Nothing.
    Epsilon,
    /// One spoken word.
    Word(WordId),
    /// The slot's words begin.
    Open(SlotId),
    /// The slot's words end.
    Close(SlotId),
}

/// A directed arc.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arc {
    /// What it consumes.
    pub label: Label,
    /// Where it leads.
    pub to: NodeId,
}

/// A node; a call's exit node has no arcs.
#[derive(Debug, Clone, Default)]
pub struct Node {
    /// Outgoing arcs in the order of the book's text.
    pub arcs: Vec<Arc>,
}

/// A slot of a call.
#[derive(Debug, Clone)]
pub struct SlotDef {
    /// The binding: `to` in `$heading:to`; the type's name if none was given.
    pub name: String,
    /// What it holds.
    pub kind: SlotKind,
    /// Numbers that make sense here; others are never heard.
    pub range: Option<Range>,
}

/// Numbers from one to another by steps, ends included.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// The least.
    pub from: f64,
    /// The greatest.
    pub to: f64,
    /// Only multiples of this; above zero.
    pub step: f64,
}

impl Range {
    /// Whether a number is one of them.
    pub fn holds(&self, n: f64) -> bool {
        let steps = n / self.step;
        (self.from..=self.to).contains(&n) && (steps - steps.round()).abs() < 1e-6
    }
}

/// One call's part of the graph.
#[derive(Debug, Clone)]
pub struct CallGraph {
    /// The call's name in the book.
    pub name: String,
    /// Where its wordings begin.
    pub entry: NodeId,
    /// Where they end.
    pub exit: NodeId,
    /// Its slots; [`SlotId`] indexes here.
    pub slots: Vec<SlotDef>,
    /// Whether it says nothing without another call in its breath ("at five hundred …").
    pub never_alone: bool,
}

/// All calls of a book. Acyclic: repeats are bounded and recursion is refused.
///
/// As built by [`super::build`], every arc leads to a higher node, a call's nodes stand together from its entry to its
/// exit, and no node has two arcs with the same word.
#[derive(Debug, Clone, Default)]
pub struct WordGraph {
    /// Spoken words; [`WordId`] indexes here.
    pub words: Vec<String>,
    /// Nodes; [`NodeId`] indexes here.
    pub nodes: Vec<Node>,
    /// Calls; [`CallId`] indexes here.
    pub calls: Vec<CallGraph>,
    /// What the values of the book's own slots are called: slot type → words parted by spaces → value.
    pub named: BTreeMap<String, BTreeMap<String, Value>>,
}

impl WordGraph {
    /// The call of this name.
    pub fn call(&self, name: &str) -> Option<CallId> {
        self.calls.iter().position(|c| c.name == name).map(|i| CallId(i as u16))
    }
    /// The index of a spoken word, if any wording has it.
    pub fn word(&self, word: &str) -> Option<WordId> {
        self.words.iter().position(|w| w == word).map(|i| WordId(i as u32))
    }
    /// What `words` say in this slot.
    pub fn slot_value(&self, slot: &SlotDef, words: &[&str]) -> Option<Value> {
        let value = match &slot.kind {
            SlotKind::Named { name, .. } if self.named.contains_key(name) => {
                self.named[name].get(&words.join(" ")).cloned()
            }
            kind => crate::core::words::value(kind, words),
        };
        value.filter(|v| match (v, &slot.range) {
            (Value::Number(n), Some(range)) => range.holds(*n),
            _ => true,
        })
    }
}

/// A set of calls as a bit mask.
#[derive(Debug, Clone, PartialEq, Eq, Default, Hash, Serialize, Deserialize)]
#[serde(from = "Vec<CallId>", into = "Vec<CallId>")]
pub struct CallSet {
    bits: Vec<u64>,
}

impl CallSet {
    /// No call.
    pub fn none() -> Self {
        Self::default()
    }
    /// The first `n` calls.
    pub fn all(n: usize) -> Self {
        (0..n).map(|i| CallId(i as u16)).collect()
    }
    /// Adds a call.
    pub fn insert(&mut self, call: CallId) {
        let i = call.0 as usize / 64;
        if self.bits.len() <= i {
            self.bits.resize(i + 1, 0);
        }
        self.bits[i] |= 1 << (call.0 % 64);
    }
    /// Takes a call out; trailing empty words go, so that equal sets compare equal.
    pub fn remove(&mut self, call: CallId) {
        if let Some(w) = self.bits.get_mut(call.0 as usize / 64) {
            *w &= !(1 << (call.0 % 64));
        }
        while self.bits.last() == Some(&0) {
            self.bits.pop();
        }
    }
    /// Whether the call is in.
    pub fn contains(&self, call: CallId) -> bool {
        self.bits.get(call.0 as usize / 64).is_some_and(|w| w & (1 << (call.0 % 64)) != 0)
    }
    /// Everything in either.
    #[must_use]
    pub fn union(&self, other: &Self) -> Self {
        self.iter().chain(other.iter()).collect()
    }
    /// The calls in order.
    pub fn iter(&self) -> impl Iterator<Item = CallId> + '_ {
        self.bits
            .iter()
            .enumerate()
            .flat_map(|(i, w)| (0..64).filter(move |b| w & (1 << b) != 0).map(move |b| CallId((i * 64 + b) as u16)))
    }
    /// How many.
    pub fn len(&self) -> usize {
        self.bits.iter().map(|w| w.count_ones() as usize).sum()
    }
    /// Whether none.
    pub fn is_empty(&self) -> bool {
        self.bits.iter().all(|w| *w == 0)
    }
}

impl FromIterator<CallId> for CallSet {
    fn from_iter<T: IntoIterator<Item = CallId>>(iter: T) -> Self {
        let mut set = Self::default();
        for c in iter {
            set.insert(c);
        }
        set
    }
}
impl From<Vec<CallId>> for CallSet {
    fn from(v: Vec<CallId>) -> Self {
        v.into_iter().collect()
    }
}
impl From<CallSet> for Vec<CallId> {
    fn from(s: CallSet) -> Self {
        s.iter().collect()
    }
}

/// A call with the values of its slots: what an utterance, or a part of one, meant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Meaning {
    /// The call's name in the book.
    pub call: String,
    /// Values by binding.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub slots: BTreeMap<String, Value>,
}
