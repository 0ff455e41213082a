//! Whether what was said begins with words that are none of ours: "heron nine zero four, turn left …" is for someone else.

use crate::core::words::is_number_word;
use std::collections::BTreeSet;

/// What pilots say before a call without meaning anything by it.
const FILLERS: [&str; 12] = ["a", "ah", "and", "eh", "er", "mm", "now", "oh", "okay", "so", "uh", "um"];
/// Words of an address more or less alike are one misheard word.
const ALIKE: f64 = 0.5;

/// Whether `free`, what a speech model writes that nothing holds to our calls, has the words of `reading` and before them
/// someone's name: a number and at least a word, or two words. A word that is `reading`'s own first one misheard is none.
pub fn begins_with_others(free: &str, reading: &str) -> bool {
    let reading: Vec<String> = words(reading);
    let own: BTreeSet<&str> = reading.iter().map(String::as_str).collect();
    let (mut before, mut number): (Vec<String>, bool) = (Vec::new(), false);
    for word in words(free) {
        if is_number(&word) {
            match reading.first().is_some_and(|w| is_number(w)) {
                true => return false,
                false => number = true,
            }
        } else if own.contains(word.as_str()) {
            let skipped: Vec<&str> = reading.iter().take_while(|w| **w != word).map(String::as_str).collect();
            let misheard = strsim::normalized_levenshtein(before.concat().as_str(), skipped.concat().as_str()) >= ALIKE;
            let more = before.len().saturating_sub(skipped.len());
            return (!misheard || skipped.is_empty()) && (more >= 2 || (more >= 1 && number));
        } else if !FILLERS.contains(&word.as_str()) {
            before.push(word);
        }
    }
    // Nothing of ours in it: it tells nothing.
    false
}

fn words(text: &str) -> Vec<String> {
    let text = text.to_lowercase();
    text.split(|c: char| !c.is_alphanumeric() && c != '\'').filter(|w| !w.is_empty()).map(String::from).collect()
}

fn is_number(word: &str) -> bool {
    word.contains(|c: char| c.is_ascii_digit()) || is_number_word(word)
}

#[cfg(test)]
mod tests {
    use super::begins_with_others;

    #[test]
    fn a_name_before_the_words_is_seen_and_a_misheard_word_is_not_a_name() {
        for (free, reading, others) in [
            ("Heron 904, turn left heading 343.", "turn left heading three four three", true),
            ("Falcon eleven turn right heading 036.", "turn right heading zero three six", true),
            ("Paramount hundred four term left having three four three.", "turn left heading three four three", true),
            ("Cur lew, turn left heading 040.", "turn left heading zero four zero", true),
            ("Tell the others to turn left heading 040", "turn left heading zero four zero", true),
            ("Turn left heading 343.", "turn left heading three four three", false),
            ("Uh, okay, turn left heading 343.", "turn left heading three four three", false),
            ("Please turn left heading 343.", "turn left heading three four three", false),
            ("A firm, nose left.", "affirm nose left", false),
            ("Cheer up.", "gear up", false),
            ("The archer runway is centre.", "departure runway six centre", false),
            ("He ran at his 477th approach, P1.", "v ref is four seven seven approach speed one", false),
            ("I had in two, three, nine selected.", "heading two three nine selected", false),
            ("We want one three two, rotate 133.", "v one one three two rotate one three three", false),
            ("119.9, contact.", "one one nine decimal nine contact", false),
            ("It is a fine day.", "gear up", false),
            ("", "gear up", false),
        ] {
            assert_eq!(begins_with_others(free, reading), others, "{free:?} against {reading:?}");
        }
    }
}
