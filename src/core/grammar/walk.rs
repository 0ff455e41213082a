//! Ways through a call's part of the graph: what a sentence means, and which sentences there are.

use super::graph::{CallId, Label, Meaning, NodeId, SlotId, WordGraph};
use rand_core::Rng;
use std::collections::{BTreeMap, BTreeSet};

/// A way through a call, as the labels passed in order; empty moves may be left out.
pub type Path = [Label];

/// The words that a path speaks.
pub fn words<'g>(graph: &'g WordGraph, path: &Path) -> Vec<&'g str> {
    path.iter()
        .filter_map(|l| match l {
            Label::Word(w) => graph.words.get(w.0 as usize).map(String::as_str),
            _ => None,
        })
        .collect()
}

/// What a path through `call` means; `None` if a slot's words are no value of its type, or the path is not whole.
pub fn meaning(graph: &WordGraph, call: CallId, path: &Path) -> Option<Meaning> {
    let part = graph.calls.get(call.0 as usize)?;
    let mut slots = BTreeMap::new();
    let mut open: Option<(SlotId, Vec<&str>)> = None;
    for label in path {
        match label {
            Label::Epsilon => {}
            Label::Word(w) => {
                let word = graph.words.get(w.0 as usize)?;
                if let Some((_, words)) = &mut open {
                    words.push(word);
                }
            }
            Label::Open(slot) => open = Some((*slot, Vec::new())),
            Label::Close(slot) => {
                let (opened, words) = open.take()?;
                let def = part.slots.get(slot.0 as usize).filter(|_| opened == *slot)?;
                slots.insert(def.name.clone(), graph.slot_value(&def.kind, &words)?);
            }
        }
    }
    open.is_none().then(|| Meaning { call: part.name.clone(), slots })
}

/// Everything that `said` (lower case, one word each, exactly as in the graph) means as a sentence of `call`: none if it
/// is no sentence of it, several if slots can be told apart in more than one way.
pub fn accepts(graph: &WordGraph, call: CallId, said: &[&str]) -> Vec<Meaning> {
    let Some(part) = graph.calls.get(call.0 as usize) else { return Vec::new() };
    let mut found: Vec<Meaning> = Vec::new();
    let mut seen: BTreeSet<(NodeId, usize, Vec<Label>)> = BTreeSet::new();
    let mut stack: Vec<(NodeId, usize, Vec<Label>)> = vec![(part.entry, 0, Vec::new())];
    while let Some((node, at, path)) = stack.pop() {
        if node == part.exit && at == said.len() {
            found.extend(meaning(graph, call, &path).filter(|m| !found.contains(m)));
        }
        for arc in graph.nodes[node.0 as usize].arcs.iter().rev() {
            let at = match arc.label {
                Label::Word(w) if at < said.len() && graph.words[w.0 as usize] == said[at] => at + 1,
                Label::Word(_) => continue,
                _ => at,
            };
            let mut path = path.clone();
            if arc.label != Label::Epsilon {
                path.push(arc.label);
            }
            let next = (arc.to, at, path);
            if seen.insert(next.clone()) {
                stack.push(next);
            }
        }
    }
    found
}

/// One sentence of `call`, by chance, with its meaning. `None` only if the call has no sentence.
pub fn sample(graph: &WordGraph, call: CallId, rng: &mut impl Rng) -> Option<(Vec<String>, Meaning)> {
    let part = graph.calls.get(call.0 as usize)?;
    let mut node = part.entry;
    let mut path = Vec::new();
    while node != part.exit {
        let arcs = &graph.nodes[node.0 as usize].arcs;
        let count = u32::try_from(arcs.len()).ok().filter(|n| *n > 0)?;
        let arc = arcs[(rng.next_u32() % count) as usize];
        path.push(arc.label);
        node = arc.to;
    }
    let said = words(graph, &path).into_iter().map(str::to_owned).collect();
    Some((said, meaning(graph, call, &path)?))
}

/// The first `limit` sentences of `call` in the order of the text, with their meanings, and whether these are all.
///
/// A sentence that can be told apart in two ways comes once for each.
pub fn expand(graph: &WordGraph, call: CallId, limit: usize) -> (Vec<(Vec<String>, Meaning)>, bool) {
    let mut out = Vec::new();
    let Some(part) = graph.calls.get(call.0 as usize) else { return (out, true) };
    // (node, which arc next); `path` holds the labels on the way to the top of the stack.
    let mut stack: Vec<(NodeId, usize)> = vec![(part.entry, 0)];
    let mut path: Vec<Label> = Vec::new();
    while let Some((node, next)) = stack.last_mut() {
        if let Some(arc) = graph.nodes[node.0 as usize].arcs.get(*next) {
            *next += 1;
            path.push(arc.label);
            stack.push((arc.to, 0));
            continue;
        }
        if *node == part.exit && part.entry != part.exit {
            if out.len() == limit {
                return (out, false);
            }
            let said = words(graph, &path).into_iter().map(str::to_owned).collect();
            out.extend(meaning(graph, call, &path).map(|m| (said, m)));
        }
        stack.pop();
        path.pop();
    }
    (out, true)
}
