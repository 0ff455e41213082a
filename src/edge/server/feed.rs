//! From the loop to the pages: the newest sections, each client at its own pace.

use crate::core::aircraft::SignalId;
use crate::core::crew::io::{Action, Engine, Input};
use crate::core::page::Model;
use crate::core::time::SessionTime;
use crate::edge::app::Watcher;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::watch;

/// Pages get news at most this often.
const EVERY: Duration = Duration::from_millis(50);

/// All sections as they were last made. A client that is slow sees the newest and misses what lay between.
#[derive(Debug, Clone, Default)]
pub struct Sheaf {
    /// Counts up.
    pub revision: u64,
    /// Name → revision in which it changed, JSON.
    pub parts: BTreeMap<&'static str, (u64, Arc<str>)>,
    /// The session has ended.
    pub over: bool,
}

impl Sheaf {
    /// What has changed since a revision, as one JSON object.
    pub fn since(&self, revision: u64, boot: &str) -> String {
        let mut json = format!("{{\"boot\":\"{boot}\",\"over\":{},\"parts\":{{", self.over);
        let mut first = true;
        for (name, (_, part)) in self.parts.iter().filter(|(_, (r, _))| *r > revision) {
            if !std::mem::replace(&mut first, false) {
                json.push(',');
            }
            json.push_str(&format!("\"{name}\":{part}"));
        }
        json.push_str("}}");
        json
    }
}

/// Looks on for the pages.
pub struct Onlooker {
    model: Model,
    signals: Vec<SignalId>,
    out: watch::Sender<Sheaf>,
    changed: bool,
    told: Option<Instant>,
}

impl Onlooker {
    /// For the pages that listen to `out`.
    pub fn new(model: Model, out: watch::Sender<Sheaf>) -> Self {
        Onlooker { signals: model.signals().to_vec(), model, out, changed: true, told: None }
    }
}

impl Watcher for Onlooker {
    fn saw(&mut self, at: SessionTime, input: &Input, actions: &[Action]) {
        self.model.saw(at, input, actions);
        self.changed = true;
    }

    fn look(&mut self, engine: &dyn Engine) {
        // Nobody looks: nothing is made.
        if !self.changed || self.out.receiver_count() == 0 || self.told.is_some_and(|t| t.elapsed() < EVERY) {
            return;
        }
        let Some(glance) = engine.glance(&self.signals) else { return };
        self.changed = false;
        self.told = Some(Instant::now());
        let sections = self.model.sections(&glance);
        self.out.send_if_modified(|sheaf| {
            let next = sheaf.revision + 1;
            let mut modified = false;
            for (name, json) in sections {
                if sheaf.parts.get(name).is_none_or(|(_, old)| **old != *json) {
                    sheaf.parts.insert(name, (next, json.into()));
                    modified = true;
                }
            }
            if modified {
                sheaf.revision = next;
            }
            modified
        });
    }
}

impl Drop for Onlooker {
    fn drop(&mut self) {
        self.out.send_modify(|sheaf| sheaf.over = true);
    }
}
