//! `--link`: which aircraft.

use super::Failure;
use crate::core::aircraft::ValueKind;
use crate::core::book::Book;
use crate::core::time::SessionTime;
use crate::edge::link::{Live, Tell, record, tcp};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What `--link` names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Choice {
    /// The aircraft that is built in.
    BuiltIn,
    /// A simulator that speaks the link protocol, HOST:PORT.
    Tcp(String),
    /// A recorded session of states.
    Record(PathBuf),
}

/// Reads `--link`.
///
/// # Errors
/// One sentence with what can be written.
pub fn parse(text: &str) -> Result<Choice, String> {
    let wrong = || {
        format!(
            "\u{201c}{text}\u{201d} is no link; write built-in, tcp:HOST:PORT (as in tcp:127.0.0.1:7310) or record:FILE"
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
        Some(("record", file)) if !file.is_empty() => Ok(Choice::Record(file.into())),
        _ => Err(wrong()),
    }
}

/// The signals of a book with their types: what a link can be used for.
pub fn known(book: &Book) -> BTreeMap<String, ValueKind> {
    book.signals.iter().map(|s| (s.id.clone(), s.kind.clone())).collect()
}

/// A live aircraft for a session that begins at `origin`; `None` for the built-in one.
///
/// # Errors
/// One sentence when a file cannot be used.
pub fn open(choice: &Choice, book: &Book, origin: SessionTime, tell: Tell) -> Result<Option<Live>, Failure> {
    match choice {
        Choice::BuiltIn => Ok(None),
        Choice::Tcp(address) => Ok(Some(tcp::connect(address, known(book), origin, tell))),
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
        check("record:flight.jsonl", Some(Choice::Record("flight.jsonl".into())));
        for bad in ["", "tcp", "tcp:7310", "tcp::7310", "tcp:host:0", "tcp:host:port", "record:", "builtin"] {
            check(bad, None);
        }
    }
}
