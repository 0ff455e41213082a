//! The word graph spelled in tokens: compiled once a book, whatever is live.

use super::spell::{self, Tail, Tails};
use super::tokens::{Token, Tokens};
use crate::core::grammar::{CallId, CallSet, Label, Meaning, NodeId, SlotId, WordGraph, WordId};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// The most letters that are written as one group ("QNH").
const GROUP: usize = 4;

/// A word among so many first tokens is common enough to stand alone.
const COMMON: Token = 6_000;
/// What is often written with a hyphen before another word.
const PREFIXES: &[&str] = &["anti", "auto", "cross", "pre", "non", "mid", "off", "re"];

/// One way to write an edge's words, in tokens.
#[derive(Debug, Clone)]
pub(super) struct Spelling {
    pub after: Tails,
    pub tokens: Range<u32>,
    pub then: Tail,
}

/// From one place to the next, over one or more words.
#[derive(Debug, Clone)]
pub(super) struct Edge {
    /// Which group of spellings.
    pub spell: u32,
    pub to: NodeId,
    /// What is passed: marks and words.
    pub steps: Range<u32>,
}

/// A node of the word graph with all that can be reached without a word looked through.
#[derive(Debug, Clone, Default)]
pub(super) struct Place {
    pub edges: Vec<Edge>,
    /// The marks up to the call's end, if it can end here.
    pub exit: Option<Range<u32>>,
}

/// How a call can begin: its first token, and where that leads.
#[derive(Debug, Clone)]
pub(super) struct Start {
    pub token: Token,
    pub after: Tails,
    /// Tokens of the spelling that are still to come.
    pub rest: (u32, u32),
    pub then: Tail,
    pub to: NodeId,
    pub steps: Range<u32>,
}

/// The word graph in tokens.
#[derive(Debug, Clone)]
pub struct Lattice {
    pub(super) graph: WordGraph,
    pub(super) tokens: Tokens,
    pub(super) places: Vec<Place>,
    pub(super) spellings: Vec<Vec<Spelling>>,
    pub(super) pool: Vec<Token>,
    pub(super) steps: Vec<Label>,
    /// The comma, where it can stand between words.
    pub(super) comma: Vec<Token>,
    /// The signs that can end a sentence.
    pub(super) stops: Vec<Token>,
    /// How each call can begin, and after what its first word may be written as nothing ("hundred" after a digit).
    pub(super) starts: Vec<(Vec<Start>, Tails)>,
    groups: BTreeMap<Vec<WordId>, u32>,
    /// The book's words.
    known: BTreeSet<String>,
}

impl Lattice {
    /// Compiles a word graph. Nodes of no call cost nothing.
    pub fn new(graph: &WordGraph, tokens: Tokens) -> Lattice {
        let single = |text: &str| Some(tokens.encode(text)).filter(|t| t.len() == 1).map(|t| t[0]);
        let mut lattice = Lattice {
            graph: graph.clone(),
            places: vec![Place::default(); graph.nodes.len()],
            spellings: Vec::new(),
            pool: Vec::new(),
            steps: Vec::new(),
            comma: single(",").into_iter().collect(),
            stops: [".", "!", "?"].into_iter().filter_map(single).collect(),
            starts: Vec::new(),
            groups: BTreeMap::new(),
            known: graph.words.iter().cloned().collect(),
            tokens,
        };
        for call in &graph.calls {
            lattice.reach(call.entry, call.exit);
        }
        lattice.join();
        lattice.starts = graph.calls.iter().map(|call| lattice.starts_at(call.entry)).collect();
        lattice
    }

    /// How a call that is entered here can begin.
    fn starts_at(&self, entry: NodeId) -> (Vec<Start>, Tails) {
        let (mut starts, mut unwritten) = (Vec::new(), 0);
        for edge in &self.places[entry.0 as usize].edges {
            for Spelling { after, tokens, then } in &self.spellings[edge.spell as usize] {
                let Range { start, end } = *tokens;
                if start == end {
                    unwritten |= after;
                    continue;
                }
                starts.push(Start {
                    token: self.pool[start as usize],
                    after: *after,
                    rest: (start + 1, end),
                    then: *then,
                    to: edge.to,
                    steps: edge.steps.clone(),
                });
            }
        }
        (starts, unwritten)
    }

    /// Every token that can come in any text of this graph, in order of id.
    pub fn alphabet(&self) -> Vec<Token> {
        let all: BTreeSet<Token> = self.pool.iter().chain(&self.comma).chain(&self.stops).copied().collect();
        all.into_iter().collect()
    }
    /// The table of tokens it was spelled with.
    pub fn tokens(&self) -> &Tokens {
        &self.tokens
    }
    /// The name of a call.
    pub fn name(&self, call: CallId) -> Option<&str> {
        self.graph.calls.get(call.0 as usize).map(|c| c.name.as_str())
    }
    /// How many calls the graph has.
    pub fn calls(&self) -> usize {
        self.graph.calls.len()
    }

    /// All places from `entry` on, with their single words.
    fn reach(&mut self, entry: NodeId, exit: NodeId) {
        let mut seen = BTreeSet::new();
        let mut open = vec![entry];
        while let Some(node) = open.pop() {
            if !seen.insert(node) {
                continue;
            }
            let place = self.look(node, exit);
            open.extend(place.edges.iter().map(|e| e.to));
            self.places[node.0 as usize] = place;
        }
    }

    /// Looks through everything that needs no word.
    fn look(&mut self, node: NodeId, exit: NodeId) -> Place {
        let mut place = Place::default();
        let mut open: Vec<(NodeId, Vec<Label>)> = vec![(node, Vec::new())];
        let mut words: BTreeSet<(WordId, NodeId)> = BTreeSet::new();
        let mut seen = BTreeSet::new();
        // In the order of the book's text: the last pushed is looked at first.
        while let Some((at, marks)) = open.pop() {
            if !seen.insert((at, marks.clone())) {
                continue;
            }
            if at == exit && place.exit.is_none() {
                place.exit = Some(self.keep(&marks));
            }
            let arcs = self.graph.nodes[at.0 as usize].arcs.clone();
            for arc in arcs.iter().rev() {
                if !matches!(arc.label, Label::Word(_)) {
                    let mut marks = marks.clone();
                    if arc.label != Label::Epsilon {
                        marks.push(arc.label);
                    }
                    open.push((arc.to, marks));
                }
            }
            for arc in &arcs {
                if let Label::Word(w) = arc.label
                    && words.insert((w, arc.to))
                {
                    let mut steps = marks.clone();
                    steps.push(arc.label);
                    let edge = Edge { spell: self.group(&[w]), to: arc.to, steps: self.keep(&steps) };
                    place.edges.push(edge);
                }
            }
        }
        place
    }

    fn keep(&mut self, steps: &[Label]) -> Range<u32> {
        let from = self.steps.len() as u32;
        self.steps.extend_from_slice(steps);
        from..self.steps.len() as u32
    }

    /// Edges over several words that are written as one: "takeoff", "QNH". Made of single words only.
    fn join(&mut self) {
        let mut joined: Vec<(usize, Vec<WordId>, NodeId, Vec<Label>)> = Vec::new();
        for place in 0..self.places.len() {
            let mut open: Vec<(Vec<WordId>, NodeId, Vec<Label>)> = vec![(Vec::new(), NodeId(place as u32), Vec::new())];
            while let Some((words, at, steps)) = open.pop() {
                for edge in &self.places[at.0 as usize].edges {
                    let passed = &self.steps[edge.steps.start as usize..edge.steps.end as usize];
                    let Some(Label::Word(word)) = passed.last() else { continue };
                    if self.joins(&words, *word) {
                        let words: Vec<WordId> = words.iter().copied().chain([*word]).collect();
                        let steps: Vec<Label> = steps.iter().chain(passed).copied().collect();
                        if words.len() > 1 {
                            joined.push((place, words.clone(), edge.to, steps.clone()));
                        }
                        open.push((words, edge.to, steps));
                    }
                }
            }
        }
        for (place, words, to, steps) in joined {
            let edge = Edge { spell: self.group(&words), to, steps: self.keep(&steps) };
            self.places[place].edges.push(edge);
        }
    }

    /// Whether `next` can be written on to `words` without a space: letters, and words that the book writes as one too.
    fn joins(&self, words: &[WordId], next: WordId) -> bool {
        let text = |w: WordId| self.graph.words[w.0 as usize].as_str();
        let next = text(next);
        match words {
            [] => spell::is_letter(next) || spell::joins(next),
            all if all.iter().all(|w| spell::is_letter(text(*w))) => all.len() < GROUP && spell::is_letter(next),
            [first] => {
                spell::joins(next)
                    && (PREFIXES.contains(&text(*first)) || self.known.contains(&format!("{}{next}", text(*first))))
            }
            _ => false,
        }
    }

    /// The spellings of a word, or of words written as one.
    fn group(&mut self, words: &[WordId]) -> u32 {
        if let Some(g) = self.groups.get(words) {
            return *g;
        }
        let texts: Vec<String> = words.iter().map(|w| self.graph.words[w.0 as usize].clone()).collect();
        let mut forms = match texts.as_slice() {
            [word] => spell::forms(word),
            _ => Vec::new(),
        };
        let mut both = |text: String, then: Tail| {
            for text in [format!(" {text}"), format!(" {}", spell::capital(&text))] {
                forms.push(spell::Form { after: spell::SETTLED, text, then });
            }
        };
        match texts.as_slice() {
            [word] => splits(word, &self.tokens).into_iter().for_each(|text| both(text, Tail::Word)),
            all if all.iter().all(|t| spell::is_letter(t)) => both(all.concat().to_uppercase(), Tail::Letter),
            all => {
                both(all.concat(), Tail::Word);
                both(all.join("-"), Tail::Word);
            }
        }
        let mut spellings: Vec<Spelling> = Vec::new();
        let mut seen = BTreeSet::new();
        for form in forms {
            let encoded = self.tokens.encode(&form.text);
            if seen.insert((form.after, encoded.clone(), form.then)) {
                let from = self.pool.len() as u32;
                self.pool.extend(encoded);
                spellings.push(Spelling { after: form.after, tokens: from..self.pool.len() as u32, then: form.then });
            }
        }
        self.spellings.push(spellings);
        let group = self.spellings.len() as u32 - 1;
        self.groups.insert(words.to_vec(), group);
        group
    }

    /// The meaning of one call's way through the graph; `None` if a slot's words have no value.
    pub(super) fn meaning(&self, call: CallId, steps: &[Label]) -> Option<Meaning> {
        let def = &self.graph.calls[call.0 as usize];
        let mut slots = BTreeMap::new();
        let mut open: Option<(SlotId, Vec<&str>)> = None;
        for step in steps {
            match step {
                Label::Open(slot) => open = Some((*slot, Vec::new())),
                Label::Word(w) => {
                    if let Some((_, words)) = &mut open {
                        words.push(&self.graph.words[w.0 as usize]);
                    }
                }
                Label::Close(_) => {
                    let (slot, words) = open.take()?;
                    let slot = &def.slots[slot.0 as usize];
                    slots.insert(slot.name.clone(), self.graph.slot_value(slot, &words)?);
                }
                Label::Epsilon => {}
            }
        }
        Some(Meaning { call: def.name.clone(), slots })
    }

    /// Calls of `live` that this graph has, in the book's order.
    pub(super) fn live(&self, live: &CallSet) -> Vec<CallId> {
        live.iter().filter(|c| (c.0 as usize) < self.graph.calls.len()).collect()
    }
}

/// A word as two common ones ("takeoff" as "take off"): at least three letters each, and each among the tokens that were
/// learned first, or every syllable would do.
fn splits(word: &str, tokens: &Tokens) -> Vec<String> {
    if !spell::joins(word) || word.len() < 6 {
        return Vec::new();
    }
    (3..word.len() - 2)
        .map(|i| word.split_at(i))
        .filter(|(a, b)| tokens.is_common(a, COMMON) && tokens.is_common(b, COMMON))
        .map(|(a, b)| format!("{a} {b}"))
        .collect()
}
