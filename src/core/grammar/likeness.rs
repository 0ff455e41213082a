//! Sentences of two calls that sound alike, though they are not the same.
//!
//! The word graph is spelled out in sounds once; then two calls are walked at the same time for the cheapest way to take a
//! sentence of one for a sentence of the other: a shortest path over pairs of places, given up beyond a limit.

use super::graph::{CallId, Label, NodeId, WordGraph, WordId};
use crate::core::words::{Phone, distance, phones};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap};

/// One step to another place: its sound, the place, and the word that begins with it.
type Step = (Phone, u32, Option<WordId>);

/// The graph's calls, sound by sound.
#[derive(Debug)]
pub struct Sounds<'g> {
    graph: &'g WordGraph,
    /// Steps from each place; the first places are the graph's nodes.
    steps: Vec<Vec<Step>>,
    /// Whether a call can end at a node, by node.
    ends: Vec<bool>,
}

/// Two sentences that sound alike.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Likeness {
    /// How far apart, in hundredths of a sound; 0 where no difference can be heard.
    pub apart: u32,
    /// The sentence of the first call.
    pub first: Vec<String>,
    /// The sentence of the second.
    pub second: Vec<String>,
}

/// Pairs of places looked at before two calls count as unlike.
const MOST_PAIRS: usize = 60_000;

impl<'g> Sounds<'g> {
    /// Spells a graph out.
    pub fn new(graph: &'g WordGraph) -> Sounds<'g> {
        let mut all =
            Sounds { graph, steps: vec![Vec::new(); graph.nodes.len()], ends: vec![false; graph.nodes.len()] };
        let exits: BTreeSet<NodeId> = graph.calls.iter().map(|c| c.exit).collect();
        let spelled: Vec<Vec<Phone>> = graph.words.iter().map(|w| phones(w)).collect();
        // From the last node on: what can be reached without a word has been looked at by then, since arcs lead upwards.
        for node in (0..graph.nodes.len()).rev() {
            let mut ends = exits.contains(&NodeId(node as u32));
            let mut steps: Vec<Step> = Vec::new();
            for arc in &graph.nodes[node].arcs {
                match arc.label {
                    Label::Word(word) => {
                        let Some((first, rest)) = spelled[word.0 as usize].split_first() else { continue };
                        let mut to = arc.to.0;
                        for phone in rest.iter().rev() {
                            all.steps.push(vec![(*phone, to, None)]);
                            to = all.steps.len() as u32 - 1;
                        }
                        steps.push((*first, to, Some(word)));
                    }
                    _ => {
                        ends |= all.ends[arc.to.0 as usize];
                        steps.extend(
                            all.steps[arc.to.0 as usize]
                                .iter()
                                .filter(|s| !steps.contains(s))
                                .copied()
                                .collect::<Vec<_>>(),
                        );
                    }
                }
            }
            all.steps[node] = steps;
            all.ends[node] = ends;
        }
        all
    }

    fn ends(&self, place: u32) -> bool {
        self.ends.get(place as usize).copied().unwrap_or(false)
    }

    /// The two most alike sentences of two calls, if they are at most `limit` hundredths of a sound apart.
    pub fn nearest(&self, a: CallId, b: CallId, limit: u32) -> Option<Likeness> {
        let entry = |c: CallId| self.graph.calls.get(c.0 as usize).map(|g| g.entry.0);
        let start = (entry(a)?, entry(b)?);
        type Way = (u32, Option<(u32, u32)>, Option<WordId>, Option<WordId>);
        let mut best: BTreeMap<(u32, u32), Way> = BTreeMap::from([(start, (0, None, None, None))]);
        let mut done: BTreeSet<(u32, u32)> = BTreeSet::new();
        let mut heap = BinaryHeap::from([Reverse((0u32, start))]);
        while let Some(Reverse((cost, at))) = heap.pop() {
            if !done.insert(at) {
                continue;
            }
            // The empty sentence is none.
            if at != start && self.ends(at.0) && self.ends(at.1) {
                let (mut first, mut second) = (Vec::new(), Vec::new());
                let mut back = at;
                while let Some((_, from, word_a, word_b)) = best.get(&back) {
                    first.extend(word_a.map(|w| self.graph.words[w.0 as usize].clone()));
                    second.extend(word_b.map(|w| self.graph.words[w.0 as usize].clone()));
                    let Some(from) = from else { break };
                    back = *from;
                }
                first.reverse();
                second.reverse();
                return Some(Likeness { apart: cost, first, second });
            }
            if done.len() > MOST_PAIRS {
                return None;
            }
            let mut go = |to: (u32, u32), more: u32, word_a, word_b| {
                let total = cost + more;
                if total <= limit && best.get(&to).is_none_or(|w| w.0 > total) {
                    best.insert(to, (total, Some(at), word_a, word_b));
                    heap.push(Reverse((total, to)));
                }
            };
            let (from_a, from_b) = (&self.steps[at.0 as usize], &self.steps[at.1 as usize]);
            for (phone, to, word) in from_a {
                go((*to, at.1), phone.lost(), *word, None);
                for (other, other_to, other_word) in from_b {
                    go((*to, *other_to), phone.distance(*other), *word, *other_word);
                }
            }
            for (phone, to, word) in from_b {
                go((at.0, *to), phone.lost(), None, *word);
            }
        }
        None
    }

    /// Values of a book's own slots that sound alike: the slot's type, the two wordings with different values, and how far
    /// they are apart.
    pub fn values(&self, limit: u32) -> Vec<(String, Likeness)> {
        let mut out = Vec::new();
        for (slot, values) in &self.graph.named {
            let said: Vec<_> = values
                .iter()
                .map(|(text, value)| (text, value, text.split(' ').flat_map(phones).collect::<Vec<_>>()))
                .collect();
            // The nearest wordings of each two values.
            let mut nearest: Vec<(&_, &_, Likeness)> = Vec::new();
            for (i, (text, value, sound)) in said.iter().enumerate() {
                for (other_text, other, other_sound) in &said[i + 1..] {
                    let apart = distance(sound, other_sound);
                    if value == other || apart > limit {
                        continue;
                    }
                    let words = |t: &str| t.split(' ').map(str::to_owned).collect();
                    let found = Likeness { apart, first: words(text), second: words(other_text) };
                    let pair =
                        |v: &(&_, &_, Likeness)| (v.0, v.1) == (*value, *other) || (v.0, v.1) == (*other, *value);
                    match nearest.iter_mut().find(|v| pair(v)) {
                        Some(known) if known.2.apart <= apart => {}
                        Some(known) => known.2 = found,
                        None => nearest.push((value, other, found)),
                    }
                }
            }
            out.extend(nearest.into_iter().map(|(_, _, found)| (slot.clone(), found)));
        }
        out.sort_by(|a, b| (a.1.apart, &a.0, &a.1.first).cmp(&(b.1.apart, &b.0, &b.1.first)));
        out
    }
}

/// How many sentences a call has, as ways through its graph; [`u64::MAX`] for more than that.
pub fn sentences(graph: &WordGraph, call: CallId) -> u64 {
    let Some(part) = graph.calls.get(call.0 as usize) else { return 0 };
    let mut ways: BTreeMap<NodeId, u64> = BTreeMap::from([(part.exit, 1)]);
    for node in (part.entry.0..part.exit.0).rev() {
        let arcs = &graph.nodes[node as usize].arcs;
        let all = arcs.iter().fold(0u64, |n, a| n.saturating_add(ways.get(&a.to).copied().unwrap_or(0)));
        ways.insert(NodeId(node), all);
    }
    ways.get(&part.entry).copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::super::{NamedSlots, Rules, accepts, build, expand, parse};
    use super::*;
    use proptest::prelude::*;

    fn graph(calls: &[&str]) -> WordGraph {
        let calls: Vec<_> = calls.iter().enumerate().map(|(i, t)| (format!("c{i}"), vec![parse(t).0])).collect();
        build(&calls, &Rules::new(), &NamedSlots::new()).0
    }

    fn check(a: &str, b: &str, limit: u32, wanted: Option<(&str, &str)>) -> Option<u32> {
        let graph = graph(&[a, b]);
        let found = Sounds::new(&graph).nearest(CallId(0), CallId(1), limit);
        let told = found.as_ref().map(|l| (l.first.join(" "), l.second.join(" ")));
        assert_eq!(told.as_ref().map(|(a, b)| (a.as_str(), b.as_str())), wanted, "{a} | {b}");
        found.map(|l| l.apart)
    }

    #[test]
    fn finds_the_most_alike_sentences() {
        assert_eq!(check("turn right", "turn write", 50, Some(("turn right", "turn write"))), Some(0));
        check("(gear up | open doors)", "(brakes on | gear hop)", 200, Some(("gear up", "gear hop")));
        check("gear up", "flaps five", 150, None);
        // Through a number, where both say the same.
        check("speed $speed", "speeds $speed", 200, Some(("speed zero", "speeds zero")));
        check("[very] slow", "[so] slow", 10, Some(("slow", "slow")));
        // A word more costs its sounds.
        assert!(check("start", "start now", 300, Some(("start", "start now"))) > Some(150));
    }

    #[test]
    fn counts_sentences() {
        for (text, n) in [("a", 1), ("[a] b", 2), ("(a | b) <1-3>", 14), ("$letter $letter:other", 676)] {
            assert_eq!(sentences(&graph(&[text]), CallId(0)), n, "{text}");
        }
        let far = "$number:a $number:b $number:c $number:d";
        assert_eq!(sentences(&graph(&[far]), CallId(0)), u64::MAX);
        assert_eq!(sentences(&graph(&["a"]), CallId(7)), 0);
    }

    proptest! {
        /// Against the plain way: all sentences of both, each with each.
        #[test]
        fn is_what_listing_all_sentences_would_find(
            a in "(up|on|of)( \\[in\\])?( \\(go \\| no\\))?", b in "(up|off|an)( \\[it\\])?( \\(so \\| now\\))?"
        ) {
            let graph = graph(&[&a, &b]);
            let all = |c| expand(&graph, CallId(c), 100).0;
            let sound = |said: &[String]| said.iter().flat_map(|w| phones(w)).collect::<Vec<_>>();
            let least = all(0)
                .iter()
                .flat_map(|(x, _)| all(1).into_iter().map(move |(y, _)| (x.clone(), y)))
                .map(|(x, y)| distance(&sound(&x), &sound(&y)))
                .min();
            let found = Sounds::new(&graph).nearest(CallId(0), CallId(1), 10_000).expect("some are always nearest");
            prop_assert_eq!(Some(found.apart), least, "{} | {}", a, b);
            for (call, said) in [(0, &found.first), (1, &found.second)] {
                let said: Vec<&str> = said.iter().map(String::as_str).collect();
                prop_assert!(!accepts(&graph, CallId(call), &said).is_empty(), "{:?}", said);
            }
        }
    }
}
