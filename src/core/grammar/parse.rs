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

/// The longest wording.
const MAX_BYTES: usize = 8_000;

/// Brackets within brackets, at most. Keeps every walk over the tree within the stack.
const MAX_DEPTH: usize = 24;

/// Parses one wording. Always returns an expansion, made of what could be understood, and everything that is wrong in
/// the order of the text; an empty list means that the text is right.
///
/// A word is lower-cased; apostrophes stay, and an inner hyphen stays too (`x-ray` is one word).
pub fn parse(text: &str) -> (Expansion, Vec<Problem>) {
    if text.len() > MAX_BYTES {
        let message = format!("This wording is longer than {MAX_BYTES} bytes.");
        let problem = Problem::new("grammar-too-large", 0..text.len(), message);
        let problem = problem.hint("Part it into several wordings, or give pieces of it a name under [rules].");
        return (Expansion { span: 0..text.len(), shape: Shape::Sequence(Vec::new()) }, vec![problem]);
    }
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
                let place = if next_is_bar { here } else { bar.clone().unwrap_or(here) };
                let message = "There is nothing on one side of this \"|\"; what may be missing stands in [ ].";
                let problem = Problem::new("grammar-empty-alternative", place.clone(), message);
                self.problems.push(problem.hint(corrected(self.text, place, "")));
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
            // Kept apart, so that a repeat behind the bracket is not one behind the inner repeat.
            '(' if matches!(inner.shape, Shape::Repeat { .. }) => {
                Expansion { span, shape: Shape::Sequence(vec![inner]) }
            }
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The expansion printed back, and each problem as `id start..end`.
    fn check(text: &str, printed: &str, problems: &[&str]) {
        let (expansion, found) = parse(text);
        let found: Vec<String> = found.iter().map(|p| format!("{} {:?}", p.id, p.span)).collect();
        assert_eq!(expansion.to_string(), printed, "of {text:?}");
        assert_eq!(found, problems, "of {text:?}");
    }

    #[test]
    fn reads_what_is_right() {
        check("Gear up", "gear up", &[]);
        check("flaps (up | down)", "flaps (up | down)", &[]);
        check("go around | going around", "(go around | going around)", &[]);
        check("[set] flaps $flap:to [please]", "[set] flaps $flap:to [please]", &[]);
        check("well <2> done <0-3>", "(well) <2> (done) <0-3>", &[]);
        check("(a b|c)<2>", "((a b | c)) <2>", &[]);
        check("$turn heading $heading", "$turn heading $heading", &[]);
        check("captain’s x-ray it's o'clock", "captain's x-ray it's o'clock", &[]);
        check("((((a))))", "a", &[]);
        check("(a <2>) <3>", "((a) <2>) <3>", &[]);
        check("기어 올려", "기어 올려", &[]);
    }

    #[test]
    fn says_what_is_wrong_and_goes_on() {
        check("", "", &["grammar-empty 0..0"]);
        check("a | | b", "(a | b)", &["grammar-empty-alternative 4..5"]);
        check("| a", "a", &["grammar-empty-alternative 0..1"]);
        check("a |", "a", &["grammar-empty-alternative 2..3"]);
        check("a [] b", "a b", &["grammar-empty-optional 2..4"]);
        check("a () b", "a b", &["grammar-empty-group 2..4"]);
        check("flaps (up | down", "flaps (up | down)", &["grammar-unclosed 6..7"]);
        check("flaps [up", "flaps [up]", &["grammar-unclosed 6..7"]);
        check("flaps (up]", "flaps up", &["grammar-mismatched 9..10"]);
        check("flaps up) now", "flaps up now", &["grammar-unopened 8..9"]);
        check("a <2-> b", "(a) <2> b", &["grammar-unbounded 2..6"]);
        check("a <3-2>", "(a) <2-3>", &["grammar-repeat 2..7"]);
        check("a <0>", "(a) <0-1>", &["grammar-repeat 2..5"]);
        check("a <1-99>", "(a) <1-32>", &["grammar-repeat 2..8"]);
        check("a <2> <3>", "(a) <2>", &["grammar-repeat 6..9"]);
        check("<2> a", "a", &["grammar-repeat 0..3"]);
        check("a <x>", "a", &["grammar-repeat 2..5"]);
        check("a <2", "a two", &["grammar-unclosed 2..3", "grammar-digits 3..4"]);
        check("/2/ a | /1.5/ b", "(a | b)", &["grammar-weight 0..3", "grammar-weight 8..13"]);
        check("a <0-1 /0.6/>", "(a) <0-1>", &["grammar-weight 2..13"]);
        check("a {tag} b {!{ x } }!} c", "a b c", &["grammar-tag 2..7", "grammar-tag 10..21"]);
        check("$<http://x.y/z> a", "a", &["grammar-external 0..15"]);
        check("$NULL a", "a", &["grammar-special 0..5"]);
        check("$ a $b: c", "a $b c", &["grammar-reference 0..1", "grammar-reference 4..7"]);
        check("flaps, twenty.", "flaps twenty", &["grammar-punctuation 5..6", "grammar-punctuation 13..14"]);
        check("up/down", "up down", &["grammar-punctuation 2..3"]);
        check("say \"gear up\"", "say gear up", &["grammar-quote 4..13"]);
        check("#ABNF 1.0; a", "a", &["grammar-header 0..10"]);
        check("$x = a b;", "$x a b", &["grammar-header 3..4", "grammar-header 8..9"]);
        check("flaps 20", "flaps twenty", &["grammar-digits 6..8"]);
        check("a // b", "a", &["grammar-comment 2..6"]);
    }

    /// Each message and hint once, so that a change of wording is seen.
    #[test]
    fn messages_and_hints() {
        let told = |text: &str| {
            let (_, problems) = parse(text);
            let p = &problems[0];
            format!("{} | {} | {:?}", p.message, p.hint.as_deref().unwrap_or("-"), p.other)
        };
        insta::assert_snapshot!(told("flaps (up | down"), @r#""(" is never closed. | Write: flaps (up | down) | Some(16..16)"#);
        insta::assert_snapshot!(told("flaps (up]"), @r#""(" is closed by "]". | Write: flaps (up) | Some(6..7)"#);
        insta::assert_snapshot!(told("a <2-> b"), @"A repeat without an upper bound could go on for ever. | Write: a <2-5> b | None");
        insta::assert_snapshot!(told("v1"), @"Digits are written as they are spoken. | Write: v one | None");
        insta::assert_snapshot!(told("heading 270"), @"Digits are written as they are spoken. | Write: heading two seven zero | None");
        insta::assert_snapshot!(told("$x = a b;"), @r#"Only the part behind "=" is a wording; the rule's name stands in front of it in the book. | Write: a b | None"#);
        insta::assert_snapshot!(told("up/down"), @r#""/" cannot be spoken; alternatives are parted by "|". | Write: up | down | None"#);
    }

    #[test]
    fn depth_is_bounded() {
        for text in
            ["(".repeat(8_000), "a)".repeat(4_000), "[a ".repeat(2_000), "<2>a <2>".repeat(1_000), "a ".repeat(4_001)]
        {
            let (_, problems) = parse(&text);
            assert!(!problems.is_empty());
        }
    }

    proptest! {
        #[test]
        fn never_panics_and_spans_are_in_the_text(text in "\\PC*") {
            let (_, problems) = parse(&text);
            for p in problems {
                prop_assert!(text.get(p.span.clone()).is_some(), "{p:?}");
                prop_assert!(p.other.is_none_or(|o| text.get(o).is_some()));
            }
        }

        #[test]
        fn never_panics_on_its_own_signs(text in "[a-b0-2 ()\\[\\]|<>$:/{}!\"=;,.'’#é-]{0,60}") {
            let (expansion, problems) = parse(&text);
            for p in &problems {
                prop_assert!(text.get(p.span.clone()).is_some(), "{p:?}");
                prop_assert!(p.other.clone().is_none_or(|o| text.get(o).is_some()));
            }
            // What is right prints to text that reads the same.
            if problems.is_empty() {
                let printed = expansion.to_string();
                let (again, none) = parse(&printed);
                prop_assert_eq!(again.to_string(), printed);
                prop_assert!(none.is_empty());
            }
        }
    }
}
