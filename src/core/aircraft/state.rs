//! What the engine knows of the aircraft, and how old it is.

use super::{SignalId, Value};
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// A change of state as the link delivers it: by name; `None` means the source took the signal away.
pub type Delta = BTreeMap<String, Option<Value>>;

/// One slot a signal of the book: the last value and when it came.
#[derive(Debug, Clone, Default)]
pub struct State {
    slots: Vec<Option<(Value, SessionTime)>>,
    last_update: Option<SessionTime>,
}

impl State {
    /// An empty state for a book with `signals` signals: everything unknown.
    pub fn new(signals: usize) -> Self {
        State { slots: vec![None; signals], last_update: None }
    }
    /// Takes one value in.
    pub fn put(&mut self, id: SignalId, value: Option<Value>, at: SessionTime) {
        if let Some(slot) = self.slots.get_mut(id.0 as usize) {
            *slot = value.map(|v| (v, at));
        }
    }
    /// Says that the link delivered something at `at`; a delta that omits a signal confirms its old value.
    pub fn touch(&mut self, at: SessionTime) {
        self.last_update = Some(at);
    }
    /// When the link last delivered anything.
    pub fn last_update(&self) -> Option<SessionTime> {
        self.last_update
    }
    /// The value, whatever its age.
    pub fn get(&self, id: SignalId) -> Option<&Value> {
        self.slots.get(id.0 as usize)?.as_ref().map(|(v, _)| v)
    }
    /// The value unless the whole source has been silent for longer than `stale_after_s`: stale is unknown.
    pub fn fresh(&self, id: SignalId, now: SessionTime, stale_after_s: f64) -> Option<&Value> {
        let last = self.last_update?;
        if now.since(last) > stale_after_s { None } else { self.get(id) }
    }
}
