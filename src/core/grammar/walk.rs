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
                slots.insert(def.name.clone(), graph.slot_value(def, &words)?);
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

/// Whether a sentence of `call` begins with `said` and has more words.
pub fn goes_on(graph: &WordGraph, call: CallId, said: &[&str]) -> bool {
    let Some(part) = graph.calls.get(call.0 as usize) else { return false };
    let mut seen: BTreeSet<(NodeId, usize)> = BTreeSet::from([(part.entry, 0)]);
    let mut stack = vec![(part.entry, 0)];
    while let Some((node, at)) = stack.pop() {
        for arc in &graph.nodes[node.0 as usize].arcs {
            let next = match arc.label {
                // Every node lies on a way to the exit, so this word belongs to a longer sentence.
                Label::Word(_) if at == said.len() => return true,
                Label::Word(w) if graph.words[w.0 as usize] == said[at] => (arc.to, at + 1),
                Label::Word(_) => continue,
                _ => (arc.to, at),
            };
            if seen.insert(next) {
                stack.push(next);
            }
        }
    }
    false
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

/// How many sentences without a meaning are looked at for each with one.
const WITHOUT: usize = 4;

/// The first `limit` sentences of `call` in the order of the text, with their meanings, and whether these are all.
///
/// A sentence that can be told apart in two ways comes once for each. Sentences without a meaning, such as numbers out of range,
/// are looked at up to [`WITHOUT`] times the limit.
pub fn expand(graph: &WordGraph, call: CallId, limit: usize) -> (Vec<(Vec<String>, Meaning)>, bool) {
    let (mut out, mut looked) = (Vec::new(), 0);
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
            if out.len() == limit || looked == limit.saturating_mul(WITHOUT) {
                return (out, false);
            }
            looked += 1;
            let said = words(graph, &path).into_iter().map(str::to_owned).collect();
            out.extend(meaning(graph, call, &path).map(|m| (said, m)));
        }
        stack.pop();
        path.pop();
    }
    (out, true)
}

#[cfg(test)]
mod tests {
    use super::super::{Expansion, NamedSlots, Rules, Shape, WordGraph, build, parse};
    use super::*;
    use proptest::prelude::*;
    use rand_core::SeedableRng;
    use rand_pcg::Pcg32;

    #[test]
    fn goes_on_where_a_longer_sentence_begins_the_same() {
        let calls = [("a".to_owned(), vec![parse("open [the] valve [report]").0])];
        let (graph, _) = build(&calls, &Rules::new(), &NamedSlots::new());
        let check = |said: &str, wanted| {
            let words: Vec<&str> = said.split_whitespace().collect();
            assert_eq!(goes_on(&graph, CallId(0), &words), wanted, "{said}");
        };
        check("open valve", true);
        check("open", true);
        check("", true);
        check("open the valve report", false);
        check("close", false);
        check("open valve now", false);
    }

    /// Expansions over three words, with a few slots.
    fn expansion() -> impl Strategy<Value = Expansion> {
        let at = |shape| Expansion { span: 0..0, shape };
        let leaf = prop_oneof![
            6 => "[abc]".prop_map(|w| Expansion::word(&w)),
            1 => prop_oneof![Just("letter"), Just("level")].prop_map(move |name| at(Shape::Reference {
                name: name.to_owned(),
                binding: None
            })),
        ];
        leaf.prop_recursive(3, 12, 3, move |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 1..4).prop_map(move |all| at(Shape::Sequence(all))),
                prop::collection::vec(inner.clone(), 1..4).prop_map(move |all| at(Shape::Choice(all))),
                inner.clone().prop_map(move |e| at(Shape::Optional(Box::new(e)))),
                (inner, 0..2u32, 1..3u32).prop_map(move |(e, min, more)| at(Shape::Repeat {
                    what: Box::new(e),
                    min,
                    max: min + more
                })),
            ]
        })
    }

    fn graph(expansion: Expansion) -> (WordGraph, bool) {
        let calls = [("call".to_owned(), vec![expansion])];
        let (graph, problems) = build(&calls, &Rules::new(), &NamedSlots::new());
        (graph, problems.is_empty())
    }

    /// Whether `said` is a sentence of the tree, found by trying: an oracle that shares nothing with the graph.
    fn ends(e: &Expansion, said: &[&str], from: usize) -> BTreeSet<usize> {
        match &e.shape {
            Shape::Word(w) => (said.get(from) == Some(&w.as_str())).then_some(from + 1).into_iter().collect(),
            Shape::Sequence(all) => {
                all.iter().fold(BTreeSet::from([from]), |at, e| at.into_iter().flat_map(|i| ends(e, said, i)).collect())
            }
            Shape::Choice(all) => all.iter().flat_map(|e| ends(e, said, from)).collect(),
            Shape::Optional(e) => ends(e, said, from).into_iter().chain([from]).collect(),
            Shape::Repeat { what, min, max } => {
                let mut at = BTreeSet::from([from]);
                let mut out = BTreeSet::new();
                for i in 0..=*max {
                    if i >= *min {
                        out.extend(&at);
                    }
                    at = at.into_iter().flat_map(|i| ends(what, said, i)).collect();
                }
                out
            }
            Shape::Reference { name, .. } => {
                let kind = if name == "letter" {
                    crate::core::words::SlotKind::Letter
                } else {
                    crate::core::words::SlotKind::Level
                };
                (from + 1..=said.len())
                    .filter(|to| crate::core::words::value(&kind, &said[from..*to]).is_some())
                    .collect()
            }
        }
    }

    proptest! {
        #[test]
        fn samples_are_accepted_with_their_meaning(e in expansion(), seed in any::<u64>()) {
            let (graph, _) = graph(e.clone());
            let mut rng = Pcg32::seed_from_u64(seed);
            if let Some((said, meaning)) = sample(&graph, CallId(0), &mut rng) {
                let said: Vec<&str> = said.iter().map(String::as_str).collect();
                prop_assert!(accepts(&graph, CallId(0), &said).contains(&meaning), "{said:?}");
                prop_assert!(ends(&e, &said, 0).contains(&said.len()), "{e} does not say {said:?}");
            }
        }

        #[test]
        fn accepts_what_the_tree_says_and_nothing_else(e in expansion(), said in prop::collection::vec("[abc]|alfa|two|hundred|zero", 1..6)) {
            let (graph, clean) = graph(e.clone());
            let said: Vec<&str> = said.iter().map(String::as_str).collect();
            let by_graph = !accepts(&graph, CallId(0), &said).is_empty();
            // What was refused as a problem may be missing from the graph, but nothing may be added.
            if by_graph || clean {
                prop_assert_eq!(by_graph, ends(&e, &said, 0).contains(&said.len()), "{}", e);
            }
        }

        #[test]
        fn accepted_sentences_are_among_the_enumerated(e in expansion(), said in prop::collection::vec("[abc]|alfa|two|hundred|zero", 1..6)) {
            let (graph, _) = graph(e);
            let (all, whole) = expand(&graph, CallId(0), 2_000);
            let texts: Vec<&str> = said.iter().map(String::as_str).collect();
            let listed = all.iter().any(|(s, _)| *s == said);
            let accepted = !accepts(&graph, CallId(0), &texts).is_empty();
            prop_assert!(!listed || accepted);
            prop_assert!(!whole || listed == accepted);
        }
    }

    #[test]
    fn expand_stops_at_its_limit() {
        let (graph, _) = graph(parse("$heading").0);
        let (some, whole) = expand(&graph, CallId(0), 10);
        assert_eq!((some.len(), whole), (10, false));
        assert_eq!(some[0].0.join(" "), "zero zero one");
    }

    #[test]
    fn meaning_needs_a_whole_path() {
        let (graph, _) = graph(parse("to $letter").0);
        let mut rng = Pcg32::seed_from_u64(1);
        assert!(sample(&graph, CallId(0), &mut rng).is_some());
        assert_eq!(meaning(&graph, CallId(0), &[Label::Open(SlotId(0))]), None);
        assert_eq!(meaning(&graph, CallId(0), &[Label::Open(SlotId(0)), Label::Close(SlotId(0))]), None);
        assert_eq!(meaning(&graph, CallId(7), &[]), None);
    }
}
