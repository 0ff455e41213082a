#![no_main]
//! A wording as an author may write it: no panic, problems point into the text, what is right prints to text that reads the
//! same, and every sentence drawn from the graph is one of its own and is understood when typed.

use antiphon::core::grammar::{CallId, CallSet, NamedSlots, Rules, accepts, build, parse, sample, sentences};
use antiphon::core::matcher::match_text;
use antiphon::core::time::SessionTime;
use libfuzzer_sys::fuzz_target;
use rand_core::SeedableRng;
use rand_pcg::Pcg32;

fuzz_target!(|data: &[u8]| {
    let Ok(text) = std::str::from_utf8(data) else { return };
    let (expansion, problems) = parse(text);
    for p in &problems {
        assert!(text.get(p.span.clone()).is_some(), "{p:?}");
        assert!(p.other.clone().is_none_or(|o| text.get(o).is_some()), "{p:?}");
        assert!(!p.message.is_empty());
    }
    if problems.is_empty() {
        let printed = expansion.to_string();
        let (again, none) = parse(&printed);
        assert_eq!(again.to_string(), printed);
        assert!(none.is_empty(), "{printed}: {none:?}");
    }
    let calls = [("call".to_string(), vec![expansion])];
    let (graph, _) = build(&calls, &Rules::new(), &NamedSlots::new());
    assert!(sentences(&graph, CallId(0)) > 0 || sample(&graph, CallId(0), &mut Pcg32::seed_from_u64(0)).is_none());
    let mut rng = Pcg32::seed_from_u64(data.len() as u64);
    let Some((said, meaning)) = sample(&graph, CallId(0), &mut rng) else { return };
    let words: Vec<&str> = said.iter().map(String::as_str).collect();
    assert!(accepts(&graph, CallId(0), &words).contains(&meaning), "{said:?}");
    if words.len() <= 40 {
        let now = (SessionTime::ZERO, SessionTime::ZERO);
        let heard = match_text(&graph, &CallSet::all(1), &said.join(" "), 1, now);
        assert!(!heard.ranked.is_empty(), "{said:?} is not understood");
    }
});
