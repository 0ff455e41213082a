//! A file as the rules see it: its code without comments and strings, as tokens, and the paths that it names.

/// One file of the tree.
pub struct File {
    /// From the top of the tree, with `/`.
    pub path: String,
    /// Its text; what is not UTF-8 is replaced.
    pub text: String,
    /// Its length.
    pub bytes: u64,
}

impl File {
    pub fn new(path: &str, text: &str) -> File {
        File { path: path.into(), text: text.into(), bytes: text.len() as u64 }
    }
    pub fn is_rust(&self) -> bool {
        self.path.ends_with(".rs")
    }
    pub fn is_core(&self) -> bool {
        self.path.starts_with("src/core/") && self.is_rust()
    }
    /// Whether the whole file is test code: by its name, since the attribute stands in its parent.
    pub fn is_test(&self) -> bool {
        let stem = self.path.rsplit('/').next().unwrap_or_default();
        self.path.starts_with("tests/")
            || stem == "tests.rs"
            || stem.ends_with("_tests.rs")
            || self.path.contains("/tests/")
    }
    /// Tokens of all the code.
    pub fn tokens(&self) -> Vec<Token> {
        tokens(&code_only(&self.text))
    }
    /// Tokens of the code that is not under `#[cfg(test)]`; none in a test file.
    pub fn tokens_outside_tests(&self) -> Vec<Token> {
        if self.is_test() { Vec::new() } else { without_tests(self.tokens()) }
    }
    /// The module that this file is: `src/core/book/mod.rs` is `["core", "book"]`.
    pub fn module(&self) -> Vec<String> {
        let inner = self.path.trim_start_matches("src/").trim_end_matches(".rs");
        inner.split('/').filter(|s| !matches!(*s, "mod" | "lib" | "main")).map(String::from).collect()
    }
}

/// A word or one mark; `::` is one token. Lines count from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    pub text: String,
    pub line: usize,
}

impl Token {
    pub fn is_word(&self) -> bool {
        self.text.starts_with(|c: char| c == '_' || c.is_alphanumeric())
    }
}

/// Whether `tokens` go on with these texts at `at`.
pub fn goes_on(tokens: &[Token], at: usize, with: &[&str]) -> bool {
    with.iter().enumerate().all(|(i, w)| tokens.get(at + i).is_some_and(|t| t.text == *w))
}

/// The text with comments, strings and characters blanked; lines stay where they are.
pub fn code_only(text: &str) -> String {
    let c: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let at = |i: usize| c.get(i).copied().unwrap_or('\0');
    let mut i = 0;
    while i < c.len() {
        let end = match c[i] {
            '/' if at(i + 1) == '/' => (i..c.len()).find(|&k| c[k] == '\n').unwrap_or(c.len()),
            '/' if at(i + 1) == '*' => block_comment_end(&c, i),
            '"' => string_end(&c, i + 1),
            'r' if i == 0 || !is_word(c[i - 1]) || (matches!(c[i - 1], 'b' | 'c') && (i < 2 || !is_word(c[i - 2]))) => {
                let hashes = (i + 1..c.len()).take_while(|&k| c[k] == '#').count();
                if at(i + 1 + hashes) == '"' { raw_string_end(&c, i + 2 + hashes, hashes) } else { i }
            }
            '\'' if at(i + 1) == '\\' => (i + 3..c.len()).find(|&k| c[k] == '\'').map_or(c.len(), |k| k + 1),
            '\'' if at(i + 2) == '\'' => i + 3,
            _ => i,
        };
        if end == i {
            out.push(c[i]);
            i += 1;
        } else {
            out.extend(c[i..end].iter().map(|&x| if x == '\n' { '\n' } else { ' ' }));
            i = end;
        }
    }
    out
}

fn is_word(c: char) -> bool {
    c == '_' || c.is_alphanumeric()
}

fn block_comment_end(c: &[char], start: usize) -> usize {
    let (mut depth, mut i) = (0, start);
    while i < c.len() {
        match (c[i], c.get(i + 1)) {
            ('/', Some('*')) => (depth, i) = (depth + 1, i + 2),
            ('*', Some('/')) => (depth, i) = (depth - 1, i + 2),
            _ => i += 1,
        }
        if depth == 0 {
            return i;
        }
    }
    c.len()
}

fn string_end(c: &[char], mut i: usize) -> usize {
    while i < c.len() && c[i] != '"' {
        i += if c[i] == '\\' { 2 } else { 1 };
    }
    (i + 1).min(c.len())
}

fn raw_string_end(c: &[char], start: usize, hashes: usize) -> usize {
    (start..c.len())
        .find(|&i| c[i] == '"' && c[i + 1..].iter().take_while(|&&x| x == '#').count() >= hashes)
        .map_or(c.len(), |i| i + 1 + hashes)
}

fn tokens(code: &str) -> Vec<Token> {
    let mut out = Vec::new();
    for (n, line) in code.lines().enumerate() {
        let c: Vec<char> = line.chars().collect();
        let mut i = 0;
        while i < c.len() {
            let start = i;
            if is_word(c[i]) {
                i += c[i..].iter().take_while(|&&x| is_word(x)).count();
            } else {
                i += if c[i] == ':' && c.get(i + 1) == Some(&':') { 2 } else { 1 };
                if c[start].is_whitespace() {
                    continue;
                }
            }
            out.push(Token { text: c[start..i].iter().collect(), line: n + 1 });
        }
    }
    out
}

/// Takes out every item under `#[cfg(test)]`, up to its closing brace or semicolon.
fn without_tests(tokens: Vec<Token>) -> Vec<Token> {
    let mut out = Vec::new();
    let mut i = 0;
    while i < tokens.len() {
        if !goes_on(&tokens, i, &["#", "[", "cfg", "(", "test", ")", "]"]) {
            out.push(tokens[i].clone());
            i += 1;
            continue;
        }
        let mut depth = 0;
        i += 7;
        while i < tokens.len() {
            let text = tokens[i].text.as_str();
            i += 1;
            match text {
                "{" | "(" | "[" => depth += 1,
                "}" | ")" | "]" => depth -= 1,
                _ => {}
            }
            // An attribute between, `#[test]` say, closes a bracket but ends no item.
            if depth == 0 && matches!(text, "}" | ";") {
                break;
            }
        }
    }
    out
}

/// A path as written, and where it leads when it begins at the crate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    pub line: usize,
    /// As written, without `self`, `super` and `crate` resolved; a glob ends in `*`.
    pub written: Vec<String>,
    /// From the top of the crate; `None` if it begins elsewhere (another crate, a name in scope).
    pub whole: Option<Vec<String>>,
}

/// Every path of two and more parts, and every `use`.
pub fn named(tokens: &[Token], module: &[String]) -> Vec<Named> {
    let mut out = Vec::new();
    let mut inside: Vec<String> = module.to_vec();
    // For each open brace: whether it opened a module.
    let mut braces: Vec<bool> = Vec::new();
    let mut i = 0;
    while i < tokens.len() {
        let text = tokens[i].text.as_str();
        match text {
            "{" => {
                let opens = i >= 2 && tokens[i - 2].text == "mod";
                if opens {
                    inside.push(tokens[i - 1].text.clone());
                }
                braces.push(opens);
            }
            "}" if braces.pop() == Some(true) => {
                inside.pop();
            }
            // `impl Trait + use<'a>` is a bound and imports nothing.
            "use" if !goes_on(tokens, i + 1, &["<"]) => {
                let mut found = Vec::new();
                i = use_tree(tokens, i + 1, &[], &mut found);
                out.extend(found.into_iter().map(|(line, written)| whole(line, written, &inside)));
                continue;
            }
            _ if tokens[i].is_word() && goes_on(tokens, i + 1, &["::"]) => {
                let line = tokens[i].line;
                let mut written = vec![text.to_string()];
                while goes_on(tokens, i + 1, &["::"]) && tokens.get(i + 2).is_some_and(Token::is_word) {
                    written.push(tokens[i + 2].text.clone());
                    i += 2;
                }
                out.push(whole(line, written, &inside));
            }
            _ => {}
        }
        i += 1;
    }
    out
}

/// Reads one branch of a `use` tree that begins at `i`; gives the index after it. A new name after `as` is passed over.
fn use_tree(tokens: &[Token], mut i: usize, before: &[String], found: &mut Vec<(usize, Vec<String>)>) -> usize {
    let mut path = before.to_vec();
    while let Some(token) = tokens.get(i) {
        i += 1;
        match token.text.as_str() {
            "::" | "$" => {}
            "{" => {
                while tokens.get(i).is_some_and(|t| t.text != "}") {
                    i = if goes_on(tokens, i, &[","]) { i + 1 } else { use_tree(tokens, i, &path, found) };
                }
                return i + 1;
            }
            text if text == "*" || token.is_word() => {
                // `book::{self, …}` names the book itself.
                if text != "self" || path.is_empty() {
                    path.push(text.to_string());
                }
                if !goes_on(tokens, i, &["::"]) {
                    found.push((token.line, path));
                    return if goes_on(tokens, i, &["as"]) { i + 2 } else { i };
                }
            }
            _ => return i,
        }
    }
    i
}

fn whole(line: usize, written: Vec<String>, module: &[String]) -> Named {
    let supers = written.iter().take_while(|s| *s == "super" || *s == "self").count();
    let up = written.iter().take(supers).filter(|s| *s == "super").count();
    let whole = match written[0].as_str() {
        "crate" | "antiphon" => Some(written[1..].to_vec()),
        "self" | "super" => {
            let base = &module[..module.len().saturating_sub(up)];
            Some([base, &written[supers..]].concat())
        }
        _ => None,
    };
    Named { line, written, whole }
}
