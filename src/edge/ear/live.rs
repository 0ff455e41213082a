//! The ear of a live session: a thread of its own, so that decoding never holds up the loop.

use crate::core::gate::RATE;
use crate::core::grammar::CallSet;
use crate::core::radio::Exercise;
use crate::core::time::SessionTime;
use crate::edge::app::{EarNews, SoundEar};
use crate::edge::audio::duplex::Piece;
use std::collections::VecDeque;
use std::sync::mpsc::{self, Receiver, Sender};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

/// Moments of the ear's own clock, which counts samples, as moments of the wall.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Anchor {
    /// What the ear's clock showed…
    pub ear: SessionTime,
    /// … at this moment.
    pub wall: Instant,
}

enum Order {
    Piece(Piece),
    Listen { revision: u32, live: CallSet, due: CallSet },
    Saying(Option<String>),
    Push(bool),
    Readback(Option<Box<Exercise>>),
}

/// The loop's hand on the thread.
pub struct LiveEar {
    orders: Sender<Order>,
    tap: Tap,
}

/// Where the sound goes in; cheap to clone.
#[derive(Clone)]
pub struct Feed {
    orders: Sender<Order>,
    tap: Tap,
}

/// Takes what we said ourselves out of what the microphone heard: microphone, us, where to append what is left.
pub type Clean = Box<dyn FnMut(&[f32], &[f32], &mut Vec<f32>) + Send>;

/// The microphone's sound for a recording, if there is one.
type Tap = Option<Arc<Mutex<VecDeque<f32>>>>;

/// So much is kept for a recording that does not fetch it, samples.
const TAP: usize = 2 * RATE as usize;

impl Feed {
    /// The next sound.
    pub fn piece(&self, piece: Piece) {
        if let Some(tap) = &self.tap {
            let mut tap = tap.lock().unwrap_or_else(PoisonError::into_inner);
            tap.extend(&piece.mic);
            let over = tap.len().saturating_sub(TAP);
            tap.drain(..over);
        }
        // Gone only when the session is over.
        let _ = self.orders.send(Order::Piece(piece));
    }
}

impl LiveEar {
    /// Sets `ear` to listen in a thread. `news` gets everything it tells, with its clock, until it returns false. Sound goes
    /// through `clean` first.
    pub fn start(
        ear: Box<dyn SoundEar + Send>,
        clean: Clean,
        recorded: bool,
        news: impl FnMut(EarNews, Anchor) -> bool + Send + 'static,
    ) -> std::io::Result<(LiveEar, Feed)> {
        let (orders, inbox) = mpsc::channel();
        let tap: Tap = recorded.then(Arc::default);
        std::thread::Builder::new().name("ear".into()).spawn(move || listen(ear, clean, news, &inbox))?;
        Ok((LiveEar { orders: orders.clone(), tap: tap.clone() }, Feed { orders, tap }))
    }
}

fn listen(
    mut ear: Box<dyn SoundEar + Send>,
    mut clean: Clean,
    mut news: impl FnMut(EarNews, Anchor) -> bool,
    inbox: &Receiver<Order>,
) {
    let mut anchor = Anchor { ear: SessionTime::ZERO, wall: Instant::now() };
    let mut heard = 0u64;
    let mut sound = Vec::new();
    for order in inbox {
        let told = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| match order {
            Order::Listen { revision, live, due } => {
                ear.listen(revision, &live, &due);
                Vec::new()
            }
            Order::Saying(words) => ear.saying(words.as_deref()),
            Order::Push(held) => ear.push(held),
            Order::Readback(expect) => {
                ear.readback(expect.as_deref());
                Vec::new()
            }
            Order::Piece(piece) => {
                sound.clear();
                clean(&piece.mic, &piece.crew, &mut sound);
                heard += sound.len() as u64;
                if !piece.mic.is_empty() {
                    anchor = Anchor { ear: SessionTime(heard as i64 * 1_000_000 / i64::from(RATE)), wall: piece.at };
                }
                ear.feed(&sound)
            }
        }));
        let told = told.unwrap_or_else(|_| {
            let why = "the ear stopped over a piece of sound; it goes on with the next".to_string();
            vec![EarNews::Failed { why }]
        });
        for n in told {
            if !news(n, anchor) {
                return;
            }
        }
    }
}

impl SoundEar for LiveEar {
    fn listen(&mut self, revision: u32, live: &CallSet, due: &CallSet) {
        let _ = self.orders.send(Order::Listen { revision, live: live.clone(), due: due.clone() });
    }

    /// The sound comes by another way.
    fn feed(&mut self, _samples: &[f32]) -> Vec<EarNews> {
        Vec::new()
    }

    fn saying(&mut self, words: Option<&str>) -> Vec<EarNews> {
        let _ = self.orders.send(Order::Saying(words.map(String::from)));
        Vec::new()
    }

    fn push(&mut self, held: bool) -> Vec<EarNews> {
        let _ = self.orders.send(Order::Push(held));
        Vec::new()
    }

    fn readback(&mut self, expect: Option<&Exercise>) {
        let _ = self.orders.send(Order::Readback(expect.cloned().map(Box::new)));
    }

    fn microphone(&mut self, block: &mut [f32]) {
        let Some(tap) = &self.tap else { return };
        let mut tap = tap.lock().unwrap_or_else(PoisonError::into_inner);
        for s in block {
            *s = tap.pop_front().unwrap_or(0.0);
        }
    }
}
