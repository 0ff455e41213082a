//! Callsigns of the kind "operator and flight number", and how their figures are spoken.

use super::rules::Rules;
use crate::core::aircraft::Value;
use crate::core::words::{Form, Regime, say};
use serde::{Deserialize, Serialize};
use std::fmt;

/// An operator's name and a flight number of one to four figures.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Callsign {
    /// The operator's name as spoken, lower case.
    pub operator: String,
    /// The figures.
    pub number: String,
}

impl Callsign {
    /// From "saltmarsh 417"; `None` without a name or figures.
    pub fn parse(text: &str) -> Option<Self> {
        let (operator, number) = text.trim().rsplit_once(' ')?;
        let fits = !operator.trim().is_empty()
            && (1..=4).contains(&number.len())
            && number.bytes().all(|b| b.is_ascii_digit());
        fits.then(|| Callsign { operator: operator.to_lowercase(), number: number.to_string() })
    }

    /// From "Saltmarsh four one seven", or as [`parse`](Self::parse) takes it.
    pub fn from_words(text: &str) -> Option<Self> {
        let figure = |word: &str| {
            let said = |n: &u32| say(Form::Digits, &Value::Number(f64::from(*n)), Regime::Icao) == word;
            (0..10).find(said).map(|n| n.to_string())
        };
        let mut operator: Vec<String> = text.split_whitespace().map(str::to_lowercase).collect();
        let mut number = String::new();
        while let Some(digit) = operator.last().and_then(|w| figure(w)) {
            number.insert_str(0, &digit);
            operator.pop();
        }
        match number.is_empty() {
            true => Self::parse(text),
            false => Self::parse(&format!("{} {number}", operator.join(" "))),
        }
    }

    /// Figures one by one.
    pub fn by_figures(&self, regime: Regime) -> String {
        say(Form::Digits, &Value::Word(self.number.clone()), regime)
    }

    /// Figures in groups, where the rules have a group for them, else one by one.
    ///
    /// JO 7110.65 2-4-20 (S 7110-82): "fifty two", "one hundred", "one ten", "one zero one", "zero one zero",
    /// "ten zero four".
    pub fn by_groups(&self, regime: Regime) -> String {
        let group =
            |text: &str| -> Option<String> { text.parse().ok().map(|n| say(Form::Plain, &Value::Number(n), regime)) };
        let figures = self.by_figures(regime);
        let n = self.number.as_str();
        if n.starts_with('0') {
            return figures;
        }
        let (head, tail) = n.split_at(n.len().saturating_sub(2));
        let said = match (head.len(), tail) {
            (0, tail) => group(tail),
            (1, "00") => group(n),
            (1, tail) if tail.starts_with('0') => None,
            (2, "00") => group(head).map(|h| format!("{h} hundred")),
            (2, tail) if tail.starts_with('0') => {
                let tail = say(Form::Digits, &Value::Word(tail.to_string()), regime);
                group(head).map(|h| format!("{h} {tail}"))
            }
            (_, tail) => group(head).zip(group(tail)).map(|(h, t)| format!("{h} {t}")),
        };
        let Some(said) = said else { return figures };
        // "thirty nine" is "thirty niner" where the figure is said so.
        let nine = |regime| say(Form::Digits, &Value::Number(9.0), regime);
        let (plain, own) = (nine(Regime::Icao), nine(regime));
        said.split(' ').map(|w| if w == plain { own.as_str() } else { w }).collect::<Vec<_>>().join(" ")
    }

    /// As the rules want it.
    pub fn spoken(&self, rules: &Rules) -> String {
        let number = if rules.callsign.group { self.by_groups(rules.regime) } else { self.by_figures(rules.regime) };
        format!("{} {number}", self.operator)
    }

    /// Every way its figures may be heard.
    pub fn ways(&self) -> Vec<String> {
        let mut ways = Vec::new();
        for regime in Regime::ALL {
            for way in [self.by_figures(regime), self.by_groups(regime)] {
                if !ways.contains(&way) {
                    ways.push(way);
                }
            }
        }
        ways
    }

    /// Callsigns that are easily said for it: two figures changed round, one figure beside it, the first left out.
    pub fn near(&self) -> Vec<Callsign> {
        let figures: Vec<u8> = self.number.bytes().map(|b| b - b'0').collect();
        let mut out: Vec<Callsign> = Vec::new();
        let mut put = |f: &[u8]| {
            let number: String = f.iter().map(|d| char::from(b'0' + d)).collect();
            let callsign = Callsign { operator: self.operator.clone(), number };
            if !f.is_empty() && callsign != *self && !out.contains(&callsign) {
                out.push(callsign);
            }
        };
        for i in 1..figures.len() {
            let mut f = figures.clone();
            f.swap(i - 1, i);
            put(&f);
        }
        for i in 0..figures.len() {
            for by in [1, 9] {
                let mut f = figures.clone();
                f[i] = (f[i] + by) % 10;
                put(&f);
            }
        }
        put(&figures[1.min(figures.len())..]);
        out
    }
}

impl fmt::Display for Callsign {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.operator.to_uppercase(), self.number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(number: &str, regime: Regime, figures: &str, groups: &str) {
        let callsign = Callsign::parse(&format!("saltmarsh {number}")).unwrap();
        assert_eq!(callsign.by_figures(regime), figures, "{number} by figures");
        assert_eq!(callsign.by_groups(regime), groups, "{number} by groups");
    }

    #[test]
    fn figures_and_groups() {
        // S ANX10-14: CCA 238 "two three eight", OAL 242 "two four two".
        check("238", Regime::Icao, "two three eight", "two thirty eight");
        check("242", Regime::Icao, "two four two", "two forty two");
        // S 7110-82, 7110-20, JO 7110.65 2-4-20: "Fifty-Two", "One Hundred", "One Ten", "One Zero One", "Zero One Zero",
        // "Ten Zero Four"; "Five One Seven" is allowed for clarity.
        check("52", Regime::Faa, "five two", "fifty two");
        check("100", Regime::Faa, "one zero zero", "one hundred");
        check("110", Regime::Faa, "one one zero", "one ten");
        check("101", Regime::Faa, "one zero one", "one zero one");
        check("010", Regime::Faa, "zero one zero", "zero one zero");
        check("1004", Regime::Faa, "one zero zero four", "ten zero four");
        check("517", Regime::Faa, "five one seven", "five seventeen");
        // "niner" always: S AIM428.
        check("439", Regime::Faa, "four three niner", "four thirty niner");
        check("7", Regime::Faa, "seven", "seven");
    }

    #[test]
    fn what_is_no_callsign() {
        for text in ["saltmarsh", "417", "saltmarsh 12345", "saltmarsh 4a", " 417", ""] {
            assert_eq!(Callsign::parse(text).filter(|c| !c.operator.is_empty()), None, "{text}");
        }
    }

    #[test]
    fn near_ones_differ() {
        let own = Callsign::parse("saltmarsh 417").unwrap();
        let near = own.near();
        let numbers: Vec<&str> = near.iter().map(|c| c.number.as_str()).collect();
        for n in ["147", "471", "517", "427", "418", "17"] {
            assert!(numbers.contains(&n), "{n} in {numbers:?}");
        }
        assert!(!near.contains(&own));
        assert_eq!(own.to_string(), "SALTMARSH 417");
    }
}
