//! The listener as the ear of a session.

use super::listener::{Listener, News};
use super::reader::Reader;
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

    fn feed(&mut self, samples: &[f32]) -> Vec<EarNews> {
        let mut told: Vec<EarNews> = match Listener::feed(self, samples) {
            Ok(news) => news.into_iter().filter_map(told).collect(),
            Err(e) => vec![EarNews::Failed { why: e.to_string() }],
        };
        told.extend(self.ear_mut().trouble().into_iter().map(|why| EarNews::Failed { why }));
        told
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
