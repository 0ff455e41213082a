//! Files → (book, problems). Pure: whoever calls has read the files. Never stops at the first problem.
//!
//! In order: parse ([`tree`]), find what the book takes in and lay it in layers ([`layers`]), number every name ([`names`]),
//! compile the wordings ([`wordings`]), read each section ([`aircraft`], [`calls`], [`flows`], [`lists`], [`watch`]), check the whole
//! ([`checks`]).

mod aircraft;
mod calls;
mod checks;
mod clearance;
pub mod condition;
#[cfg(test)]
mod condition_tests;
mod flows;
mod guidance;
mod layers;
mod lists;
mod manner;
pub mod names;
mod practice;
pub mod reader;
mod roles;
pub mod sentence;
mod sheet;
pub mod tree;
mod watch;
mod wordings;

use super::expr::Expr;
use super::problem::{Place, Problem, Severity};
use super::rules::{self, Rule};
use super::schema::{Book, Template};
use crate::core::aircraft::{Value, ValueKind};
use condition::{Env, Fault};
use names::{Ids, Names};
use reader::Reader;
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use tree::{Node, Span, Tree};
pub use wordings::contexts;

/// A file as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceFile {
    /// Its name for messages.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// A book's folder as it was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Folder {
    /// The book's id: the folder's name.
    pub id: String,
    /// Its `*.toml` files, sorted by name.
    pub files: Vec<SourceFile>,
}

/// What loading gives, whatever was wrong.
#[derive(Debug, Clone)]
pub struct Loaded {
    /// The book; to be flown only if no problem is an error.
    pub book: Book,
    /// What was found, in order of file and place, those without a place first.
    pub problems: Vec<Problem>,
    /// All files that went in: the book's own first, then those of what it takes in.
    pub sources: Vec<SourceFile>,
}

impl Loaded {
    /// Whether any problem is an error.
    pub fn failed(&self) -> bool {
        self.problems.iter().any(|p| p.severity == Severity::Error)
    }
}

/// Loads a book. `fetch` gives the folder of a book that this one takes in, by its plain name; `None` if there is none.
pub fn load(folder: &Folder, fetch: &dyn Fn(&str) -> Option<Folder>) -> Loaded {
    let cx = Cx::default();
    let (sections, sources) = layers::gather(&cx, folder, fetch);
    let mut book = Book { id: folder.id.clone(), hash: hash(&sources), ..Book::default() };
    resolve(&cx, &sections, &mut book);
    // A warning about what a book takes in is that book's matter; its own files are the first sources.
    let own = |r: &Raised| {
        r.rule.severity == Severity::Error || r.at.is_none_or(|at| (at.file as usize) < folder.files.len())
    };
    let raised = cx.raised.into_inner().into_iter().filter(own);
    let mut problems: Vec<Problem> = raised.map(|r| r.place(&sources)).collect();
    problems.sort_by(|a, b| (&a.place, a.severity, a.id, &a.text).cmp(&(&b.place, b.severity, b.id, &b.text)));
    problems.dedup();
    Loaded { book, problems, sources }
}

/// SHA-256 over every file's name and text, in order.
fn hash(sources: &[SourceFile]) -> String {
    let mut sha = Sha256::new();
    for s in sources {
        for part in [&s.name, &s.text] {
            sha.update((part.len() as u64).to_le_bytes());
            sha.update(part.as_bytes());
        }
    }
    sha.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

fn resolve(cx: &Cx, sections: &layers::Sections, book: &mut Book) {
    let ids = |section: &str| -> Ids { sections.items(section).iter().map(|i| &i.id).collect() };
    let mut names = Names {
        signals: ids("signals"),
        controls: ids("controls"),
        sheet: ids("sheet"),
        flows: ids("flows"),
        checklists: ids("checklists"),
        callouts: ids("callouts"),
        phases: ids("phases"),
        briefings: ids("briefings"),
        clearances: ids("clearances"),
        ..Names::default()
    };
    aircraft::signals(cx, sections, book);
    names.signal_kinds = book.signals.iter().map(|s| s.kind.clone()).collect();
    sheet::entries(cx, sections, book);
    names.sheet_kinds = book.sheet.iter().map(|s| s.kind.clone()).collect();
    aircraft::control_kinds(cx, sections, &mut names);
    let wordings = wordings::compile(cx, sections, &mut names, book);
    let all = All { cx, sections, names: &names, wordings: &wordings };
    watch::phases(&all, book);
    sheet::phases(&all, book);
    sheet::rest(&all, book);
    aircraft::controls(&all, book);
    calls::calls(&all, book);
    for (call, graph) in book.calls.iter().zip(&mut book.graph.calls) {
        graph.never_alone = call.later.is_some();
    }
    flows::flows(&all, book);
    lists::checklists(&all, book);
    watch::callouts(&all, book);
    watch::limits(&all, book);
    manner::briefings(&all, book);
    manner::surprises(&all, book);
    clearance::clearances(&all, book);
    practice::practices(&all, book);
    manner::manners(&all, book);
    watch::head(&all, book);
    watch::wording(&all, book);
    watch::unexercised(&all, book);
    watch::inherited(&all, book);
    checks::check(&all, book);
}

/// What every section's reader needs.
struct All<'a> {
    cx: &'a Cx,
    sections: &'a layers::Sections,
    names: &'a Names,
    wordings: &'a wordings::Wordings,
}

/// Where problems are collected.
#[derive(Default)]
pub struct Cx {
    raised: RefCell<Vec<Raised>>,
}

struct Raised {
    rule: &'static Rule,
    at: Option<Span>,
    text: String,
    hint: Option<String>,
}

impl Raised {
    fn place(self, sources: &[SourceFile]) -> Problem {
        let place = self.at.and_then(|at| {
            let source = sources.get(at.file as usize)?;
            let start = floor(&source.text, at.start);
            let end = floor(&source.text, at.end.max(start));
            let before = &source.text[..start];
            let line_start = before.rfind('\n').map_or(0, |i| i + 1);
            Some(Place {
                file: source.name.clone(),
                line: before.matches('\n').count() as u32 + 1,
                column: before[line_start..].chars().count() as u32 + 1,
                start,
                end,
            })
        });
        let Raised { rule, text, hint, .. } = self;
        Problem { id: rule.id, severity: rule.severity, place, text, hint }
    }
}

/// The last place at or before `at` where `text` may be cut.
fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

impl Cx {
    /// Every problem, in order of place; `sources` are the files that the spans count.
    pub fn finish(self, sources: &[SourceFile]) -> Vec<Problem> {
        let mut problems: Vec<Problem> = self.raised.into_inner().into_iter().map(|r| r.place(sources)).collect();
        problems.sort_by(|a, b| (&a.place, a.severity, a.id, &a.text).cmp(&(&b.place, b.severity, b.id, &b.text)));
        problems.dedup();
        problems
    }

    /// A problem at a place.
    pub fn raise(&self, rule: &'static Rule, at: Span, text: String, hint: Option<String>) {
        self.raised.borrow_mut().push(Raised { rule, at: Some(at), text, hint });
    }

    /// About the book as a whole.
    fn raise_whole(&self, rule: &'static Rule, text: String, hint: Option<String>) {
        self.raised.borrow_mut().push(Raised { rule, at: None, text, hint });
    }

    /// A value of the wrong type.
    pub fn wrong_type(&self, node: &Node, what: &str, wanted: &str) {
        if matches!(node.tree, Tree::Broken) {
            return;
        }
        let text = format!("`{what}` must be {wanted}, and this is {}.", node.sort());
        let hint = match &node.tree {
            Tree::Number(n) if wanted.contains("quotes") || wanted.contains("string") => Some(format!("write \"{n}\"")),
            Tree::Truth(b) if wanted.contains("quotes") || wanted.contains("string") => Some(format!("write \"{b}\"")),
            Tree::Text(t, _) if wanted == "a number" && t.parse::<f64>().is_ok() => {
                Some(format!("write {t} without quotes"))
            }
            Tree::Text(t, _) if wanted == "true or false" && (t == "true" || t == "false") => {
                Some(format!("write {t} without quotes"))
            }
            _ => None,
        };
        self.raise(rules::WRONG_TYPE, node.at, text, hint);
    }

    /// The index of the entry that `node` names.
    fn refer(&self, ids: &Ids, rule: &'static Rule, noun: &str, node: &Node) -> Option<u16> {
        let Some(id) = node.text() else {
            self.wrong_type(node, noun, &format!("the id of a {noun} in quotes"));
            return None;
        };
        let found = ids.find(id);
        if found.is_none() {
            let hint = ids.nearest(id).map(|n| format!("did you mean \"{n}\"?"));
            self.raise(rule, node.at, format!("There is no {noun} `{id}`."), hint);
        }
        found
    }

    /// Faults within a string become problems at their places.
    pub fn faults(&self, node: &Node, faults: Vec<Fault>) {
        let inner = if let Tree::Text(_, inner) = &node.tree { *inner } else { None };
        for f in faults {
            self.raise(f.rule, node.at.within(inner, f.start, f.end), f.text, f.hint);
        }
    }

    /// A condition or value; a bare number or truth counts as its own expression. What is faulty comes out as one that is
    /// never true, with its problems raised.
    fn expr(&self, node: &Node, key: &str, env: &Env, want: Option<&ValueKind>) -> Expr {
        let text = match &node.tree {
            Tree::Text(t, _) => t.clone(),
            Tree::Number(n) => n.to_string(),
            Tree::Truth(b) => b.to_string(),
            _ => {
                self.wrong_type(node, key, "a condition in quotes");
                return Expr::literal(Value::Bool(false));
            }
        };
        condition::compile(&text, env, want).unwrap_or_else(|faults| {
            self.faults(node, faults);
            Expr::literal(Value::Bool(false))
        })
    }

    /// A sentence; what is faulty comes out empty, with its problems raised.
    fn sentence(&self, node: &Node, key: &str, env: &Env, holes: Option<&[&str]>) -> Template {
        let Some(text) = node.text() else {
            self.wrong_type(node, key, "a sentence in quotes");
            return Template::default();
        };
        sentence::compile(text, env, holes).unwrap_or_else(|faults| {
            self.faults(node, faults);
            Template::default()
        })
    }
}

impl<'a> All<'a> {
    /// Nothing bound but the book's names.
    fn env(&self) -> Env<'a> {
        Env { names: self.names, slots: None, to: None }
    }
}

impl Reader<'_, '_> {
    /// A condition that must be a truth.
    fn condition(&self, key: &str, env: &Env) -> Option<Expr> {
        self.node(key).map(|n| self.cx.expr(n, key, env, Some(&ValueKind::Bool)))
    }
    /// A sentence.
    fn sentence(&self, key: &str, env: &Env) -> Option<Template> {
        self.node(key).map(|n| self.cx.sentence(n, key, env, None))
    }
    /// A list of ids of phases.
    fn phases(&self, key: &str, names: &Names) -> Vec<super::schema::PhaseId> {
        let all = self.texts(key).into_iter();
        all.filter_map(|(_, n)| self.cx.refer(&names.phases, rules::UNKNOWN_PHASE, "phase", n))
            .map(super::schema::PhaseId)
            .collect()
    }
    /// The id of a phase.
    fn phase(&self, key: &str, names: &Names) -> Option<super::schema::PhaseId> {
        let node = self.node(key)?;
        self.cx.refer(&names.phases, rules::UNKNOWN_PHASE, "phase", node).map(super::schema::PhaseId)
    }
}

impl Book {
    /// A truth about this book's names, for session scripts and questions: no slot is in sight.
    ///
    /// # Errors
    /// One sentence with the correction.
    pub fn condition(&self, text: &str) -> Result<Expr, String> {
        let names = Names::of(self);
        let env = Env { names: &names, slots: None, to: None };
        condition::compile(text, &env, Some(&ValueKind::Bool)).map_err(|faults| {
            let one = |f: Fault| match f.hint {
                Some(hint) => format!("{} {}", f.text, reader::upper(&hint)),
                None => f.text,
            };
            faults.into_iter().map(one).collect::<Vec<_>>().join(" ")
        })
    }
}
