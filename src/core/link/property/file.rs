//! The link file: TOML → (mapping, problems).

use super::rules;
use super::wire;
use crate::core::aircraft::{SignalId, Value, ValueKind};
use crate::core::book::expr::Expr;
use crate::core::book::load::Cx;
use crate::core::book::load::condition::{self, Env};
use crate::core::book::load::names::{Ids, Names};
use crate::core::book::load::reader::Reader;
use crate::core::book::load::tree::{self, Entry, Node, Span, Tree};
use crate::core::book::nearest;
use crate::core::book::schema::ControlKind;
use crate::core::book::{Book, Problem, Severity, SourceFile};
use crate::core::link::units::{self, Unit};
use std::collections::BTreeMap;

/// How a property's number becomes a value.
#[derive(Debug, Clone, PartialEq)]
pub enum Reading {
    /// `raw * scale + offset`, then from one unit to the other.
    Number {
        /// See above.
        scale: f64,
        /// See above.
        offset: f64,
        /// From, to.
        units: Option<(&'static Unit, &'static Unit)>,
    },
    /// True from 0.5 up, or below it.
    Truth {
        /// Whether it is true below.
        inverted: bool,
    },
    /// One word a number.
    Words {
        /// Word and number.
        words: Vec<(String, f64)>,
        /// The word for numbers that are near none of them.
        between: Option<String>,
    },
}

/// A number is near a word's when it differs by no more than this.
const NEAR: f64 = 0.01;

impl Reading {
    /// The value of a property's number; `None` if it has none.
    pub fn value(&self, raw: f64) -> Option<Value> {
        match self {
            Reading::Number { scale, offset, units } => {
                let n = raw * scale + offset;
                let n = units.map_or(Some(n), |(from, to)| units::convert(n, from, to))?;
                n.is_finite().then_some(Value::Number(n))
            }
            Reading::Truth { inverted } => Some(Value::Bool((raw >= 0.5) != *inverted)),
            Reading::Words { words, between } => {
                let near = words.iter().find(|(_, n)| (raw - n).abs() <= NEAR).map(|(w, _)| w);
                near.or(between.as_ref()).cloned().map(Value::Word)
            }
        }
    }

    /// The number that makes a value; `None` if there is none.
    pub fn raw(&self, value: &Value) -> Option<f64> {
        match (self, value) {
            (Reading::Number { scale, offset, units }, Value::Number(n)) => {
                let n = units.map_or(Some(*n), |(from, to)| units::convert(*n, to, from))?;
                let raw = (n - offset) / scale;
                raw.is_finite().then_some(raw)
            }
            (Reading::Truth { inverted }, Value::Bool(b)) => Some(f64::from(u8::from(b != inverted))),
            (Reading::Words { words, .. }, Value::Word(w)) => words.iter().find(|(x, _)| x == w).map(|(_, n)| *n),
            _ => None,
        }
    }
}

/// A value that is read from a property.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// The signal, or the name that derived signals use.
    pub name: String,
    /// Whether it is a signal of the book.
    pub signal: bool,
    /// The property.
    pub path: String,
    /// How.
    pub reading: Reading,
}

/// A signal that is made of others.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// The signal.
    pub name: String,
    /// Of sources and earlier derived signals, by [`LinkFile::names`].
    pub expr: Expr,
}

/// How a control is moved.
#[derive(Debug, Clone, PartialEq)]
pub struct Control {
    /// What it is.
    pub kind: ControlKind,
    /// Properties that are set, all alike.
    pub paths: Vec<String>,
    /// The property that shows where it stands.
    pub reads: String,
    /// How numbers become its values.
    pub reading: Reading,
    /// Set to 1 before and to 0 after, if it is guarded.
    pub guard: Option<String>,
    /// Pulsed to step a rotary up, and down.
    pub steps: Option<(String, String)>,
    /// How long a momentary control is held, s.
    pub hold_s: f64,
}

/// A link file, read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LinkFile {
    /// What it calls the aircraft.
    pub title: String,
    /// Where commands are understood, HOST:PORT over TCP; empty if nowhere.
    pub commands: String,
    /// Where rows of state arrive, HOST:PORT over UDP, bound here; empty if nowhere.
    pub state: String,
    /// The properties of a row, in order; the first is the clock in seconds.
    pub columns: Vec<String>,
    /// The property that holds the clock.
    pub clock: String,
    /// The property that is 1 while the aircraft is moved without flying, if there is one.
    pub slew: Option<String>,
    /// What is not in a row is asked for this often, s.
    pub poll_s: f64,
    /// Callouts that the aircraft makes itself.
    pub callouts: Vec<String>,
    /// What is read.
    pub sources: Vec<Source>,
    /// What is made of it, in order.
    pub derived: Vec<Derived>,
    /// What can be moved.
    pub controls: BTreeMap<String, Control>,
    /// Names that derived signals use, by index: sources first, then derived ones.
    pub names: Vec<String>,
}

impl LinkFile {
    /// The signals that it gives.
    pub fn given(&self) -> impl Iterator<Item = &str> {
        let sources = self.sources.iter().filter(|s| s.signal).map(|s| s.name.as_str());
        sources.chain(self.derived.iter().map(|d| d.name.as_str()))
    }

    /// Properties that no row holds: they are asked for. In order, each once.
    pub fn asked(&self) -> Vec<String> {
        let reads = self.controls.values().filter(|c| !c.reads.is_empty()).map(|c| &c.reads);
        let mut all: Vec<String> =
            self.sources.iter().map(|s| &s.path).chain(reads).chain(&self.slew).cloned().collect();
        all.sort();
        all.dedup();
        all.retain(|p| !self.columns.contains(p));
        all
    }
}

/// Reads a link file for a book. What is faulty is left out, with its problem.
pub fn load(source: &SourceFile, book: &Book) -> (LinkFile, Vec<Problem>) {
    let cx = Cx::default();
    let all = tree::parse(&cx, 0, &source.text);
    let file = Load { cx: &cx, book }.file(&all);
    (file, cx.finish(std::slice::from_ref(source)))
}

/// Whether any problem forbids the use of a link file.
pub fn failed(problems: &[Problem]) -> bool {
    problems.iter().any(|p| p.severity == Severity::Error)
}

struct Load<'a> {
    cx: &'a Cx,
    book: &'a Book,
}

impl Load<'_> {
    fn file(&self, all: &[Entry]) -> LinkFile {
        let top = Reader { cx: self.cx, what: "the link file", at: Span::default(), entries: all };
        top.only(&["link", "raw", "signals", "controls"]);
        let mut file = LinkFile { poll_s: 0.5, ..LinkFile::default() };
        match all.iter().find(|e| e.key == "link") {
            Some(e) => self.head(&Reader::new(self.cx, "[link]", e.at, &e.value), &mut file),
            None => drop(top.need("link", "{ title = \"…\", commands = \"127.0.0.1:5401\" }")),
        }
        for (section, signal) in [("raw", false), ("signals", true)] {
            for e in self.items(all, section).iter().filter(|e| e.value.get("is").is_none()) {
                self.source(e, signal, &mut file);
            }
        }
        for e in self.items(all, "controls") {
            self.control(e, &mut file);
        }
        file.names = file.sources.iter().map(|s| s.name.clone()).collect();
        for e in self.items(all, "signals").iter().filter(|e| e.value.get("is").is_some()) {
            self.derived(e, &mut file);
        }
        file
    }

    fn items<'t>(&self, all: &'t [Entry], section: &str) -> &'t [Entry] {
        match all.iter().find(|e| e.key == section) {
            Some(e) if !matches!(e.value.tree, Tree::Table(_)) => {
                self.cx.wrong_type(&e.value, section, "a table");
                &[]
            }
            Some(e) => e.value.entries(),
            None => &[],
        }
    }

    fn head(&self, r: &Reader, file: &mut LinkFile) {
        r.only(&["title", "commands", "state", "columns", "clock", "slew", "poll_s", "callouts"]);
        file.title = r.title("aircraft");
        file.commands = self.address(r, "commands");
        file.state = self.address(r, "state");
        if file.commands.is_empty() && file.state.is_empty() {
            let _ = r.need("commands", "\"127.0.0.1:5401\"");
        }
        for (path, node) in r.texts("columns") {
            file.columns.extend(self.path(path, node));
        }
        if !file.state.is_empty() && file.columns.len() < 2 {
            let _ = r.need("columns", "[\"simulation/sim-time-sec\", \"velocities/vc-kts\"]");
        }
        let clock = r.node("clock").and_then(|n| self.path(r.text("clock")?, n));
        let first = file.columns.first().cloned();
        file.clock = clock.or(first).unwrap_or_else(|| "simulation/sim-time-sec".into());
        file.slew = r.node("slew").and_then(|n| self.path(r.text("slew")?, n));
        file.poll_s = r.number("poll_s", 0.02, 60.0).unwrap_or(0.5);
        for (id, node) in r.texts("callouts") {
            if self.book.callouts.iter().any(|c| c.id == id) {
                file.callouts.push(id.to_string());
                continue;
            }
            let near = nearest(id, self.book.callouts.iter().map(|c| c.id.as_str()));
            let hint = near.map(|n| format!("did you mean \"{n}\"?"));
            self.cx.raise(rules::LINK_SIGNAL, node.at, format!("The book has no callout `{id}`."), hint);
        }
    }

    fn address(&self, r: &Reader, key: &str) -> String {
        let Some(text) = r.text(key) else { return String::new() };
        let good = text.rsplit_once(':').is_some_and(|(host, port)| !host.is_empty() && port.parse::<u16>().is_ok());
        if good {
            return text.to_string();
        }
        let at = r.node(key).map_or(r.at, |n| n.at);
        let hint = Some(format!("write `{key} = \"127.0.0.1:5401\"`"));
        self.cx.raise(rules::LINK_ADDRESS, at, format!("`{text}` is not HOST:PORT."), hint);
        String::new()
    }

    fn path(&self, path: &str, node: &Node) -> Option<String> {
        if wire::is_path(path) {
            return Some(path.to_string());
        }
        let hint = Some("write it as the simulator does, as in \"velocities/vc-kts\"".to_string());
        self.cx.raise(rules::LINK_ADDRESS, node.at, format!("`{path}` cannot be a property."), hint);
        None
    }

    /// The type that the book gives a signal; a signal that it does not have is a problem.
    fn kind(&self, id: &str, at: Span, noun: &str) -> Option<ValueKind> {
        if let Some(i) = self.book.signal(id) {
            return self.book.signals.get(i.0 as usize).map(|s| s.kind.clone());
        }
        let near = nearest(id, self.book.signals.iter().map(|s| s.id.as_str()));
        let hint = near.map(|n| format!("did you mean \"{n}\"?"));
        self.cx.raise(rules::LINK_SIGNAL, at, format!("The book has no {noun} `{id}`."), hint);
        None
    }

    fn source(&self, e: &Entry, signal: bool, file: &mut LinkFile) {
        let noun = if signal { "signal" } else { "raw value" };
        let what = format!("{noun} `{}`", e.key);
        let r = Reader::new(self.cx, &what, e.at, &e.value);
        r.only(&["path", "is", "kind", "unit", "scale", "offset", "words", "between", "inverted"]);
        let kind = if signal {
            let Some(kind) = self.kind(&e.key, e.at, noun) else { return };
            kind
        } else {
            r.kind("kind").unwrap_or(ValueKind::Number)
        };
        let Some(node) = r.need("path", "\"velocities/vc-kts\"") else { return };
        let Some(path) = r.text("path").and_then(|p| self.path(p, node)) else { return };
        if let Some(reading) = self.reading(&r, &e.key, &kind, signal) {
            file.sources.push(Source { name: e.key.clone(), signal, path, reading });
        }
    }

    /// How numbers become values of `kind`.
    fn reading(&self, r: &Reader, name: &str, kind: &ValueKind, named: bool) -> Option<Reading> {
        let misfit = |key: &str, why: &str| {
            if let Some(node) = r.node(key) {
                let text = format!("`{key}` does not fit `{name}`, which is {}.", condition::describe(kind));
                self.cx.raise(rules::LINK_SOURCE, node.at, text, Some(why.to_string()));
            }
        };
        match kind {
            ValueKind::Number => {
                misfit("words", "give a `unit`, `scale` and `offset`");
                let units = self.units(r, name, named);
                let scale = r.number("scale", -1e12, 1e12).unwrap_or(1.0);
                if scale == 0.0 {
                    misfit("scale", "a scale of 0 makes every value the same");
                    return None;
                }
                Some(Reading::Number { scale, offset: r.number("offset", -1e12, 1e12).unwrap_or(0.0), units })
            }
            ValueKind::Bool => {
                misfit("unit", "take it away");
                misfit("words", "take it away: from 0.5 up it is true");
                Some(Reading::Truth { inverted: r.truth("inverted") })
            }
            ValueKind::Word(legal) => {
                misfit("unit", "take it away");
                let node = r.need("words", "{ up = 0, down = 1 }")?;
                let mut words = Vec::new();
                for w in node.entries() {
                    match &w.value.tree {
                        Tree::Number(n) => words.push((w.key.clone(), *n)),
                        _ => self.cx.wrong_type(&w.value, &w.key, "a number"),
                    }
                    self.word(&w.key, w.at, name, legal);
                }
                let between = r.text("between").map(str::to_string);
                if let (Some(b), Some(node)) = (&between, r.node("between")) {
                    self.word(b, node.at, name, legal);
                }
                Some(Reading::Words { words, between })
            }
        }
    }

    fn word(&self, word: &str, at: Span, name: &str, legal: &[String]) {
        if legal.is_empty() || legal.iter().any(|l| l == word) {
            return;
        }
        let near = nearest(word, legal.iter().map(String::as_str));
        let hint = near.map_or_else(|| format!("it can be {}", legal.join(", ")), |n| format!("did you mean \"{n}\"?"));
        self.cx.raise(rules::LINK_SOURCE, at, format!("`{name}` is never \"{word}\"."), Some(hint));
    }

    fn units(&self, r: &Reader, name: &str, named: bool) -> Option<(&'static Unit, &'static Unit)> {
        let (text, node) = (r.text("unit")?, r.node("unit")?);
        let Some(from) = units::find(text) else {
            let near = nearest(text, units::UNITS.iter().map(|u| u.name));
            let all: Vec<&str> = units::UNITS.iter().map(|u| u.name).collect();
            let hint =
                near.map_or_else(|| format!("the units are {}", all.join(" ")), |n| format!("did you mean \"{n}\"?"));
            self.cx.raise(rules::LINK_UNIT, node.at, format!("There is no unit \"{text}\"."), Some(hint));
            return None;
        };
        let to = if named { units::of_signal(name) } else { Some(from) }?;
        if from.measures != to.measures {
            let same: Vec<&str> = units::UNITS.iter().filter(|u| u.measures == to.measures).map(|u| u.name).collect();
            let text = format!("`{name}` is in {}, and \"{text}\" measures something else.", to.name);
            self.cx.raise(rules::LINK_UNIT, node.at, text, Some(format!("it can be {}", same.join(", "))));
            return None;
        }
        (from != to).then_some((from, to))
    }

    fn control(&self, e: &Entry, file: &mut LinkFile) {
        let what = format!("control `{}`", e.key);
        let r = Reader::new(self.cx, &what, e.at, &e.value);
        r.only(&[
            "kind", "path", "reads", "unit", "scale", "offset", "words", "between", "inverted", "guard", "up", "down",
            "hold_s",
        ]);
        let Some(i) = self.book.controls.iter().position(|c| c.id == e.key) else {
            let near = nearest(&e.key, self.book.controls.iter().map(|c| c.id.as_str()));
            let hint = near.map(|n| format!("did you mean \"{n}\"?"));
            self.cx.raise(rules::LINK_SIGNAL, e.at, format!("The book has no control `{}`.", e.key), hint);
            return;
        };
        let Some(kind) = self.kind(&e.key, e.at, "control") else { return };
        let sort = r.choice("kind", ControlKind::NAMED).unwrap_or(self.book.controls[i].kind);
        let paths: Vec<String> = r.texts("path").into_iter().filter_map(|(p, n)| self.path(p, n)).collect();
        let one = |key: &str| r.node(key).and_then(|n| self.path(r.text(key)?, n));
        let steps = one("up").zip(one("down"));
        let Some(reads) = one("reads").or_else(|| paths.first().cloned()) else {
            if sort != ControlKind::Owned {
                let _ = r.need("path", "\"gear/gear-cmd-norm\"");
            }
            return;
        };
        let Some(reading) = self.reading(&r, &e.key, &kind, true) else { return };
        if !file.sources.iter().any(|s| s.name == e.key) {
            let (name, path) = (e.key.clone(), reads.clone());
            file.sources.push(Source { name, signal: true, path, reading: reading.clone() });
        }
        let hold_s = r.number("hold_s", 0.0, 10.0).unwrap_or(0.2);
        let control = Control { kind: sort, paths, reads, reading, guard: one("guard"), steps, hold_s };
        file.controls.insert(e.key.clone(), control);
    }

    fn derived(&self, e: &Entry, file: &mut LinkFile) {
        let what = format!("signal `{}`", e.key);
        let r = Reader::new(self.cx, &what, e.at, &e.value);
        r.only(&["is"]);
        let Some(kind) = self.kind(&e.key, e.at, "signal") else { return };
        let (Some(text), Some(node)) = (r.text("is"), r.node("is")) else { return };
        let kind_of = |name: &String| -> ValueKind {
            match file.sources.iter().find(|s| &s.name == name).map(|s| &s.reading) {
                Some(Reading::Truth { .. }) => ValueKind::Bool,
                Some(Reading::Words { words, between }) => {
                    ValueKind::Word(words.iter().map(|(w, _)| w).chain(between).cloned().collect())
                }
                Some(Reading::Number { .. }) => ValueKind::Number,
                None => self
                    .book
                    .signal(name)
                    .map_or(ValueKind::Number, |SignalId(i)| self.book.signals[i as usize].kind.clone()),
            }
        };
        let names = Names {
            signals: file.names.iter().collect::<Ids>(),
            signal_kinds: file.names.iter().map(kind_of).collect(),
            ..Names::default()
        };
        let env = Env { names: &names, slots: None, to: None };
        match condition::compile(text, &env, Some(&kind)) {
            Ok(expr) => {
                file.names.push(e.key.clone());
                file.derived.push(Derived { name: e.key.clone(), expr });
            }
            Err(faults) => self.cx.faults(node, faults),
        }
    }
}
