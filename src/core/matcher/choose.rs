//! The one place that accepts.

use super::{Class, Heard, Thresholds, Unheard};
use crate::core::grammar::{CallId, CallSet, Meaning, WordGraph, accepts};
use std::fmt;

/// Why nothing was accepted. `Display` gives the words of `hear --json`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// Silence.
    NothingSaid,
    /// Speech, but none of our calls.
    NoSuchCall,
    /// A call, but not one that is live.
    NotNow,
    /// Two calls fit equally well.
    Tie,
    /// Speech too faint to understand.
    TooFaint,
    /// No sound arrives at all.
    MicrophoneDead,
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Reason::NothingSaid => "nothing said",
            Reason::NoSuchCall => "no such call",
            Reason::NotNow => "not now",
            Reason::Tie => "tie",
            Reason::TooFaint => "too faint",
            Reason::MicrophoneDead => "microphone dead",
        })
    }
}

impl Reason {
    /// A reason as it stands in a journal, in words for whoever only reads why.
    pub fn told(written: &str) -> &str {
        match written {
            "not now" => "a call, but not now",
            "tie" => "as near to another call",
            other => other,
        }
    }
}

/// What is made of an utterance.
#[derive(Debug, Clone, PartialEq)]
pub enum Choice {
    /// These calls were made, in this order.
    Accept {
        /// The calls that are live; at least one.
        meanings: Vec<Meaning>,
        /// Calls of the same breath that are not live now: to be told, not done.
        not_now: Vec<Meaning>,
        /// Score of the reading, nats.
        score: f64,
    },
    /// None was.
    Refuse {
        /// Why.
        reason: Reason,
        /// Whether it came near a live call, so that asking again makes sense with an open microphone.
        resembling: bool,
        /// The best reading, if there was one.
        text: Option<String>,
    },
}

/// Decides what `heard` was, if anything.
///
/// `live` are the calls that can be made now, `due` those of them that answer something: a due call wins over others that
/// have the same words, and a live call over one that is not. `critical` calls are held to the stricter values, and so is
/// the whole breath that holds one. While the program speaks itself, pass the always-live calls as `live` and
/// [`Thresholds::over_us`].
pub fn choose(
    heard: &Heard,
    graph: &WordGraph,
    live: &CallSet,
    due: &CallSet,
    critical: impl Fn(CallId) -> bool,
    thresholds: &Thresholds,
) -> Choice {
    let refuse = |reason, resembling, text| Choice::Refuse { reason, resembling, text };
    if let Some(unheard) = heard.unheard {
        let reason = match unheard {
            Unheard::NothingSaid => Reason::NothingSaid,
            Unheard::TooFaint => Reason::TooFaint,
            Unheard::MicrophoneDead => Reason::MicrophoneDead,
        };
        return refuse(reason, false, None);
    }
    let calls = |i: usize| heard.ranked[i].meanings.iter().map(|m| graph.call(&m.call));
    // How well a reading fits what is going on: due before live before neither.
    let fit = |i: usize| {
        let all_live = calls(i).all(|c| c.is_some_and(|c| live.contains(c)));
        let any_due = calls(i).any(|c| c.is_some_and(|c| due.contains(c)));
        (all_live, all_live && any_due)
    };
    let Some(best) = heard.ranked.first() else { return refuse(Reason::NoSuchCall, false, None) };
    // Of readings that cannot be told apart by ear, since their words are the same, the one that fits best is meant. What
    // answers something due is meant even if the search has left less of its score.
    let same: Vec<usize> = (0..heard.ranked.len())
        .filter(|i| {
            let other = &heard.ranked[*i];
            let near = best.score - other.score <= thresholds.bar(Class::Ordinary, best.words()).margin;
            let answers = fit(*i).1 && !fit(0).1 && other.meanings.len() == best.meanings.len();
            *i == 0 || ((near || answers) && same_words(heard, graph, *i))
        })
        .collect();
    let top = same.iter().map(|i| fit(*i)).max().unwrap_or_default();
    let mut equals: Vec<usize> = same.iter().copied().filter(|i| fit(*i) == top).collect();
    // Words that are one call were meant as one, even if they could be several calls in one breath.
    let fewest = equals.iter().map(|i| heard.ranked[*i].meanings.len()).min().unwrap_or_default();
    equals.retain(|i| heard.ranked[*i].meanings.len() == fewest);
    let chosen = equals[0];
    let reading = &heard.ranked[chosen];
    let text = Some(reading.text.clone());

    let ids: Vec<Option<CallId>> = calls(chosen).collect();
    let is_critical = ids.iter().flatten().any(|c| critical(*c));
    let class = match (is_critical, fit(chosen).1) {
        (true, _) => Class::Critical,
        (false, true) => Class::Due,
        (false, false) => Class::Ordinary,
    };
    let bar = thresholds.bar(class, reading.words());
    let any_live = ids.iter().flatten().any(|c| live.contains(*c));
    if ids.is_empty() || ids.iter().any(Option::is_none) {
        return refuse(Reason::NoSuchCall, false, text);
    }
    if reading.score.is_nan() || reading.score <= bar.score {
        let resembling = any_live && thresholds.resembles(reading);
        return refuse(Reason::NoSuchCall, resembling, text);
    }
    // What cannot be said now is no rival: of two calls that are not live it does not matter which was meant, and a live one
    // is not given up for the mere likeness of another. A critical call is.
    let lead = best.score.max(reading.score);
    let too_near = (0..heard.ranked.len())
        .filter(|i| *i != chosen && (equals.contains(i) || !same.contains(i)))
        .filter(|i| is_critical || calls(*i).any(|c| c.is_some_and(|c| live.contains(c))))
        .any(|i| {
            let rival = &heard.ranked[i];
            let margin = if reading.same_calls(rival) { bar.slot_margin } else { bar.margin };
            // What is due is likelier than anything else before a word is heard; but what is critical is no matter of odds.
            let awaited = fit(i).1 && !fit(chosen).1 && rival.score > thresholds.bar(Class::Due, rival.words()).score;
            let answers = fit(chosen).1 && !fit(i).1 && !is_critical && !calls(i).flatten().any(&critical);
            lead - rival.score
                <= match (awaited, answers) {
                    (true, _) => margin + thresholds.awaited,
                    (_, true) => (margin - thresholds.awaited).max(0.0),
                    _ => margin,
                }
        });
    if (any_live && equals.len() > 1) || too_near {
        return refuse(Reason::Tie, any_live, text);
    }
    if !any_live {
        return refuse(Reason::NotNow, false, text);
    }
    let (meanings, not_now): (Vec<_>, Vec<_>) =
        reading.meanings.iter().cloned().partition(|m| graph.call(&m.call).is_some_and(|c| live.contains(c)));
    Choice::Accept { meanings, not_now, score: reading.score }
}

/// Whether reading `i` could be the very words of the best one.
fn same_words(heard: &Heard, graph: &WordGraph, i: usize) -> bool {
    let (best, other) = (&heard.ranked[0], &heard.ranked[i]);
    if best.sounds_as(other) {
        return true;
    }
    let [meaning] = other.meanings.as_slice() else { return false };
    let said = best.text.to_lowercase();
    let kept = |c: char| c.is_alphanumeric() || c == '\'' || c == '-';
    let said: Vec<&str> = said.split(|c| !kept(c)).filter(|w| !w.is_empty()).collect();
    graph.call(&meaning.call).is_some_and(|call| accepts(graph, call, &said).contains(meaning))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::grammar::{NamedSlots, Rules, build, parse};
    use crate::core::matcher::Candidate;
    use crate::core::time::SessionTime;

    /// Other than the program's own: those are set by measurement.
    fn thresholds() -> Thresholds {
        Thresholds { awaited: 3.5, ..Thresholds::flat((2.0, 1.5), (4.0, 3.0), -1.0) }
    }

    /// Calls `a` to `f`; `c` and `d` have the same words; `f` is critical.
    fn graph() -> WordGraph {
        let say = [("a", "alpha one"), ("b", "beta"), ("c", "checked"), ("d", "checked"), ("e", "e"), ("f", "fire")];
        let calls = say.map(|(name, text)| (name.to_owned(), vec![parse(text).0]));
        build(&calls, &Rules::new(), &NamedSlots::new()).0
    }

    fn set(names: &str) -> CallSet {
        let graph = graph();
        names.chars().filter_map(|c| graph.call(&c.to_string())).collect()
    }

    /// `ranked`: calls of a reading as letters, its score and its text.
    fn check(live: &str, due: &str, ranked: &[(&str, f64, &str)], expected: &str) {
        let graph = graph();
        let ranked = ranked.iter().map(|(calls, score, text)| {
            let meanings = calls.chars().map(|c| Meaning { call: c.to_string(), slots: Default::default() }).collect();
            Candidate::new(meanings, *score, (*text).to_owned())
        });
        let speech = (SessionTime::ZERO, SessionTime::ZERO);
        let heard = Heard {
            revision: 1,
            ranked: ranked.collect(),
            unheard: None,
            typed: false,
            pushed: false,
            over_us: false,
            speech,
        };
        let critical = |c: CallId| graph.calls[c.0 as usize].name == "f";
        let choice = choose(&heard, &graph, &set(live), &set(due), critical, &thresholds());
        let names = |all: &[Meaning]| all.iter().map(|m| m.call.as_str()).collect::<String>();
        let told = match choice {
            Choice::Accept { meanings, not_now, .. } if not_now.is_empty() => names(&meanings),
            Choice::Accept { meanings, not_now, .. } => format!("{} not {}", names(&meanings), names(&not_now)),
            Choice::Refuse { reason, resembling: true, .. } => format!("{reason}, resembling"),
            Choice::Refuse { reason, .. } => reason.to_string(),
        };
        assert_eq!(told, expected, "live {live} due {due} {heard:?}");
    }

    #[test]
    fn score_and_margin() {
        check("ab", "", &[("a", 5.0, "")], "a");
        check("ab", "", &[("a", 2.0, "")], "no such call, resembling");
        check("ab", "", &[("a", -1.0, "")], "no such call");
        check("ab", "", &[("a", f64::NAN, "")], "no such call");
        check("ab", "", &[], "no such call");
        check("ab", "", &[("a", 5.0, "alpha one"), ("b", 3.4, "beta")], "a");
        check("ab", "", &[("a", 5.0, "alpha one"), ("b", 3.5, "beta")], "tie, resembling");
        check("ab", "b", &[("a", 5.0, "alpha one"), ("b", 4.9, "beta")], "tie, resembling");
        // What is due must be led by more, if it could itself be accepted.
        check("ab", "", &[("a", 7.0, "alpha one"), ("b", 2.5, "beta")], "a");
        check("ab", "b", &[("a", 7.0, "alpha one"), ("b", 2.5, "beta")], "tie, resembling");
        check("ab", "b", &[("a", 8.0, "alpha one"), ("b", 2.5, "beta")], "a");
        check("ab", "b", &[("a", 5.0, "alpha one"), ("b", 0.5, "beta")], "a");
        // And needs no lead itself, but over what is critical, and over other answers.
        check("ab", "b", &[("b", 5.0, "beta"), ("a", 4.9, "alpha one")], "b");
        check("bf", "b", &[("b", 5.0, "beta"), ("f", 4.9, "fire")], "tie, resembling");
        check("ab", "ab", &[("b", 5.0, "beta"), ("a", 4.9, "alpha one")], "tie, resembling");
        check("ab", "b", &[("b", 1.9, "beta"), ("a", 1.0, "alpha one")], "no such call, resembling");
        check("ab", "", &[("z", 5.0, "")], "no such call");
    }

    #[test]
    fn what_is_live() {
        check("b", "", &[("a", 5.0, "")], "not now");
        check("", "", &[("a", 5.0, "")], "not now");
        check("b", "", &[("a", 1.0, "")], "no such call");
        check("ab", "", &[("ab", 5.0, "")], "ab");
        check("a", "", &[("ab", 5.0, "")], "a not b");
        check("b", "", &[("ab", 5.0, "")], "b not a");
        // Neither of two that are not live is a rival.
        check("b", "", &[("b", 5.0, "beta"), ("a", 4.9, "alpha one")], "b");
        check("b", "", &[("a", 5.0, "alpha one"), ("e", 4.9, "e")], "not now");
        check("b", "", &[("a", 5.0, "alpha one"), ("b", 4.9, "beta")], "tie");
    }

    #[test]
    fn same_words() {
        check("cd", "", &[("c", 5.0, "checked"), ("d", 5.0, "checked")], "tie, resembling");
        check("cd", "d", &[("c", 5.0, "Checked."), ("d", 4.9, "checked")], "d");
        check("cd", "cd", &[("c", 5.0, "checked"), ("d", 4.9, "checked")], "tie, resembling");
        check("d", "", &[("c", 5.0, "checked"), ("d", 4.9, "checked")], "d");
        check("bcd", "d", &[("c", 5.0, "checked"), ("d", 4.9, "checked"), ("b", 4.8, "beta")], "d");
        check("cd", "d", &[("c", 5.0, "checked"), ("d", 4.9, "checked"), ("b", 4.8, "beta")], "d");
        check("abc", "", &[("ab", 5.0, "checked"), ("c", 4.9, "checked")], "c");
        check("cd", "d", &[("c", 5.0, "stand by"), ("d", 4.0, "standby")], "d");
        // The due call's best wording is another, but the words that were heard are its own too.
        check("cd", "d", &[("c", 5.0, "checked"), ("d", 4.9, "check")], "d");
    }

    #[test]
    fn critical_calls() {
        check("f", "", &[("f", 5.0, "")], "f");
        check("f", "", &[("f", 4.0, "")], "no such call, resembling");
        check("af", "", &[("f", 6.0, "fire"), ("a", 3.5, "alpha one")], "tie, resembling");
        check("af", "", &[("a", 6.0, "alpha one"), ("f", 4.0, "fire")], "a");
        check("f", "", &[("f", 6.0, "fire"), ("a", 3.5, "alpha one")], "tie, resembling");
        check("af", "", &[("af", 3.0, "")], "no such call, resembling");
    }

    #[test]
    fn nothing_to_choose_from() {
        let graph = graph();
        for (unheard, text) in [
            (Unheard::NothingSaid, "nothing said"),
            (Unheard::TooFaint, "too faint"),
            (Unheard::MicrophoneDead, "microphone dead"),
        ] {
            let speech = (SessionTime::ZERO, SessionTime::ZERO);
            let heard = Heard {
                revision: 1,
                ranked: Vec::new(),
                unheard: Some(unheard),
                typed: false,
                pushed: true,
                over_us: false,
                speech,
            };
            let choice = choose(&heard, &graph, &set("a"), &set(""), |_| false, &Thresholds::default());
            let Choice::Refuse { reason, resembling: false, text: None } = choice else { panic!("{choice:?}") };
            assert_eq!(reason.to_string(), text);
        }
    }

    #[test]
    fn text_scores_stand_on_the_scale_of_the_text_matcher() {
        let bar = Thresholds::text().bar(Class::Ordinary, 1);
        assert!(bar.margin < super::super::SPLIT && bar.score == super::super::AT_LIMIT);
    }
}
