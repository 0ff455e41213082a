//! Calls for a pilot to read aloud, so that the ear can learn his voice.

use super::Book;
use super::load::contexts;
use crate::core::grammar::{CallId, CallSet, Meaning, accepts, sample};
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;

/// A call to read.
#[derive(Debug, Clone, PartialEq)]
pub struct ToRead {
    /// The words; any other wording of the same call does as well.
    pub text: String,
    /// What they mean.
    pub meaning: Meaning,
    /// What is live meanwhile: a phase in which the call can be said.
    pub live: CallSet,
}

impl Book {
    /// Up to `most` different calls with values, the same every time, whose words mean one thing only.
    pub fn to_read(&self, most: usize) -> Vec<ToRead> {
        let mut rng = Pcg32::seed_from_u64(1);
        let mut calls: Vec<CallId> = (0..self.calls.len()).map(|i| CallId(i as u16)).collect();
        calls.retain(|c| !self.calls[c.0 as usize].answer_only && !self.calls[c.0 as usize].id.contains('/'));
        for i in (1..calls.len()).rev() {
            calls.swap(i, rng.next_u32() as usize % (i + 1));
        }
        let phases = contexts(self);
        let mut all = Vec::new();
        for call in calls {
            if all.len() == most {
                break;
            }
            let Some(live) = phases.iter().find(|p| p.contains(call)) else { continue };
            let Some((words, meaning)) = sample(&self.graph, call, &mut rng) else { continue };
            let said: Vec<&str> = words.iter().map(String::as_str).collect();
            let others = live.iter().any(|other| other != call && !accepts(&self.graph, other, &said).is_empty());
            if !others && accepts(&self.graph, call, &said).len() == 1 {
                all.push(ToRead { text: words.join(" "), meaning, live: live.clone() });
            }
        }
        all
    }
}
