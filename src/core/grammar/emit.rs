//! A finished call into the nodes and arcs of the graph.

use super::automaton::{Symbol, Tight};
use super::graph::{Arc, CallGraph, Label, Node, NodeId, SlotDef, SlotId, WordGraph, WordId};
use std::collections::BTreeMap;

/// Copies a call into the graph, with a copy of a slot's sub-graph (`part`) in front of each node that it leads to.
pub(super) fn emit<'p>(
    graph: &mut WordGraph,
    name: &str,
    slots: Vec<SlotDef>,
    tight: &Tight,
    part: impl Fn(&SlotDef) -> Option<&'p Tight>,
) {
    let base = graph.nodes.len() as u32;
    let count = tight.states.len();
    let speaks = tight.states.first().is_some_and(|s| !s.arcs.is_empty());
    if !speaks {
        graph.nodes.extend([Node::default(), Node::default()]);
        let (entry, exit) = (NodeId(base), NodeId(base + 1));
        return graph.calls.push(CallGraph { name: name.to_owned(), entry, exit, slots, never_alone: false });
    }
    let nothing = Tight::default();
    let part = |slot: u8| part(&slots[slot as usize]).unwrap_or(&nothing);
    let mut incoming: Vec<Vec<u8>> = vec![Vec::new(); count];
    for (symbol, to) in tight.states.iter().flat_map(|s| &s.arcs) {
        if let Symbol::Slot(slot) = symbol {
            let list = &mut incoming[*to as usize];
            if !list.contains(slot) {
                list.push(*slot);
            }
        }
    }
    // The one state that accepts and ends is the exit; it comes last.
    let exit_state = tight.states.iter().position(|s| s.arcs.is_empty()).unwrap_or(count - 1);
    let order: Vec<usize> = (0..count).filter(|s| *s != exit_state).chain([exit_state]).collect();
    let mut next = base;
    let mut place = vec![0u32; count];
    let mut copies: BTreeMap<(u8, usize), u32> = BTreeMap::new();
    for state in &order {
        for slot in &incoming[*state] {
            copies.insert((*slot, *state), next);
            next += part(*slot).states.len() as u32;
        }
        place[*state] = next;
        next += 1;
    }
    let exit = place[exit_state];
    for state in &order {
        for slot in &incoming[*state] {
            let copy = copies[&(*slot, *state)];
            for s in &part(*slot).states {
                let mut arcs: Vec<Arc> = Vec::with_capacity(s.arcs.len() + 1);
                for (symbol, to) in &s.arcs {
                    if let Symbol::Word(w) = symbol {
                        arcs.push(Arc { label: Label::Word(WordId(*w)), to: NodeId(copy + to) });
                    }
                }
                if s.accepting {
                    arcs.push(Arc { label: Label::Close(SlotId(*slot)), to: NodeId(place[*state]) });
                }
                graph.nodes.push(Node { arcs });
            }
        }
        let s = &tight.states[*state];
        let mut arcs: Vec<Arc> = Vec::with_capacity(s.arcs.len() + 1);
        for (symbol, to) in &s.arcs {
            arcs.push(match symbol {
                Symbol::Word(w) => Arc { label: Label::Word(WordId(*w)), to: NodeId(place[*to as usize]) },
                Symbol::Slot(slot) => {
                    Arc { label: Label::Open(SlotId(*slot)), to: NodeId(copies[&(*slot, *to as usize)]) }
                }
            });
        }
        if s.accepting && *state != exit_state {
            arcs.push(Arc { label: Label::Epsilon, to: NodeId(exit) });
        }
        graph.nodes.push(Node { arcs });
    }
    let call =
        CallGraph { name: name.to_owned(), entry: NodeId(place[0]), exit: NodeId(exit), slots, never_alone: false };
    graph.calls.push(call);
}
