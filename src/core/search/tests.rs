use super::tokens::small;
use super::*;
use crate::core::grammar::{
    Arc, CallGraph, CallId, CallSet, Label, Node, NodeId, Range, SlotDef, SlotId, WordGraph, WordId,
};
use crate::core::words::SlotKind;
use std::convert::Infallible;

/// Builds a graph from calls of one wording each: words, and `{` `}` around a slot's words; `|` is not needed here.
fn graph(calls: &[(&str, &str)]) -> WordGraph {
    let mut g = WordGraph::default();
    for (name, wording) in calls {
        let entry = NodeId(g.nodes.len() as u32);
        let mut slots = Vec::new();
        for part in wording.split(' ') {
            let label = match part {
                "{" => {
                    slots.push(SlotDef { name: format!("s{}", slots.len()), kind: SlotKind::Number, range: None });
                    Label::Open(SlotId(slots.len() as u8 - 1))
                }
                "}" => Label::Close(SlotId(slots.len() as u8 - 1)),
                word => {
                    let at = g.words.iter().position(|w| w == word).unwrap_or_else(|| {
                        g.words.push(word.into());
                        g.words.len() - 1
                    });
                    Label::Word(WordId(at as u32))
                }
            };
            let to = NodeId(g.nodes.len() as u32 + 1);
            g.nodes.push(Node { arcs: vec![Arc { label, to }] });
        }
        let exit = NodeId(g.nodes.len() as u32);
        g.nodes.push(Node::default());
        g.calls.push(CallGraph { name: (*name).into(), entry, exit, slots, never_alone: false });
    }
    g
}

/// The texts of a batch, grown out of those of the last.
fn grown(before: &[Vec<Token>], rows: &[Row]) -> Vec<Vec<Token>> {
    rows.iter().map(|r| before[r.parent].iter().copied().chain([r.token]).collect()).collect()
}

/// A model that has heard one text and, in noise, likes every token alike.
struct Fake {
    heard: Vec<Token>,
    rows: Vec<Vec<Token>>,
    /// How much noise alone likes the first token of `liked`, ln.
    liked: Option<(Token, f32)>,
}

impl StepModel for Fake {
    type Error = Infallible;
    fn start(&mut self) -> Result<(), Infallible> {
        self.rows = vec![Vec::new()];
        Ok(())
    }
    fn step(&mut self, rows: &[Row]) -> Result<(), Infallible> {
        self.rows = grown(&self.rows, rows);
        Ok(())
    }
    fn odds(&self, row: usize, token: Token) -> Odds {
        let at = &self.rows[row];
        let right = self.heard.starts_with(at) && self.heard.get(at.len()) == Some(&token);
        let noise = self.liked.filter(|l| l.0 == token).map_or(-4.0, |l| l.1);
        Odds { sound: if right { -0.1 } else { -6.0 }, noise, likeliest: -0.1 }
    }
}

const TABLE: &[&str] = &[
    " ", ",", ".", "!", "?", "0", "1", "2", "5", "7", "V", " V", " v", "one", " one", "gear", " gear", " Gear", " up",
    " Up", " flaps", " Flaps", " take", "off", " off", " take", "on", " two", " seven", " to", "up", "take", "Take",
    " Take", "-",
];

fn hear(calls: &[(&str, &str)], said: &str, live: Option<&[u16]>) -> Found {
    let live = live.map_or_else(|| CallSet::all(calls.len()), |l| l.iter().map(|i| CallId(*i)).collect());
    hear_in(&graph(calls), said, &live, Settings::default())
}

fn hear_in(graph: &WordGraph, said: &str, live: &CallSet, settings: Settings) -> Found {
    let lattice = Lattice::new(graph, small(TABLE));
    let mut heard = lattice.tokens().encode(said);
    heard.push(2);
    let mut model = Fake { heard, rows: Vec::new(), liked: None };
    search(&lattice, live, &settings, &mut model).unwrap()
}

/// The calls of the best reading, as `name(slot=value)`.
fn best(found: &Found) -> String {
    let Some(c) = found.ranked.first() else { return "none".into() };
    let one = |m: &crate::core::grammar::Meaning| {
        let slots: Vec<String> = m.slots.iter().map(|(k, v)| format!("{k}={v}")).collect();
        if slots.is_empty() { m.call.clone() } else { format!("{}({})", m.call, slots.join(",")) }
    };
    c.meanings.iter().map(one).collect::<Vec<_>>().join(" ")
}

const CALLS: &[(&str, &str)] = &[
    ("gear_up", "gear up"),
    ("v1", "v one"),
    ("flaps", "flaps { two seven }"),
    ("both", "flaps { two } { seven }"),
    ("off", "take off"),
    ("takeoff", "takeoff"),
    ("gear", "gear"),
];

#[test]
fn finds_every_way_to_write_a_call() {
    for (said, want, words) in [
        (" Gear up.", "gear_up", "gear up"),
        (" V1.", "v1", "v one"),
        (" V-1", "v1", "v one"),
        (" v one!", "v1", "v one"),
        (" Flaps 27.", "flaps(s0=27)", "flaps two seven"),
        (" flaps to seven", "flaps(s0=27)", "flaps two seven"),
        (" Takeoff.", "off", "take off"),
        (" take-off", "off", "take off"),
        (" Gear up, flaps 27. V1", "gear_up flaps(s0=27) v1", "gear up, flaps two seven, v one"),
        (" Gear", "gear", "gear"),
    ] {
        let found = hear(CALLS, said, None);
        assert_eq!(best(&found), want, "{said:?}: {:?}", found.ranked);
        assert!(found.ranked[0].score > 0.0, "{said:?}");
        assert_eq!(found.ranked[0].text, words, "{said:?}: the text is the words spoken");
    }
}

#[test]
fn a_call_that_only_puts_another_off_is_never_heard_alone() {
    let mut graph = graph(CALLS);
    let all = CallSet::all(CALLS.len());
    graph.calls[2].never_alone = true;
    for (said, want) in
        [(" Flaps 27, gear up.", "flaps(s0=27) gear_up"), (" Gear up, flaps 27.", "gear_up flaps(s0=27)")]
    {
        assert_eq!(best(&hear_in(&graph, said, &all, Settings::default())), want, "{said:?}");
    }
    let alone = hear_in(&graph, " Flaps 27.", &all, Settings::default());
    assert!(alone.ranked.iter().all(|c| c.meanings.iter().any(|m| m.call != "flaps")), "{:?}", alone.ranked);
}

#[test]
fn a_number_out_of_its_range_is_never_heard() {
    let (mut graph, all) = (graph(CALLS), CallSet::all(CALLS.len()));
    for (from, to, step, within) in
        [(0.0, 40.0, 1.0, true), (0.0, 20.0, 1.0, false), (0.0, 40.0, 9.0, true), (0.0, 40.0, 10.0, false)]
    {
        graph.calls[2].slots[0].range = Some(Range { from, to, step });
        let found = hear_in(&graph, " Flaps 27.", &all, Settings::default());
        assert_eq!(best(&found) == "flaps(s0=27)", within, "{from} to {to} by {step}: {:?}", found.ranked);
    }
}

#[test]
fn two_values_of_one_call_in_a_row_are_heard_on_the_radio_only() {
    let calls = [("flaps", "flaps { two seven }"), ("less", "flaps { two }"), ("gear", "gear")];
    let (mut graph, all) = (graph(&calls), CallSet::all(calls.len()));
    graph.calls[1].name = "flaps".into();
    let said = " Flaps 27, flaps 2.";
    let twice = hear_in(&graph, said, &all, Settings { twice: true, ..Settings::default() });
    assert_eq!(best(&twice), "flaps(s0=27) flaps(s0=2)");
    // The very same again counts once, and is not bent to another value.
    let same = hear_in(&graph, " Flaps 27, flaps 27, gear.", &all, Settings { twice: true, ..Settings::default() });
    assert_eq!((best(&same).as_str(), same.ranked[0].text.as_str()), ("flaps(s0=27) gear", "flaps two seven, gear"));
    let once = hear_in(&graph, said, &all, Settings::default());
    assert!(once.ranked.iter().all(|c| c.meanings.windows(2).all(|w| w[0].call != w[1].call)), "{:?}", once.ranked);
}

#[test]
fn what_the_model_would_rather_write_strains_a_reading() {
    let clear = hear(CALLS, " Gear up.", None);
    let other = hear(CALLS, " to two.", Some(&[0]));
    assert!(clear.ranked[0].strain < 0.1, "{:?}", clear.ranked);
    assert!(other.ranked.iter().all(|c| c.strain > 10.0), "{:?}", other.ranked);
}

#[test]
fn a_mask_leaves_calls_out() {
    assert_eq!(best(&hear(CALLS, " V1.", Some(&[1]))), "v1");
    let without = hear(CALLS, " V1.", Some(&[0, 2]));
    assert!(without.ranked.iter().all(|c| c.meanings.iter().all(|m| m.call != "v1")));
    assert!(without.ranked.first().is_none_or(|c| c.score < 0.0));
    assert_eq!(hear(CALLS, " V1.", Some(&[])).ranked, []);
    assert_eq!(best(&hear(CALLS, " V1.", Some(&[1, 999]))), "v1");
}

#[test]
fn one_text_of_two_meanings_is_a_tie() {
    let found = hear(CALLS, " Flaps 27.", None);
    assert!(found.ranked.len() >= 2);
    assert_eq!(found.ranked[0].score, found.ranked[1].score);
}

#[test]
fn tells_whether_a_call_could_go_on() {
    assert!(!hear(CALLS, " Gear", None).whole, "gear could become gear up");
    assert!(!hear(CALLS, " Gear.", None).whole, "a full stop changes nothing");
    assert!(hear(CALLS, " Gear", Some(&[6])).whole, "no longer call is live");
    assert!(hear(CALLS, " Gear up", None).whole);
}

#[test]
fn a_fourth_call_has_no_room() {
    let found = hear(CALLS, " Gear. V1. Gear. V1.", None);
    assert_eq!(best(&found), "gear v1 gear");
    assert_eq!(found.ranked.iter().map(|c| c.meanings.len()).max(), Some(3));
}

#[test]
fn what_noise_likes_counts_less() {
    let lattice = Lattice::new(&graph(CALLS), small(TABLE));
    let mut heard = lattice.tokens().encode(" gear");
    let last = heard[heard.len() - 1];
    heard.push(2);
    let score = |liked| {
        let mut model = Fake { heard: heard.clone(), rows: Vec::new(), liked };
        let found = search(&lattice, &CallSet::all(CALLS.len()), &Settings::default(), &mut model).unwrap();
        found.ranked.iter().find(|c| c.meanings[0].call == "gear").unwrap_or_else(|| panic!("{found:?}")).score
    };
    assert!(score(Some((last, -1.0))) < score(None) - 1.0);
}

#[test]
fn a_wording_that_nobody_spoke_changes_nothing() {
    let lattice = Lattice::new(&graph(CALLS), small(TABLE));
    let mut heard = lattice.tokens().encode(" gear up");
    heard.push(2);
    let capital = lattice.tokens().encode("G")[0];
    let score = |liked| {
        let mut model = Fake { heard: heard.clone(), rows: Vec::new(), liked };
        let found = search(&lattice, &CallSet::all(CALLS.len()), &Settings::default(), &mut model).unwrap();
        found.ranked.iter().find(|c| c.meanings[0].call == "gear_up").unwrap_or_else(|| panic!("{found:?}")).score
    };
    // Noise alone would write "Gear up" gladly, but "gear up" is what was heard.
    let (gladly, not) = (score(Some((capital, -0.1))), score(None));
    assert!((gladly - not).abs() < 0.1, "{gladly} {not}");
}

/// The rows that a search asks of its model, as texts.
#[derive(Default)]
struct Asking {
    rows: Vec<Vec<Token>>,
    asked: std::collections::BTreeSet<Vec<Token>>,
}

impl StepModel for Asking {
    type Error = Infallible;
    fn start(&mut self) -> Result<(), Infallible> {
        self.rows = vec![Vec::new()];
        Ok(())
    }
    fn step(&mut self, rows: &[Row]) -> Result<(), Infallible> {
        self.rows = grown(&self.rows, rows);
        self.asked.extend(self.rows.iter().cloned());
        Ok(())
    }
    fn odds(&self, _: usize, _: Token) -> Odds {
        Odds { sound: -1.0, noise: -1.0, likeliest: -1.0 }
    }
}

#[test]
fn what_a_search_will_ask_is_told_ahead_of_it() {
    let lattice = Lattice::new(&graph(CALLS), small(TABLE));
    for live in [CallSet::all(CALLS.len()), [CallId(1), CallId(2)].into_iter().collect(), CallSet::none()] {
        let mut texts: Vec<Vec<Token>> = vec![Vec::new()];
        let mut ahead = Ahead::new(&lattice, &live);
        while let Some(next) = ahead.pop() {
            let text: Vec<Token> = texts[next.parent].iter().copied().chain([next.token]).collect();
            assert!(text.len() >= texts[texts.len() - 1].len(), "shortest first");
            texts.push(text);
            ahead.grown(&lattice, &next, texts.len() - 1);
        }
        // One call a breath is prepared, and the book is small enough that nothing of it is left out.
        let settings = Settings { calls: 1, beam: 500, wide: 500, behind: 1e9, window: 1e9, ..Settings::default() };
        let mut model = Asking::default();
        search(&lattice, &live, &settings, &mut model).unwrap();
        let told: std::collections::BTreeSet<Vec<Token>> = texts[1..].iter().cloned().collect();
        assert_eq!(told.len(), texts.len() - 1, "nothing twice");
        assert_eq!(told, model.asked);
    }
}
