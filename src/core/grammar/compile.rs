//! Wordings into the one word graph of a book.

use super::automaton::{Loose, Symbol, Tight, from_sentences, tighten};
use super::emit::emit;
use super::expansion::{Expansion, Shape};
use super::graph::{SlotDef, WordGraph};
use super::parse::parse;
use super::problem::Problem;
use super::resolve::Resolver;
use crate::core::aircraft::Value;
use crate::core::words::{FORMS, SlotKind};
use std::collections::BTreeMap;

/// The most states that one call may need as it comes from the text.
const MAX_LOOSE: usize = 200_000;
/// The most states that one call may need once determinised.
const MAX_STATES: usize = 50_000;
/// The most wordings that the values of one of a book's own slots may have together.
const MAX_NAMED: usize = 5_000;
/// The most slots that one call may have.
const MAX_SLOTS: usize = 64;
/// The most calls that a book may have: [`super::CallId`] counts no further.
const MAX_CALLS: usize = 1 << 16;

/// Rules by name.
pub type Rules = BTreeMap<String, Expansion>;
/// A book's own slot types: what each value is called.
pub type NamedSlots = BTreeMap<String, Vec<(Value, Expansion)>>;

/// Which text a problem is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// A wording of a call, both by index.
    Call {
        /// Index into the calls given.
        call: usize,
        /// Index into its wordings.
        wording: usize,
    },
    /// A rule, by name.
    Rule(String),
    /// A value of a book's own slot.
    Slot {
        /// The slot's type.
        slot: String,
        /// Index into its values.
        value: usize,
    },
}

/// A problem with the text that it is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CompileProblem {
    /// Which text.
    pub place: Place,
    /// What, and where in that text.
    pub problem: Problem,
}

/// Compiles all calls of a book. Never stops at the first problem: what is wrong is left out of the graph.
///
/// Call `i` of the graph is `calls[i]`. A call's nodes stand together, from its entry to its exit, and every arc leads
/// to a higher node.
pub fn build(
    calls: &[(String, Vec<Expansion>)],
    rules: &Rules,
    named: &NamedSlots,
) -> (WordGraph, Vec<CompileProblem>) {
    let mut builder = Builder::new(rules, named);
    builder.named_slots();
    if calls.len() > MAX_CALLS {
        let message = format!("A book can have {MAX_CALLS} calls at most.");
        builder.report(Place::Call { call: MAX_CALLS, wording: 0 }, Problem::new("grammar-too-large", 0..0, message));
    }
    for (i, (name, wordings)) in calls.iter().enumerate().take(MAX_CALLS) {
        builder.call(i, name, wordings);
    }
    builder.graph.words = builder.words.list;
    builder.problems.sort_by(|a, b| (&a.place, a.problem.span.start).cmp(&(&b.place, b.problem.span.start)));
    (builder.graph, builder.problems)
}

#[derive(Default)]
struct Words {
    list: Vec<String>,
    index: BTreeMap<String, u32>,
}

impl Words {
    fn id(&mut self, word: &str) -> u32 {
        if let Some(id) = self.index.get(word) {
            return *id;
        }
        let id = self.list.len() as u32;
        self.list.push(word.to_owned());
        self.index.insert(word.to_owned(), id);
        id
    }
}

struct Builder<'a> {
    named: &'a NamedSlots,
    resolver: Resolver<'a>,
    forms: Rules,
    graph: WordGraph,
    words: Words,
    /// Sub-graphs of the slot types met so far.
    parts: BTreeMap<String, Tight>,
    problems: Vec<CompileProblem>,
}

/// What is being built: one call, or one slot's sub-graph (which can have no slots in it).
struct Draft<'d> {
    loose: Loose,
    slots: Option<&'d mut Vec<SlotDef>>,
    problems: Vec<Problem>,
    too_large: bool,
}

impl<'a> Builder<'a> {
    fn new(rules: &'a Rules, named: &'a NamedSlots) -> Self {
        let (resolver, problems) = Resolver::new(rules, named);
        let forms = FORMS.iter().map(|(name, text)| ((*name).to_owned(), parse(text).0)).collect();
        Builder {
            named,
            resolver,
            forms,
            graph: WordGraph::default(),
            words: Words::default(),
            parts: BTreeMap::new(),
            problems,
        }
    }

    fn report(&mut self, place: Place, problem: Problem) {
        self.problems.push(CompileProblem { place, problem });
    }

    /// The table of what each value of a book's own slots is called.
    fn named_slots(&mut self) {
        for (slot, values) in self.named {
            let mut table: BTreeMap<String, (usize, Value)> = BTreeMap::new();
            for (i, (value, expansion)) in values.iter().enumerate() {
                let place = Place::Slot { slot: slot.clone(), value: i };
                let mut said = Vec::new();
                let whole = self.sentences(expansion, &mut said, MAX_NAMED.saturating_sub(table.len()));
                if !whole {
                    let message = format!("The values of ${slot} have more than {MAX_NAMED} wordings together.");
                    self.report(place, Problem::new("grammar-too-large", expansion.span.clone(), message));
                    continue;
                }
                for words in said {
                    let words = words.join(" ");
                    let other = table.get(&words).filter(|(j, _)| *j != i).map(|(_, v)| v.clone());
                    if words.is_empty() {
                        let message = format!("The value {value} of ${slot} can be said with no word at all.");
                        let problem = Problem::new("grammar-says-nothing", expansion.span.clone(), message);
                        self.report(place.clone(), problem.hint("Put at least one word outside of square brackets."));
                    } else if let Some(other) = other {
                        let message = format!("\"{words}\" means both {other} and {value} in ${slot}.");
                        let problem = Problem::new("grammar-two-values", expansion.span.clone(), message);
                        self.report(place.clone(), problem.hint("Take the words out of one of the two values."));
                    } else {
                        table.insert(words, (i, value.clone()));
                    }
                }
            }
            let table = table.into_iter().map(|(words, (_, value))| (words, value)).collect();
            self.graph.named.insert(slot.clone(), table);
        }
    }

    /// Every sentence of a slot-free expansion into `out`; false if there are more than `limit`.
    fn sentences(&mut self, expansion: &Expansion, out: &mut Vec<Vec<String>>, limit: usize) -> bool {
        let mut draft = Draft { loose: Loose::default(), slots: None, problems: Vec::new(), too_large: false };
        let start = draft.loose.add();
        let (end, _) = self.add(&mut draft, expansion, start, None);
        let Some(tight) = tighten(&draft.loose, end, MAX_STATES).filter(|_| !draft.too_large) else { return false };
        let mut stack: Vec<(u32, Vec<u32>)> = vec![(0, Vec::new())];
        while let Some((state, said)) = stack.pop() {
            let state = &tight.states[state as usize];
            if state.accepting {
                out.push(said.iter().map(|w| self.words.list[*w as usize].clone()).collect());
            }
            if out.len() > limit || stack.len() > limit {
                return false;
            }
            for (symbol, to) in state.arcs.iter().rev() {
                if let Symbol::Word(w) = symbol {
                    stack.push((*to, said.iter().copied().chain([*w]).collect()));
                }
            }
        }
        true
    }

    fn call(&mut self, call: usize, name: &str, wordings: &[Expansion]) {
        if let Some(sentences) = wordings.iter().map(|e| self.sentence(e)).collect::<Option<Vec<_>>>() {
            return emit(&mut self.graph, name, Vec::new(), &from_sentences(&sentences), |_| None);
        }
        let mut slots = Vec::new();
        let mut draft =
            Draft { loose: Loose::default(), slots: Some(&mut slots), problems: Vec::new(), too_large: false };
        let start = draft.loose.add();
        let end = draft.loose.add();
        for (wording, expansion) in wordings.iter().enumerate() {
            let place = Place::Call { call, wording };
            let wrong = self.resolver.check(expansion);
            self.problems.extend(wrong.into_iter().map(|problem| CompileProblem { place: place.clone(), problem }));
            let from = draft.loose.add();
            draft.loose.empty(start, from);
            let (to, _) = self.add(&mut draft, expansion, from, None);
            draft.loose.empty(to, end);
            if !draft.too_large
                && self.skippable(&draft.loose, from, to)
                && expansion.shape != Shape::Sequence(Vec::new())
            {
                let message = "This wording can be said with no word at all.";
                let problem = Problem::new("grammar-says-nothing", expansion.span.clone(), message);
                draft.problems.push(problem.hint("Put at least one word outside of square brackets."));
            }
            for problem in draft.problems.drain(..) {
                self.problems.push(CompileProblem { place: place.clone(), problem });
            }
            if draft.too_large {
                break;
            }
        }
        let too_large = draft.too_large;
        let mut tight = tighten(&draft.loose, end, MAX_STATES).filter(|_| !too_large);
        // Silence is no call, whatever the text says. Nothing leads back to the start, so this changes nothing else.
        if let Some(start) = tight.as_mut().and_then(|t| t.states.first_mut()) {
            start.accepting = false;
        }
        if tight.is_none() {
            let message = "This call has more ways of being said than can be kept.";
            let problem = Problem::new("grammar-too-large", 0..0, message);
            self.report(Place::Call { call, wording: 0 }, problem.hint("Part it, or repeat less."));
        }
        let parts = &self.parts;
        emit(&mut self.graph, name, slots, &tight.unwrap_or_default(), |slot| parts.get(kind_name(&slot.kind)));
    }

    /// The words of a wording that is nothing but words, at least one.
    fn sentence(&mut self, wording: &Expansion) -> Option<Vec<u32>> {
        match &wording.shape {
            Shape::Word(w) => Some(vec![self.words.id(w)]),
            Shape::Sequence(all) if !all.is_empty() && all.iter().all(|e| matches!(e.shape, Shape::Word(_))) => Some(
                all.iter()
                    .filter_map(|e| if let Shape::Word(w) = &e.shape { Some(self.words.id(w)) } else { None })
                    .collect(),
            ),
            _ => None,
        }
    }

    /// Whether `to` can be reached from `from` without a word or slot.
    fn skippable(&self, loose: &Loose, from: u32, to: u32) -> bool {
        let mut seen = std::collections::BTreeSet::new();
        let mut stack = vec![from];
        while let Some(s) = stack.pop() {
            if s == to {
                return true;
            }
            if seen.insert(s) {
                stack.extend(&loose.states[s as usize].empty);
            }
        }
        false
    }

    /// Adds `expansion` behind `from`; returns where it ends and which slots it passes, as a bit mask.
    ///
    /// `outer` is the place in the call's own text when the expansion comes from a rule.
    fn add(
        &mut self,
        draft: &mut Draft<'_>,
        expansion: &Expansion,
        from: u32,
        outer: Option<&std::ops::Range<usize>>,
    ) -> (u32, u64) {
        if draft.loose.states.len() > MAX_LOOSE {
            draft.too_large = true;
            return (from, 0);
        }
        match &expansion.shape {
            Shape::Word(w) => {
                let to = draft.loose.add();
                draft.loose.arc(from, Symbol::Word(self.words.id(w)), to);
                (to, 0)
            }
            Shape::Sequence(all) => {
                let (mut at, mut passed) = (from, 0);
                for e in all {
                    let (to, slots) = self.add(draft, e, at, outer);
                    self.refuse_twice(draft, passed & slots, outer.unwrap_or(&e.span));
                    passed |= slots;
                    at = to;
                }
                (at, passed)
            }
            Shape::Choice(all) => {
                let end = draft.loose.add();
                let mut passed = 0;
                for e in all {
                    let start = draft.loose.add();
                    draft.loose.empty(from, start);
                    let (to, slots) = self.add(draft, e, start, outer);
                    draft.loose.empty(to, end);
                    passed |= slots;
                }
                (end, passed)
            }
            Shape::Optional(e) => {
                let (to, slots) = self.add(draft, e, from, outer);
                let end = draft.loose.add();
                draft.loose.empty(to, end);
                draft.loose.empty(from, end);
                (end, slots)
            }
            Shape::Repeat { what, min, max } => {
                let end = draft.loose.add();
                let (mut at, mut passed) = (from, 0);
                for i in 0..*max {
                    if i >= *min {
                        draft.loose.empty(at, end);
                    }
                    let (to, slots) = self.add(draft, what, at, outer);
                    if i == 1 {
                        self.refuse_twice(draft, passed & slots, outer.unwrap_or(&expansion.span));
                    }
                    passed |= slots;
                    at = to;
                }
                draft.loose.empty(at, end);
                (end, passed)
            }
            Shape::Reference { name, binding } => {
                let span = outer.unwrap_or(&expansion.span).clone();
                if let Some(kind) = self.resolver.slot(name) {
                    return self.slot(draft, name, kind, binding.as_deref(), from, span);
                }
                // A state of its own, so that rules that say nothing count against the limit too.
                let start = draft.loose.add();
                match self.resolver.rule(name) {
                    Some(rule) => {
                        draft.loose.empty(from, start);
                        self.add(draft, rule, start, Some(&span))
                    }
                    // Unknown or endless: reported where it stands; nothing goes through here.
                    None => (start, 0),
                }
            }
        }
    }

    fn refuse_twice(&self, draft: &mut Draft<'_>, twice: u64, span: &std::ops::Range<usize>) {
        let Some(slots) = &draft.slots else { return };
        if twice == 0 {
            return;
        }
        let slot = &slots[twice.trailing_zeros() as usize];
        let message = format!("The slot \"{}\" would be filled twice in one sentence.", slot.name);
        let hint = format!("Give the second its own name: ${}:other.", kind_name(&slot.kind));
        draft.problems.push(Problem::new("grammar-slot-twice", span.clone(), message).hint(hint));
    }

    fn slot(
        &mut self,
        draft: &mut Draft<'_>,
        type_name: &str,
        kind: SlotKind,
        binding: Option<&str>,
        from: u32,
        span: std::ops::Range<usize>,
    ) -> (u32, u64) {
        let nowhere = draft.loose.add();
        let Some(slots) = &mut draft.slots else { return (nowhere, 0) };
        let name = binding.unwrap_or(type_name);
        let id = match slots.iter().position(|s| s.name == name) {
            Some(i) if slots[i].kind == kind => i,
            Some(i) => {
                let message = format!(
                    "The slot \"{name}\" is a ${type_name} here and a ${} elsewhere in this call.",
                    kind_name(&slots[i].kind)
                );
                let hint = format!("Give one of them another name: ${type_name}:{name}_2.");
                draft.problems.push(Problem::new("grammar-slot-types", span, message).hint(hint));
                return (nowhere, 0);
            }
            None if slots.len() == MAX_SLOTS => {
                let message = format!("A call can have {MAX_SLOTS} slots at most.");
                draft.problems.push(Problem::new("grammar-too-large", span, message));
                return (nowhere, 0);
            }
            None => {
                slots.push(SlotDef { name: name.to_owned(), kind: kind.clone(), range: None });
                slots.len() - 1
            }
        };
        if !self.parts.contains_key(type_name) {
            let part = self.part(type_name, &kind);
            self.parts.insert(type_name.to_owned(), part);
        }
        // A slot without a value leads nowhere.
        if self.parts[type_name].states.iter().any(|s| s.accepting) {
            draft.loose.arc(from, Symbol::Slot(id as u8), nowhere);
        }
        (nowhere, 1 << id)
    }

    /// The sub-graph of a slot type.
    fn part(&mut self, type_name: &str, kind: &SlotKind) -> Tight {
        let mut loose = Loose::default();
        let start = loose.add();
        let end = match kind {
            SlotKind::Named { .. } => {
                let end = loose.add();
                let said: Vec<String> =
                    self.graph.named.get(type_name).map(|t| t.keys().cloned().collect()).unwrap_or_default();
                for sentence in said {
                    let mut at = start;
                    for word in sentence.split(' ') {
                        let to = loose.add();
                        loose.arc(at, Symbol::Word(self.words.id(word)), to);
                        at = to;
                    }
                    loose.empty(at, end);
                }
                end
            }
            _ => {
                let mut draft = Draft { loose, slots: None, problems: Vec::new(), too_large: false };
                let form = self.forms.get(type_name).cloned();
                let end = form.map(|form| self.add_form(&mut draft, &form, start)).unwrap_or_default();
                loose = draft.loose;
                end
            }
        };
        tighten(&loose, end, MAX_STATES).unwrap_or_default()
    }

    /// Adds a built-in form, whose references are to other built-in forms.
    fn add_form(&mut self, draft: &mut Draft<'_>, form: &Expansion, from: u32) -> u32 {
        let inlined = inline(form, &self.forms);
        self.add(draft, &inlined, from, None).0
    }
}

/// The name of a slot's type as a wording writes it.
fn kind_name(kind: &SlotKind) -> &str {
    match kind {
        SlotKind::Named { name, .. } => name,
        other => super::resolve::built_in_name(other),
    }
}

/// `form` with every reference replaced by what it names.
fn inline(form: &Expansion, forms: &Rules) -> Expansion {
    let all = |list: &[Expansion]| list.iter().map(|e| inline(e, forms)).collect();
    let shape = match &form.shape {
        Shape::Word(w) => Shape::Word(w.clone()),
        Shape::Sequence(list) => Shape::Sequence(all(list)),
        Shape::Choice(list) => Shape::Choice(all(list)),
        Shape::Optional(e) => Shape::Optional(Box::new(inline(e, forms))),
        Shape::Repeat { what, min, max } => Shape::Repeat { what: Box::new(inline(what, forms)), min: *min, max: *max },
        Shape::Reference { name, .. } => match forms.get(name) {
            Some(e) => inline(e, forms).shape,
            None => Shape::Sequence(Vec::new()),
        },
    };
    Expansion { span: form.span.clone(), shape }
}

#[cfg(test)]
mod tests;
