//! Typed conditions: CEL text, parsed by the `cel` crate, checked by us, evaluated with *unknown*.
//!
//! Numbers are `f64` (integer literals promoted). A stale or missing value is unknown: it never fires and never
//! verifies. `&&` and `||` follow Kleene's three-valued logic.
//!
//! `==` and `!=` on numbers allow one part in a million ([`Value::same`]); the orderings are exact.

use crate::core::aircraft::{SignalId, Value, ValueKind};
use std::borrow::Cow;

/// What an expression can name.
#[derive(Debug, Clone, PartialEq)]
pub enum Name {
    /// A signal of the book.
    Signal(SignalId),
    /// `sheet.ENTRY`: an entry of the flight sheet, by index into [`super::schema::Book::sheet`].
    Sheet(u16),
    /// `slot.BINDING`: a slot of the call that started this, or of the response being judged.
    Slot(String),
    /// `done.FLOW_OR_CHECKLIST`: completed since the last re-arming.
    Done(String),
    /// `said.CALLOUT`: made since the last re-arming.
    Said(String),
    /// `to`: the wanted value, inside a control's limits.
    To,
    /// `phase`: the phase's id.
    Phase,
    /// `last.CONTROL`: the value this program last set on a control, unknown if it set none.
    Last(String),
}

/// Operators of two operands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Op {
    /// `&&`
    And,
    /// `||`
    Or,
    /// `==`
    Eq,
    /// `!=`
    Ne,
    /// `<`
    Lt,
    /// `<=`
    Le,
    /// `>`
    Gt,
    /// `>=`
    Ge,
    /// `+`
    Add,
    /// `-`
    Sub,
    /// `*`
    Mul,
    /// `/`
    Div,
}

/// A node of a checked expression.
#[derive(Debug, Clone, PartialEq)]
pub enum Node {
    /// A literal.
    Literal(Value),
    /// A named value.
    Name(Name),
    /// `!x`
    Not(Box<Node>),
    /// `-x`
    Negate(Box<Node>),
    /// `a op b`
    Binary(Op, Box<Node>, Box<Node>),
    /// `c ? a : b`
    Choose(Box<Node>, Box<Node>, Box<Node>),
    /// `x in [a, b]`
    In(Box<Node>, Vec<Node>),
    /// `abs(x)`, `min(a, b)`, `max(a, b)`
    Call(Function, Vec<Node>),
}

/// Built-in functions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Function {
    /// Absolute value.
    Abs,
    /// Smaller of two.
    Min,
    /// Larger of two.
    Max,
}

/// A checked expression with the text it came from and the signals it reads.
#[derive(Debug, Clone, PartialEq)]
pub struct Expr {
    /// The text as written, for messages and "why".
    pub text: String,
    /// The checked tree.
    pub root: Node,
    /// Its type.
    pub kind: ValueKind,
    /// Signals it reads, sorted, without repeats.
    pub reads: Vec<SignalId>,
    /// Every name in it with its spelling, in order of appearance, without repeats.
    pub names: Vec<(String, Name)>,
}

/// Where an expression finds its values; `None` is unknown.
pub trait Scope {
    /// The value of a name now.
    fn value(&self, name: &Name) -> Option<Value>;
}

impl Expr {
    /// An expression that is always `value`.
    pub fn literal(value: Value) -> Expr {
        let kind = match &value {
            Value::Bool(_) => ValueKind::Bool,
            Value::Number(_) => ValueKind::Number,
            Value::Word(_) => ValueKind::Word(Vec::new()),
        };
        let text = if let Value::Word(w) = &value { format!("'{w}'") } else { value.to_string() };
        Expr { text, root: Node::Literal(value), kind, reads: Vec::new(), names: Vec::new() }
    }

    /// The value now; `None` is unknown. Division by zero and anything not finite is unknown.
    pub fn eval(&self, scope: &dyn Scope) -> Option<Value> {
        self.root.eval(scope).map(Cow::into_owned)
    }

    /// Its truth for somebody who gives no value of his own: what is held against a slot counts as true.
    pub fn without_slots(&self, scope: &dyn Scope) -> Option<bool> {
        self.root.without_slots(scope)
    }

    /// Whether it is known to be true now.
    pub fn holds(&self, scope: &dyn Scope) -> bool {
        matches!(self.root.eval(scope).as_deref(), Some(Value::Bool(true)))
    }

    /// The text with every name and its value now: `ias_kt >= sheet.v1 (ias_kt = 97, sheet.v1 = unknown)`.
    pub fn explain(&self, scope: &dyn Scope) -> String {
        let values: Vec<String> = self
            .names
            .iter()
            .map(|(text, name)| {
                let value = scope.value(name).map_or("unknown".to_string(), |v| v.to_string());
                format!("{text} = {value}")
            })
            .collect();
        if values.is_empty() { self.text.clone() } else { format!("{} ({})", self.text, values.join(", ")) }
    }

    /// Whether it reads this signal.
    pub fn reads(&self, signal: SignalId) -> bool {
        self.reads.binary_search(&signal).is_ok()
    }
}

fn truth<'a>(b: bool) -> Option<Cow<'a, Value>> {
    Some(Cow::Owned(Value::Bool(b)))
}

fn finite<'a>(n: f64) -> Option<Cow<'a, Value>> {
    n.is_finite().then_some(Cow::Owned(Value::Number(n)))
}

impl Node {
    fn names_slot(&self) -> bool {
        match self {
            Node::Literal(_) => false,
            Node::Name(name) => matches!(name, Name::Slot(_)),
            Node::Not(x) | Node::Negate(x) => x.names_slot(),
            Node::Binary(_, a, b) => a.names_slot() || b.names_slot(),
            Node::Choose(c, a, b) => c.names_slot() || a.names_slot() || b.names_slot(),
            Node::In(x, all) => x.names_slot() || all.iter().any(Node::names_slot),
            Node::Call(_, args) => args.iter().any(Node::names_slot),
        }
    }

    fn without_slots(&self, scope: &dyn Scope) -> Option<bool> {
        match self {
            Node::Binary(op @ (Op::And | Op::Or), a, b) => {
                let deciding = *op == Op::Or;
                match (a.without_slots(scope), b.without_slots(scope)) {
                    (Some(l), Some(r)) => Some(if deciding { l || r } else { l && r }),
                    (l, r) => (l == Some(deciding) || r == Some(deciding)).then_some(deciding),
                }
            }
            _ if self.names_slot() => Some(true),
            _ => self.eval(scope)?.truth(),
        }
    }

    fn eval<'a>(&'a self, scope: &dyn Scope) -> Option<Cow<'a, Value>> {
        match self {
            Node::Literal(v) => Some(Cow::Borrowed(v)),
            Node::Name(name) => scope.value(name).map(Cow::Owned),
            Node::Not(x) => truth(!x.eval(scope)?.truth()?),
            Node::Negate(x) => finite(-x.eval(scope)?.number()?),
            Node::Binary(op, a, b) => binary(*op, a, b, scope),
            Node::Choose(c, a, b) => {
                if c.eval(scope)?.truth()? {
                    a.eval(scope)
                } else {
                    b.eval(scope)
                }
            }
            Node::In(x, all) => {
                let x = x.eval(scope)?;
                let mut unknown = false;
                for y in all {
                    match y.eval(scope) {
                        Some(y) if y.same(&x) => return truth(true),
                        Some(_) => {}
                        None => unknown = true,
                    }
                }
                if unknown { None } else { truth(false) }
            }
            Node::Call(f, args) => {
                let number = |i: usize| args.get(i)?.eval(scope)?.number();
                match f {
                    Function::Abs => finite(number(0)?.abs()),
                    Function::Min => finite(number(0)?.min(number(1)?)),
                    Function::Max => finite(number(0)?.max(number(1)?)),
                }
            }
        }
    }
}

fn binary<'a>(op: Op, a: &'a Node, b: &'a Node, scope: &dyn Scope) -> Option<Cow<'a, Value>> {
    // `&&` and `||` are settled by one side alone if that side decides; only then may the other be unknown.
    if let Op::And | Op::Or = op {
        let deciding = op == Op::Or;
        let left = a.eval(scope).and_then(|v| v.truth());
        if left == Some(deciding) {
            return truth(deciding);
        }
        let right = b.eval(scope).and_then(|v| v.truth());
        return match (left, right) {
            (_, Some(r)) if r == deciding => truth(deciding),
            (Some(_), Some(_)) => truth(!deciding),
            _ => None,
        };
    }
    let (a, b) = (a.eval(scope)?, b.eval(scope)?);
    if let Op::Eq | Op::Ne = op {
        return truth(a.same(&b) == (op == Op::Eq));
    }
    let (a, b) = (a.number()?, b.number()?);
    match op {
        Op::Lt => truth(a < b),
        Op::Le => truth(a <= b),
        Op::Gt => truth(a > b),
        Op::Ge => truth(a >= b),
        Op::Add => finite(a + b),
        Op::Sub => finite(a - b),
        Op::Mul => finite(a * b),
        Op::Div => finite(a / b),
        Op::And | Op::Or | Op::Eq | Op::Ne => None,
    }
}
