//! What a performance keeps in mind: lines that were told, what is expected of them, words to be said.

use super::wanted::Wanted;
use crate::core::book::schema::Station;
use crate::core::time::SessionTime;

#[derive(Debug, Clone)]
pub(super) struct Spoken {
    pub station: Station,
    pub text: String,
    pub used: bool,
}

#[derive(Debug, Clone)]
pub(super) struct Open {
    pub step: usize,
    pub wanted: Wanted,
    pub within_s: f64,
    pub deadline: Option<SessionTime>,
    pub almost: Option<String>,
}

#[derive(Debug, Clone)]
pub(super) struct Quiet {
    pub step: usize,
    pub from: SessionTime,
    pub for_s: f64,
}

#[derive(Debug, Clone)]
pub(super) struct ToSay {
    pub id: u64,
    pub due: SessionTime,
    /// `None`: the last words again.
    pub text: Option<String>,
    /// Also into a line of ours.
    pub cut_in: bool,
}
