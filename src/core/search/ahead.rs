//! What a search among the live calls is likely to ask of the noise term, shortest first: it depends on the text alone, so
//! it can be computed while nobody speaks.

use super::beam::{Settings, Spot, Starts, Told, Walk, root};
use super::lattice::Lattice;
use super::tokens::Token;
use crate::core::grammar::CallSet;
use std::collections::VecDeque;
use std::ops::Range;

/// Prefixes told for one set of live calls: the first few tokens of each call. Values of many digits are without number.
const MOST: usize = 800;

/// A prefix, one token longer than another.
#[derive(Debug, Clone)]
pub struct Longer {
    /// What the caller calls the shorter one; 0 is the empty prefix.
    pub parent: usize,
    /// The token that follows it.
    pub token: Token,
    spots: Vec<Spot>,
}

/// A walk through the beginnings of what can be said, breadth first.
#[derive(Debug, Clone, Default)]
pub struct Ahead {
    queue: VecDeque<Longer>,
    told: usize,
    starts: Starts,
    /// Kept between steps: positions refer to them.
    ways: Vec<(u32, Range<u32>)>,
    calls: Vec<Told>,
}

impl Ahead {
    /// From the empty prefix on.
    pub fn new(lattice: &Lattice, live: &CallSet) -> Ahead {
        let mut ahead = Ahead { starts: Starts::new(lattice, live), ..Ahead::default() };
        ahead.follow(lattice, vec![root()], 0);
        ahead
    }

    /// The next prefix; `None` when there is no more to prepare.
    pub fn pop(&mut self) -> Option<Longer> {
        self.queue.pop_front()
    }

    /// A prefix that was told has the name `prefix` from now on: those that go on from it are told later.
    pub fn grown(&mut self, lattice: &Lattice, longer: &Longer, prefix: usize) {
        self.follow(lattice, longer.spots.clone(), prefix);
    }

    fn follow(&mut self, lattice: &Lattice, spots: Vec<Spot>, parent: usize) {
        if self.told >= MOST {
            return;
        }
        let settings = Settings { calls: 1, ..Settings::default() };
        let (ways, told) = (std::mem::take(&mut self.ways), std::mem::take(&mut self.calls));
        let starts = std::mem::take(&mut self.starts);
        let mut walk = Walk { lattice, starts, settings, ways, told };
        for (token, spots) in walk.tokens(spots) {
            self.queue.push_back(Longer { parent, token, spots });
            self.told += 1;
        }
        (self.starts, self.ways, self.calls) = (walk.starts, walk.ways, walk.told);
    }
}
