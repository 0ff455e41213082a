//! Spoken words as a clerk writes them down: numbers in digits, letters that are spelled joined.

use super::spelling::{digit, is_hundred, is_point, is_thousand, teen, ten};

/// A number as it grows word by word.
#[derive(Debug, Default)]
struct Number {
    digits: String,
    /// So many zeros at its end wait for what follows: one after "twenty", two after "hundred", three after "thousand".
    room: usize,
    /// The room that the last digit was put in.
    before: usize,
    grouped: bool,
}

impl Number {
    fn piece(&mut self, piece: &str) {
        self.before = 0;
        if piece.len() <= self.room {
            self.before = self.room;
            self.digits.truncate(self.digits.len() - piece.len());
        }
        self.digits.push_str(piece);
        self.room = 0;
    }

    /// Takes a word if it goes on with the number.
    fn takes(&mut self, word: &str) -> bool {
        if let Some(d) = digit(word) {
            self.piece(&d.to_string());
        } else if let Some(n) = teen(word) {
            self.piece(&n.to_string());
        } else if let Some(n) = ten(word) {
            self.piece(&n.to_string());
            self.room = 1;
        } else if self.digits.is_empty() {
            return false;
        } else if is_hundred(word) {
            // "three thousand five": the five was put at the end, where it is in hundreds' place now.
            if self.before == 3
                && let Some(last) = self.digits.pop()
            {
                self.digits.truncate(self.digits.len() - 2);
                self.digits.push(last);
            }
            self.digits.push_str("00");
            (self.room, self.before) = (2, 0);
        } else if is_thousand(word) {
            self.digits.push_str("000");
            (self.room, self.grouped) = (3, true);
        } else if is_point(word) {
            self.digits.push('.');
            self.room = 0;
        } else {
            return word == "and" && self.room > 1;
        }
        true
    }

    /// The number, and none is left.
    fn finish(&mut self) -> String {
        let Number { mut digits, grouped, .. } = std::mem::take(self);
        if grouped && digits.len() > 3 && digits.bytes().all(|b| b.is_ascii_digit()) {
            digits.insert(digits.len() - 3, ',');
        }
        digits
    }
}

/// The words of a call, lower case with commas between calls, as they are written: "set flight level one nine one" is "set
/// flight level 191", "start the a p u" "start the APU", "v one" "V1".
pub fn written(words: &str) -> String {
    let mut out: Vec<String> = Vec::new();
    let (mut number, mut letters) = (Number::default(), String::new());
    let end = |out: &mut Vec<String>, letters: &mut String, number: &mut Number| {
        // "V1", but "QNH 1013".
        let all = match (letters.len(), number.digits.is_empty()) {
            (1, true) => std::mem::take(letters),
            (0 | 1, _) => std::mem::take(letters).to_uppercase() + &number.finish(),
            _ => (std::mem::take(letters).to_uppercase() + " " + &number.finish()).trim_end().to_string(),
        };
        if !all.is_empty() {
            out.push(all);
        }
    };
    for word in words.split(' ') {
        let bare = word.trim_end_matches(',');
        let single = bare.len() == 1 && bare.bytes().all(|b| b.is_ascii_alphabetic());
        if single && number.digits.is_empty() {
            letters.push_str(bare);
        } else if !number.takes(bare) {
            end(&mut out, &mut letters, &mut number);
            match single {
                true => letters.push_str(bare),
                false => out.push(bare.to_string()),
            }
        }
        if word.ends_with(',') {
            end(&mut out, &mut letters, &mut number);
            if let Some(last) = out.last_mut() {
                last.push(',');
            }
        }
    }
    end(&mut out, &mut letters, &mut number);
    out.join(" ")
}

#[cfg(test)]
mod tests {
    use super::written;
    use proptest::prelude::*;

    #[test]
    fn numbers_and_letters() {
        for (words, wanted) in [
            ("set flight level one nine one", "set flight level 191"),
            ("descend three thousand five hundred feet", "descend 3,500 feet"),
            ("twenty five thousand", "25,000"),
            ("two hundred and fifteen knots", "215 knots"),
            ("one three six decimal zero eight", "136.08"),
            ("departure temperature sixteen, flaps five", "departure temperature 16, flaps 5"),
            ("runway zero nine left", "runway 09 left"),
            ("start the a p u", "start the APU"),
            ("v one", "V1"),
            ("a little slower", "a little slower"),
            ("i have control, you have control", "i have control, you have control"),
            ("q n h one zero one three", "QNH 1013"),
            ("negative", "negative"),
            ("hundred and one", "hundred and 1"),
        ] {
            assert_eq!(written(words), wanted);
        }
    }

    proptest! {
        /// Whatever is said, nothing of it that is no number and no letter is lost.
        #[test]
        fn other_words_stay(words in "(one |two |twenty |hundred |thousand |decimal |and |flaps |set |a |v |niner |sixteen, ){0,12}gear") {
            let kept = |text: &str| text.split([' ', ',']).filter(|w| matches!(*w, "flaps" | "set" | "gear")).count();
            prop_assert_eq!(kept(&written(&words)), kept(&words));
        }
    }
}
