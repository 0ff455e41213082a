//! Why something was not done, for someone who has not written the book.

use crate::core::book::Book;

/// Whether a callout was let pass because the book's own `if` did not hold: it had no occasion, and nothing is amiss.
pub(super) fn had_no_occasion(book: &Book, callout: &str, why: &str) -> bool {
    let guard = book.callouts.iter().find(|c| c.id == callout).and_then(|c| c.only_if.as_ref());
    guard.is_some_and(|g| g.text == why)
}

/// "`!doors_closed && sheet.v1 > 100` is unknown" as the things that are not known, by their titles; else as it was.
pub(super) fn in_words(book: &Book, why: &str) -> String {
    let Some(condition) = why.strip_suffix(" is unknown") else { return why.to_string() };
    let mut titles: Vec<&str> = Vec::new();
    for name in condition.split(|c: char| !(c.is_alphanumeric() || c == '_' || c == '.')) {
        let signal = book.signals.iter().find(|s| s.id == name).map(|s| s.title.as_str());
        let entry = || {
            let name = name.strip_prefix("sheet.")?;
            book.sheet.iter().find(|e| e.id == name).map(|e| e.title.as_str())
        };
        if let Some(title) = signal.or_else(entry)
            && !titles.contains(&title)
        {
            titles.push(title);
        }
    }
    if titles.is_empty() { why.to_string() } else { format!("not known: {}", titles.join(", ")) }
}
