//! What can be said now, grouped by what it does.

use super::view::{Group, Keys, Said};
use super::wording::{Piece, pieces};
use crate::core::book::Book;
use crate::core::book::schema::{Act, Call, Intrinsic, Station};
use crate::core::grammar::{CallId, CallSet};

/// How each call is said at its shortest; every wording, the first first.
#[derive(Debug)]
pub(super) struct Wordings(Vec<Vec<Vec<Piece>>>);

/// At most so many wordings of an answer are offered.
const MOST: usize = 4;

impl Wordings {
    pub fn new(book: &Book) -> Self {
        let of = |(i, c): (usize, &Call)| {
            let mut all: Vec<Vec<Piece>> = Vec::new();
            for text in &c.say {
                let way = pieces(&book.graph, CallId(i as u16), text);
                if !way.is_empty() && !all.contains(&way) && all.len() < MOST {
                    all.push(way);
                }
            }
            all
        };
        Wordings(book.calls.iter().enumerate().map(of).collect())
    }

    /// Every wording of a call.
    pub fn all(&self, call: CallId) -> Vec<Vec<Piece>> {
        self.0.get(call.0 as usize).cloned().unwrap_or_default()
    }

    /// A call's first wording as words, with an ellipsis for what is filled in; "its value" if that is all.
    pub fn expected(&self, call: CallId) -> String {
        let Some(way) = self.first(call) else { return String::new() };
        if way.iter().all(|p| matches!(p, Piece::Blank { .. })) {
            return "its value".into();
        }
        let word = |p: &Piece| match p {
            Piece::Words(w) => w.clone(),
            Piece::Blank { .. } => "\u{2026}".to_string(),
        };
        way.iter().map(word).collect::<Vec<_>>().join(" ")
    }

    fn first(&self, call: CallId) -> Option<&Vec<Piece>> {
        self.0.get(call.0 as usize)?.first()
    }

    /// The live grammar, due answers first, and the words of the keys.
    pub fn now(&self, book: &Book, live: &CallSet, due: &CallSet, talk: bool) -> (Vec<Group>, Keys) {
        let mut groups: Vec<Group> =
            TITLES.iter().enumerate().map(|(i, t)| Group { title: t, due: i == 0, calls: Vec::new() }).collect();
        let mut keys = Keys { talk, ..Keys::default() };
        for id in live.iter() {
            let (Some(call), Some(say)) = (book.calls.get(id.0 as usize), self.first(id)) else { continue };
            if let Some(Act::Engine(act)) = call.does.first().map(|e| &e.act) {
                let words = match act {
                    Intrinsic::Hold => Some(&mut keys.hold),
                    Intrinsic::Resume => Some(&mut keys.resume),
                    Intrinsic::SayAgain => Some(&mut keys.repeat),
                    Intrinsic::Skip => Some(&mut keys.skip),
                    Intrinsic::Halt => Some(&mut keys.stop),
                    _ => None,
                };
                if let (Some(words), [Piece::Words(w)]) = (words, say.as_slice()) {
                    words.clone_from(w);
                }
            }
            let group = if due.contains(id) { 0 } else { meaning(call) };
            // A due answer is shown in all its ways.
            let ways = if group == 0 { self.all(id) } else { vec![say.clone()] };
            groups[group].calls.extend(ways.into_iter().map(|say| Said { say, critical: call.critical }));
        }
        groups.retain(|g| !g.calls.is_empty());
        (groups, keys)
    }
}

const TITLES: &[&str] = &[
    "an answer is due",
    "lists",
    "flows and briefings",
    "set on the aircraft",
    "write on the sheet",
    "to the ground",
    "to the cabin",
    "on the radio",
    "who flies, stop, go around",
    "ask and tell",
    "about our talk",
];

/// By what a call does: an index into [`TITLES`].
fn meaning(call: &Call) -> usize {
    match call.to {
        Station::Ground => return 5,
        Station::Cabin => return 6,
        Station::Radio => return 7,
        Station::FlightDeck => {}
    }
    let of = |act: &Act| match act {
        Act::Checklist(_) => 1,
        Act::Flow(_) | Act::Briefing(_) => 2,
        Act::Set(..) => 3,
        Act::Sheet(..) | Act::Checked(_) | Act::Compute(_) => 4,
        Act::Engine(Intrinsic::Reject | Intrinsic::GoAround | Intrinsic::IHaveControl | Intrinsic::YouHaveControl) => 8,
        Act::Engine(_) => 10,
        Act::Phase(_) | Act::Survey { .. } | Act::Speak(..) => 9,
    };
    // What it does counts for more than what is said with it.
    call.does.iter().map(|e| of(&e.act)).min_by_key(|g| if *g == 9 { 99 } else { *g }).unwrap_or(9)
}
