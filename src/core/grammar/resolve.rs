//! What the names in a wording stand for, and which of them can stand there.

use super::compile::{CompileProblem, NamedSlots, Place, Rules};
use super::expansion::{Expansion, Shape};
use super::problem::{Problem, nearest};
use crate::core::words::{BUILT_IN, SlotKind};
use std::collections::{BTreeMap, BTreeSet};

/// Rules within rules, at most; keeps the walk over them within the stack.
const MAX_RULE_DEPTH: usize = 12;

pub(super) struct Resolver<'a> {
    rules: &'a Rules,
    named: &'a NamedSlots,
    /// Rules that would never end or lie too deep.
    refused: BTreeSet<&'a str>,
}

pub(super) fn built_in_name(kind: &SlotKind) -> &'static str {
    BUILT_IN.iter().find(|(_, k)| k == kind).map_or("", |(name, _)| name)
}

fn references<'e>(expansion: &'e Expansion, out: &mut Vec<(&'e str, Option<&'e str>, &'e Expansion)>) {
    match &expansion.shape {
        Shape::Word(_) => {}
        Shape::Sequence(all) | Shape::Choice(all) => all.iter().for_each(|e| references(e, out)),
        Shape::Optional(e) | Shape::Repeat { what: e, .. } => references(e, out),
        Shape::Reference { name, binding } => out.push((name, binding.as_deref(), expansion)),
    }
}

impl<'a> Resolver<'a> {
    /// Checks all rules and the values of named slots; the problems are theirs.
    pub fn new(rules: &'a Rules, named: &'a NamedSlots) -> (Self, Vec<CompileProblem>) {
        let mut resolver = Resolver { rules, named, refused: BTreeSet::new() };
        let mut problems = Vec::new();
        resolver.endless(&mut problems);
        let built_in = |name: &str| BUILT_IN.iter().any(|(n, _)| *n == name);
        for (name, rule) in rules {
            let place = Place::Rule(name.clone());
            if built_in(name) || named.contains_key(name) {
                let message = format!("${name} is already the name of a slot's type.");
                let problem = Problem::new("grammar-name-taken", rule.span.clone(), message);
                let problem = problem.hint(format!("Call the rule {name}_words."));
                problems.push(CompileProblem { place: place.clone(), problem });
            }
            let wrong = resolver.check(rule);
            problems.extend(wrong.into_iter().map(|problem| CompileProblem { place: place.clone(), problem }));
        }
        for (slot, values) in named {
            if built_in(slot) {
                let message = format!("${slot} is the name of a type that every book has.");
                let problem = Problem::new("grammar-name-taken", 0..0, message);
                let problem = problem.hint(format!("Call the slot {slot}_value."));
                problems.push(CompileProblem { place: Place::Slot { slot: slot.clone(), value: 0 }, problem });
            }
            if values.is_empty() {
                let message = format!("The slot ${slot} has no values.");
                let problem = Problem::new("grammar-slot-no-values", 0..0, message);
                let problem = problem.hint("Give it at least one value with its words.");
                problems.push(CompileProblem { place: Place::Slot { slot: slot.clone(), value: 0 }, problem });
            }
            for (value, (_, expansion)) in values.iter().enumerate() {
                let mut wrong = resolver.check(expansion);
                wrong.extend(resolver.slots_within(expansion));
                let place = Place::Slot { slot: slot.clone(), value };
                problems.extend(wrong.into_iter().map(|problem| CompileProblem { place: place.clone(), problem }));
            }
        }
        (resolver, problems)
    }

    /// The slot type of this name.
    pub fn slot(&self, name: &str) -> Option<SlotKind> {
        if let Some((_, kind)) = BUILT_IN.iter().find(|(n, _)| *n == name) {
            return Some(kind.clone());
        }
        let values = self.named.get(name)?.iter().map(|(v, _)| v.clone()).collect();
        Some(SlotKind::Named { name: name.to_owned(), values })
    }

    fn is_slot(&self, name: &str) -> bool {
        BUILT_IN.iter().any(|(n, _)| *n == name) || self.named.contains_key(name)
    }

    /// The rule of this name, unless it was refused.
    pub fn rule(&self, name: &str) -> Option<&'a Expansion> {
        self.rules.get(name).filter(|_| !self.refused.contains(name))
    }

    /// Problems with the names in one text.
    pub fn check(&self, expansion: &Expansion) -> Vec<Problem> {
        let mut found = Vec::new();
        references(expansion, &mut found);
        let mut problems = Vec::new();
        for (name, binding, e) in found {
            if self.is_slot(name) {
                continue;
            }
            if self.rules.contains_key(name) {
                if let Some(binding) = binding {
                    let message = format!("${name} is a rule, so it has no value to call \"{binding}\".");
                    let problem = Problem::new("grammar-rule-bound", e.span.clone(), message);
                    problems.push(problem.hint(format!("Write: ${name}")));
                }
                continue;
            }
            let built_in = BUILT_IN.iter().map(|(n, _)| *n);
            let known = self.rules.keys().map(String::as_str).chain(self.named.keys().map(String::as_str));
            let hint = match nearest(name, known.chain(built_in)) {
                Some(near) => format!("Write: ${near}"),
                None => format!("Put a rule named {name} under [rules], or take ${name} away."),
            };
            let message = format!("There is no rule or slot named ${name}.");
            problems.push(Problem::new("grammar-unknown-rule", e.span.clone(), message).hint(hint));
        }
        problems
    }

    /// A value of a slot cannot hold a slot, not even through a rule.
    fn slots_within(&self, expansion: &Expansion) -> Vec<Problem> {
        let mut direct = Vec::new();
        references(expansion, &mut direct);
        let mut problems = Vec::new();
        for (name, _, e) in direct {
            let mut seen = BTreeSet::new();
            let mut open = vec![name];
            while let Some(name) = open.pop() {
                if self.is_slot(name) {
                    let message = format!("A value of a slot cannot hold another slot (${name}).");
                    let problem = Problem::new("grammar-slot-in-slot", e.span.clone(), message);
                    problems.push(problem.hint("Write the words of the value, and put the slots side by side."));
                } else if let (true, Some(rule)) = (seen.insert(name), self.rules.get(name)) {
                    let mut inner = Vec::new();
                    references(rule, &mut inner);
                    open.extend(inner.iter().map(|r| r.0));
                }
            }
        }
        problems
    }

    /// Finds the rules that lead back to themselves, and those that lie too deep.
    fn endless(&mut self, problems: &mut Vec<CompileProblem>) {
        let mut links: BTreeMap<&str, Vec<(&str, &Expansion)>> = BTreeMap::new();
        for (name, rule) in self.rules {
            let mut found = Vec::new();
            references(rule, &mut found);
            found.retain(|(n, ..)| !self.is_slot(n) && self.rules.contains_key(*n));
            links.insert(name, found.into_iter().map(|(n, _, e)| (n, e)).collect());
        }
        // Depth first, with our own stack: (rule, next link to follow).
        let mut depth: BTreeMap<&str, usize> = BTreeMap::new();
        let mut reported: BTreeSet<&str> = BTreeSet::new();
        for start in self.rules.keys() {
            let mut path: Vec<(&str, usize)> = Vec::new();
            if !depth.contains_key(start.as_str()) {
                path.push((start, 0));
            }
            while let Some((name, next)) = path.last_mut() {
                let name = *name;
                let Some((to, place)) = links[name].get(*next) else {
                    let deepest = links[name].iter().filter_map(|(n, _)| depth.get(n)).max().copied().unwrap_or(0);
                    depth.insert(name, deepest + 1);
                    path.pop();
                    continue;
                };
                *next += 1;
                if let Some(i) = path.iter().position(|(n, _)| n == to) {
                    let cycle: Vec<&str> = path[i..].iter().map(|(n, _)| *n).collect();
                    let new = cycle.iter().all(|n| !reported.contains(n));
                    reported.extend(&cycle);
                    self.refused
                        .extend(cycle.iter().filter_map(|n| self.rules.get_key_value(*n)).map(|(k, _)| k.as_str()));
                    if new {
                        let shown: Vec<String> = cycle.iter().chain([to]).map(|n| format!("${n}")).collect();
                        let message = format!("These rules lead back to themselves for ever: {}.", shown.join(" → "));
                        let problem = Problem::new("grammar-endless", place.span.clone(), message);
                        let problem = problem.hint("Write how often with a repeat instead, as in: x <1-5>");
                        problems.push(CompileProblem { place: Place::Rule(name.to_owned()), problem });
                    }
                } else if !depth.contains_key(to) {
                    path.push((to, 0));
                }
            }
        }
        for (name, depth) in &depth {
            if *depth > MAX_RULE_DEPTH {
                let Some((key, rule)) = self.rules.get_key_value(*name) else { continue };
                self.refused.insert(key);
                if *depth == MAX_RULE_DEPTH + 1 {
                    let message = format!("Rules stand within rules more than {MAX_RULE_DEPTH} deep.");
                    let problem = Problem::new("grammar-too-deep", rule.span.clone(), message);
                    let problem = problem.hint("Write the words of the inner rules out.");
                    problems.push(CompileProblem { place: Place::Rule(key.clone()), problem });
                }
            }
        }
    }
}
