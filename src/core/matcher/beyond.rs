//! Whether a call is only the beginning of what was said: "reject his excuses" rejects nothing.

use super::before::words;
use crate::core::words::syllables;

/// So much of a call's letters the beginning must have: of some 1,290 readings of the ear's benchmark that went on, one call
/// of the pilot's came as near, and eight beginnings of other sentences.
const LIKENESS: f64 = 0.8;
/// A model that hears little says it again and again: what is left counts as the call once more from so much likeness on.
const AGAIN: f64 = 0.5;
/// Syllables that are more than the end of a word misheard.
const MORE: usize = 2;

/// Whether `free`, what a speech model writes that nothing holds to our calls, has the words of `reading` and then others.
pub fn goes_on_beyond(free: &str, reading: &str) -> bool {
    let (said, meant) = (words(free), words(reading).concat());
    let like = |words: &[String]| strsim::normalized_levenshtein(&words.concat(), &meant);
    let nearest = |words: &[String]| {
        let beginnings = (0..=words.len()).map(|n| (n, like(&words[..n])));
        beginnings.fold((0, 0.0), |best, next| if next.1 > best.1 { next } else { best })
    };
    let (length, likeness) = nearest(&said);
    let rest = &said[length..];
    let more: usize = rest.iter().map(|w| syllables(w)).sum();
    likeness >= LIKENESS && more >= MORE && nearest(rest).1 < AGAIN
}

#[cfg(test)]
mod tests {
    use super::goes_on_beyond;

    #[test]
    fn a_call_that_is_the_beginning_of_another_sentence_is_seen() {
        for (free, reading, beyond) in [
            ("Reject his excuses", "reject", true),
            ("Regect is excuses.", "reject", true),
            ("Continue shopping", "continue", true),
            ("What's the temperature of the oven?", "what is the temperature", true),
            ("Tape off north of", "takeoff", true),
            ("Transponder dealing a village", "transponder on", true),
            ("Reject.", "reject", false),
            ("Very jeffed.", "reject", false),
            ("Reject! Reject!", "reject", false),
            ("Complete complete complete complete", "complete", false),
            ("What is the runway? What is the runway? What is", "what is the runway", false),
            // A word more misheard at its end.
            ("Reject it.", "reject", false),
            ("Gear up, sir.", "gear up", false),
            ("Transponder 10x5.", "transponder stand by", false),
            ("Reject the takeoff.", "reject the takeoff", false),
            ("It is a fine day.", "gear up", false),
            ("", "gear up", false),
        ] {
            assert_eq!(goes_on_beyond(free, reading), beyond, "{free:?} against {reading:?}");
        }
    }
}
