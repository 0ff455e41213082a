//! The rules. Each is a function of one file, so that a violation can be planted.

use crate::source::{File, Named, Token, goes_on, named};

/// A breach of a rule.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// 0 where the whole file is meant.
    pub line: usize,
    pub says: String,
}

pub type Rule = fn(&File) -> Vec<Finding>;

/// Every rule with its name.
pub const RULES: &[(&str, Rule)] = &[
    ("floors", floors),
    ("rooms", rooms),
    ("world", world),
    ("native", native),
    ("length", length),
    ("unfinished", unfinished),
    ("machine", machine),
    ("names", names),
    ("top", top),
    ("weight", weight),
    ("trade", trade),
];

/// Which rooms of core a room may name, beside itself. To let a room name another, add it here, and see that no circle
/// grows: what a circle of rooms shares belongs into a room below both. (`matcher` and `book` are not a circle: a book
/// holds a grammar, and the matcher is given the calls.)
pub const MAY_NAME: &[(&str, &[&str])] = &[
    ("time", &[]),
    ("physics", &[]),
    ("aircraft", &["time"]),
    ("words", &["aircraft"]),
    ("grammar", &["aircraft", "words"]),
    ("gate", &["time"]),
    ("matcher", &["aircraft", "grammar", "time", "words"]),
    ("search", &["aircraft", "grammar", "matcher", "words"]),
    ("radio", &["aircraft", "grammar", "matcher", "words"]),
    ("book", &["aircraft", "grammar", "matcher", "physics", "radio", "time", "words"]),
    ("link", &["aircraft", "book", "time"]),
    ("sim", &["aircraft", "physics", "time"]),
    ("crew", &["aircraft", "book", "grammar", "matcher", "physics", "radio", "time", "words"]),
    ("script", &["aircraft", "book", "crew", "grammar", "matcher", "time"]),
    ("voice", &["aircraft", "book", "crew", "time", "words"]),
    ("journal", &["aircraft", "book", "crew", "gate", "grammar", "matcher", "time", "voice", "words"]),
    ("page", &["aircraft", "book", "crew", "grammar", "matcher", "time", "words"]),
];

/// Longest file, in lines.
const LINES: usize = 600;
/// Heaviest file, in bytes.
const BYTES: u64 = 2 << 20;

/// What may stand at the top, beside files and folders whose names begin with a dot.
const TOP: &[&str] = &[
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE-APACHE",
    "LICENSE-MIT",
    "Makefile",
    "README.md",
    "docs",
    "models",
    "phrasebooks",
    "src",
    "tests",
];

/// Crates that a single folder may name.
const NATIVE: &[(&str, &str)] = &[
    ("ort", "src/edge/native/"),
    ("cpal", "src/edge/audio/"),
    ("vosk", "src/bin/antiphon-vosk"),
    ("tts", "src/edge/speaker/system.rs"),
];

/// Beginnings of paths that core must not name; a shorter one covers the longer.
const WORLD: &[&str] = &[
    "std::env",
    "std::fs",
    "std::io::Stderr",
    "std::io::Stdin",
    "std::io::Stdout",
    "std::io::stderr",
    "std::io::stdin",
    "std::io::stdout",
    "std::net",
    "std::os",
    "std::process",
    "std::sync::Condvar",
    "std::sync::LazyLock",
    "std::sync::Mutex",
    "std::sync::Once",
    "std::sync::OnceLock",
    "std::sync::RwLock",
    "std::sync::atomic",
    "std::sync::mpsc",
    "std::thread",
    "std::time::Instant",
    "std::time::SystemTime",
    "std::time::UNIX_EPOCH",
    "jiff::Timestamp::now",
    "jiff::Zoned::now",
    "rand::random",
    "rand::rng",
    "log",
    "tokio",
    "tracing",
];

/// Words that core must not hold, by themselves or as the end of a path.
const WORLD_WORDS: &[&str] = &[
    "HashMap",
    "HashSet",
    "Instant",
    "LazyLock",
    "OnceLock",
    "RandomState",
    "SystemTime",
    "getrandom",
    "lazy_static",
    "thread_local",
    "thread_rng",
];

/// Macros that core must not call.
const WORLD_MACROS: &[&str] = &["eprint", "eprintln", "include", "print", "println"];

fn finding(line: usize, says: impl Into<String>) -> Finding {
    Finding { line, says: says.into() }
}

/// Core never names edge or cli; nor does it take names from the top of the crate, under which they would hide.
pub fn floors(file: &File) -> Vec<Finding> {
    if !file.is_core() {
        return Vec::new();
    }
    let tokens = file.tokens();
    let mut out: Vec<Finding> = named(&tokens, &file.module())
        .iter()
        .filter_map(|n| match n.whole.as_ref()?.first().map(String::as_str) {
            Some(floor @ ("edge" | "cli")) => Some(finding(n.line, format!("core names {floor}"))),
            None | Some("*") => Some(finding(n.line, "core imports the whole crate: name the room")),
            _ => None,
        })
        .collect();
    for (i, token) in tokens.iter().enumerate() {
        let up = || file.text.lines().nth(token.line - 1).is_some_and(|l| l.contains(".."));
        if (goes_on(&tokens, i, &["#", "[", "path"]) && up()) || goes_on(&tokens, i, &["extern", "crate"]) {
            out.push(finding(token.line, "core takes in a file or crate by a side door"));
        }
    }
    out
}

/// A room of core names only the rooms that the table allows it. Unit tests may name more.
pub fn rooms(file: &File) -> Vec<Finding> {
    let module = file.module();
    let Some(own) = module.get(1).filter(|_| file.is_core()) else { return Vec::new() };
    let Some((_, allowed)) = MAY_NAME.iter().find(|(room, _)| room == own) else {
        return vec![finding(0, format!("{own} has no row in the table of rooms (tests/tidy/rules.rs)"))];
    };
    let check = |n: &Named| {
        let whole = n.whole.as_ref()?;
        if whole.first()? != "core" {
            return None;
        }
        match whole.get(1).map(String::as_str) {
            None | Some("*") => Some(finding(n.line, "imports the whole floor: name the room")),
            Some(other) if other == own || allowed.contains(&other) => None,
            Some(other) => {
                Some(finding(n.line, format!("{own} names {other}, which its row in the table does not allow")))
            }
        }
    };
    named(&file.tokens_outside_tests(), &module).iter().filter_map(check).collect()
}

/// Core has no clock, file, socket, thread, log, global or unseeded randomness. Unit tests may have.
pub fn world(file: &File) -> Vec<Finding> {
    if !file.is_core() {
        return Vec::new();
    }
    let tokens = file.tokens_outside_tests();
    let mut out = Vec::new();
    for n in named(&tokens, &file.module()) {
        let written = n.written.join("::").replacen("core::", "std::", 1);
        let begins = |ban: &&&str| written == **ban || written.starts_with(&format!("{ban}::"));
        let single = n.written.len() == 1;
        if let Some(ban) = WORLD.iter().find(begins) {
            out.push(finding(n.line, format!("core names {ban}")));
        } else if written == "std::*" || (single && written == "std") {
            out.push(finding(n.line, "core imports all of std: name what is meant"));
        } else if matches!(written.as_str(), "std::sync::*" | "std::time::*" | "std::io::*" | "std::collections::*") {
            out.push(finding(n.line, format!("core imports {written}: name what is meant")));
        }
    }
    for (i, token) in tokens.iter().enumerate() {
        let text = token.text.as_str();
        if WORLD_WORDS.contains(&text) {
            out.push(finding(token.line, format!("core uses {text}")));
        } else if WORLD_MACROS.contains(&text) && goes_on(&tokens, i + 1, &["!"]) {
            out.push(finding(token.line, format!("core calls {text}!")));
        } else if goes_on(&tokens, i, &["static", "mut"]) {
            out.push(finding(token.line, "core has a static mut"));
        }
    }
    out
}

/// Only one folder names each native crate.
pub fn native(file: &File) -> Vec<Finding> {
    if !file.is_rust() {
        return Vec::new();
    }
    let found = named(&file.tokens(), &file.module());
    let breach = |n: &Named| {
        let (name, home) = NATIVE.iter().find(|(name, _)| *name == n.written[0])?;
        (!file.path.starts_with(home)).then(|| finding(n.line, format!("{name} is named outside {home}")))
    };
    found.iter().filter_map(breach).collect()
}

/// No long files.
pub fn length(file: &File) -> Vec<Finding> {
    let lines = file.text.lines().count();
    let ours = file.path.starts_with("src/") || file.path.starts_with("tests/");
    if ours && file.is_rust() && lines > LINES {
        vec![finding(0, format!("{lines} lines, more than {LINES}: split it by noun"))]
    } else {
        Vec::new()
    }
}

/// Nothing that is left for later, and nothing that hides it.
pub fn unfinished(file: &File) -> Vec<Finding> {
    if !file.is_rust() {
        return Vec::new();
    }
    let tokens = file.tokens();
    let mut out = Vec::new();
    for (i, token) in tokens.iter().enumerate() {
        let text = token.text.as_str();
        if matches!(text, "todo" | "unimplemented" | "dbg") && goes_on(&tokens, i + 1, &["!"]) {
            out.push(finding(token.line, format!("{text}! is left in")));
        } else if text == "ignore" && in_attribute(&tokens, i) {
            out.push(finding(token.line, "a test is ignored"));
        } else if (text == "dead_code" || text.starts_with("unused")) && in_attribute(&tokens, i) && allowed(&tokens, i)
        {
            out.push(finding(token.line, format!("{text} is allowed: delete what is not used")));
        }
    }
    out
}

/// Whether the word at `i` stands inside `#[…]` or `#![…]`.
fn in_attribute(tokens: &[Token], i: usize) -> bool {
    let mut depth = 0;
    for k in (0..i).rev() {
        match tokens[k].text.as_str() {
            "]" => depth += 1,
            "[" if depth > 0 => depth -= 1,
            "[" => return k > 0 && matches!(tokens[k - 1].text.as_str(), "#" | "!"),
            ";" | "{" | "}" => return false,
            _ => {}
        }
    }
    false
}

/// Whether the nearest opening parenthesis before `i` is that of `allow` or `expect`.
fn allowed(tokens: &[Token], i: usize) -> bool {
    let open = (0..i).rev().find(|&k| tokens[k].text == "(");
    open.is_some_and(|k| k > 0 && matches!(tokens[k - 1].text.as_str(), "allow" | "expect"))
}

/// No path of one machine and no registry's host name. The needles are in pieces so that this file passes.
pub fn machine(file: &File) -> Vec<Finding> {
    let paths = [["/wo", "rk/"], ["/ro", "ot/"], ["/ho", "me/"], ["/t", "mp/"], ["/Us", "ers/"]];
    let hosts = [
        ["py", "pi.org"],
        ["pythonho", "sted.org"],
        ["crat", "es.io"],
        ["deb.deb", "ian.org"],
        ["security.deb", "ian.org"],
        ["npm", "js.org"],
        ["proxy.gol", "ang.org"],
        ["hugging", "face.co"],
    ];
    // Cargo writes its registry's name into the lock file; licences are the words of others.
    if file.text.contains('\0') || file.path.ends_with("Cargo.lock") || file.path.starts_with("LICENSE") {
        return Vec::new();
    }
    let mut out = Vec::new();
    for (n, line) in file.text.lines().enumerate() {
        for needle in paths.iter().map(|p| p.concat()) {
            // Part of a longer path, `docs/…`, is not a machine's path.
            let part = |at: usize| line[..at].ends_with(|c: char| c.is_alphanumeric() || "._-/$}".contains(c));
            if line.match_indices(&needle).any(|(at, _)| !part(at)) {
                out.push(finding(n + 1, format!("names a folder of one machine ({needle})")));
            }
        }
        for needle in hosts.iter().map(|p| p.concat()) {
            if line.contains(&needle) {
                out.push(finding(n + 1, format!("names a registry's host ({needle})")));
            }
        }
    }
    out
}

/// No file or folder of src is named after what it is not.
pub fn names(file: &File) -> Vec<Finding> {
    let bad = |part: &str| {
        matches!(
            part.trim_end_matches(".rs"),
            "common" | "helper" | "helpers" | "misc" | "util" | "utils" | "utilities"
        )
    };
    if file.path.starts_with("src/") && file.path.split('/').any(bad) {
        vec![finding(0, "name it after what is in it")]
    } else {
        Vec::new()
    }
}

/// Nothing at the top that was not agreed.
pub fn top(file: &File) -> Vec<Finding> {
    let first = file.path.split('/').next().unwrap_or_default();
    if first.starts_with('.') || TOP.contains(&first) {
        Vec::new()
    } else {
        vec![finding(0, format!("{first} is no agreed entry at the top (tests/tidy/rules.rs)"))]
    }
}

/// No heavy file.
pub fn weight(file: &File) -> Vec<Finding> {
    if file.bytes > BYTES { vec![finding(0, format!("{} bytes, more than {BYTES}", file.bytes))] } else { Vec::new() }
}

/// Rooms that run what a book says, and so must know nothing of the trade themselves.
const RUN_BOOKS: &[&str] =
    &["src/core/crew/", "src/core/gate/", "src/core/matcher/", "src/core/search/", "src/core/voice/", "src/edge/app/"];
/// Words of the trade that only books may hold.
const TRADE: &[&str] = &[
    "airspeed",
    "altimeter",
    "approach",
    "brake",
    "climb",
    "engine failure",
    "flap",
    "flaps",
    "gear",
    "glide",
    "knots",
    "landing",
    "localiser",
    "minimums",
    "positive",
    "reverse",
    "rotate",
    "runway",
    "spoilers",
    "takeoff",
    "taxi",
    "thrust",
    "trim",
    "v one",
];
/// Ends of the names of quantities whose marks only books may hold.
const QUANTITIES: &[&str] =
    &["_kt", "_ft", "_fpm", "_kg", "_hpa", "_pct", "_nm", "_deg", "_KT", "_FT", "_FPM", "_KG", "_HPA"];

/// No trade phrase and no threshold in the rooms that run books: those are data.
pub fn trade(file: &File) -> Vec<Finding> {
    let here = RUN_BOOKS.iter().any(|r| file.path.starts_with(r));
    if !here || !file.is_rust() || file.path.contains("/tests") {
        return Vec::new();
    }
    let mut out = Vec::new();
    for (n, line) in file.text.lines().enumerate() {
        if line.trim() == "#[cfg(test)]" {
            break;
        }
        let code = line.split("//").next().unwrap_or_default();
        // Every second piece between quotes stands inside of them.
        for text in code.split('"').skip(1).step_by(2) {
            let words: Vec<String> =
                text.split(|c: char| !c.is_alphabetic()).filter(|w| !w.is_empty()).map(str::to_lowercase).collect();
            let said = format!(" {} ", words.join(" "));
            if let Some(word) = TRADE.iter().find(|w| said.contains(&format!(" {w} "))) {
                out.push(finding(n + 1, format!("\"{word}\" is a phrase of the trade: it belongs into a book")));
            }
        }
    }
    let tokens = file.tokens_outside_tests();
    for (i, token) in tokens.iter().enumerate() {
        if !QUANTITIES.iter().any(|q| token.text.ends_with(q)) {
            continue;
        }
        let next: Vec<&str> = tokens[i + 1..].iter().take(5).map(|t| t.text.as_str()).collect();
        let number = |t: &&str| t.starts_with(|c: char| c.is_ascii_digit());
        let compared = matches!(next.first(), Some(&("<" | ">" | "=" | "!"))) && next.iter().take(3).any(number);
        let constant = next.first() == Some(&":") && next.iter().take(5).any(number);
        if compared || constant {
            out.push(finding(
                token.line,
                format!("a mark of {} stands in the program: it belongs into a book", token.text),
            ));
        }
    }
    out
}
