//! What of a book sounds alike: pairs of calls that can be live together, and values of its own slots.

use super::Book;
use super::load::contexts;
use crate::core::grammar::{CallId, CallSet, Likeness, Sounds};
use crate::core::words::WHOLE;
use serde::Serialize;

/// Pairs further apart than this are not told, in hundredths of a sound.
const LIMIT: u32 = 160;
/// A pair with a critical call is put so much further up.
const CRITICAL: u32 = 40;

/// Two things that a listener may take for each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Confusion {
    /// A call, or `$TYPE` for a value of a slot.
    pub first: String,
    /// The other.
    pub second: String,
    /// How far the two sentences are apart, in sounds: 0 where no difference can be heard, 1 for one quite another sound.
    pub apart: f64,
    /// The sentence of the first.
    pub first_said: String,
    /// The sentence of the second.
    pub second_said: String,
    /// Phases in which both are live; empty for a book without phases.
    pub phases: Vec<String>,
    /// Whether one of them is critical.
    pub critical: bool,
    /// Whether one of them is an answer, live only while it is due.
    pub answer: bool,
    /// What the author can do.
    pub hint: String,
}

impl Book {
    /// Everything that sounds alike while both can be said, worst first; a critical call makes a pair worse.
    pub fn confusions(&self) -> Vec<Confusion> {
        let sounds = Sounds::new(&self.graph);
        let live = contexts(self);
        let mut found: Vec<(u32, Confusion)> = Vec::new();
        let calls: Vec<CallId> = (0..self.calls.len()).map(|i| CallId(i as u16)).collect();
        for (i, a) in calls.iter().enumerate() {
            for b in &calls[i + 1..] {
                let Some(phases) = self.together(*a, *b, &live) else { continue };
                let Some(like) = sounds.nearest(*a, *b, LIMIT) else { continue };
                let answer = [a, b].iter().any(|c| self.is_answer(**c));
                // What is due wins over the same words elsewhere: that is how a book is meant.
                if answer && like.first == like.second {
                    continue;
                }
                let critical = self.is_critical(*a) || self.is_critical(*b);
                let name = |c: &CallId| self.calls[c.0 as usize].id.clone();
                let rank = if critical { like.apart.saturating_sub(CRITICAL) } else { like.apart };
                let hint = hint(&like, &name(b), answer || phases.is_empty());
                found.push((rank, confusion(name(a), name(b), &like, phases, critical, answer, hint)));
            }
        }
        for (slot, like) in sounds.values(LIMIT) {
            let users: Vec<CallId> = calls
                .iter()
                .copied()
                .filter(|c| {
                    let kind = |s: &crate::core::grammar::SlotDef| {
                        matches!(&s.kind, crate::core::words::SlotKind::Named { name, .. } if *name == slot)
                    };
                    self.graph.calls.get(c.0 as usize).is_some_and(|g| g.slots.iter().any(kind))
                })
                .collect();
            let critical = users.iter().any(|c| self.is_critical(*c));
            let phases = self.phases_where(&live, |set| users.iter().any(|c| set.contains(*c)));
            let rank = if critical { like.apart.saturating_sub(CRITICAL) } else { like.apart };
            let hint = format!("give one of these values of `{slot}` another word, or one more");
            let name = format!("${slot}");
            found.push((rank, confusion(name.clone(), name, &like, phases, critical, false, hint)));
        }
        found.sort_by(|a, b| (a.0, &a.1.first, &a.1.second).cmp(&(b.0, &b.1.first, &b.1.second)));
        found.into_iter().map(|(_, c)| c).collect()
    }

    fn is_answer(&self, call: CallId) -> bool {
        let call = &self.calls[call.0 as usize];
        call.answer_only || call.id.contains('/')
    }

    fn phases_where(&self, live: &[CallSet], holds: impl Fn(&CallSet) -> bool) -> Vec<String> {
        self.phases.iter().zip(live).filter(|(_, set)| holds(set)).map(|(p, _)| p.id.clone()).collect()
    }

    /// The phases in which both can be said, or `None` if they never can. An answer can be due wherever its list can be
    /// read; two answers are hardly ever due together.
    fn together(&self, a: CallId, b: CallId, live: &[CallSet]) -> Option<Vec<String>> {
        let said_in = |call: CallId, phase: usize, set: &CallSet| {
            if !self.is_answer(call) {
                return set.contains(call);
            }
            let id = &self.calls[call.0 as usize].id;
            let list = self.checklists.iter().find(|l| id.split_once('/').is_some_and(|(of, _)| of == l.id));
            list.is_none_or(|l| l.phases.is_empty() || l.phases.iter().any(|p| p.0 as usize == phase))
        };
        if self.is_answer(a) && self.is_answer(b) {
            return None;
        }
        let mut any = false;
        let mut phases = Vec::new();
        for (i, set) in live.iter().enumerate() {
            if said_in(a, i, set) && said_in(b, i, set) {
                any = true;
                phases.extend(self.phases.get(i).map(|p| p.id.clone()));
            }
        }
        any.then_some(phases)
    }
}

fn confusion(
    first: String,
    second: String,
    like: &Likeness,
    phases: Vec<String>,
    critical: bool,
    answer: bool,
    hint: String,
) -> Confusion {
    Confusion {
        first,
        second,
        apart: f64::from(like.apart) / f64::from(WHOLE),
        first_said: like.first.join(" "),
        second_said: like.second.join(" "),
        phases,
        critical,
        answer,
        hint,
    }
}

/// What the author can do about two calls; `one` names the one to change.
fn hint(like: &Likeness, one: &str, only_words: bool) -> String {
    let same = like.first.iter().zip(&like.second).take_while(|(a, b)| a == b).count();
    let rest_a = &like.first[same..];
    let rest_b = &like.second[same..];
    let tail = rest_a.iter().rev().zip(rest_b.iter().rev()).take_while(|(a, b)| a == b).count();
    let differ = rest_b[..rest_b.len() - tail].join(" ");
    let what = if like.apart == 0 {
        format!("nobody can hear a difference: reword `{one}`")
    } else if differ.is_empty() {
        let more = rest_a[..rest_a.len() - tail].join(" ");
        format!("only \"{more}\" tells them apart: give `{one}` a word of its own")
    } else {
        format!("say something else for \"{differ}\" in `{one}`, or add a word")
    };
    if only_words { what } else { format!("{what}; or give the two `phases` that do not overlap") }
}

#[cfg(test)]
mod tests {
    use crate::core::book::{Book, Folder, SourceFile, load};

    fn book(text: &str) -> Book {
        let files = vec![SourceFile { name: "book.toml".into(), text: text.into() }];
        load(&Folder { id: "x".into(), files }, &|_| None).book
    }

    const BOOK: &str = r#"
        [book]
        title = "x"
        [phases.ground]
        [phases.air]
        [slots.light]
        values = [{ value = 1, say = "on" }, { value = 2, say = "an" }, { value = 3, say = "very bright" }]
        [calls.light]
        say = "landing lamp $light:to please"
        [calls.brakes_on]
        say = ["brakes set"]
        phases = ["ground"]
        [calls.breaks]
        say = ["breaks said", "pause"]
        phases = ["ground"]
        [calls.elsewhere]
        say = ["brakes sit"]
        phases = ["air"]
        [calls.stop]
        say = ["stop"]
        critical = true
        [calls.top]
        say = ["top"]
        phases = ["ground"]
    "#;

    #[test]
    fn tells_what_sounds_alike_while_both_are_live() {
        let all = book(BOOK).confusions();
        let pairs: Vec<(&str, &str)> = all.iter().map(|c| (c.first.as_str(), c.second.as_str())).collect();
        assert!(pairs.contains(&("brakes_on", "breaks")), "{all:?}");
        assert!(pairs.contains(&("$light", "$light")), "{all:?}");
        // In no phase together.
        assert!(!pairs.iter().any(|p| p.0 == "elsewhere" || p.1 == "elsewhere"), "{pairs:?}");
        let stop = all.iter().find(|c| c.first == "stop").expect("stop and top");
        assert!(stop.critical && stop.phases == ["ground"] && stop.hint.contains("`top`"), "{stop:?}");
        assert_eq!((stop.first_said.as_str(), stop.second_said.as_str()), ("stop", "top"));
    }
}
