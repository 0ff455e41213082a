//! Typed and Vosk text against the live part of the graph.
//!
//! Text that says live calls word for word, in any of the ways in which its numbers can be read, is taken as it is.
//! Only if there is no such reading, a word that no wording knows may be a misspelling of one that resembles it, and a
//! word may be missing or too many; all of that costs, and a call's cost is held below a limit that grows with its
//! length. Words inside a slot are never guessed.

use super::lattice::{Lattice, MOST_POINTS};
use super::{Candidate, Heard, Unheard};
use crate::core::grammar::{Arc, CallId, CallSet, Label, Meaning, NodeId, WordGraph, WordId, meaning, words};
use crate::core::time::SessionTime;
use crate::core::words::{SPELLED_TWO_WAYS, variants};
use std::collections::BTreeMap;

/// Score in nats of a call whose words are all there.
pub const EXACT: f64 = 10.0;
/// Score in nats of a call whose cost is at the limit: the threshold of [`super::Thresholds::text`].
pub const AT_LIMIT: f64 = 2.0;
/// What each further call in the same breath takes off the score, in nats: one whole call is preferred to the same words
/// cut into two, by more than the margin that a tie is decided by.
pub const SPLIT: f64 = 1.6;
/// Cost that each word of a wording allows for, slots not counted.
const LIMIT_PER_WORD: f64 = 0.25;
/// Candidates are kept up to this multiple of the limit, to tell speech that resembles a call from other speech.
const KEPT: f64 = 1.5;
/// Cost of a word of the wording that was not said.
const MISSING: f64 = 0.9;
/// Cost of a word that is not in the wording.
const EXTRA: f64 = 0.9;
/// Least likeness (`strsim`, Damerau–Levenshtein over the longer length) of a misspelling; its cost is what is missing to 1.
const LIKENESS: f64 = 0.7;
/// Words shorter than this are never taken for misspellings.
const SHORTEST: usize = 4;
/// Words that turn a sentence round are never passed over.
const NEVER_EXTRA: &[&str] = &["not", "no", "don't", "never", "negative", "cancel", "stop", "without"];
/// The most calls in one breath.
const MOST_CALLS: usize = 3;
/// Readings kept.
const MOST_RANKED: usize = 8;
/// Partial readings kept at each point of the text.
const MOST_PARTIAL: usize = 16;

/// What `text` means under `live`: up to three calls in one breath, best first.
///
/// Scores are nats on the ears' scale: [`EXACT`] for a call said word for word, falling to [`AT_LIMIT`] where the cost
/// reaches the limit, less [`SPLIT`] for every call beyond the first; of several calls the worst counts. Nothing is
/// assumed about push-to-talk: the caller sets `pushed`.
pub fn match_text(
    graph: &WordGraph,
    live: &CallSet,
    text: &str,
    revision: u32,
    speech: (SessionTime, SessionTime),
) -> Heard {
    let lattice = Lattice::new(text, graph);
    let mut heard =
        Heard { revision, ranked: Vec::new(), unheard: None, typed: true, pushed: false, over_us: false, speech };
    if lattice.end() == 0 {
        heard.unheard = Some(Unheard::NothingSaid);
        return heard;
    }
    if lattice.end() > MOST_POINTS {
        return heard;
    }
    let mut search = Search::new(graph, live, &lattice);
    let found = search.whole_text(&Search::exact);
    let found = if found.is_empty() {
        search.prepare_near();
        search.whole_text(&Search::near)
    } else {
        found
    };
    heard.ranked = ranked(&search.spans, found);
    heard
}

/// One call, said from one point of the text to another.
#[derive(Debug, Clone)]
struct Span {
    to: usize,
    score: f64,
    meaning: Meaning,
    text: String,
}

struct Search<'a> {
    graph: &'a WordGraph,
    live: Vec<CallId>,
    lattice: &'a Lattice,
    /// For each word of the text the words of the graph that it may be, with the cost.
    matches: Vec<Vec<(WordId, f64)>>,
    /// All spans found so far.
    spans: Vec<Span>,
    /// For each node the least that the rest of the call can cost above what it allows for. Empty until needed.
    bound: Vec<f64>,
    /// Whether a node lies inside a slot.
    inside: Vec<bool>,
}

impl<'a> Search<'a> {
    fn new(graph: &'a WordGraph, live: &CallSet, lattice: &'a Lattice) -> Self {
        let spelled: Vec<Vec<&str>> = lattice
            .words
            .iter()
            .map(|w| {
                let also = SPELLED_TWO_WAYS.iter().filter(|k| variants(k).contains(&w.as_str()));
                std::iter::once(w.as_str()).chain(also.copied()).collect()
            })
            .collect();
        let mut matches: Vec<Vec<(WordId, f64)>> = vec![Vec::new(); lattice.words.len()];
        for (i, known) in graph.words.iter().enumerate() {
            for (list, ways) in matches.iter_mut().zip(&spelled) {
                if ways.contains(&known.as_str()) {
                    list.push((WordId(i as u32), 0.0));
                }
            }
        }
        let live = live.iter().filter(|c| (c.0 as usize) < graph.calls.len()).collect();
        Search { graph, live, lattice, matches, spans: Vec::new(), bound: Vec::new(), inside: Vec::new() }
    }

    /// Every way to cover the whole text with at most [`MOST_CALLS`] calls, as indices into `spans`.
    fn whole_text(&mut self, from: &dyn Fn(&mut Self, usize) -> Vec<usize>) -> Vec<Vec<usize>> {
        let mut known: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
        let mut partial: BTreeMap<usize, Vec<Vec<usize>>> = BTreeMap::from([(0, vec![Vec::new()])]);
        let mut whole = Vec::new();
        for _ in 0..MOST_CALLS {
            let mut next: BTreeMap<usize, Vec<Vec<usize>>> = BTreeMap::new();
            for (at, heads) in partial {
                let spans = known.entry(at).or_insert_with(|| from(self, at)).clone();
                for head in &heads {
                    for span in &spans {
                        let longer: Vec<usize> = head.iter().chain([span]).copied().collect();
                        let to = self.spans[*span].to;
                        if to == self.lattice.end() {
                            whole.push(longer);
                        } else {
                            next.entry(to).or_default().push(longer);
                        }
                    }
                }
            }
            for heads in next.values_mut() {
                heads.sort_by(|a, b| worst(&self.spans, b).total_cmp(&worst(&self.spans, a)));
                heads.truncate(MOST_PARTIAL);
            }
            partial = next;
        }
        whole
    }

    fn keep(&mut self, found: Vec<Span>) -> Vec<usize> {
        let from = self.spans.len();
        self.spans.extend(found);
        (from..self.spans.len()).collect()
    }

    fn fits(&self, word: usize, arc: &Arc) -> Option<f64> {
        let Label::Word(id) = arc.label else { return None };
        self.matches[word].iter().find(|(m, _)| *m == id).map(|(_, cost)| *cost)
    }

    /// Calls said word for word from `at` on.
    fn exact(&mut self, at: usize) -> Vec<usize> {
        let mut found: Vec<Span> = Vec::new();
        for call in &self.live {
            let part = &self.graph.calls[call.0 as usize];
            let first = found.len();
            let mut stack: Vec<(NodeId, usize, Vec<Label>)> = vec![(part.entry, at, Vec::new())];
            while let Some((node, at, path)) = stack.pop() {
                if node == part.exit
                    && let Some(meaning) = meaning(self.graph, *call, &path)
                    && found[first..].iter().all(|s| s.to != at || s.meaning != meaning)
                {
                    let text = words(self.graph, &path).join(" ");
                    found.push(Span { to: at, score: EXACT, meaning, text });
                }
                for arc in self.graph.nodes[node.0 as usize].arcs.iter().rev() {
                    let longer = || path.iter().copied().chain([arc.label]).collect();
                    if !matches!(arc.label, Label::Word(_)) {
                        stack.push((arc.to, at, longer()));
                        continue;
                    }
                    for (word, to) in self.lattice.edges[at].iter().rev() {
                        if self.fits(*word, arc).is_some() {
                            stack.push((arc.to, *to, longer()));
                        }
                    }
                }
            }
        }
        self.keep(found)
    }

    /// Adds misspellings to `matches`, and works out which calls can come near the text at all.
    fn prepare_near(&mut self) {
        for (word, list) in self.lattice.words.iter().zip(&mut self.matches) {
            let length = word.chars().count();
            // A word that some wording knows is meant as it stands.
            if !list.is_empty() || length < SHORTEST {
                continue;
            }
            let letters = letters(word);
            for (i, known) in self.graph.words.iter().enumerate() {
                let longest = length.max(known.len());
                let edits = ((1.0 - LIKENESS) * longest as f64) as usize;
                // Each edit changes two of the letters present at most: cheaper than measuring every word.
                if known.len() < SHORTEST
                    || known.len().abs_diff(word.len()) > edits * 2
                    || (letters ^ self::letters(known)).count_ones() as usize > 2 * edits
                    // "unlocked" is no misspelling of "locked".
                    || (length != known.chars().count() && (known.ends_with(word) || word.ends_with(known.as_str())))
                {
                    continue;
                }
                let likeness = strsim::normalized_damerau_levenshtein(word, known);
                if likeness >= LIKENESS {
                    list.push((WordId(i as u32), 1.0 - likeness));
                }
            }
        }
        let mut cheapest = vec![f64::INFINITY; self.graph.words.len()];
        for (id, cost) in self.matches.iter().flatten() {
            let best = &mut cheapest[id.0 as usize];
            *best = best.min(*cost);
        }
        let count = self.graph.nodes.len();
        self.inside = vec![false; count];
        self.bound = vec![f64::INFINITY; count];
        for call in &self.live {
            let part = &self.graph.calls[call.0 as usize];
            let (first, last) = (part.entry.0 as usize, part.exit.0 as usize);
            for i in first..last {
                for arc in &self.graph.nodes[i].arcs {
                    match arc.label {
                        Label::Open(_) => self.inside[arc.to.0 as usize] = true,
                        Label::Close(_) => {}
                        _ => self.inside[arc.to.0 as usize] |= self.inside[i],
                    }
                }
            }
            self.bound[last] = 0.0;
            for i in (first..last).rev() {
                let over = |arc: &Arc| {
                    let rest = self.bound[arc.to.0 as usize];
                    let Label::Word(id) = arc.label else { return rest };
                    match (self.inside[i], cheapest[id.0 as usize]) {
                        (true, 0.0) => rest,
                        (true, _) => f64::INFINITY,
                        (false, cost) => rest + cost.min(MISSING) - LIMIT_PER_WORD * KEPT,
                    }
                };
                let least = self.graph.nodes[i].arcs.iter().map(over).fold(f64::INFINITY, f64::min);
                self.bound[i] = least;
            }
        }
    }

    /// Calls that come near the text from `at` on.
    fn near(&mut self, at: usize) -> Vec<usize> {
        let mut found = Vec::new();
        for call in &self.live {
            if self.bound[self.graph.calls[call.0 as usize].entry.0 as usize] <= 1e-9 {
                self.align(*call, at, &mut found);
            }
        }
        self.keep(found)
    }

    /// Lays one call along the text from `start` on, at the least cost for every end.
    fn align(&self, call: CallId, start: usize, found: &mut Vec<Span>) {
        struct Way {
            cost: f64,
            words: u32,
            path: Vec<Label>,
        }
        let part = &self.graph.calls[call.0 as usize];
        // Kept apart by what stands in the slots, so that two values never pass for one.
        // The flag: the last word passed over is one that no wording knows, perhaps a misspelt part of a value.
        type Key = (usize, NodeId, bool, Vec<Label>);
        let mut open: BTreeMap<Key, Way> = BTreeMap::new();
        open.insert((start, part.entry, false, Vec::new()), Way { cost: 0.0, words: 0, path: Vec::new() });
        let mut best: BTreeMap<usize, f64> = BTreeMap::new();
        while let Some(((at, node, strange, slots), way)) = open.pop_first() {
            let mut go = |at: usize, node: NodeId, label: Option<Label>, cost: f64, said: bool, strange: bool| {
                let inside = self.inside[node.0 as usize];
                let over = way.cost + cost - LIMIT_PER_WORD * KEPT * f64::from(way.words + u32::from(said));
                if over + self.bound[node.0 as usize] > 1e-9 {
                    return;
                }
                let mut slots = slots.clone();
                let mut path = way.path.clone();
                if let Some(label) = label {
                    path.push(label);
                    if inside || matches!(label, Label::Open(_) | Label::Close(_)) {
                        slots.push(label);
                    }
                }
                let next = Way { cost: way.cost + cost, words: way.words + u32::from(said), path };
                let key = (at, node, strange, slots);
                if open.get(&key).is_none_or(|w| next.cost < w.cost) {
                    open.insert(key, next);
                }
            };
            let inside = self.inside[node.0 as usize];
            for arc in &self.graph.nodes[node.0 as usize].arcs {
                if !matches!(arc.label, Label::Word(_)) {
                    if !(strange && matches!(arc.label, Label::Open(_))) {
                        go(at, arc.to, Some(arc.label), 0.0, false, strange);
                    }
                    continue;
                }
                for (word, to) in &self.lattice.edges[at] {
                    if let Some(cost) = self.fits(*word, arc).filter(|c| !inside || *c == 0.0) {
                        go(*to, arc.to, Some(arc.label), cost, !inside, false);
                    }
                }
                if !inside {
                    go(at, arc.to, Some(arc.label), MISSING, true, strange);
                }
            }
            if !inside && (at != start || start == 0) {
                let after_slot =
                    way.path.iter().rev().find(|l| **l != Label::Epsilon).is_some_and(|l| matches!(l, Label::Close(_)));
                for (word, to) in &self.lattice.edges[at] {
                    let unknown = self.matches[*word].iter().all(|(_, cost)| *cost > 0.0);
                    // Beside a value it may be a misspelt part of it.
                    let needed = NEVER_EXTRA.contains(&self.lattice.words[*word].as_str());
                    if !(needed || unknown && after_slot) {
                        go(*to, node, None, EXTRA, false, unknown);
                    }
                }
            }
            if node == part.exit && at > start {
                let limit = LIMIT_PER_WORD * f64::from(way.words.max(1));
                let score = EXACT - (EXACT - AT_LIMIT) * way.cost / limit;
                // Only as good as the best for this end can matter; equal ones may mean something else.
                let best = best.entry(at).or_insert(f64::NEG_INFINITY);
                if score >= *best
                    && let Some(meaning) = meaning(self.graph, call, &way.path)
                {
                    *best = score;
                    let text = words(self.graph, &way.path).join(" ");
                    found.push(Span { to: at, score, meaning, text });
                }
            }
        }
    }
}

/// Which letters a word has, as bits; others than a–z share one.
fn letters(word: &str) -> u32 {
    word.bytes().fold(0, |bits, b| bits | if b.is_ascii_lowercase() { 1 << (b - b'a') } else { 1 << 26 })
}

fn worst(spans: &[Span], reading: &[usize]) -> f64 {
    reading.iter().map(|s| spans[*s].score).fold(f64::INFINITY, f64::min)
}

/// Best first; readings with the same meanings are merged.
fn ranked(spans: &[Span], found: Vec<Vec<usize>>) -> Vec<Candidate> {
    let mut ranked: Vec<Candidate> = Vec::new();
    for reading in found {
        let score = worst(spans, &reading) - SPLIT * (reading.len() - 1) as f64;
        let meanings: Vec<Meaning> = reading.iter().map(|s| spans[*s].meaning.clone()).collect();
        match ranked.iter_mut().find(|c| c.meanings == meanings) {
            Some(c) if c.score >= score => {}
            found => {
                let text = reading.iter().map(|s| spans[*s].text.as_str()).collect::<Vec<_>>().join(" ");
                let candidate = Candidate::new(meanings, score, text);
                match found {
                    Some(c) => *c = candidate,
                    None => ranked.push(candidate),
                }
            }
        }
    }
    ranked.sort_by(|a, b| b.score.total_cmp(&a.score));
    ranked.truncate(MOST_RANKED);
    ranked
}

#[cfg(test)]
mod tests;
