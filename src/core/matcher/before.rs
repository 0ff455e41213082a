//! Whether what was said begins with words that are none of ours: "heron nine zero four, turn left …" is for someone else.

use crate::core::words::is_number_word;
use std::collections::BTreeSet;

/// What pilots say before a call without meaning anything by it.
const FILLERS: [&str; 12] = ["a", "ah", "and", "eh", "er", "mm", "now", "oh", "okay", "so", "uh", "um"];
/// Words of an address more or less alike are one misheard word.
const ALIKE: f64 = 0.5;
/// With a name there are so many letters more than without: misheard words are about as long as what was said.
const LETTERS: usize = 5;
/// Letters that a spoken number counts for.
const NUMBER: usize = 4;

/// Whether `free`, what a speech model writes that nothing holds to our calls, has the words of `reading` and before them
/// someone's name: a number and at least a word, or two words. A word that is `reading`'s own first one misheard is none.
pub fn begins_with_others(free: &str, reading: &str) -> bool {
    let reading: Vec<String> = words(reading);
    let own: BTreeSet<&str> = reading.iter().map(String::as_str).collect();
    let (mut before, mut numbers): (Vec<String>, usize) = (Vec::new(), 0);
    for word in words(free) {
        if is_number(&word) {
            match reading.first().is_some_and(|w| is_number(w)) {
                true => return false,
                false => numbers += 1,
            }
        } else if own.contains(word.as_str()) {
            let skipped: Vec<&str> = reading.iter().take_while(|w| **w != word).map(String::as_str).collect();
            let (said, meant) = (before.concat(), skipped.concat());
            let misheard = !skipped.is_empty() && strsim::normalized_levenshtein(&said, &meant) >= ALIKE;
            let more = before.len().saturating_sub(skipped.len());
            let letters = (said.len() + NUMBER * numbers).saturating_sub(meant.len());
            return !misheard && letters >= LETTERS && (more >= 2 || (more >= 1 && numbers > 0));
        } else if !FILLERS.contains(&word.as_str()) {
            before.push(word);
        }
    }
    // Nothing of ours in it: it tells nothing.
    false
}

/// The words of a text in small letters.
pub(super) fn words(text: &str) -> Vec<String> {
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
            ("Falcon 43 turn left heading 250.", "turn left heading two five zero", true),
            ("Curlew seventy cleared to land runway six left", "cleared to land runway six left", true),
            ("Colloot well, clear till, and run ways, it'll fight left", "cleared to land runway zero five left", true),
            ("Come in, let it hang, you.", "cabin ready thank you", false),
            ("Were it yet for any failure before we won?", "reject for any failure before v one", false),
            ("The empty groundway ain't a right.", "landing runway nine right", false),
            (
                "The parchment in pre-charter is minus 71,000.",
                "departure temperature is minus seven one thousand",
                false,
            ),
            ("The patch of runway or zinc tip.", "departure runway four centre", false),
            ("We might not be at the quiet level", "remind me at flight level two six three", false),
            ("It is a fine day.", "gear up", false),
            ("", "gear up", false),
        ] {
            assert_eq!(begins_with_others(free, reading), others, "{free:?} against {reading:?}");
        }
    }
}
