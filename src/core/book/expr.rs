//! Typed conditions: CEL text, parsed by the `cel` crate, checked by us, evaluated with *unknown*.
//!
//! Numbers are `f64` (integer literals promoted). A stale or missing value is unknown: it never fires and never
//! verifies. `&&` and `||` follow Kleene's three-valued logic.

use crate::core::aircraft::{SignalId, Value, ValueKind};

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
}

/// Where an expression finds its values; `None` is unknown.
pub trait Scope {
    /// The value of a name now.
    fn value(&self, name: &Name) -> Option<Value>;
}
