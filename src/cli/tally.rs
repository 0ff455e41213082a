//! What an evening is measured by: repeats asked, wrong actions, deviations called, touches.

use crate::core::aircraft::Value;
use crate::core::book::Book;
use crate::core::book::expr::{Name, Scope};
use crate::edge::app::{Report, Side};

/// Knows nothing: the sentences in question hold no values.
struct Blank;

impl Scope for Blank {
    fn value(&self, _: &Name) -> Option<Value> {
        None
    }
}

/// One line. Where a script makes nothing deviate, each deviation that was called is a nuisance.
pub fn line(book: &Book, report: &Report, touches: usize) -> String {
    let text = |key: &str| book.wording.get(key).map(|t| t.say(&Blank, &|_| None)).unwrap_or_default();
    let again = [text("say_again"), text("too_faint")];
    let ours = report.lines.iter().filter(|l| matches!(l.side, Side::Crew(_)));
    let repeats = ours.filter(|l| again.contains(&l.text)).count();
    let called = match report.limits.as_slice() {
        [] => String::new(),
        all => format!(" ({})", all.join(", ")),
    };
    format!(
        "repeats asked {repeats}   wrong actions {}   deviations called {}{called}   touches {touches}",
        report.wrong(),
        report.limits.len()
    )
}
