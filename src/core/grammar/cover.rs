//! Few sentences that have every pair of neighbouring words: what a recogniser needs that learns a language from pairs.

use super::graph::{CallId, Label, NodeId, WordGraph, WordId};
use std::collections::{BTreeMap, BTreeSet};

/// Sentences of `call` such that every two words that can follow each other there do so in one of them, every first word
/// begins one and every last word ends one. Words that are not `usable` are passed over, and what needs them with them.
///
/// A call with a number has more sentences than can be listed; these are no more than there are such pairs.
pub fn cover(graph: &WordGraph, call: CallId, usable: &dyn Fn(&str) -> bool) -> Vec<Vec<String>> {
    let Some(part) = graph.calls.get(call.0 as usize) else { return Vec::new() };
    let ways = Ways::new(graph, part.entry, part.exit, usable);
    let mut sentences = Vec::new();
    let mut pairs: BTreeSet<(Option<WordId>, Option<WordId>)> = BTreeSet::new();
    let mut keep = |words: Vec<WordId>, pairs: &mut BTreeSet<_>| {
        let ends = std::iter::once(None).chain(words.iter().copied().map(Some)).chain([None]);
        let mut before: Option<Option<WordId>> = None;
        for word in ends {
            if let Some(before) = before {
                pairs.insert((before, word));
            }
            before = Some(word);
        }
        sentences.push(words.iter().filter_map(|w| graph.words.get(w.0 as usize).cloned()).collect());
    };
    // Where one can stand before a word: at the start, or behind a word with the shortest way to it.
    let mut stands: Vec<(Vec<WordId>, NodeId)> = vec![(Vec::new(), part.entry)];
    for (node, before) in &ways.before {
        for (word, to) in ways.said(*node) {
            stands.push((before.iter().copied().chain([word]).collect(), to));
        }
    }
    for (before, node) in stands {
        let last = before.last().copied();
        let reach = ways.silent(node);
        if last.is_some() && reach.contains(&part.exit) && !pairs.contains(&(last, None)) {
            keep(before.clone(), &mut pairs);
        }
        for between in reach {
            for (word, to) in ways.said(between) {
                let Some(after) = ways.after.get(&to) else { continue };
                if !pairs.contains(&(last, Some(word))) {
                    keep(before.iter().copied().chain([word]).chain(after.iter().copied()).collect(), &mut pairs);
                }
            }
        }
    }
    sentences
}

/// The shortest ways to and from the nodes of a call, over usable words.
struct Ways<'a> {
    graph: &'a WordGraph,
    usable: BTreeSet<WordId>,
    /// The fewest words from the entry to a node that can be reached.
    before: BTreeMap<NodeId, Vec<WordId>>,
    /// The fewest words from a node to the exit.
    after: BTreeMap<NodeId, Vec<WordId>>,
}

impl<'a> Ways<'a> {
    fn new(graph: &'a WordGraph, entry: NodeId, exit: NodeId, usable: &dyn Fn(&str) -> bool) -> Self {
        let usable = (0..graph.words.len()).filter(|i| usable(&graph.words[*i])).map(|i| WordId(i as u32)).collect();
        let mut ways = Ways { graph, usable, before: BTreeMap::new(), after: BTreeMap::new() };
        ways.before.insert(entry, Vec::new());
        // Every arc leads to a higher node.
        for i in entry.0..=exit.0 {
            let Some(words) = ways.before.get(&NodeId(i)).cloned() else { continue };
            for (word, to) in ways.arcs(NodeId(i)) {
                let longer: Vec<WordId> = words.iter().copied().chain(word).collect();
                shorter(&mut ways.before, to, longer);
            }
        }
        ways.after.insert(exit, Vec::new());
        for i in (entry.0..exit.0).rev() {
            for (word, to) in ways.arcs(NodeId(i)) {
                let Some(words) = ways.after.get(&to) else { continue };
                let longer: Vec<WordId> = word.into_iter().chain(words.iter().copied()).collect();
                shorter(&mut ways.after, NodeId(i), longer);
            }
        }
        ways
    }

    /// Arcs from a node that are silent or whose word is usable.
    fn arcs(&self, node: NodeId) -> Vec<(Option<WordId>, NodeId)> {
        let arcs = &self.graph.nodes[node.0 as usize].arcs;
        let usable = |label| match label {
            Label::Word(word) => self.usable.contains(&word).then_some(Some(word)),
            _ => Some(None),
        };
        arcs.iter().filter_map(|arc| Some((usable(arc.label)?, arc.to))).collect()
    }

    /// Usable words from a node.
    fn said(&self, node: NodeId) -> impl Iterator<Item = (WordId, NodeId)> {
        self.arcs(node).into_iter().filter_map(|(word, to)| Some((word?, to)))
    }

    /// The nodes that can be reached without a word, the node itself among them.
    fn silent(&self, node: NodeId) -> BTreeSet<NodeId> {
        let mut reach = BTreeSet::from([node]);
        let mut open = vec![node];
        while let Some(node) = open.pop() {
            for (word, to) in self.arcs(node) {
                if word.is_none() && reach.insert(to) {
                    open.push(to);
                }
            }
        }
        reach
    }
}

fn shorter(best: &mut BTreeMap<NodeId, Vec<WordId>>, node: NodeId, words: Vec<WordId>) {
    if best.get(&node).is_none_or(|known| words.len() < known.len()) {
        best.insert(node, words);
    }
}

#[cfg(test)]
mod tests {
    use super::super::{NamedSlots, Rules, accepts, build, expand, parse};
    use super::*;

    fn graph(say: &[&str]) -> WordGraph {
        let call = ("call".to_owned(), say.iter().map(|text| parse(text).0).collect());
        let (graph, problems) = build(&[call], &Rules::new(), &NamedSlots::new());
        assert_eq!(problems, []);
        graph
    }

    fn pairs(sentences: &[Vec<String>]) -> BTreeSet<(String, String)> {
        let mut pairs = BTreeSet::new();
        for s in sentences {
            let ends: Vec<&str> = [""].into_iter().chain(s.iter().map(String::as_str)).chain([""]).collect();
            pairs.extend(ends.windows(2).map(|w| (w[0].to_owned(), w[1].to_owned())));
        }
        pairs
    }

    /// The cover has the pairs of all sentences, each of its own is a sentence, and there are at most as many as pairs.
    fn check(say: &[&str]) {
        let graph = graph(say);
        let (all, whole) = expand(&graph, CallId(0), 200_000);
        assert!(whole, "{say:?} has too many sentences for this check");
        let all: Vec<Vec<String>> = all.into_iter().map(|(words, _)| words).collect();
        let few = cover(&graph, CallId(0), &|_| true);
        assert_eq!(pairs(&few), pairs(&all), "{say:?}: {few:?}");
        for s in &few {
            let words: Vec<&str> = s.iter().map(String::as_str).collect();
            assert!(!accepts(&graph, CallId(0), &words).is_empty(), "{words:?} is no sentence of {say:?}");
        }
        assert!(few.len() <= pairs(&all).len(), "{} sentences for {say:?}", few.len());
    }

    #[test]
    fn has_every_pair_in_few_sentences() {
        check(&["gear up"]);
        check(&["[please] (a | b | c) [d] <0-3>", "e"]);
        check(&["heading $heading:to [degrees]"]);
        check(&["squawk $squawk"]);
    }

    #[test]
    fn passes_over_what_needs_an_unusable_word() {
        let graph = graph(&["set (red | green) light [on | off]"]);
        let few = cover(&graph, CallId(0), &|w| !["green", "off"].contains(&w));
        let told: Vec<String> = few.iter().map(|s| s.join(" ")).collect();
        assert_eq!(told, ["set red light", "set red light on"]);
        assert_eq!(cover(&graph, CallId(0), &|w| w != "light"), Vec::<Vec<String>>::new());
        assert_eq!(cover(&graph, CallId(7), &|_| true), Vec::<Vec<String>>::new());
    }
}
