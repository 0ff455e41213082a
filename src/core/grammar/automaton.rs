//! From a call's wordings to the smallest acyclic automaton that says the same.

use std::collections::BTreeMap;

/// What an arc consumes while a call is being built; a slot stands for its whole sub-graph.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Symbol {
    Word(u32),
    Slot(u8),
}

/// An automaton with empty moves, as it comes from the text. State 0 is the start.
#[derive(Debug, Default)]
pub(super) struct Loose {
    pub states: Vec<LooseState>,
}

#[derive(Debug, Default, Clone)]
pub(super) struct LooseState {
    pub empty: Vec<u32>,
    pub arcs: Vec<(Symbol, u32)>,
}

impl Loose {
    pub fn add(&mut self) -> u32 {
        self.states.push(LooseState::default());
        self.states.len() as u32 - 1
    }
    pub fn empty(&mut self, from: u32, to: u32) {
        self.states[from as usize].empty.push(to);
    }
    pub fn arc(&mut self, from: u32, symbol: Symbol, to: u32) {
        self.states[from as usize].arcs.push((symbol, to));
    }
}

/// A deterministic automaton without dead ends. State 0 is the start; arcs lead to higher states only.
#[derive(Debug, Default, Clone)]
pub(super) struct Tight {
    pub states: Vec<TightState>,
}

#[derive(Debug, Default, Clone)]
pub(super) struct TightState {
    pub accepting: bool,
    /// In the order of the text.
    pub arcs: Vec<(Symbol, u32)>,
}

/// Determinises and minimises; `None` if more than `limit` states would be needed on the way.
pub(super) fn tighten(loose: &Loose, accepting: u32, limit: usize) -> Option<Tight> {
    let subsets = determinise(loose, accepting, limit)?;
    Some(minimise(&subsets))
}

/// Plain sentences, which need no determinising. Fast, since most calls of most books are nothing else.
pub(super) fn from_sentences(sentences: &[Vec<u32>]) -> Tight {
    let mut trie = Tight { states: vec![TightState::default()] };
    let mut next: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for sentence in sentences {
        let mut at = 0;
        for word in sentence {
            at = *next.entry((at, *word)).or_insert_with(|| {
                let to = trie.states.len() as u32;
                trie.states.push(TightState::default());
                trie.states[at as usize].arcs.push((Symbol::Word(*word), to));
                to
            });
        }
        trie.states[at as usize].accepting = true;
    }
    // One sentence alone is as small as it can be.
    if sentences.len() > 1 { minimise(&trie) } else { trie }
}

fn determinise(loose: &Loose, accepting: u32, limit: usize) -> Option<Tight> {
    let mut stamp = vec![0u32; loose.states.len()];
    let mut round = 0;
    // States reachable without consuming anything, in the order of the text.
    let mut closure = |seeds: &[u32]| -> Vec<u32> {
        round += 1;
        let mut out = Vec::new();
        let mut stack: Vec<u32> = seeds.iter().rev().copied().collect();
        while let Some(s) = stack.pop() {
            if std::mem::replace(&mut stamp[s as usize], round) == round {
                continue;
            }
            let state = &loose.states[s as usize];
            if !state.arcs.is_empty() || s == accepting {
                out.push(s);
            }
            stack.extend(state.empty.iter().rev());
        }
        out
    };
    let mut tight = Tight::default();
    let mut sets: Vec<Vec<u32>> = Vec::new();
    let mut known: BTreeMap<Vec<u32>, u32> = BTreeMap::new();
    let mut enter = |set: Vec<u32>, sets: &mut Vec<Vec<u32>>, tight: &mut Tight| -> u32 {
        let mut key = set.clone();
        key.sort_unstable();
        *known.entry(key).or_insert_with(|| {
            let accepting = set.contains(&accepting);
            sets.push(set);
            tight.states.push(TightState { accepting, arcs: Vec::new() });
            sets.len() as u32 - 1
        })
    };
    enter(closure(&[0]), &mut sets, &mut tight);
    let mut at = 0;
    while at < sets.len() {
        let mut order: Vec<Symbol> = Vec::new();
        let mut targets: BTreeMap<Symbol, Vec<u32>> = BTreeMap::new();
        for s in &sets[at] {
            for (symbol, to) in &loose.states[*s as usize].arcs {
                let list = targets.entry(*symbol).or_default();
                if list.is_empty() {
                    order.push(*symbol);
                }
                list.push(*to);
            }
        }
        for symbol in order {
            let set = closure(&targets[&symbol]);
            let to = enter(set, &mut sets, &mut tight);
            tight.states[at].arcs.push((symbol, to));
        }
        if sets.len() > limit {
            return None;
        }
        at += 1;
    }
    Some(tight)
}

/// Order in which every arc leads forward.
fn topological(tight: &Tight) -> Vec<u32> {
    let mut incoming = vec![0u32; tight.states.len()];
    for (_, to) in tight.states.iter().flat_map(|s| &s.arcs) {
        incoming[*to as usize] += 1;
    }
    let mut order = vec![0u32];
    let mut at = 0;
    while at < order.len() {
        for (_, to) in &tight.states[order[at] as usize].arcs {
            incoming[*to as usize] -= 1;
            if incoming[*to as usize] == 0 {
                order.push(*to);
            }
        }
        at += 1;
    }
    order
}

fn minimise(tight: &Tight) -> Tight {
    let order = topological(tight);
    // From the end backwards: states with the same future become one; those without a future vanish.
    let mut class: Vec<Option<u32>> = vec![None; tight.states.len()];
    let mut classes: Vec<TightState> = Vec::new();
    let mut known: BTreeMap<(bool, Vec<(Symbol, u32)>), u32> = BTreeMap::new();
    for s in order.iter().rev() {
        let state = &tight.states[*s as usize];
        let arcs: Vec<(Symbol, u32)> =
            state.arcs.iter().filter_map(|(symbol, to)| Some((*symbol, class[*to as usize]?))).collect();
        if arcs.is_empty() && !state.accepting {
            continue;
        }
        let mut key = arcs.clone();
        key.sort_unstable();
        let id = *known.entry((state.accepting, key)).or_insert_with(|| {
            classes.push(TightState { accepting: state.accepting, arcs });
            classes.len() as u32 - 1
        });
        class[*s as usize] = Some(id);
    }
    let Some(start) = class[0] else { return Tight { states: vec![TightState::default()] } };
    // Number them again, from the start and forwards. Every class is reachable, since every subset is.
    let mut backwards = Tight { states: classes };
    backwards.states.swap(0, start as usize);
    let swapped = |i: u32| {
        if i == start {
            0
        } else if i == 0 {
            start
        } else {
            i
        }
    };
    for (_, to) in backwards.states.iter_mut().flat_map(|s| &mut s.arcs) {
        *to = swapped(*to);
    }
    let order = topological(&backwards);
    let mut place = vec![0u32; backwards.states.len()];
    for (i, s) in order.iter().enumerate() {
        place[*s as usize] = i as u32;
    }
    let states = order.iter().map(|s| {
        let state = &backwards.states[*s as usize];
        let arcs = state.arcs.iter().map(|(symbol, to)| (*symbol, place[*to as usize])).collect();
        TightState { accepting: state.accepting, arcs }
    });
    Tight { states: states.collect() }
}
