//! `--link`: which aircraft.

use super::Failure;
use crate::core::aircraft::ValueKind;
use crate::core::book::{Book, SourceFile};
use crate::core::link::property::{self as mapping, LinkFile};
use crate::core::time::SessionTime;
use crate::edge::link::{Live, Tell, property, record, tcp};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// What `--link` names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Choice {
    /// The aircraft that is built in.
    BuiltIn,
    /// A simulator that speaks the link protocol, HOST:PORT.
    Tcp(String),
    /// A simulator with a property tree, mapped by a link file.
    Property(PathBuf),
    /// A recorded session of states.
    Record(PathBuf),
}

impl Choice {
    /// For people.
    pub fn told(&self) -> String {
        match self {
            Choice::BuiltIn => "built-in".into(),
            Choice::Tcp(at) => format!("simulator at {at}"),
            Choice::Property(file) => format!("simulator by {}", file.display()),
            Choice::Record(file) => format!("recorded in {}", file.display()),
        }
    }
}

/// Reads `--link`.
///
/// # Errors
/// One sentence with what can be written.
pub fn parse(text: &str) -> Result<Choice, String> {
    let wrong = || {
        format!(
            "\u{201c}{text}\u{201d} is no link; write built-in, tcp:HOST:PORT (as in tcp:127.0.0.1:7310), property:FILE or record:FILE"
        )
    };
    match text.split_once(':') {
        None if text == "built-in" => Ok(Choice::BuiltIn),
        Some(("tcp", address)) => {
            let port = address.rsplit_once(':').filter(|(host, _)| !host.is_empty()).map(|(_, port)| port);
            match port.and_then(|p| p.parse::<u16>().ok()).filter(|p| *p > 0) {
                Some(_) => Ok(Choice::Tcp(address.to_string())),
                None => Err(wrong()),
            }
        }
        Some(("property", file)) if !file.is_empty() => Ok(Choice::Property(file.into())),
        Some(("record", file)) if !file.is_empty() => Ok(Choice::Record(file.into())),
        _ => Err(wrong()),
    }
}

/// The signals of a book with their types: what a link can be used for.
pub fn known(book: &Book) -> BTreeMap<String, ValueKind> {
    book.signals.iter().map(|s| (s.id.clone(), s.kind.clone())).collect()
}

/// A link file for a book; its warnings are told.
///
/// # Errors
/// Every problem on a line of its own, when it cannot be used.
pub fn link_file(path: &Path, book: &Book) -> Result<LinkFile, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|e| Failure::new(format!("{} cannot be read ({e}); check the path", path.display())))?;
    let (file, problems) = mapping::load(&SourceFile { name: path.display().to_string(), text }, book);
    let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
    if mapping::failed(&problems) {
        return Err(Failure::new(format!("the link file cannot be used; mend this:\n{}", told.join("\n"))));
    }
    told.iter().for_each(|t| eprintln!("{t}"));
    Ok(file)
}

/// A live aircraft for a session that begins at `origin`; `None` for the built-in one.
///
/// # Errors
/// One sentence when a file cannot be used.
pub fn open(choice: &Choice, book: &Book, origin: SessionTime, tell: Tell) -> Result<Option<Live>, Failure> {
    match choice {
        Choice::BuiltIn => Ok(None),
        Choice::Tcp(address) => Ok(Some(tcp::connect(address, known(book), origin, tell))),
        Choice::Property(path) => {
            let file = link_file(path, book)?;
            property::connect(file, origin, tell).map(Some).map_err(Failure)
        }
        Choice::Record(path) => record::play(path, known(book), origin, tell).map(Some).map_err(Failure),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_are_read() {
        let check = |text: &str, want: Option<Choice>| assert_eq!(parse(text).ok(), want, "{text}");
        check("built-in", Some(Choice::BuiltIn));
        check("tcp:127.0.0.1:7310", Some(Choice::Tcp("127.0.0.1:7310".into())));
        check("tcp:[::1]:7310", Some(Choice::Tcp("[::1]:7310".into())));
        check("property:my.toml", Some(Choice::Property("my.toml".into())));
        check("record:flight.jsonl", Some(Choice::Record("flight.jsonl".into())));
        for bad in ["", "tcp", "tcp:7310", "tcp::7310", "tcp:host:0", "tcp:host:port", "record:", "builtin"] {
            check(bad, None);
        }
    }
}
