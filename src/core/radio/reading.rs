//! What a pilot said, word for word, into pieces: items, callsign, acts of speech, and what is none of these.

use super::item::Exercise;
use super::phrases::{CALLSIGN, OPERATOR, Phrases, grammar_type, rename};
use crate::core::aircraft::Value;
use crate::core::grammar::{CallId, Expansion, Label, NodeId, Rules as NoRules, Shape, WordGraph, build, meaning};
use crate::core::matcher::Lattice;
use crate::core::words::{SPELLED_TWO_WAYS, variants};
use std::collections::BTreeMap;

/// How a callsign was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Style {
    /// Operator and number.
    Whole,
    /// The number, or the operator, alone.
    Shortened,
}

/// How an item was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Manner {
    /// In good order.
    Good,
    /// Understood, but not in standard words.
    Loose,
    /// Its value alone.
    Bare,
}

/// What a piece is.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// An item.
    Item {
        /// Kind of the phrasebook.
        kind: String,
        /// Values by binding.
        slots: BTreeMap<String, Value>,
        /// The words of each value.
        words: BTreeMap<String, Vec<String>>,
        /// How.
        manner: Manner,
    },
    /// A callsign: `operator number`, or what of it was said.
    Callsign {
        /// As a value.
        value: String,
        /// How.
        style: Style,
    },
    /// An act of speech, with the items that it names.
    Act {
        /// Its name in the phrasebook.
        name: String,
        /// Binding → name of an item.
        about: BTreeMap<String, String>,
    },
    /// A word that is nothing of the kind.
    Unknown,
}

/// A piece of what was said.
#[derive(Debug, Clone, PartialEq)]
pub struct Piece {
    /// What.
    pub what: What,
    /// All its words.
    pub words: Vec<String>,
}

/// Reads what was said.
#[derive(Debug, Clone)]
pub struct Reader {
    graph: WordGraph,
    calls: Vec<Call>,
    fillers: Vec<String>,
}

#[derive(Debug, Clone)]
enum Call {
    Item(String, Manner),
    Callsign(Style),
    Act(String),
}

/// What a way of reading costs. Only their order matters: a word left over is dearest, then a value alone.
const UNKNOWN: u32 = 1_000;
const FILLER: u32 = 60;
const PIECE: u32 = 20;
const BARE: u32 = 300;
const LOOSE: u32 = 30;
/// What is expected is believed sooner: kinds with the same words are told apart by it, values never are; and the figures of
/// a shortened callsign are no time of day.
const UNEXPECTED: u32 = 250;
const SHORTENED: u32 = 200;

struct Span {
    to: usize,
    cost: u32,
    piece: Piece,
}

impl Reader {
    /// For a phrasebook.
    ///
    /// # Errors
    /// One sentence; a phrasebook that was loaded gives none.
    pub fn new(phrases: &Phrases) -> Result<Reader, String> {
        let own = |name: &str, binding: &str| (grammar_type(name).to_string(), binding.to_string());
        let mut calls = Vec::new();
        let mut texts: Vec<(String, Vec<Expansion>)> = Vec::new();
        let mut add = |call: Call, wordings: Vec<Expansion>| {
            if !wordings.is_empty() {
                texts.push((format!("{}", calls.len()), wordings));
                calls.push(call);
            }
        };
        for (id, kind) in &phrases.items {
            let all = |list: &[Expansion]| list.iter().map(|e| rename(e, &own)).collect::<Vec<_>>();
            add(Call::Item(id.clone(), Manner::Good), all(&kind.read));
            add(Call::Item(id.clone(), Manner::Loose), all(&kind.loose));
            if let Some((main, t)) = kind.main.as_ref().and_then(|m| kind.slots.get(m).map(|t| (m, t))) {
                add(Call::Item(id.clone(), Manner::Bare), vec![slot(grammar_type(t), main)]);
            }
        }
        for (id, wordings) in &phrases.acts {
            add(Call::Act(id.clone()), wordings.iter().map(|e| rename(e, &own)).collect());
        }
        let any =
            Expansion { span: 0..0, shape: Shape::Sequence(vec![slot(OPERATOR, OPERATOR), slot("number", "number")]) };
        add(Call::Callsign(Style::Whole), vec![slot(CALLSIGN, CALLSIGN), any]);
        let mut short: Vec<Expansion> = phrases.own.ways().iter().map(|w| said(w)).collect();
        short.push(slot(OPERATOR, OPERATOR));
        add(Call::Callsign(Style::Shortened), short);
        let (graph, problems) = build(&texts, &NoRules::new(), &phrases.lists);
        match problems.first() {
            None => Ok(Reader { graph, calls, fillers: phrases.fillers.clone() }),
            Some(p) => Err(format!("the radio phrasebook: {:?}: {}", p.place, p.problem.message)),
        }
    }

    /// The pieces of `text`, in the order said; `expected` are the kinds that were asked for.
    ///
    /// `text` may be typed with figures; then a value is read in whatever way it can be spoken.
    pub fn read(&self, text: &str, expected: &[&str]) -> Vec<Piece> {
        let lattice = Lattice::new(text, &self.graph);
        let points = lattice.edges.len();
        if points > MOST_POINTS {
            return vec![Piece { what: What::Unknown, words: text.split_whitespace().map(str::to_string).collect() }];
        }
        // Best way to each point; whether a correction was just said tells whether a value may stand alone.
        type Best = Option<(u32, usize, bool, Option<Piece>)>;
        let mut best: Vec<[Best; 2]> = (0..points).map(|_| [None, None]).collect();
        best[0][0] = Some((0, 0, false, None));
        for at in 0..points {
            for after in [false, true] {
                let Some((cost, ..)) = best[at][usize::from(after)] else { continue };
                let mut reach = |to: usize, then: bool, more: u32, piece: Option<Piece>| {
                    let slot = &mut best[to][usize::from(then)];
                    if slot.as_ref().is_none_or(|(c, ..)| cost + more < *c) {
                        *slot = Some((cost + more, at, after, piece));
                    }
                };
                for span in self.spans(&lattice, at, expected, after) {
                    let correction = matches!(&span.piece.what, What::Act { name, .. } if name == CORRECTION);
                    reach(span.to, correction, span.cost, Some(span.piece));
                }
                for (word, to) in &lattice.edges[at] {
                    let word = &lattice.words[*word];
                    let filler = self.fillers.contains(word);
                    let piece = Piece { what: What::Unknown, words: vec![word.clone()] };
                    reach(*to, after && filler, if filler { FILLER } else { UNKNOWN }, (!filler).then_some(piece));
                }
            }
        }
        let mut pieces = Vec::new();
        let end = points - 1;
        let cost = |b: &Best| b.as_ref().map_or(u32::MAX, |b| b.0);
        let mut state = (end, cost(&best[end][1]) < cost(&best[end][0]));
        while let Some((_, from, after, piece)) = best[state.0][usize::from(state.1)].take() {
            if state.0 == 0 {
                break;
            }
            pieces.extend(piece);
            state = (from, after);
        }
        pieces.reverse();
        pieces
    }

    /// Whether `text` is an answer to the controller at all, rather than words for somebody on board: more of it than not is
    /// understood, and there is an expected item, a callsign or an act of speech in it.
    pub fn answers(&self, text: &str, expected: &Exercise) -> bool {
        let kinds: Vec<&str> = expected.items.iter().chain(&expected.info).map(|i| i.kind.as_str()).collect();
        let pieces = self.read(text, &kinds);
        let words = |known: bool| -> usize {
            pieces.iter().filter(|p| (p.what != What::Unknown) == known).map(|p| p.words.len()).sum()
        };
        let answer = pieces.iter().any(|p| match &p.what {
            What::Item { kind, .. } => kinds.contains(&kind.as_str()),
            What::Callsign { .. } | What::Act { .. } => true,
            What::Unknown => false,
        });
        answer && words(true) > words(false)
    }

    /// Every piece that can begin at a point.
    fn spans(&self, lattice: &Lattice, at: usize, expected: &[&str], after_correction: bool) -> Vec<Span> {
        let mut out = Vec::new();
        for (i, call) in self.calls.iter().enumerate() {
            let mut cost = PIECE;
            match call {
                Call::Item(kind, manner) => {
                    let wanted = expected.contains(&kind.as_str());
                    cost += match manner {
                        Manner::Good => 0,
                        Manner::Loose => LOOSE,
                        Manner::Bare if wanted && after_correction => LOOSE,
                        Manner::Bare if wanted => BARE,
                        Manner::Bare => continue,
                    };
                    cost += if wanted { 0 } else { UNEXPECTED };
                }
                Call::Callsign(Style::Shortened) => cost += SHORTENED,
                Call::Callsign(Style::Whole) | Call::Act(_) => {}
            }
            for (to, path) in self.walk(CallId(i as u16), lattice, at) {
                out.extend(self.span(CallId(i as u16), call, &path).map(|piece| Span { to, cost, piece }));
            }
        }
        out
    }

    fn span(&self, id: CallId, call: &Call, path: &[Label]) -> Option<Piece> {
        let meaning = meaning(&self.graph, id, path)?;
        let words = crate::core::grammar::words(&self.graph, path).iter().map(|w| (*w).to_string()).collect();
        let what = match call {
            Call::Item(kind, manner) => What::Item {
                kind: kind.clone(),
                slots: meaning.slots,
                words: self.slot_words(id, path),
                manner: *manner,
            },
            Call::Act(name) => What::Act {
                name: name.clone(),
                about: meaning.slots.iter().map(|(b, v)| (b.clone(), v.to_string())).collect(),
            },
            Call::Callsign(style) => {
                let text = |b: &str| meaning.slots.get(b).map(Value::to_string);
                let number = text("number").map_or(String::new(), |n| format!(" {n}"));
                let value = text(CALLSIGN).or_else(|| text(OPERATOR).map(|o| format!("{o}{number}")));
                What::Callsign { value: value.unwrap_or_default(), style: *style }
            }
        };
        Some(Piece { what, words })
    }

    fn slot_words(&self, call: CallId, path: &[Label]) -> BTreeMap<String, Vec<String>> {
        let slots = &self.graph.calls[call.0 as usize].slots;
        let mut out: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let mut open: Option<&str> = None;
        for label in path {
            match label {
                Label::Open(s) => {
                    open = slots.get(s.0 as usize).map(|d| d.name.as_str());
                    out.entry(open.unwrap_or_default().to_string()).or_default().clear();
                }
                Label::Close(_) => open = None,
                Label::Word(w) => {
                    if let Some(name) = open {
                        out.entry(name.to_string()).or_default().push(self.graph.words[w.0 as usize].clone());
                    }
                }
                Label::Epsilon => {}
            }
        }
        out
    }

    /// The ways through one call from a point on; of those with the same end and meaning the first.
    fn walk(&self, call: CallId, lattice: &Lattice, from: usize) -> Vec<(usize, Vec<Label>)> {
        let part = &self.graph.calls[call.0 as usize];
        let mut out = Vec::new();
        let mut stack: Vec<(NodeId, usize, Vec<Label>)> = vec![(part.entry, from, Vec::new())];
        while let Some((node, at, path)) = stack.pop() {
            if node == part.exit && at > from {
                out.push((at, path.clone()));
            }
            for arc in self.graph.nodes[node.0 as usize].arcs.iter().rev() {
                let longer = || path.iter().copied().chain([arc.label]).collect();
                let Label::Word(id) = arc.label else {
                    stack.push((arc.to, at, longer()));
                    continue;
                };
                let known = &self.graph.words[id.0 as usize];
                for (word, to) in lattice.edges[at].iter().rev() {
                    let said = &lattice.words[*word];
                    let same = said == known
                        || (SPELLED_TWO_WAYS.contains(&known.as_str()) && variants(known).contains(&said.as_str()));
                    if same {
                        stack.push((arc.to, *to, longer()));
                    }
                }
            }
        }
        out
    }
}

/// The act after which a value may stand alone.
pub(super) const CORRECTION: &str = "correction";
/// The act that takes back all before it.
pub(super) const RESTART: &str = "restart";
/// Longer texts are not read.
const MOST_POINTS: usize = 400;

pub(super) fn slot(name: &str, binding: &str) -> Expansion {
    Expansion { span: 0..0, shape: Shape::Reference { name: name.into(), binding: Some(binding.into()) } }
}

pub(super) fn said(words: &str) -> Expansion {
    Expansion { span: 0..0, shape: Shape::Sequence(words.split(' ').map(Expansion::word).collect()) }
}
