//! The listener as the ear of a session.

use super::listener::Listener;
use super::neural::EarError;
use super::reader::Reader;
use super::told::News;
use crate::core::grammar::CallSet;
use crate::edge::app::{EarNews, SoundEar};

/// A result counts this long after its endpoint, s: about what a decode takes on two cores, and the same every time, so
/// that a session does not depend on the machine.
pub const NOMINAL_LATENCY_S: f64 = 0.1;

impl<E: Reader> SoundEar for Listener<E> {
    fn listen(&mut self, revision: u32, live: &CallSet, due: &CallSet) {
        Listener::listen(self, revision, live);
        self.answering(due);
    }

    fn saying(&mut self, words: Option<&str>) -> Vec<EarNews> {
        all_told(Listener::saying(self, words))
    }

    fn push(&mut self, held: bool) -> Vec<EarNews> {
        all_told(Listener::push(self, held))
    }

    fn unplug(&mut self) -> Vec<EarNews> {
        all_told(Listener::unplug(self))
    }

    fn feed(&mut self, samples: &[f32]) -> Vec<EarNews> {
        let mut told = all_told(Listener::feed(self, samples));
        told.extend(self.ear_mut().trouble().into_iter().map(|why| EarNews::Failed { why }));
        told
    }
}

fn all_told(news: Result<Vec<News>, EarError>) -> Vec<EarNews> {
    match news {
        Ok(news) => news.into_iter().filter_map(told).collect(),
        Err(e) => vec![EarNews::Failed { why: e.to_string() }],
    }
}

fn told(news: News) -> Option<EarNews> {
    match news {
        News::Began { at } => Some(EarNews::Began { at }),
        News::Heard { at, heard, decision, .. } => {
            let decision_ms = decision.as_secs_f64() * 1000.0;
            Some(EarNews::Heard { at: at.plus(NOMINAL_LATENCY_S), heard, decision_ms })
        }
        // A recording may hold digital silence; a live microphone will be watched where its samples arrive.
        News::Dead { .. } => None,
    }
}
