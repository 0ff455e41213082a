//! Text in, meanings and scores out.

use super::*;
use crate::core::aircraft::Value;
use crate::core::grammar::{NamedSlots, Rules, build, parse, sample};
use proptest::prelude::*;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::sync::LazyLock;

const CALLS: &[(&str, &[&str])] = &[
    ("gear_up", &["gear up"]),
    ("gear_down", &["gear down"]),
    ("flaps", &["[set] flaps $flap"]),
    ("heading", &["heading $heading:to", "fly heading $heading:to"]),
    ("altitude", &["altitude $altitude"]),
    ("level", &["climb flight level $level"]),
    ("tune", &["tune $frequency"]),
    ("before_start", &["before start checklist"]),
    ("before_takeoff", &["before takeoff checklist"]),
    ("ready", &["we are ready for departure"]),
    ("locked", &["locked"]),
    ("v_one", &["v one"]),
    ("runway", &["runway $runway"]),
    ("cut", &["cut the tree"]),
    ("gear", &["gear"]),
    ("up", &["up"]),
];

static GRAPH: LazyLock<WordGraph> = LazyLock::new(graph);

fn graph() -> WordGraph {
    let calls: Vec<_> = CALLS
        .iter()
        .map(|(name, say)| ((*name).to_owned(), say.iter().map(|t| parse(t).0).collect::<Vec<_>>()))
        .collect();
    let flap = [("0", "up"), ("1", "one"), ("20", "twenty")];
    let named = NamedSlots::from([(
        "flap".to_owned(),
        flap.iter().map(|(v, t)| (Value::Word((*v).to_owned()), parse(t).0)).collect::<Vec<_>>(),
    )]);
    let (graph, problems) = build(&calls, &Rules::new(), &named);
    assert!(problems.is_empty(), "{problems:?}");
    graph
}

fn heard(text: &str) -> Heard {
    let graph = &*GRAPH;
    match_text(graph, &CallSet::all(graph.calls.len()), text, 1, (SessionTime::ZERO, SessionTime::ZERO))
}

fn shown(c: &Candidate) -> String {
    let one = |m: &Meaning| {
        let slots: Vec<String> = m.slots.iter().map(|(k, v)| format!(" {k}={v}")).collect();
        m.call.clone() + &slots.concat()
    };
    c.meanings.iter().map(one).collect::<Vec<_>>().join(" + ")
}

/// The best reading with its score; nothing if there is none.
fn check(text: &str, expected: &str) {
    let heard = heard(text);
    let best = heard.ranked.first().map(|c| format!("{} {:.1}", shown(c), c.score)).unwrap_or_default();
    assert_eq!(best, expected, "of {text:?}, all {:?}", heard.ranked);
}

#[test]
fn word_for_word() {
    check("gear up", "gear_up 10.0");
    check("  Gear UP! ", "gear_up 10.0");
    check("flaps 20", "flaps flap=20 10.0");
    check("set flaps one", "flaps flap=1 10.0");
    check("V1", "v_one 10.0");
    check("heading 270", "heading to=270 10.0");
    check("heading tree six zero", "heading to=360 10.0");
    check("heading oh niner oh", "heading to=90 10.0");
    check("altitude 3,400", "altitude altitude=3400 10.0");
    check("altitude 12000", "altitude altitude=12000 10.0");
    check("climb FL180", "level level=180 10.0");
    check("climb FL 100", "level level=100 10.0");
    check("climb flight level one hundred", "level level=100 10.0");
    check("tune 118.5", "tune frequency=118.5 10.0");
    check("tune 121.725", "tune frequency=121.725 10.0");
    check("runway 27L", "runway runway=27L 10.0");
    check("runway 27C", "runway runway=27C 10.0");
    check("before-start checklist", "before_start 10.0");
    // A word of a book of another field is not taken for a number.
    check("cut the tree", "cut 10.0");
    check("cut the three", "");
}

#[test]
fn several_in_one_breath() {
    check("gear up, flaps 1", "gear_up + flaps flap=1 8.4");
    check("v one gear up flaps up", "v_one + gear_up + flaps flap=0 6.8");
    check("gear up gear up gear up gear up", "");
    // One whole call before the same words cut in two.
    let heard = heard("gear up");
    assert_eq!(heard.ranked.iter().map(shown).collect::<Vec<_>>(), ["gear_up", "gear + up"]);
    assert!(heard.margin() > 1.5);
}

#[test]
fn near_enough() {
    check("gaer up", "gear_up 6.0");
    check("befroe start checklist", "before_start 8.2");
    check("we are ready departure", "ready 4.2");
    check("we are really ready for departure", "ready 4.2");
    check("um we are ready for departure", "ready 4.2");
}

#[test]
fn not_near_enough() {
    check("", "");
    check("what a lovely day", "");
    check("start checklist", "before_start 0.4");
    check("unlocked", "");
    check("gear", "gear 10.0");
    // A word that turns the sentence round is never passed over.
    check("we are not ready for departure", "");
    // Nothing is guessed inside a slot.
    check("heading to seven zero", "");
    check("heading two seven", "");
    check("flaps twenti", "");
    check("heading 370", "");
    // A word that some wording knows is not a misspelling of another.
    check("gear locked", "gear + locked 8.4");
}

#[test]
fn a_tie_stays_a_tie() {
    let calls = ["close port door", "close post door"].map(|t| (t.to_owned(), vec![parse(t).0]));
    let (graph, _) = build(&calls, &Rules::new(), &NamedSlots::new());
    let heard = match_text(&graph, &CallSet::all(2), "close poet door", 1, (SessionTime::ZERO, SessionTime::ZERO));
    assert_eq!((heard.ranked.len(), heard.margin()), (2, 0.0));
}

#[test]
fn only_live_calls() {
    let graph = graph();
    let live: CallSet = [graph.call("gear_down").unwrap()].into_iter().collect();
    let said = |text| match_text(&graph, &live, text, 7, (SessionTime::ZERO, SessionTime::ZERO));
    assert!(said("gear up").ranked.is_empty());
    assert_eq!(said("gear down").ranked[0].meanings[0].call, "gear_down");
    assert_eq!(said("gear down").revision, 7);
    assert_eq!(said(" ... ").unheard, Some(Unheard::NothingSaid));
}

/// Text and choice together, as an engine uses them.
#[test]
fn chosen() {
    use crate::core::matcher::{Choice, Thresholds, choose};
    let graph = graph();
    let live = CallSet::all(graph.calls.len());
    let check = |text: &str, expected: &str| {
        let heard = heard(text);
        let critical = |c: CallId| graph.calls[c.0 as usize].name == "gear_up";
        let told = match choose(&heard, &graph, &live, &CallSet::none(), critical, &Thresholds::text()) {
            Choice::Accept { meanings, .. } => meanings.iter().map(|m| m.call.clone()).collect::<Vec<_>>().join(" + "),
            Choice::Refuse { reason, resembling, .. } => {
                format!("{reason}{}", if resembling { ", resembling" } else { "" })
            }
        };
        assert_eq!(told, expected, "of {text:?}");
    };
    check("gear up", "gear_up");
    check("v one, gear up, flaps up", "v_one + gear_up + flaps");
    check("befroe start checklist", "before_start");
    check("start checklist", "no such call, resembling");
    check("before strat takeoff checklist", "no such call, resembling");
    // Misspelt, and critical: half of the limit is not enough.
    check("gaer up", "no such call, resembling");
    check("what a lovely day", "no such call");
    check("?", "nothing said");
}

proptest! {
    #[test]
    fn never_panics(text in "\\PC{0,80}") {
        heard(&text);
    }

    /// Whatever the graph can say is understood from its own text, digits aside.
    #[test]
    fn samples_are_understood(seed in any::<u64>()) {
        let graph = &*GRAPH;
        let mut rng = Pcg32::seed_from_u64(seed);
        let call = CallId((rng.next_u32() as usize % graph.calls.len()) as u16);
        let (said, meaning) = sample(graph, call, &mut rng).unwrap();
        let heard = heard(&said.join(" "));
        prop_assert!(heard.ranked.iter().any(|c| c.meanings == [meaning.clone()] && c.score == EXACT), "{:?}", said);
    }

    /// One letter wrong never turns one call into another with other values.
    #[test]
    fn slots_are_never_guessed(seed in any::<u64>(), at in any::<prop::sample::Index>(), letter in "[a-z]") {
        let graph = &*GRAPH;
        let mut rng = Pcg32::seed_from_u64(seed);
        let call = CallId((rng.next_u32() as usize % graph.calls.len()) as u16);
        let (said, meaning) = sample(graph, call, &mut rng).unwrap();
        let mut text = said.join(" ");
        let at = at.index(text.len());
        text.replace_range(at..at + 1, &letter);
        if let Some(best) = heard(&text).ranked.first().filter(|c| c.score < EXACT && c.meanings.len() == 1) {
            prop_assert_eq!(&best.meanings[0].slots, &meaning.slots, "{}", text);
        }
    }
}
