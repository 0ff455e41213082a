//! What can be wrong with a wording.

use std::ops::Range;

/// One thing that is wrong, with its place and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Stable name (`grammar-unclosed`), for `check --explain`.
    pub id: &'static str,
    /// Bytes of the text that it is about; may be empty at the end of the text.
    pub span: Range<usize>,
    /// A second place that belongs to it: where an unclosed bracket should have closed, where a mismatched one opened.
    pub other: Option<Range<usize>>,
    /// One plain sentence.
    pub message: String,
    /// What to do, with the corrected text where there is one.
    pub hint: Option<String>,
}

impl Problem {
    /// A problem without hint or second place.
    pub(super) fn new(id: &'static str, span: Range<usize>, message: impl Into<String>) -> Self {
        Problem { id, span, other: None, message: message.into(), hint: None }
    }
    pub(super) fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
    pub(super) fn other(mut self, span: Range<usize>) -> Self {
        self.other = Some(span);
        self
    }
}

/// `text` with the bytes of `span` replaced, tidied and cut to what stands around them.
pub(super) fn corrected(text: &str, span: Range<usize>, by: &str) -> String {
    const AROUND: usize = 60;
    let (before, after) = (&text[..span.start], &text[span.end..]);
    let from = before.char_indices().rev().nth(AROUND - 1).map_or(0, |(i, _)| i);
    let to = after.char_indices().nth(AROUND).map_or(after.len(), |(i, _)| i);
    let whole = format!("{}{}{}", &before[from..], by, &after[..to]);
    let tidy = whole.split_whitespace().collect::<Vec<_>>().join(" ");
    let (head, tail) = (if from > 0 { "…" } else { "" }, if to < after.len() { "…" } else { "" });
    format!("Write: {head}{tidy}{tail}")
}

/// The name in `known` that looks most like `name`, if any is close.
pub(super) fn nearest<'a>(name: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let mut best: Option<(f64, &str)> = None;
    for k in known {
        let d = strsim::normalized_damerau_levenshtein(name, k);
        if d >= 0.5 && best.is_none_or(|(b, _)| d > b) {
            best = Some((d, k));
        }
    }
    best.map(|(_, k)| k)
}
