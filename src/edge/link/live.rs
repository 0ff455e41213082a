//! A live aircraft as the app sees it: the last state, the clocks, and a hand that reaches the simulator.

use super::{Link, LinkNews, Running, Taken};
use crate::core::aircraft::Value;
use crate::core::link::Clock;
use crate::core::link::clock::Moved;
use crate::core::time::{SessionTime, SimTime};
use std::cell::Cell;
use std::collections::BTreeMap;

/// How a link's thread is asked to move something.
pub trait Hand: Send {
    /// Moves a control. `Ok`: the result comes as news.
    ///
    /// # Errors
    /// One sentence when it is known at once that it cannot be done.
    fn set(&mut self, request: u64, control: &str, to: &Value) -> Result<(), String>;
}

/// It is looked after this often, s.
const LOOK_S: f64 = 0.25;
/// Requests from here up are the pilot's own hand, not the engine's.
const BY_HAND: u64 = 1 << 60;

/// A live aircraft.
pub struct Live {
    values: BTreeMap<String, Value>,
    clock: Clock,
    up: bool,
    hand: Box<dyn Hand>,
    look: SessionTime,
    /// The latest time of the simulator that was given out: it never goes back.
    given: Cell<SimTime>,
    by_hand: u64,
}

impl Live {
    /// With nothing in sight yet, in a session that begins at `origin`.
    pub fn new(hand: Box<dyn Hand>, origin: SessionTime) -> Self {
        Live {
            values: BTreeMap::new(),
            clock: Clock::default(),
            up: false,
            hand,
            look: origin.plus(LOOK_S),
            given: Cell::new(SimTime::ZERO),
            by_hand: BY_HAND,
        }
    }

    fn at_least_given(&self, sim: SimTime) -> SimTime {
        let sim = sim.max(self.given.get());
        self.given.set(sim);
        sim
    }
}

impl Link for Live {
    fn next_frame(&self) -> SessionTime {
        self.look
    }

    fn frame(&mut self) {
        self.look = self.look.plus(LOOK_S);
    }

    fn values(&self) -> &BTreeMap<String, Value> {
        &self.values
    }

    fn sim(&self) -> SimTime {
        self.clock.sim()
    }

    fn sim_at(&self, at: SessionTime) -> SimTime {
        let sim = if self.up { self.clock.sim_at(at) } else { self.clock.sim() };
        self.at_least_given(sim)
    }

    fn session_at(&self, sim: SimTime) -> SessionTime {
        self.clock.session_at(sim)
    }

    fn set(&mut self, control: &str, to: &Value) -> Result<(), String> {
        self.by_hand += 1;
        self.hand.set(self.by_hand, control, to)
    }

    fn inject(&mut self, fault: &str) -> Result<(), String> {
        Err(format!("\u{201c}{fault}\u{201d} cannot be injected into a simulator from here; let it fail there"))
    }

    fn ask(&mut self, request: u64, control: &str, to: &Value) -> Option<Result<(), String>> {
        if !self.up {
            return Some(Err("there is no link to the aircraft".into()));
        }
        self.hand.set(request, control, to).err().map(Err)
    }

    fn take(&mut self, at: SessionTime, news: &LinkNews) -> Taken {
        match news {
            LinkNews::Up { .. } => {
                self.up = true;
                self.values.clear();
            }
            LinkNews::Down { .. } => {
                self.up = false;
                self.values.clear();
            }
            LinkNews::Frame { time_s, delta, .. } => {
                for (name, value) in delta {
                    match value {
                        Some(v) => self.values.insert(name.clone(), v.clone()),
                        None => self.values.remove(name),
                    };
                }
                return match self.clock.frame(at, *time_s) {
                    Moved::On => Taken::Frame,
                    Moved::Stands => Taken::Stands,
                    Moved::Jumped => Taken::Jumped,
                };
            }
            LinkNews::Paused(paused) => self.clock.pause(*paused),
            LinkNews::Rate(rate) => self.clock.set_rate(*rate),
            LinkNews::Delay(s) => self.clock.set_delay(*s),
            LinkNews::Failed(_)
            | LinkNews::Standing
            | LinkNews::Jumped
            | LinkNews::Offers(_)
            | LinkNews::Result { .. }
            | LinkNews::Told(_) => {}
        }
        Taken::Nothing
    }

    fn live(&self) -> Option<Running> {
        Some(Running { rate: self.clock.rate(), interval_s: self.clock.interval_s(), up: self.up })
    }
}
