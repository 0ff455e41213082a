//! Grammar text into tokens. What does not belong in an expansion body becomes a problem here and is stepped over.

use super::problem::{Problem, corrected};
use crate::core::words;
use std::ops::Range;

/// The most often a piece may be repeated.
pub(super) const MAX_REPEAT: u32 = 32;

#[derive(Debug, Clone, PartialEq)]
pub(super) enum Token {
    Word(String),
    Reference { name: String, binding: Option<String> },
    Open(char),
    Close(char),
    Bar,
    Repeat { min: u32, max: u32 },
}

pub(super) struct Lexer<'a> {
    text: &'a str,
    at: usize,
    pub tokens: Vec<(Token, Range<usize>)>,
    pub problems: Vec<Problem>,
}

fn is_letter(c: char) -> bool {
    c.is_alphabetic() || ('\u{300}'..='\u{36f}').contains(&c)
}

fn is_apostrophe(c: char) -> bool {
    matches!(c, '\'' | '’')
}

impl<'a> Lexer<'a> {
    pub fn run(text: &'a str) -> Self {
        let mut lexer = Lexer { text, at: 0, tokens: Vec::new(), problems: Vec::new() };
        while let Some(c) = lexer.peek() {
            lexer.step(c);
        }
        lexer
    }

    fn peek(&self) -> Option<char> {
        self.text[self.at..].chars().next()
    }

    fn take_while(&mut self, accept: impl Fn(char) -> bool) -> &'a str {
        let rest = &self.text[self.at..];
        let end = rest.find(|c| !accept(c)).unwrap_or(rest.len());
        self.at += end;
        &rest[..end]
    }

    /// Moves behind the next `until`, or to the end of the text; tells whether it was there.
    fn skip_past(&mut self, until: &str) -> bool {
        match self.text[self.at..].find(until) {
            Some(i) => {
                self.at += i + until.len();
                true
            }
            None => {
                self.at = self.text.len();
                false
            }
        }
    }

    fn push(&mut self, token: Token, from: usize) {
        self.tokens.push((token, from..self.at));
    }

    fn step(&mut self, c: char) {
        let from = self.at;
        match c {
            c if c.is_whitespace() => self.at += c.len_utf8(),
            '(' | '[' => {
                self.at += 1;
                self.push(Token::Open(c), from);
            }
            ')' | ']' => {
                self.at += 1;
                self.push(Token::Close(c), from);
            }
            '|' => {
                self.at += 1;
                self.push(Token::Bar, from);
            }
            '<' => self.repeat(),
            '$' => self.reference(),
            '{' => {
                let end = if self.text[from..].starts_with("{!{") { "}!}" } else { "}" };
                self.skip_past(end);
                self.refuse("grammar-tag", from, "Tags in braces are not part of a wording here.", "");
            }
            '/' => self.slash(),
            '#' if self.tokens.is_empty() => {
                self.skip_past(";");
                self.refuse("grammar-header", from, "A wording has no grammar header.", "");
            }
            ';' | '=' => self.rule_definition(),
            '"' => self.quote(),
            c if is_letter(c) || c.is_numeric() => self.word(),
            _ => {
                self.take_while(|c| {
                    !c.is_whitespace() && !is_letter(c) && !c.is_numeric() && !"()[]|<${/;=\"".contains(c)
                });
                let what = self.text[from..self.at].to_owned();
                self.refuse("grammar-punctuation", from, format!("\"{what}\" cannot be spoken."), "");
            }
        }
    }

    fn refuse(&mut self, id: &'static str, from: usize, message: impl Into<String>, instead: &str) {
        let hint = corrected(self.text, from..self.at, instead);
        self.problems.push(Problem::new(id, from..self.at, message).hint(hint));
    }

    fn slash(&mut self) {
        let from = self.at;
        let rest = &self.text[from..];
        self.at += 1;
        if rest.starts_with("//") {
            self.take_while(|c| c != '\n');
            self.refuse("grammar-comment", from, "A comment belongs outside the quotes of a wording.", "");
        } else if rest.starts_with("/*") {
            self.skip_past("*/");
            self.refuse("grammar-comment", from, "A comment belongs outside the quotes of a wording.", "");
        } else if let Some(end) = rest[1..].find('/').filter(|i| rest[1..=*i].trim().parse::<f64>().is_ok()) {
            self.at = from + end + 2;
            self.refuse("grammar-weight", from, "Weights are not used: every wording counts the same.", "");
        } else {
            self.refuse(
                "grammar-punctuation",
                from,
                "\"/\" cannot be spoken; alternatives are parted by \"|\".",
                " | ",
            );
        }
    }

    /// `$name = body;`, wholly or in part: only the body is wanted.
    fn rule_definition(&mut self) {
        let from = self.at;
        let sign = &self.text[from..=from];
        self.at += 1;
        let body = self.text[from + 1..].trim().trim_end_matches(';');
        let body = if sign == "=" && self.text[..from].trim_start().starts_with('$') { body } else { "" };
        if body.is_empty() {
            self.refuse("grammar-header", from, format!("\"{sign}\" does not belong in a wording."), "");
        } else {
            let message = "Only the part behind \"=\" is a wording; the rule's name stands in front of it in the book.";
            let hint = corrected(self.text, 0..self.text.len(), body);
            self.problems.push(Problem::new("grammar-header", from..self.at, message).hint(hint));
        }
    }

    fn quote(&mut self) {
        let from = self.at;
        let inner = self.text[from + 1..].split('"').next().unwrap_or("").to_owned();
        self.at += 1;
        let end = (from + 2 + inner.len()).min(self.text.len());
        let hint = corrected(self.text, from..end, &inner);
        let message = "Words stand in a wording without quotes.";
        self.problems.push(Problem::new("grammar-quote", from..end, message).hint(hint));
        // The words inside are read as usual; the closing quote is stepped over when it comes.
        if end > from + 1 + inner.len() {
            let mut inside = Lexer::run(&inner);
            for p in &mut inside.problems {
                p.span = p.span.start + from + 1..p.span.end + from + 1;
                p.other = p.other.take().map(|o| o.start + from + 1..o.end + from + 1);
            }
            self.problems.append(&mut inside.problems);
            self.tokens.extend(inside.tokens.into_iter().map(|(t, s)| (t, s.start + from + 1..s.end + from + 1)));
            self.at = end;
        }
    }

    fn word(&mut self) {
        let from = self.at;
        loop {
            self.take_while(|c| is_letter(c) || c.is_numeric());
            // Apostrophe and hyphen belong to a word when a letter follows; an apostrophe may also end it.
            let mut next = self.text[self.at..].chars();
            match (next.next(), next.next()) {
                (Some(c), Some(d)) if (is_apostrophe(c) || c == '-') && is_letter(d) => self.at += c.len_utf8(),
                (Some(c), _) if is_apostrophe(c) => {
                    self.at += c.len_utf8();
                    break;
                }
                _ => break,
            }
        }
        let word = self.text[from..self.at].to_lowercase().replace('’', "'");
        if word.contains(char::is_numeric) {
            // `118.5` and `1,000` are one number, not two.
            while self.text[self.at..].starts_with(['.', ',']) {
                let digits = self.text[self.at + 1..].find(|c: char| !c.is_ascii_digit());
                match digits.unwrap_or(self.text.len() - self.at - 1) {
                    0 => break,
                    n => self.at += 1 + n,
                }
            }
            let spoken = words::spell(&self.text[from..self.at]);
            let message = "Digits are written as they are spoken.";
            self.refuse("grammar-digits", from, message, &spoken);
            for w in spoken.split_whitespace() {
                self.push(Token::Word(w.to_owned()), from);
            }
        } else {
            self.push(Token::Word(word), from);
        }
    }

    fn name(&mut self) -> String {
        self.take_while(|c| c.is_ascii_alphanumeric() || c == '_').to_owned()
    }

    fn reference(&mut self) {
        let from = self.at;
        self.at += 1;
        match self.peek() {
            Some('<') | Some('(') => {
                let end = if self.peek() == Some('<') { ">" } else { ")" };
                self.skip_past(end);
                let message = "A rule of another file cannot be named; put the rule under [rules] of the book.";
                self.refuse("grammar-external", from, message, "");
                return;
            }
            _ => {}
        }
        let name = self.name();
        if name.is_empty() {
            let message = "\"$\" must be followed at once by the name of a rule or slot.";
            return self.refuse("grammar-reference", from, message, "");
        }
        if ["NULL", "VOID", "GARBAGE"].contains(&name.as_str()) {
            let message = format!("The special rule ${name} is not used here.");
            return self.refuse("grammar-special", from, message, "");
        }
        let mut binding = None;
        if self.peek() == Some(':') {
            self.at += 1;
            let given = self.name();
            if given.is_empty() {
                let message = format!("\":\" must be followed at once by a name for the slot ${name}.");
                self.refuse("grammar-reference", from, message, &format!("${name}:value"));
            } else {
                binding = Some(given);
            }
        }
        self.push(Token::Reference { name, binding }, from);
    }

    fn repeat(&mut self) {
        let from = self.at;
        if !self.skip_past(">") {
            // Step over the sign only, so that the rest is still read.
            self.at = from + 1;
            let end = self.text.len();
            let message = "The repeat that begins with \"<\" is never closed by \">\".";
            let problem = Problem::new("grammar-unclosed", from..self.at, message).other(end..end);
            return self.problems.push(problem.hint("Write how often: <2> or <0-2>."));
        }
        let inside = self.text[from + 1..self.at - 1].trim();
        let (range, weight) = match inside.split_once('/') {
            Some((range, _)) => (range.trim(), true),
            None => (inside, false),
        };
        if weight {
            let message = "Weights are not used: every wording counts the same.";
            self.refuse("grammar-weight", from, message, &format!("<{range}>"));
        }
        let number = |s: &str| s.trim().parse::<u32>().ok();
        let (min, max) = match range.split_once('-') {
            None => (number(range), number(range)),
            Some((m, n)) if n.trim().is_empty() && number(m).is_some() => {
                let m = number(m).unwrap_or(0).min(MAX_REPEAT - 1);
                let message = "A repeat without an upper bound could go on for ever.";
                self.refuse("grammar-unbounded", from, message, &format!("<{m}-{}>", (m + 3).min(MAX_REPEAT)));
                (Some(m), Some(m))
            }
            Some((m, n)) => (number(m), number(n)),
        };
        match (min, max) {
            (Some(m), Some(n)) if m > n => {
                let message = format!("The repeat <{m}-{n}> runs backwards.");
                self.refuse("grammar-repeat", from, message, &format!("<{n}-{m}>"));
                self.push(Token::Repeat { min: n.min(MAX_REPEAT), max: m.min(MAX_REPEAT) }, from);
            }
            (Some(_), Some(0)) => {
                self.refuse("grammar-repeat", from, "A repeat of no times says nothing.", "<0-1>");
                self.push(Token::Repeat { min: 0, max: 1 }, from);
            }
            (Some(m), Some(n)) if n > MAX_REPEAT => {
                let message = format!("A piece can be repeated {MAX_REPEAT} times at most.");
                self.refuse("grammar-repeat", from, message, &format!("<{}-{MAX_REPEAT}>", m.min(MAX_REPEAT)));
                self.push(Token::Repeat { min: m.min(MAX_REPEAT), max: MAX_REPEAT }, from);
            }
            (Some(min), Some(max)) => self.push(Token::Repeat { min, max }, from),
            _ => {
                let message = format!("\"<{inside}>\" is not a number of times.");
                self.refuse("grammar-repeat", from, message, "<1-2>");
            }
        }
    }
}
