//! Sentences with two meanings in one context.
//!
//! All calls of a context are walked at once, word by word (a product of their graphs, not a list of their sentences):
//! wherever two calls end together, the words on the way are a sentence of both.

use super::graph::{CallId, CallSet, Label, NodeId, WordGraph, WordId};
use super::walk::accepts;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// The most joint states that are looked at in one context; a book that needs more has worse problems.
const MAX_STATES: usize = 200_000;

/// For each pair of calls that share a sentence in one of the `contexts`: the pair, and the shortest such sentence. A call
/// paired with itself has a sentence whose slots can be told apart in two ways.
pub fn collisions(graph: &WordGraph, contexts: &[CallSet]) -> Vec<(CallId, CallId, Vec<String>)> {
    let mut found: BTreeMap<(CallId, CallId), Vec<WordId>> = BTreeMap::new();
    let mut seen: Vec<&CallSet> = Vec::new();
    let mut alone: BTreeSet<CallId> = BTreeSet::new();
    for context in contexts {
        if !seen.contains(&context) {
            seen.push(context);
            alone.extend(context.iter().filter(|c| (c.0 as usize) < graph.calls.len()));
            between(graph, context, &mut found);
        }
    }
    for call in alone {
        if let Some(words) = within(graph, call) {
            found.insert((call, call), words);
        }
    }
    let text = |words: Vec<WordId>| words.into_iter().map(|w| graph.words[w.0 as usize].clone()).collect();
    found.into_iter().map(|((a, b), words)| (a, b, text(words))).collect()
}

type Joint = Vec<(CallId, NodeId)>;

/// Adds everything that can be reached without a word; sorted, without repeats.
fn closed(graph: &WordGraph, mut joint: Joint) -> Joint {
    let mut at = 0;
    let mut have: BTreeSet<(CallId, NodeId)> = joint.iter().copied().collect();
    while at < joint.len() {
        let (call, node) = joint[at];
        for arc in &graph.nodes[node.0 as usize].arcs {
            if !matches!(arc.label, Label::Word(_)) && have.insert((call, arc.to)) {
                joint.push((call, arc.to));
            }
        }
        at += 1;
    }
    have.into_iter().collect()
}

fn between(graph: &WordGraph, context: &CallSet, found: &mut BTreeMap<(CallId, CallId), Vec<WordId>>) {
    let entry = |c: CallId| graph.calls.get(c.0 as usize).map(|g| (c, g.entry));
    let start = closed(graph, context.iter().filter_map(entry).collect());
    // Breadth first, so that the first sentence found for a pair is a shortest one.
    let mut states: Vec<(usize, Option<WordId>)> = vec![(0, None)];
    let mut known: BTreeSet<Joint> = BTreeSet::from([start.clone()]);
    let mut queue: VecDeque<(usize, Joint)> = VecDeque::from([(0, start)]);
    while let Some((id, joint)) = queue.pop_front() {
        let ended: Vec<CallId> =
            joint.iter().filter(|(c, n)| graph.calls[c.0 as usize].exit == *n).map(|(c, _)| *c).collect();
        for (i, a) in ended.iter().enumerate() {
            for b in &ended[i + 1..] {
                found.entry((*a, *b)).or_insert_with(|| {
                    let mut words = Vec::new();
                    let mut at = id;
                    while let (before, Some(word)) = states[at] {
                        words.push(word);
                        at = before;
                    }
                    words.reverse();
                    words
                });
            }
        }
        let mut next: BTreeMap<WordId, Joint> = BTreeMap::new();
        for (call, node) in joint {
            for arc in &graph.nodes[node.0 as usize].arcs {
                if let Label::Word(word) = arc.label {
                    next.entry(word).or_default().push((call, arc.to));
                }
            }
        }
        for (word, joint) in next {
            // One call alone can share nothing any more.
            if joint.iter().all(|(c, _)| *c == joint[0].0) {
                continue;
            }
            let joint = closed(graph, joint);
            if known.len() < MAX_STATES && known.insert(joint.clone()) {
                states.push((id, Some(word)));
                queue.push_back((states.len() - 1, joint));
            }
        }
    }
}

/// A shortest sentence of `call` that means two things, from walking it twice at once with the slots' bounds apart.
fn within(graph: &WordGraph, call: CallId) -> Option<Vec<WordId>> {
    let part = &graph.calls[call.0 as usize];
    if part.slots.is_empty() {
        return None;
    }
    type Pair = (NodeId, NodeId, bool);
    // Where a node leads without a word, and the bounds passed on the way.
    let silent = |node: NodeId| -> Vec<(NodeId, Vec<Label>)> {
        let mut out = vec![(node, Vec::new())];
        let mut at = 0;
        while at < out.len() {
            let (node, passed) = out[at].clone();
            for arc in &graph.nodes[node.0 as usize].arcs {
                let mut passed = passed.clone();
                match arc.label {
                    Label::Word(_) => continue,
                    Label::Epsilon => {}
                    mark => passed.push(mark),
                }
                out.push((arc.to, passed));
            }
            at += 1;
        }
        out
    };
    let mut states: Vec<(usize, Option<WordId>)> = vec![(0, None)];
    let start: Pair = (part.entry, part.entry, false);
    let mut known: BTreeSet<Pair> = BTreeSet::from([start]);
    let mut queue: VecDeque<(usize, Pair)> = VecDeque::from([(0, start)]);
    while let Some((id, (a, b, apart))) = queue.pop_front() {
        for (a, passed_a) in silent(a) {
            for (b, passed_b) in silent(b) {
                let apart = apart || passed_a != passed_b;
                if apart && a == part.exit && b == part.exit {
                    let mut words = Vec::new();
                    let mut at = id;
                    while let (before, Some(word)) = states[at] {
                        words.push(word);
                        at = before;
                    }
                    words.reverse();
                    let text: Vec<&str> = words.iter().map(|w| graph.words[w.0 as usize].as_str()).collect();
                    // Bounds may differ and the values still be the same.
                    if accepts(graph, call, &text).len() > 1 {
                        return Some(words);
                    }
                }
                for x in &graph.nodes[a.0 as usize].arcs {
                    let Label::Word(word) = x.label else { continue };
                    for y in graph.nodes[b.0 as usize].arcs.iter().filter(|y| y.label == x.label) {
                        let pair = (x.to, y.to, apart);
                        if known.len() < MAX_STATES && known.insert(pair) {
                            states.push((id, Some(word)));
                            queue.push_back((states.len() - 1, pair));
                        }
                    }
                }
            }
        }
    }
    None
}
