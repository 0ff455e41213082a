//! Numbers by property → signals.

use super::file::LinkFile;
use crate::core::aircraft::{Delta, SignalId, Value};
use crate::core::book::expr::{Name, Scope};
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, BTreeSet};

/// What was not heard of for this long is not known, in polls and at least in seconds.
const STALE_POLLS: f64 = 4.0;
const STALE_S: f64 = 2.0;

/// The properties as last heard, and the signals made of them.
#[derive(Debug, Clone, Default)]
pub struct Map {
    numbers: BTreeMap<String, (Option<f64>, SessionTime)>,
    /// Properties heard since the signals were last told.
    fresh: BTreeSet<String>,
    told: BTreeMap<String, Option<Value>>,
}

struct Values<'a> {
    values: &'a [Option<Value>],
}

impl Scope for Values<'_> {
    fn value(&self, name: &Name) -> Option<Value> {
        match name {
            Name::Signal(SignalId(i)) => self.values.get(*i as usize)?.clone(),
            _ => None,
        }
    }
}

impl Map {
    /// A property has this number now; `None`: it has none.
    pub fn put(&mut self, path: &str, number: Option<f64>, at: SessionTime) {
        if !self.fresh.contains(path) {
            self.fresh.insert(path.to_string());
        }
        match self.numbers.get_mut(path) {
            Some(slot) => *slot = (number, at),
            None => drop(self.numbers.insert(path.to_string(), (number, at))),
        }
    }

    /// The number of a property.
    pub fn number(&self, path: &str) -> Option<f64> {
        self.numbers.get(path).and_then(|(n, _)| *n)
    }

    /// Everything is unknown.
    pub fn clear(&mut self) {
        *self = Map::default();
    }

    /// The signals as known at `at` that were heard since they were last told, or have changed; what is not known, or was
    /// not heard of for too long, is `None`.
    pub fn signals(&mut self, file: &LinkFile, at: SessionTime) -> Delta {
        let stale_s = STALE_S.max(STALE_POLLS * file.poll_s);
        let mut values: Vec<Option<Value>> = Vec::with_capacity(file.names.len());
        let mut delta = Delta::new();
        for s in &file.sources {
            let fresh = self.numbers.get(&s.path).filter(|(_, heard)| at.since(*heard) <= stale_s);
            let value = fresh.and_then(|(n, _)| s.reading.value((*n)?));
            if s.signal && (self.fresh.contains(&s.path) || self.told.get(&s.name) != Some(&value)) {
                delta.insert(s.name.clone(), value.clone());
            }
            values.push(value);
        }
        for d in &file.derived {
            let value = d.expr.eval(&Values { values: &values });
            delta.insert(d.name.clone(), value.clone());
            values.push(value);
        }
        self.fresh.clear();
        self.told.extend(delta.iter().map(|(name, value)| (name.clone(), value.clone())));
        delta
    }
}
