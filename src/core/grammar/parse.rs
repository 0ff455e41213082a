//! Parser of SRGS 1.0 ABNF expansion bodies.
//!
//! ```text
//! body     = sequence *( "|" sequence )
//! sequence = 1*( item *repeat )
//! item     = word / "(" body ")" / "[" body "]" / "$" name [ ":" binding ]
//! repeat   = "<" n ">" / "<" m "-" n ">"
//! ```
//! Source: W3C Speech Recognition Grammar Specification 1.0, section 2 (from memory); the binding is ours.

use super::expansion::{Expansion, Shape};
use super::lex::{Lexer, Token};
use super::problem::{Problem, corrected};
use std::ops::Range;

/// Brackets within brackets, at most. Keeps every walk over the tree within the stack.
const MAX_DEPTH: usize = 24;

/// Parses one wording. Always returns an expansion, made of what could be understood, and everything that is wrong in
/// the order of the text; an empty list means that the text is right.
///
/// A word is lower-cased; apostrophes stay, and an inner hyphen stays too (`x-ray` is one word).
pub fn parse(text: &str) -> (Expansion, Vec<Problem>) {
    let lexer = Lexer::run(text);
    let mut parser = Parser { text, tokens: lexer.tokens, at: 0, problems: lexer.problems };
    if parser.tokens.is_empty() {
        if parser.problems.is_empty() {
            let problem = Problem::new("grammar-empty", 0..text.len(), "This wording has no words.");
            parser.problems.push(problem.hint("Write at least one word."));
        }
        return (Expansion { span: 0..text.len(), shape: Shape::Sequence(Vec::new()) }, parser.problems);
    }
    let mut parts = vec![parser.body(0, text.len(), false)];
    // A closing bracket that nothing opened: step over it and go on.
    while let Some((token, span)) = parser.next() {
        if let Token::Close(c) = token {
            let problem = Problem::new("grammar-unopened", span.clone(), format!("Nothing opens this \"{c}\"."));
            parser.problems.push(problem.hint(corrected(text, span.clone(), "")));
        }
        if parser.at < parser.tokens.len() {
            parts.push(parser.body(0, text.len(), true));
        }
    }
    parser.problems.sort_by_key(|p| (p.span.start, p.span.end));
    let whole = if parts.len() == 1 {
        parts.remove(0)
    } else {
        Expansion { span: 0..text.len(), shape: Shape::Sequence(parts) }
    };
    (whole, parser.problems)
}

struct Parser<'a> {
    text: &'a str,
    tokens: Vec<(Token, Range<usize>)>,
    at: usize,
    problems: Vec<Problem>,
}

impl Parser<'_> {
    fn peek(&self) -> Option<&Token> {
        self.tokens.get(self.at).map(|t| &t.0)
    }

    fn next(&mut self) -> Option<(Token, Range<usize>)> {
        let token = self.tokens.get(self.at).cloned();
        self.at += token.is_some() as usize;
        token
    }

    /// Alternatives up to a closing bracket or the end. `recovering`: an empty first alternative is no new problem.
    fn body(&mut self, depth: usize, end: usize, recovering: bool) -> Expansion {
        let mut all = Vec::new();
        let from = self.tokens.get(self.at).map_or(end, |t| t.1.start);
        let mut bar: Option<Range<usize>> = None;
        loop {
            let here = self.tokens.get(self.at).map_or(end..end, |t| t.1.clone());
            let items = self.sequence(depth);
            let next_is_bar = self.peek() == Some(&Token::Bar);
            if items.is_empty() && (next_is_bar || bar.is_some()) && !(recovering && bar.is_none()) {
                let place = bar.clone().unwrap_or(here);
                let message = "There is nothing on one side of this \"|\".";
                let problem = Problem::new("grammar-empty-alternative", place.clone(), message);
                let hint = if next_is_bar && bar.is_some() { corrected(self.text, place, "") } else { String::new() };
                let usual = "Take the \"|\" away, or put the words that may be missing in square brackets: [words].";
                self.problems.push(problem.hint(if hint.is_empty() { usual.to_owned() } else { hint }));
            } else if !items.is_empty() || bar.is_none() {
                let span = match (items.first(), items.last()) {
                    (Some(a), Some(b)) => a.span.start..b.span.end,
                    _ => here.start..here.start,
                };
                all.push(match items.len() {
                    1 => items.into_iter().next().unwrap_or(Expansion { span, shape: Shape::Sequence(Vec::new()) }),
                    _ => Expansion { span, shape: Shape::Sequence(items) },
                });
            }
            if !next_is_bar {
                break;
            }
            bar = self.next().map(|t| t.1);
        }
        all.retain(|e: &Expansion| e.shape != Shape::Sequence(Vec::new()));
        let to = all.last().map_or(from, |e| e.span.end);
        match all.len() {
            0 => Expansion { span: from..from, shape: Shape::Sequence(Vec::new()) },
            1 => all.remove(0),
            _ => Expansion { span: from.min(to)..to, shape: Shape::Choice(all) },
        }
    }

    fn sequence(&mut self, depth: usize) -> Vec<Expansion> {
        let mut items: Vec<Expansion> = Vec::new();
        while let Some(token) = self.peek() {
            if matches!(token, Token::Bar | Token::Close(_)) {
                break;
            }
            let Some((token, span)) = self.next() else { break };
            match token {
                Token::Word(w) => items.push(Expansion { span, shape: Shape::Word(w) }),
                Token::Reference { name, binding } => {
                    items.push(Expansion { span, shape: Shape::Reference { name, binding } })
                }
                Token::Open(c) => items.extend(self.bracket(c, span, depth)),
                Token::Repeat { min, max } => match items.pop() {
                    Some(Expansion { span: inner, shape: shape @ Shape::Repeat { .. } }) => {
                        let message = "A piece can have one repeat only.";
                        let problem = Problem::new("grammar-repeat", span.clone(), message).other(inner.clone());
                        self.problems.push(problem.hint(corrected(self.text, span, "")));
                        items.push(Expansion { span: inner, shape });
                    }
                    Some(what) => {
                        let whole = what.span.start..span.end;
                        items.push(Expansion { span: whole, shape: Shape::Repeat { what: Box::new(what), min, max } });
                    }
                    None => {
                        let message = "A repeat stands behind the piece that it repeats; nothing stands before this.";
                        let problem = Problem::new("grammar-repeat", span.clone(), message);
                        self.problems.push(problem.hint(corrected(self.text, span, "")));
                    }
                },
                Token::Bar | Token::Close(_) => {}
            }
        }
        items
    }

    fn bracket(&mut self, open: char, opened: Range<usize>, depth: usize) -> Option<Expansion> {
        if depth + 1 >= MAX_DEPTH {
            let message = format!("Brackets stand within brackets more than {MAX_DEPTH} deep.");
            let problem = Problem::new("grammar-too-deep", opened, message);
            self.problems.push(problem.hint("Give the inner part a name under [rules] and write $name here."));
            self.skip_bracket();
            return None;
        }
        let close = if open == '(' { ')' } else { ']' };
        let before = self.problems.len();
        let inner = self.body(depth + 1, self.text.len(), false);
        let end = match self.next() {
            Some((Token::Close(c), span)) => {
                if c != close {
                    let message = format!("\"{open}\" is closed by \"{c}\".");
                    let problem = Problem::new("grammar-mismatched", span.clone(), message).other(opened.clone());
                    self.problems.push(problem.hint(corrected(self.text, span.clone(), &close.to_string())));
                }
                span.end
            }
            _ => {
                let end = self.text.trim_end().len().max(opened.end);
                let message = format!("\"{open}\" is never closed.");
                let problem = Problem::new("grammar-unclosed", opened.clone(), message).other(end..end);
                self.problems.push(problem.hint(corrected(self.text, end..end, &close.to_string())));
                end
            }
        };
        let span = opened.start..end;
        if inner.shape == Shape::Sequence(Vec::new()) {
            if self.problems.len() == before {
                let id = if open == '(' { "grammar-empty-group" } else { "grammar-empty-optional" };
                let message = "There is nothing between these brackets.";
                let problem = Problem::new(id, span.clone(), message);
                self.problems.push(problem.hint(corrected(self.text, span, "")));
            }
            return None;
        }
        Some(match open {
            '(' => Expansion { span, shape: inner.shape },
            _ => Expansion { span, shape: Shape::Optional(Box::new(inner)) },
        })
    }

    /// Steps behind the bracket that closes the one just opened.
    fn skip_bracket(&mut self) {
        let mut open = 1;
        while open > 0 {
            match self.next() {
                Some((Token::Open(_), _)) => open += 1,
                Some((Token::Close(_), _)) => open -= 1,
                Some(_) => {}
                None => break,
            }
        }
    }
}
