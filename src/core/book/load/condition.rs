//! CEL text → a typed expression.
//!
//! The `cel` crate parses; everything else is ours: its evaluator compares across types without a word, and knows no
//! *unknown*. Its parser is guarded by length and depth, because it recurses and because very long faulty texts upset it.

use super::names::{Ids, Names, SlotName};
use crate::core::aircraft::{SignalId, Value, ValueKind};
use crate::core::book::expr::{Expr, Function, Name, Node, Op};
use crate::core::book::problem::nearest;
use crate::core::book::rules::{self, Rule};
use cel::common::ast::{Expr as Ast, IdedExpr, LiteralValue, SourceInfo, operators};

/// Longest condition, bytes.
pub const MAX_BYTES: usize = 2_000;
/// Deepest nesting of brackets and of the tree.
pub const MAX_DEPTH: usize = 24;

/// What a condition can see besides the book's names.
#[derive(Clone, Copy)]
pub struct Env<'a> {
    /// The book's names.
    pub names: &'a Names,
    /// Slots that are bound here; `None` where no call is in sight.
    pub slots: Option<&'a [SlotName]>,
    /// The type of `to`, inside a control.
    pub to: Option<&'a ValueKind>,
}

/// What is wrong with a condition, in bytes of its text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Which kind of problem.
    pub rule: &'static Rule,
    /// First byte.
    pub start: usize,
    /// One past the last.
    pub end: usize,
    /// One sentence.
    pub text: String,
    /// The correction.
    pub hint: Option<String>,
}

/// Parses and checks. `want` is the type that is needed here, if one is.
///
/// # Errors
/// Every fault found; at least one.
pub fn compile(text: &str, env: &Env, want: Option<&ValueKind>) -> Result<Expr, Vec<Fault>> {
    let (ast, info) = parse(text).map_err(|f| vec![f])?;
    let mut check = Check { text, env, info: &info, faults: Vec::new(), names: Vec::new() };
    let typed = check.node(&ast, 0);
    let Some(typed) = typed else { return Err(check.finish()) };
    let kind = typed.kind.clone();
    if let Some(want) = want {
        check.fits(&typed, want);
    }
    if !check.faults.is_empty() {
        return Err(check.finish());
    }
    let mut reads: Vec<SignalId> =
        check.names.iter().filter_map(|(_, n)| if let Name::Signal(id) = n { Some(*id) } else { None }).collect();
    reads.sort_unstable();
    reads.dedup();
    Ok(Expr { text: text.to_string(), root: typed.node, kind, reads, names: check.names })
}

/// What a type is called in a message.
pub fn describe(kind: &ValueKind) -> String {
    match kind {
        ValueKind::Bool => "a truth".into(),
        ValueKind::Number => "a number".into(),
        ValueKind::Word(all) if all.is_empty() => "a word".into(),
        ValueKind::Word(all) => format!("one of the words '{}'", all.join("', '")),
    }
}

fn parse(text: &str) -> Result<(IdedExpr, SourceInfo), Fault> {
    let whole =
        |rule, message: String, hint: Option<String>| Fault { rule, start: 0, end: text.len(), text: message, hint };
    if text.len() > MAX_BYTES {
        let message = format!("This condition has {} bytes; {MAX_BYTES} are allowed.", text.len());
        return Err(whole(rules::CONDITION_TOO_LONG, message, None));
    }
    if text.trim().is_empty() {
        return Err(whole(rules::CONDITION_SYNTAX, "This condition is empty.".into(), None));
    }
    scan(text)?;
    let parser = cel::parser::Parser::new().max_recursion_depth(96).error_recovery_limit(4);
    parser.parse_with_source_info(text).map_err(|errors| {
        let first = errors.errors.first();
        let (line, column) = first.map_or((1, 1), |e| e.pos);
        let line_start = text.split_inclusive('\n').take((line.max(1) - 1) as usize).map(str::len).sum::<usize>();
        let start = byte_of(&text[line_start.min(text.len())..], (column.max(1) - 1) as usize) + line_start;
        let end = text[start..].chars().next().map_or(start, |c| start + c.len_utf8());
        let said = first.map_or("it cannot be read", |e| e.msg.as_str());
        let message = format!("This condition cannot be read: {}.", tidy(said));
        Fault { rule: rules::CONDITION_SYNTAX, start, end, text: message, hint: habit(text) }
    })
}

/// Refuses what must not reach the parser: unclosed quotes, deep nesting, long chains, characters outside of quotes
/// that no condition has.
fn scan(text: &str) -> Result<(), Fault> {
    let fault = |rule, start, end, message: &str| Err(Fault { rule, start, end, text: message.into(), hint: None });
    let (mut open, mut quote, mut escaped, mut questions) = (Vec::new(), None::<(usize, char)>, false, 0);
    let (mut unary, mut operators_seen) = (0usize, 0usize);
    for (i, c) in text.char_indices() {
        if let Some((_, q)) = quote {
            match c {
                _ if escaped => escaped = false,
                '\\' => escaped = true,
                _ if c == q => quote = None,
                _ => {}
            }
            continue;
        }
        unary = if matches!(c, '!' | '-') {
            unary + 1
        } else if c.is_whitespace() {
            unary
        } else {
            0
        };
        operators_seen += usize::from("!-+*/%<>=&|.?:,".contains(c));
        match c {
            '\'' | '"' => quote = Some((i, c)),
            '(' | '[' | '{' => open.push((i, c)),
            ')' | ']' | '}' => {
                let partner = match c {
                    ')' => '(',
                    ']' => '[',
                    _ => '{',
                };
                if open.pop().is_none_or(|(_, o)| o != partner) {
                    return fault(rules::CONDITION_SYNTAX, i, i + 1, "This bracket has no partner.");
                }
            }
            '?' => questions += 1,
            _ if !c.is_ascii() || (c.is_control() && !c.is_whitespace()) => {
                let message = format!("`{}` cannot stand outside of quotes.", c.escape_default());
                return fault(rules::CONDITION_SYNTAX, i, i + c.len_utf8(), &message);
            }
            _ => {}
        }
        if open.len() > MAX_DEPTH || questions > MAX_DEPTH || unary > MAX_DEPTH || operators_seen > 400 {
            return fault(rules::CONDITION_TOO_LONG, i, i + 1, "This condition is nested or chained too deeply.");
        }
    }
    if let Some((i, _)) = quote {
        return fault(rules::CONDITION_SYNTAX, i, text.len(), "This quote is never closed.");
    }
    if let Some((i, _)) = open.last() {
        return fault(rules::CONDITION_SYNTAX, *i, *i + 1, "This bracket is never closed.");
    }
    Ok(())
}

/// The parser's message without the list of everything that it would have liked.
fn tidy(message: &str) -> String {
    let short = message.split(" expecting ").next().unwrap_or(message);
    short.replace("Syntax error: ", "").replace("<EOF>", "the end").trim_end_matches('.').to_string()
}

/// A hint for the usual slips.
fn habit(text: &str) -> Option<String> {
    let words: Vec<&str> = text.split(|c: char| !(c.is_alphanumeric() || c == '_')).collect();
    let has = |w: &str| words.iter().any(|x| x.eq_ignore_ascii_case(w));
    if has("and") {
        Some("write `&&` for and".into())
    } else if has("or") {
        Some("write `||` for or".into())
    } else if has("not") {
        Some("write `!` for not".into())
    } else if text.contains('=') && !["==", "!=", "<=", ">="].iter().any(|o| text.contains(o)) {
        Some("equality is `==`".into())
    } else {
        None
    }
}

/// Byte offset of the `n`th character.
fn byte_of(text: &str, n: usize) -> usize {
    text.char_indices().nth(n).map_or(text.len(), |(i, _)| i)
}

struct Check<'a> {
    text: &'a str,
    env: &'a Env<'a>,
    info: &'a SourceInfo,
    faults: Vec<Fault>,
    names: Vec<(String, Name)>,
}

/// A checked node, its type, its stretch, and the literal words that it may come out as.
struct Typed {
    node: Node,
    kind: ValueKind,
    at: (usize, usize),
    words: Vec<(String, (usize, usize))>,
}

impl Check<'_> {
    fn finish(mut self) -> Vec<Fault> {
        if self.faults.is_empty() {
            self.fault(rules::CONDITION_SYNTAX, (0, self.text.len()), "This condition cannot be read.".into(), None);
        }
        self.faults
    }

    fn fault(&mut self, rule: &'static Rule, at: (usize, usize), text: String, hint: Option<String>) {
        self.faults.push(Fault { rule, start: at.0, end: at.1, text, hint });
    }

    /// The stretch of a node: its own token joined with those of its parts.
    fn at(&self, e: &IdedExpr) -> (usize, usize) {
        // The parser counts bytes, and its end is the last byte that belongs.
        let own = self.info.offset_for(e.id).map(|(a, b)| {
            let start = super::floor(self.text, a as usize);
            let mut end = (b as usize + 1).clamp(start, self.text.len());
            while !self.text.is_char_boundary(end) {
                end += 1;
            }
            (start, end)
        });
        let parts: Vec<&IdedExpr> = match &e.expr {
            Ast::Call(c) => c.target.iter().map(|t| &**t).chain(c.args.iter()).collect(),
            Ast::Select(s) => vec![&s.operand],
            Ast::List(l) => l.elements.iter().collect(),
            _ => Vec::new(),
        };
        let join = |a: (usize, usize), b: (usize, usize)| (a.0.min(b.0), a.1.max(b.1));
        let mut at = parts.into_iter().map(|p| self.at(p)).reduce(join).or(own).unwrap_or((0, self.text.len()));
        if let Some(own) = own {
            at = join(at, own);
        }
        // A member's own token is its root or its dot: the field follows.
        if let Ast::Select(s) = &e.expr
            && let Some(i) = self.text[at.1..].find(&s.field)
        {
            at.1 += i + s.field.len();
        }
        at
    }

    fn node(&mut self, e: &IdedExpr, depth: usize) -> Option<Typed> {
        let at = self.at(e);
        if depth > MAX_DEPTH * 4 {
            self.fault(rules::CONDITION_TOO_LONG, at, "This condition is nested too deeply.".into(), None);
            return None;
        }
        let plain = |node, kind| Some(Typed { node, kind, at, words: Vec::new() });
        match &e.expr {
            Ast::Literal(LiteralValue::Boolean(b)) => {
                plain(Node::Literal(Value::Bool((*b).into_inner())), ValueKind::Bool)
            }
            Ast::Literal(LiteralValue::Int(n)) => {
                plain(Node::Literal(Value::Number(*n.inner() as f64)), ValueKind::Number)
            }
            Ast::Literal(LiteralValue::UInt(n)) => {
                plain(Node::Literal(Value::Number(*n.inner() as f64)), ValueKind::Number)
            }
            Ast::Literal(LiteralValue::Double(n)) if n.inner().is_finite() => {
                plain(Node::Literal(Value::Number(*n.inner())), ValueKind::Number)
            }
            Ast::Literal(LiteralValue::String(s)) => {
                let word = s.inner().to_string();
                let words = vec![(word.clone(), at)];
                let kind = ValueKind::Word(vec![word.clone()]);
                Some(Typed { node: Node::Literal(Value::Word(word)), kind, at, words })
            }
            Ast::Ident(id) => self.name(id, at),
            Ast::Select(s) if !s.test => {
                if let Ast::Ident(root) = &s.operand.expr {
                    self.member(root, &s.field, at)
                } else {
                    self.refuse(at, "more than one dot in a name")
                }
            }
            Ast::Call(c) => self.call(&c.func_name, c.target.as_deref(), &c.args, at, depth + 1),
            Ast::Comprehension(_) => self.refuse(at, "a function over lists"),
            Ast::Select(_) => self.refuse(at, "`has`"),
            Ast::List(_) => self.refuse(at, "a list that does not follow `in`"),
            Ast::Map(_) | Ast::Struct(_) => self.refuse(at, "a map"),
            Ast::Literal(_) => self.refuse(at, "this kind of value"),
            Ast::Unspecified => self.refuse(at, "this"),
        }
    }

    fn refuse(&mut self, at: (usize, usize), what: &str) -> Option<Typed> {
        let text = format!("A condition cannot have {what}.");
        let hint = "use && || ! == != < <= > >= + - * / ?: in [..] abs min max".to_string();
        self.fault(rules::CONDITION_NOT_ALLOWED, at, text, Some(hint));
        None
    }

    fn found(&mut self, text: String, name: Name, kind: ValueKind, at: (usize, usize)) -> Option<Typed> {
        if !self.names.iter().any(|(t, _)| *t == text) {
            self.names.push((text, name.clone()));
        }
        Some(Typed { node: Node::Name(name), kind, at, words: Vec::new() })
    }

    fn name(&mut self, id: &str, at: (usize, usize)) -> Option<Typed> {
        let names = self.env.names;
        match id {
            "phase" => {
                let kind = ValueKind::Word(names.phases.list().to_vec());
                return self.found(id.into(), Name::Phase, kind, at);
            }
            "to" => {
                if let Some(kind) = self.env.to {
                    return self.found(id.into(), Name::To, kind.clone(), at);
                }
                let text = "`to` is known only in a control's `refuse`, `echo` and `report`.".to_string();
                self.fault(rules::UNKNOWN_NAME, at, text, Some("name the signal or `slot.…` that is meant".into()));
                return None;
            }
            _ => {}
        }
        if let Some(i) = names.signals.find(id) {
            let kind = names.signal_kinds.get(i as usize).cloned().unwrap_or(ValueKind::Number);
            return self.found(id.into(), Name::Signal(SignalId(i)), kind, at);
        }
        let hint = if let Some(n) = names.signals.nearest(id) {
            Some(format!("did you mean \"{n}\"?"))
        } else if names.sheet.find(id).is_some() {
            Some(format!("did you mean \"sheet.{id}\"?"))
        } else if self.env.slots.is_some_and(|s| s.iter().any(|(n, _)| n == id)) {
            Some(format!("did you mean \"slot.{id}\"?"))
        } else if ["sheet", "slot", "done", "said", "last"].contains(&id) {
            Some(format!("write what of it, as in \"{id}.name\""))
        } else {
            None
        };
        self.fault(rules::UNKNOWN_SIGNAL, at, format!("There is no signal `{id}`."), hint);
        None
    }

    fn member(&mut self, root: &str, field: &str, at: (usize, usize)) -> Option<Typed> {
        let names = self.env.names;
        let text = format!("{root}.{field}");
        let unknown = |check: &mut Self, rule, what: &str, ids: &[&Ids]| {
            let near = ids.iter().find_map(|i| i.nearest(field));
            let hint = near.map(|n| format!("did you mean \"{root}.{n}\"?"));
            check.fault(rule, at, format!("There is no {what} `{field}`."), hint);
            None
        };
        match root {
            "sheet" => match names.sheet.find(field) {
                Some(i) => {
                    let kind = names.sheet_kinds.get(i as usize).cloned().unwrap_or(ValueKind::Number);
                    self.found(text, Name::Sheet(i), kind, at)
                }
                None => unknown(self, rules::UNKNOWN_SHEET, "flight-sheet entry", &[&names.sheet]),
            },
            "done" if [&names.flows, &names.checklists, &names.briefings].iter().any(|i| i.find(field).is_some()) => {
                self.found(text, Name::Done(field.into()), ValueKind::Bool, at)
            }
            "done" => unknown(self, rules::UNKNOWN_FLOW, "flow or checklist", &[&names.flows, &names.checklists]),
            "said" if names.callouts.find(field).is_some() => {
                self.found(text, Name::Said(field.into()), ValueKind::Bool, at)
            }
            "said" => unknown(self, rules::UNKNOWN_CALLOUT, "callout", &[&names.callouts]),
            "last" => match names.controls.find(field) {
                Some(i) => {
                    let kind = names.control_kinds.get(i as usize).cloned().unwrap_or(ValueKind::Number);
                    self.found(text, Name::Last(field.into()), kind, at)
                }
                None => unknown(self, rules::UNKNOWN_CONTROL, "control", &[&names.controls]),
            },
            "slot" => self.slot(field, text, at),
            _ => {
                let near = nearest(root, ["sheet", "slot", "done", "said", "last"]);
                let hint = near.map(|n| format!("did you mean \"{n}.{field}\"?"));
                self.fault(rules::UNKNOWN_NAME, at, format!("`{root}` has no parts."), hint);
                None
            }
        }
    }

    fn slot(&mut self, field: &str, text: String, at: (usize, usize)) -> Option<Typed> {
        let Some(slots) = self.env.slots else {
            let text = "No call is in sight here, so there is no slot.".to_string();
            let hint = "keep the value in a flight-sheet entry and use `sheet.…`".to_string();
            self.fault(rules::UNKNOWN_SLOT, at, text, Some(hint));
            return None;
        };
        if let Some((_, kind)) = slots.iter().find(|(n, _)| n == field) {
            return self.found(text, Name::Slot(field.into()), kind.clone(), at);
        }
        let all: Vec<&str> = slots.iter().map(|(n, _)| n.as_str()).collect();
        let only = if let [one] = all.as_slice() { Some(*one) } else { None };
        let hint = match (nearest(field, all.iter().copied()).or(only), all.as_slice()) {
            (Some(n), _) => Some(format!("did you mean \"slot.{n}\"?")),
            (None, []) => Some("the call has no slot; give its wording one, as in \"$number:value\"".into()),
            (None, _) => Some(format!("its slots are {}", all.join(", "))),
        };
        self.fault(rules::UNKNOWN_SLOT, at, format!("The call has no slot `{field}`."), hint);
        None
    }

    /// Whether `typed` can be used where `want` is needed; reports if not.
    fn fits(&mut self, typed: &Typed, want: &ValueKind) -> bool {
        match (&typed.kind, want) {
            (ValueKind::Bool, ValueKind::Bool) | (ValueKind::Number, ValueKind::Number) => true,
            (ValueKind::Word(have), ValueKind::Word(all)) => {
                let clean = self.words(&typed.words, all);
                let free: Vec<&String> = have.iter().filter(|w| !typed.words.iter().any(|(l, _)| l == *w)).collect();
                if clean && !all.is_empty() && !free.is_empty() && free.iter().all(|w| !all.contains(w)) {
                    let text = format!("This is {}, but {} is needed.", describe(&typed.kind), describe(want));
                    self.fault(rules::CONDITION_TYPE, typed.at, text, None);
                    return false;
                }
                clean
            }
            (have, want) => {
                let text = format!("This is {}, but {} is needed.", describe(have), describe(want));
                let hint = match (have, want) {
                    (ValueKind::Number, ValueKind::Bool) => Some("compare it, as in `… > 0`".to_string()),
                    (ValueKind::Word(all), ValueKind::Bool) => {
                        all.first().map(|w| format!("compare it, as in `… == '{w}'`"))
                    }
                    (ValueKind::Word(all), ValueKind::Number) if !typed.words.is_empty() => {
                        all.first().filter(|w| w.parse::<f64>().is_ok()).map(|w| format!("write {w} without quotes"))
                    }
                    _ => None,
                };
                self.fault(rules::CONDITION_TYPE, typed.at, text, hint);
                false
            }
        }
    }

    /// Whether every literal word is one of `all`; reports those that are not.
    fn words(&mut self, words: &[(String, (usize, usize))], all: &[String]) -> bool {
        let mut clean = true;
        for (word, at) in words.iter().filter(|(w, _)| !all.is_empty() && !all.contains(w)) {
            let hint = match nearest(word, all.iter().map(String::as_str)) {
                Some(n) => format!("did you mean '{n}'?"),
                None => format!("it can be '{}'", all.join("', '")),
            };
            self.fault(rules::UNKNOWN_WORD, *at, format!("This can never be '{word}'."), Some(hint));
            clean = false;
        }
        clean
    }

    /// Whether two sides can be compared for equality.
    fn comparable(&mut self, a: &Typed, b: &Typed) -> bool {
        // A literal side gives way to the other, which knows what it can be.
        if b.words.is_empty() && !a.words.is_empty() { self.fits(a, &b.kind) } else { self.fits(b, &a.kind) }
    }

    fn call(
        &mut self,
        f: &str,
        target: Option<&IdedExpr>,
        args: &[IdedExpr],
        at: (usize, usize),
        depth: usize,
    ) -> Option<Typed> {
        if let Some(target) = target {
            // For the faults in it.
            self.node(target, depth);
            return self.refuse(at, &format!("`.{f}(…)`"));
        }
        if f == operators::IN {
            return self.contained(args, at, depth);
        }
        let function = match (f, args.len()) {
            ("abs", 1) => Some(Function::Abs),
            ("min", 2) => Some(Function::Min),
            ("max", 2) => Some(Function::Max),
            ("abs", n) | ("min" | "max", n) => {
                let wanted = if f == "abs" { "one value" } else { "two values" };
                self.fault(rules::CONDITION_TYPE, at, format!("`{f}` takes {wanted}, not {n}."), None);
                return None;
            }
            _ => None,
        };
        let op = match f {
            operators::LOGICAL_AND => Some(Op::And),
            operators::LOGICAL_OR => Some(Op::Or),
            operators::EQUALS => Some(Op::Eq),
            operators::NOT_EQUALS => Some(Op::Ne),
            operators::LESS => Some(Op::Lt),
            operators::LESS_EQUALS => Some(Op::Le),
            operators::GREATER => Some(Op::Gt),
            operators::GREATER_EQUALS => Some(Op::Ge),
            operators::ADD => Some(Op::Add),
            operators::SUBSTRACT => Some(Op::Sub),
            operators::MULTIPLY => Some(Op::Mul),
            operators::DIVIDE => Some(Op::Div),
            _ => None,
        };
        let other = matches!(f, operators::LOGICAL_NOT | operators::NEGATE | operators::CONDITIONAL);
        if function.is_none() && op.is_none() && !other {
            let near = nearest(f, ["abs", "min", "max"]);
            let named = f.chars().all(|c| c.is_alphanumeric() || c == '_') && !f.starts_with('_');
            let text = if named {
                format!("There is no function `{f}`.")
            } else {
                "A condition cannot have `%` or an index.".to_string()
            };
            let hint = near.map_or("there are abs, min and max".to_string(), |n| format!("did you mean \"{n}\"?"));
            self.fault(rules::CONDITION_NOT_ALLOWED, at, text, Some(hint));
            return None;
        }
        // All parts are looked at before any is given up, so that one reading tells all faults.
        let parts: Vec<Option<Typed>> = args.iter().map(|a| self.node(a, depth)).collect();
        let mut parts = parts.into_iter().collect::<Option<Vec<Typed>>>()?.into_iter();
        let plain = |node, kind| Some(Typed { node, kind, at, words: Vec::new() });
        if let Some(function) = function {
            let parts: Vec<Typed> = parts.collect();
            let clean = parts.iter().filter(|p| !self.fits(p, &ValueKind::Number)).count() == 0;
            let nodes = parts.into_iter().map(|p| p.node).collect();
            return if clean { plain(Node::Call(function, nodes), ValueKind::Number) } else { None };
        }
        let a = parts.next()?;
        match (f, op) {
            (operators::LOGICAL_NOT, _) => {
                if !self.fits(&a, &ValueKind::Bool) {
                    return None;
                }
                plain(Node::Not(Box::new(a.node)), ValueKind::Bool)
            }
            (operators::NEGATE, _) => {
                if !self.fits(&a, &ValueKind::Number) {
                    return None;
                }
                plain(Node::Negate(Box::new(a.node)), ValueKind::Number)
            }
            (operators::CONDITIONAL, _) => self.choose(a, parts.next()?, parts.next()?, at),
            (_, Some(op)) => {
                let b = parts.next()?;
                let (wanted, kind) = match op {
                    Op::And | Op::Or => (Some(ValueKind::Bool), ValueKind::Bool),
                    Op::Eq | Op::Ne => (None, ValueKind::Bool),
                    Op::Lt | Op::Le | Op::Gt | Op::Ge => (Some(ValueKind::Number), ValueKind::Bool),
                    Op::Add | Op::Sub | Op::Mul | Op::Div => (Some(ValueKind::Number), ValueKind::Number),
                };
                let clean = match wanted {
                    Some(k) => {
                        let left = self.fits(&a, &k);
                        self.fits(&b, &k) && left
                    }
                    None => self.comparable(&a, &b),
                };
                if clean { plain(Node::Binary(op, Box::new(a.node), Box::new(b.node)), kind) } else { None }
            }
            _ => None,
        }
    }

    fn choose(&mut self, c: Typed, a: Typed, b: Typed, at: (usize, usize)) -> Option<Typed> {
        let kind = match (&a.kind, &b.kind) {
            (ValueKind::Word(x), ValueKind::Word(y)) => {
                let mut all = x.clone();
                all.extend(y.iter().filter(|w| !x.contains(w)).cloned());
                ValueKind::Word(if x.is_empty() || y.is_empty() { Vec::new() } else { all })
            }
            _ => a.kind.clone(),
        };
        let clean = self.fits(&c, &ValueKind::Bool);
        let same = match (&a.kind, &b.kind) {
            (ValueKind::Word(_), ValueKind::Word(_)) => true,
            _ => self.fits(&b, &a.kind),
        };
        if !(clean && same) {
            return None;
        }
        let words = a.words.into_iter().chain(b.words).collect();
        let node = Node::Choose(Box::new(c.node), Box::new(a.node), Box::new(b.node));
        Some(Typed { node, kind, at, words })
    }

    fn contained(&mut self, args: &[IdedExpr], at: (usize, usize), depth: usize) -> Option<Typed> {
        let [x, list] = args else { return self.refuse(at, "`in` like this") };
        let x = self.node(x, depth);
        let Ast::List(list) = &list.expr else {
            return self.refuse(at, "`in` without a list in brackets");
        };
        let parts: Vec<Option<Typed>> = list.elements.iter().map(|e| self.node(e, depth)).collect();
        let (x, parts) = (x?, parts.into_iter().collect::<Option<Vec<Typed>>>()?);
        let clean = parts.iter().filter(|p| !self.comparable(&x, p)).count() == 0;
        let nodes = parts.into_iter().map(|p| p.node).collect();
        let node = Node::In(Box::new(x.node), nodes);
        if clean { Some(Typed { node, kind: ValueKind::Bool, at, words: Vec::new() }) } else { None }
    }
}
