//! What the pilot corrected in a session: what he meant, and in which words he said it the second time.

use super::read::Journal;
use super::record::Line;
use crate::core::book::Book;
use crate::core::book::schema::{Act, Intrinsic};
use crate::core::crew::io::{Action, Input, Note};
use crate::core::time::SessionTime;

/// A call that follows a correction within this is what was meant, s.
const WITHIN_S: f64 = 15.0;

/// For each call that was accepted right after "correction" or "negative", by sound: the call and its words. Critical calls
/// are left out: nothing is learned of them.
pub fn corrections(journal: &Journal, book: &Book) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut taken_back: Option<SessionTime> = None;
    let mut words: Option<&str> = None;
    for entry in &journal.entries {
        match &entry.line {
            Line::In { input: Input::Heard { heard }, .. } => {
                words = heard.ranked.first().filter(|_| !heard.typed).map(|c| c.text.as_str());
            }
            Line::Out { stamp, action: Action::Note(Note::Accepted { meaning, .. }), .. } => {
                let Some(id) = book.call(&meaning.call) else { continue };
                let does = &book.calls[id.0 as usize].does;
                let takes_back = |a: &Act| matches!(a, Act::Engine(Intrinsic::Correction | Intrinsic::Negative));
                if does.iter().any(|e| takes_back(&e.act)) {
                    taken_back = Some(stamp.at);
                } else if let Some(before) = taken_back.take()
                    && stamp.at.secs() - before.secs() <= WITHIN_S
                    && !book.is_critical(id)
                    && let Some(words) = words
                {
                    found.push((meaning.call.clone(), words.to_string()));
                }
            }
            _ => {}
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::super::{read, toy};
    use super::*;
    use crate::core::book::{Folder, SourceFile, load};
    use crate::core::crew::io::{Engine, Step};
    use crate::core::grammar::Meaning;
    use crate::core::matcher::{Candidate, Heard};
    use crate::core::time::SimTime;

    /// Accepts whatever it hears.
    struct Accepts;

    impl Engine for Accepts {
        fn handle(&mut self, _: SessionTime, _: SimTime, input: &Input) -> Step {
            let Input::Heard { heard } = input else { return Step::default() };
            let note = |m: &Meaning| Action::Note(Note::Accepted { meaning: m.clone(), score: 9.0 });
            Step { actions: heard.ranked[0].meanings.iter().map(note).collect(), ..Step::default() }
        }
    }

    fn told(said: &[(f64, &str, &str)]) -> Vec<(String, String)> {
        let text = "[calls.no]\nsay = \"negative\"\ndoes = { engine = \"negative\" }\n[calls.flaps]\nsay = \"flaps up\"\n\
                    [calls.stop]\nsay = \"stop\"\ncritical = true\n";
        let files = vec![SourceFile { name: "x.toml".into(), text: text.into() }];
        let book = load(&Folder { id: "x".into(), files }, &|_| None).book;
        let heard = |(at, call, text): &(f64, &str, &str)| {
            let meanings = vec![Meaning { call: (*call).to_string(), slots: Default::default() }];
            let ranked = vec![Candidate::new(meanings, 9.0, (*text).to_string())];
            let now = SessionTime::from_secs(*at);
            let typed = text.starts_with("typed");
            let heard =
                Heard { revision: 1, ranked, unheard: None, typed, pushed: false, over_us: false, speech: (now, now) };
            (*at, Input::Heard { heard })
        };
        let inputs: Vec<_> = said.iter().map(heard).collect();
        let journal = read(toy::write(&inputs, &mut Accepts).as_bytes()).unwrap();
        corrections(&journal, &book)
    }

    #[test]
    fn what_follows_a_correction_is_what_was_meant() {
        let meant = vec![("flaps".to_string(), "flaps up".to_string())];
        assert_eq!(told(&[(1.0, "no", "negative"), (4.0, "flaps", "flaps up"), (5.0, "flaps", "flaps up")]), meant);
        for nothing in [
            vec![(4.0, "flaps", "flaps up")],
            vec![(1.0, "no", "negative"), (40.0, "flaps", "flaps up")],
            vec![(1.0, "no", "negative"), (4.0, "stop", "stop")],
            vec![(1.0, "no", "negative"), (4.0, "flaps", "typed flaps up")],
        ] {
            assert_eq!(told(&nothing), [], "{nothing:?}");
        }
    }
}
