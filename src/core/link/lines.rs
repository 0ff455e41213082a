//! Bytes to lines, with a bound on their length.

/// Longest line that is taken, bytes, without its end.
pub const MAX_LINE: usize = 64 << 10;

/// A line, or what is left of one that was too long.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Line {
    /// Its bytes without `\n` or `\r\n`; never empty.
    Whole(Vec<u8>),
    /// A line had more than [`MAX_LINE`] bytes: it is passed over up to its end.
    TooLong,
}

/// Collects bytes until a line is whole.
#[derive(Debug, Clone, Default)]
pub struct Lines {
    held: Vec<u8>,
    skipping: bool,
}

impl Lines {
    /// Takes bytes in and gives every line that is now whole. Empty lines are passed over.
    pub fn push(&mut self, bytes: &[u8]) -> Vec<Line> {
        let mut out = Vec::new();
        for piece in bytes.split_inclusive(|b| *b == b'\n') {
            let (text, ends) = match piece.split_last() {
                Some((b'\n', text)) => (text, true),
                _ => (piece, false),
            };
            if !self.skipping {
                if self.held.len() + text.len() > MAX_LINE {
                    self.held.clear();
                    self.skipping = true;
                    out.push(Line::TooLong);
                } else {
                    self.held.extend_from_slice(text);
                }
            }
            if ends {
                let mut line = std::mem::take(&mut self.held);
                if line.last() == Some(&b'\r') {
                    line.pop();
                }
                if !self.skipping && !line.is_empty() {
                    out.push(Line::Whole(line));
                }
                self.skipping = false;
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn lines_come_whole_however_they_are_cut() {
        let mut lines = Lines::default();
        let mut all = Vec::new();
        for part in ["a", "b\r", "\n\n", "c\nd"] {
            all.extend(lines.push(part.as_bytes()));
        }
        assert_eq!(all, [Line::Whole(b"ab".to_vec()), Line::Whole(b"c".to_vec())]);
    }

    #[test]
    fn a_line_too_long_is_told_once_and_the_next_is_read() {
        let mut lines = Lines::default();
        let long = vec![b'x'; MAX_LINE];
        let mut all = lines.push(&long);
        assert!(all.is_empty(), "exactly as long as allowed");
        all.extend(lines.push(b"yz"));
        all.extend(lines.push(&long));
        all.extend(lines.push(b"\nnext\n"));
        assert_eq!(all, [Line::TooLong, Line::Whole(b"next".to_vec())]);
    }

    proptest! {
        #[test]
        fn cuts_do_not_matter(text in "[a-c\n\r]{0,60}", cut in 0usize..60) {
            let whole = Lines::default().push(text.as_bytes());
            let mut lines = Lines::default();
            let cut = cut.min(text.len());
            let mut parts = lines.push(&text.as_bytes()[..cut]);
            parts.extend(lines.push(&text.as_bytes()[cut..]));
            prop_assert_eq!(whole, parts);
        }
    }
}
