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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::crew::Crew;
    use crate::core::crew::io::Arrangement;
    use crate::core::page::Rooms;
    use crate::core::time::SimTime;
    use crate::edge::store::{Places, load_book};
    use std::path::Path;

    #[test]
    fn a_flood_is_told_twenty_times_a_second_at_most() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let book = load_book(&Places::here(None), &root.join("phrasebooks/saltmarsh-t2")).expect("a book").0;
        let book = Arc::new(book);
        let (out, client) = watch::channel(Sheaf::default());
        let mut onlooker = Onlooker::new(Model::new(book.clone(), Rooms::default()), out);
        let mut crew = Crew::new(book);
        let begin = Input::Begin { arrangement: Arrangement::default(), phase: None, sheet: BTreeMap::new() };
        crew.handle(SessionTime(0), SimTime(0), &begin);
        let begun = Instant::now();
        let mut looking = Duration::ZERO;
        for i in 0..10_000i64 {
            let input = Input::State { delta: [("ias_kt".to_string(), Some((i as f64).into()))].into() };
            let looked = Instant::now();
            onlooker.saw(SessionTime(i * 100), &input, &[]);
            onlooker.look(&crew);
            looking += looked.elapsed();
            if i % 100 == 0 {
                crew.handle(SessionTime(i * 100), SimTime(i * 100), &input);
            }
        }
        let told = client.borrow().revision as f64;
        let most = begun.elapsed().as_secs_f64() / EVERY.as_secs_f64() + 2.0;
        assert!(told >= 1.0 && told <= most, "{told} of {most}");
        // A second's flood leaves the loop its second, in an unoptimised build too.
        assert!(looking.as_secs_f64() < 1.0, "{looking:?}");
    }

    #[test]
    fn only_what_has_changed_is_told() {
        let mut sheaf = Sheaf { revision: 2, ..Sheaf::default() };
        sheaf.parts.insert("a", (1, "1".into()));
        sheaf.parts.insert("b", (2, "\"x\"".into()));
        assert_eq!(sheaf.since(0, "k"), r#"{"boot":"k","over":false,"parts":{"a":1,"b":"x"}}"#);
        assert_eq!(sheaf.since(1, "k"), r#"{"boot":"k","over":false,"parts":{"b":"x"}}"#);
        assert_eq!(sheaf.since(2, "k"), r#"{"boot":"k","over":false,"parts":{}}"#);
    }
}
