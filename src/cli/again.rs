//! What `fly` without options goes back to: the book and the aircraft of last time.

use super::aircraft::{self, Choice};
use super::wiring;
use crate::edge::store::{Choices, Places};
use std::path::{Path, PathBuf};

/// The book and the aircraft of a session.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Flown {
    /// A name or a folder.
    pub book: PathBuf,
    /// The aircraft.
    pub link: Choice,
    /// What was taken from last time, for the terminal.
    pub told: String,
}

/// What was given, else what was flown last if this session `remembers`, else what is usual.
pub fn settle(book: Option<&Path>, link: Option<&Choice>, last: &Choices, remembers: bool, places: &Places) -> Flown {
    let mut told = String::new();
    let again = |what: &Option<String>| what.clone().filter(|_| remembers);
    let before = again(&last.book).map(PathBuf::from).filter(|_| book.is_none());
    let gone = before.as_ref().is_some_and(|b| places.book(b).is_err());
    if let Some(b) = &before {
        let rest = if gone { format!("is gone; {} is taken", wiring::BOOK) } else { "as last time".to_string() };
        told += &format!("book: {}, {rest} (--book takes another)\n", b.display());
    }
    let before = before.filter(|_| !gone);
    let book = book.map(Path::to_path_buf).or(before).unwrap_or_else(|| wiring::BOOK.into());
    let linked = again(&last.link).and_then(|l| aircraft::parse(&l).ok()).filter(|_| link.is_none());
    if let Some(l) = &linked {
        told += &format!("aircraft: {}, as last time (--link built-in takes the one that is built in)\n", l.told());
    }
    Flown { book, link: link.cloned().or(linked).unwrap_or(Choice::BuiltIn), told }
}

/// Remembers what is flown; gives all that is remembered now. A recorded session is nothing to come back to.
pub fn remember(flown: &Flown, last: &Choices) -> Choices {
    let whole = |path: &Path| std::fs::canonicalize(path).unwrap_or_else(|_| path.to_path_buf()).display().to_string();
    let link = match &flown.link {
        Choice::BuiltIn => None,
        Choice::Tcp(at) => Some(format!("tcp:{at}")),
        Choice::Property(file) => Some(format!("property:{}", whole(file))),
        Choice::Record(_) => last.link.clone(),
    };
    let book = if flown.book.is_dir() { whole(&flown.book) } else { flown.book.display().to_string() };
    let chosen = Choices { book: Some(book), link, ..last.clone() };
    if let Some(file) = Choices::file().filter(|_| chosen != *last)
        && let Err(why) = chosen.write(&file)
    {
        eprintln!("antiphon: {why}");
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_given_goes_before_what_was_flown_last() {
        let last =
            Choices { book: Some("fenwick-t2".into()), link: Some("tcp:localhost:7310".into()), ..Choices::default() };
        let places = Places::here(None);
        let check = |book: Option<&str>, link: Option<&Choice>, last: &Choices, remembers, want: (&str, Choice)| {
            let flown = settle(book.map(Path::new), link, last, remembers, &places);
            assert_eq!((flown.book.to_str().unwrap_or_default(), flown.link), (want.0, want.1));
            flown.told
        };
        let tcp = || Choice::Tcp("localhost:7310".into());
        let told = check(None, None, &last, true, ("fenwick-t2", tcp()));
        assert!(told.contains("fenwick-t2, as last time") && told.contains("localhost:7310, as last time"), "{told}");
        assert_eq!(check(Some("x"), Some(&Choice::BuiltIn), &last, true, ("x", Choice::BuiltIn)), "");
        assert_eq!(check(None, None, &last, false, (wiring::BOOK, Choice::BuiltIn)), "");
        let gone = Choices { book: Some("/nowhere/at-all".into()), link: Some("nonsense".into()), ..last };
        let told = check(None, None, &gone, true, (wiring::BOOK, Choice::BuiltIn));
        assert!(told.contains("is gone"), "{told}");
    }
}
