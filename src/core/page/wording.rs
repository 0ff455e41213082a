//! A call's first wording at its shortest, in pieces that a page can show and fill in.

use crate::core::grammar::{CallId, Expansion, Label, NodeId, Shape, WordGraph, parse};
use crate::core::words::SlotKind;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A piece of a wording.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Piece {
    /// Words as they are said.
    Words(String),
    /// A value to be filled in.
    Blank {
        /// What it is: the slot's name.
        blank: String,
        /// What can stand there, as it is said; empty when it is a number or the like.
        among: Vec<String>,
    },
}

/// At most so many choices are listed for a blank.
const MOST_CHOICES: usize = 24;

/// One mark of a wording at its shortest.
#[derive(Debug, Clone, PartialEq)]
enum Want {
    Word(String),
    /// A rule or a slot: one word or more.
    Any,
}

fn shortest(e: &Expansion, out: &mut Vec<Want>) {
    match &e.shape {
        Shape::Word(w) => out.push(Want::Word(w.clone())),
        Shape::Sequence(all) => all.iter().for_each(|x| shortest(x, out)),
        Shape::Choice(all) => all.iter().take(1).for_each(|x| shortest(x, out)),
        Shape::Optional(_) => {}
        Shape::Repeat { what, min, .. } => (0..(*min).max(1)).for_each(|_| shortest(what, out)),
        Shape::Reference { .. } => out.push(Want::Any),
    }
}

/// How a call is said: `text` at its shortest. Empty if the graph has no such sentence.
pub fn pieces(graph: &WordGraph, call: CallId, text: &str) -> Vec<Piece> {
    let mut wants = Vec::new();
    shortest(&parse(text).0, &mut wants);
    let Some(path) = way(graph, call, &wants) else { return Vec::new() };
    let Some(part) = graph.calls.get(call.0 as usize) else { return Vec::new() };
    let mut out: Vec<Piece> = Vec::new();
    let mut inside = false;
    for label in path {
        match label {
            Label::Open(slot) => {
                inside = true;
                let def = &part.slots[slot.0 as usize];
                out.push(Piece::Blank { blank: def.name.replace('_', " "), among: choices(graph, &def.kind) });
            }
            Label::Close(_) => inside = false,
            Label::Word(w) if !inside => {
                let word = &graph.words[w.0 as usize];
                match out.last_mut() {
                    Some(Piece::Words(words)) => {
                        words.push(' ');
                        words.push_str(word);
                    }
                    _ => out.push(Piece::Words(word.clone())),
                }
            }
            _ => {}
        }
    }
    out
}

/// What can be said in a slot of the book's own: the shortest name of each value.
fn choices(graph: &WordGraph, kind: &SlotKind) -> Vec<String> {
    let SlotKind::Named { name, values } = kind else { return Vec::new() };
    let Some(named) = graph.named.get(name) else { return Vec::new() };
    let name_of = |v| named.iter().filter(|(_, x)| *x == v).map(|(n, _)| n).min_by_key(|n| (n.len(), *n));
    values.iter().filter_map(name_of).take(MOST_CHOICES).cloned().collect()
}

/// A state of the search: node, mark, and whether the words are those of a slot.
type Point = (NodeId, usize, bool);

/// The way through the call with the fewest words that says all marks.
fn way(graph: &WordGraph, call: CallId, wants: &[Want]) -> Option<Vec<Label>> {
    let part = graph.calls.get(call.0 as usize)?;
    let mut best: BTreeMap<Point, (usize, Option<(Point, Label)>)> = BTreeMap::new();
    let mut open: BTreeSet<(usize, Point)> = BTreeSet::new();
    let start = (part.entry, 0, false);
    best.insert(start, (0, None));
    open.insert((0, start));
    while let Some((cost, point)) = open.pop_first() {
        let (node, at, inside) = point;
        if node == part.exit && at == wants.len() {
            let mut path = Vec::new();
            let mut here = point;
            while let Some((_, Some((before, label)))) = best.get(&here) {
                path.push(*label);
                here = *before;
            }
            path.reverse();
            return Some(path);
        }
        for arc in &graph.nodes[node.0 as usize].arcs {
            let any = wants.get(at) == Some(&Want::Any);
            let nexts: Vec<(usize, usize, bool)> = match arc.label {
                Label::Epsilon => vec![(cost, at, inside)],
                Label::Word(_) if inside => vec![(cost + 1, at, true)],
                Label::Word(_) if any => vec![(cost + 1, at, false), (cost + 1, at + 1, false)],
                Label::Word(w) => match wants.get(at) {
                    Some(Want::Word(x)) if *x == graph.words[w.0 as usize] => vec![(cost + 1, at + 1, false)],
                    _ => continue,
                },
                Label::Open(_) if any => vec![(cost, at, true)],
                Label::Open(_) => continue,
                Label::Close(_) => vec![(cost, at + 1, false), (cost, at, false)],
            };
            for (cost, at, inside) in nexts {
                let next = (arc.to, at, inside);
                if best.get(&next).is_none_or(|(c, _)| cost < *c) {
                    if let Some((old, _)) = best.insert(next, (cost, Some((point, arc.label)))) {
                        open.remove(&(old, next));
                    }
                    open.insert((cost, next));
                }
            }
        }
    }
    None
}
