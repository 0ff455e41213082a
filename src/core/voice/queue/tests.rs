use super::*;
use proptest::prelude::*;
use std::collections::BTreeMap;

/// One thing done to the queue, at a time in seconds.
#[derive(Debug, Clone)]
enum Do {
    /// id, priority, station, duration, patience.
    Push(u64, Priority, Station, f64, f64),
    Hush(Option<u64>),
    Pilot(bool),
    /// id, seconds left.
    Retime(u64, f64),
}

use Do::*;
use Priority::*;
use Station::{Cabin, FlightDeck, Ground};

fn speech(id: u64, priority: Priority, station: Station, expires_s: f64) -> Speech {
    Speech { id, station, text: String::new(), priority, expires_s }
}

fn apply(queue: &mut Queue, at: SessionTime, what: &Do) {
    match what {
        Push(id, priority, station, duration, expires) => {
            queue.push(at, &speech(*id, *priority, *station, *expires), *duration);
        }
        Hush(id) => queue.hush(at, *id),
        Pilot(speaks) => queue.pilot_speaks(at, *speaks),
        Retime(id, left) => queue.retime(at, *id, *left),
    }
}

/// Runs a script as the application would: called at each asked-for moment, then told the next thing.
fn play(script: &[(f64, Do)]) -> Vec<VoiceEvent> {
    let mut queue = Queue::new(Pacing::default());
    let mut events = Vec::new();
    for (at, what) in script {
        let at = SessionTime::from_secs(*at);
        while let Some(next) = queue.next_change().filter(|n| *n <= at) {
            events.extend(queue.advance(next));
        }
        apply(&mut queue, at, what);
        events.extend(queue.advance(at));
    }
    while let Some(next) = queue.next_change() {
        events.extend(queue.advance(next));
    }
    assert!(queue.is_idle());
    events
}

fn told(events: &[VoiceEvent]) -> String {
    let line = |e: &VoiceEvent| match e {
        VoiceEvent::Start { id, at } => format!("{:.2} start {id}", at.secs()),
        VoiceEvent::End { id, at, cut } => format!("{:.2} {} {id}", at.secs(), if *cut { "cut" } else { "end" }),
        VoiceEvent::Dropped { id, at, why } => format!("{:.2} {} {id}", at.secs(), format!("{why:?}").to_lowercase()),
    };
    events.iter().map(line).collect::<Vec<_>>().join(", ")
}

fn check(script: &[(f64, Do)], want: &str) {
    assert_eq!(told(&play(script)), want, "{script:?}");
}

#[test]
fn speaks_at_once_when_nothing_sounds() {
    check(&[(3.0, Push(1, Chat, FlightDeck, 1.0, 0.0))], "3.00 start 1, 4.00 end 1");
}

#[test]
fn equals_wait_their_turn_with_a_pause() {
    let same = [(0.0, Push(1, Routine, FlightDeck, 1.0, 9.0)), (0.5, Push(2, Routine, FlightDeck, 1.0, 9.0))];
    check(&same, "0.00 start 1, 1.00 end 1, 1.12 start 2, 2.12 end 2");
    let other = [(0.0, Push(1, Routine, FlightDeck, 1.0, 9.0)), (0.5, Push(2, Routine, Ground, 1.0, 9.0))];
    check(&other, "0.00 start 1, 1.00 end 1, 1.20 start 2, 2.20 end 2");
    // A pause of ours is no reason to stay silent.
    let tight = [(0.0, Push(1, Routine, FlightDeck, 1.0, 9.0)), (0.5, Push(2, Routine, FlightDeck, 1.0, 0.5))];
    check(&tight, "0.00 start 1, 1.00 end 1, 1.00 start 2, 2.00 end 2");
}

#[test]
fn the_more_urgent_goes_first_and_cuts() {
    check(
        &[
            (0.0, Push(1, Routine, FlightDeck, 2.0, 9.0)),
            (0.1, Push(2, Routine, FlightDeck, 1.0, 9.0)),
            (1.0, Push(3, Caution, FlightDeck, 1.0, 9.0)),
        ],
        "0.00 start 1, 1.00 cut 1, 1.00 start 3, 2.00 end 3, 2.12 start 2, 3.12 end 2",
    );
    check(
        &[(0.0, Push(1, Caution, Cabin, 2.0, 9.0)), (1.0, Push(2, Routine, FlightDeck, 1.0, 9.0))],
        "0.00 start 1, 2.00 end 1, 2.20 start 2, 3.20 end 2",
    );
}

#[test]
fn critical_lets_critical_finish_unless_it_would_be_too_late() {
    let script = |patience| {
        [
            (0.0, Push(1, Critical, FlightDeck, 1.0, 0.5)),
            (0.6, Push(2, Critical, FlightDeck, 0.5, patience)),
            (0.7, Push(3, Caution, FlightDeck, 0.5, 9.0)),
        ]
    };
    check(&script(0.5), "0.00 start 1, 1.00 end 1, 1.04 start 2, 1.54 end 2, 1.66 start 3, 2.16 end 3");
    check(&script(0.3), "0.00 start 1, 0.60 cut 1, 0.60 start 2, 1.10 end 2, 1.22 start 3, 1.72 end 3");
}

#[test]
fn what_is_too_late_is_dropped_and_told() {
    check(
        &[(0.0, Push(1, Routine, FlightDeck, 3.0, 9.0)), (0.5, Push(2, Routine, FlightDeck, 1.0, 1.0))],
        "0.00 start 1, 1.50 expired 2, 3.00 end 1",
    );
    // No patience at all, and nonsense counts as none.
    for expires in [0.0, -1.0, f64::NAN] {
        check(
            &[(0.0, Push(1, Routine, FlightDeck, 1.0, 9.0)), (0.5, Push(2, Routine, FlightDeck, 1.0, expires))],
            "0.00 start 1, 0.50 expired 2, 1.00 end 1",
        );
    }
}

#[test]
fn hush_silences_one_or_all_that_is_not_critical() {
    let three = |hush: Do| {
        [
            (0.0, Push(1, Routine, FlightDeck, 1.0, 9.0)),
            (0.1, Push(2, Chat, FlightDeck, 1.0, 9.0)),
            (0.2, Push(3, Routine, FlightDeck, 1.0, 9.0)),
            (0.5, hush),
        ]
    };
    check(&three(Hush(None)), "0.00 start 1, 0.50 cut 1, 0.50 hushed 2, 0.50 hushed 3");
    check(&three(Hush(Some(2))), "0.00 start 1, 0.50 hushed 2, 1.00 end 1, 1.12 start 3, 2.12 end 3");
    let one = "0.00 start 1, 0.50 cut 1, 0.62 start 3, 1.62 end 3, 1.74 start 2, 2.74 end 2";
    check(&three(Hush(Some(1))), one);
    let critical = |hush| [(0.0, Push(1, Critical, FlightDeck, 1.0, 9.0)), (0.5, hush)];
    check(&critical(Hush(None)), "0.00 start 1, 1.00 end 1");
    check(&critical(Hush(Some(1))), "0.00 start 1, 0.50 cut 1");
}

#[test]
fn a_voice_that_says_when_it_has_ended_is_believed() {
    let two = [(0.0, Push(1, Routine, FlightDeck, 3.0, 9.0)), (0.1, Push(2, Routine, FlightDeck, 1.0, 9.0))];
    let then = |what: Do| [&two[..], &[(1.0, what)]].concat();
    check(&then(Retime(1, 0.0)), "0.00 start 1, 1.00 end 1, 1.12 start 2, 2.12 end 2");
    check(&then(Retime(1, 3.0)), "0.00 start 1, 4.00 end 1, 4.12 start 2, 5.12 end 2");
    // What waits, or is unknown, keeps its length.
    check(&then(Retime(2, 0.0)), "0.00 start 1, 3.00 end 1, 3.12 start 2, 4.12 end 2");
    check(&then(Retime(9, 0.0)), "0.00 start 1, 3.00 end 1, 3.12 start 2, 4.12 end 2");
}

#[test]
fn the_same_id_twice_is_said_once() {
    check(
        &[(0.0, Push(1, Routine, FlightDeck, 1.0, 9.0)), (0.5, Push(1, Routine, FlightDeck, 1.0, 9.0))],
        "0.00 start 1, 0.50 repeated 1, 1.00 end 1",
    );
}

#[test]
fn routine_speech_waits_for_the_pilot_and_urgent_does_not() {
    check(
        &[
            (0.0, Pilot(true)),
            (0.1, Push(1, Routine, FlightDeck, 1.0, 9.0)),
            (0.2, Push(2, Caution, FlightDeck, 0.5, 9.0)),
            (0.3, Push(3, Chat, FlightDeck, 0.5, 0.4)),
            (2.0, Pilot(false)),
        ],
        "0.20 start 2, 0.70 end 2, 0.70 expired 3, 2.00 start 1, 3.00 end 1",
    );
}

#[test]
fn being_called_late_changes_nothing() {
    let mut queue = Queue::new(Pacing::default());
    for id in 1..4 {
        queue.push(SessionTime::ZERO, &speech(id, Routine, FlightDeck, 1.5), 1.0);
    }
    let events = queue.advance(SessionTime::from_secs(100.0));
    assert_eq!(told(&events), "0.00 start 1, 1.00 end 1, 1.12 start 2, 1.50 expired 3, 2.12 end 2");
}

fn scripts() -> impl Strategy<Value = Vec<(f64, Do)>> {
    let priority = prop::sample::select(vec![Chat, Routine, Caution, Critical]);
    let station = prop::sample::select(vec![FlightDeck, Ground, Cabin]);
    let what = prop_oneof![
        8 => (priority, station, 0u32..40, 0u32..40)
            .prop_map(|(p, s, d, e)| Push(0, p, s, f64::from(d) / 10.0, f64::from(e) / 10.0)),
        1 => prop::option::of(1u64..20).prop_map(Hush),
        1 => any::<bool>().prop_map(Pilot),
    ];
    prop::collection::vec((0u32..12, what), 0..24).prop_map(|steps| {
        let (mut at, mut id) = (0.0, 0);
        let mut script = Vec::new();
        for (pause, mut what) in steps {
            at += f64::from(pause) / 10.0;
            if let Push(n, ..) = &mut what {
                id += 1;
                *n = id;
            }
            script.push((at, what));
        }
        // The pilot stops at last.
        script.push((at, Pilot(false)));
        script
    })
}

proptest! {
    #[test]
    fn one_voice_nothing_lost_and_rank_is_kept(script in scripts()) {
        let events = play(&script);
        let mut pushed: BTreeMap<u64, (SessionTime, Priority, f64, f64)> = BTreeMap::new();
        let mut hushed = Vec::new();
        for (at, what) in &script {
            match what {
                Push(id, p, _, d, e) => { pushed.insert(*id, (SessionTime::from_secs(*at), *p, *d, *e)); }
                Hush(Some(id)) => hushed.push((SessionTime::from_secs(*at), *id)),
                _ => {}
            }
        }
        let mut sounding: Option<(u64, SessionTime)> = None;
        let mut fate: BTreeMap<u64, usize> = BTreeMap::new();
        let mut last = SessionTime::ZERO;
        for (n, event) in events.iter().enumerate() {
            prop_assert!(event.at() >= last, "events in order of time");
            last = event.at();
            let (asked, priority, duration, patience) = pushed[&event.id()];
            match *event {
                VoiceEvent::Start { id, at } => {
                    prop_assert!(sounding.is_none(), "two voices at once");
                    prop_assert!(at >= asked && at <= asked.plus(patience), "begins in its time");
                    sounding = Some((id, at));
                }
                VoiceEvent::End { id, at, cut } => {
                    let (which, since) = sounding.take().expect("ends what sounds");
                    prop_assert_eq!(which, id);
                    prop_assert_eq!(at == since.plus(duration), !cut);
                    if cut && !hushed.contains(&(at, id)) {
                        // By a more urgent voice at that moment, or by hush of all that is not critical.
                        let by = events.get(n + 1).filter(|e| e.at() == at).map(|e| pushed[&e.id()].1);
                        let by_hush = script.iter().any(|(t, w)| matches!(w, Hush(None)) && SessionTime::from_secs(*t) == at);
                        prop_assert!((by_hush && priority < Critical) || by.is_some_and(|b| b > priority || b == Critical));
                    }
                    *fate.entry(id).or_default() += 1;
                }
                VoiceEvent::Dropped { id, .. } => *fate.entry(id).or_default() += 1,
            }
        }
        prop_assert!(sounding.is_none());
        prop_assert_eq!(fate.keys().collect::<Vec<_>>(), pushed.keys().collect::<Vec<_>>(), "each has one fate");
        prop_assert!(fate.values().all(|n| *n == 1));
    }

    #[test]
    fn events_do_not_depend_on_when_it_is_asked(script in scripts()) {
        let mut queue = Queue::new(Pacing::default());
        for (at, what) in &script {
            apply(&mut queue, SessionTime::from_secs(*at), what);
        }
        prop_assert_eq!(queue.advance(SessionTime::from_secs(1e4)), play(&script));
    }
}
