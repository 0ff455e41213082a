//! A speech service on a thread of its own: it is asked and never waited for, so that one that hangs holds nothing up.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::time::Duration;

/// How a service is to speak.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Manner {
    /// A voice by name; else the service's own choice.
    pub voice: Option<String>,
    /// Speed in percent of the service's normal one, 50 to 200.
    pub rate_percent: f32,
    /// Loudness in percent of the service's loudest, 0 to 100.
    pub volume_percent: f32,
}

impl Default for Manner {
    fn default() -> Self {
        Manner { voice: None, rate_percent: 100.0, volume_percent: 100.0 }
    }
}

/// Something that speaks aloud by itself. Every call may block for as long as it likes.
pub trait Service {
    /// Begins to speak, in place of whatever sounds; the key by which [`Hints::ended`] names it.
    ///
    /// # Errors
    /// One clause that says why not.
    fn speak(&mut self, text: &str) -> Result<String, String>;

    /// Falls silent.
    ///
    /// # Errors
    /// One clause that says why not.
    fn stop(&mut self) -> Result<(), String>;
}

/// By this a service tells, from any thread and without blocking, that something has ended.
#[derive(Debug, Clone)]
pub struct Hints(Sender<Ask>);

impl Hints {
    /// What [`Service::speak`] gave this key has ended.
    pub fn ended(&self, key: String) {
        // Nobody listens any more when the session is over.
        let _ = self.0.send(Ask::Ended(key));
    }
}

/// Makes the service, on its thread.
pub type Make = Box<dyn FnOnce(Hints) -> Result<Box<dyn Service>, String> + Send>;

#[derive(Debug)]
enum Ask {
    Speak { id: u64, text: String },
    Stop,
    Ended(String),
    Close,
}

/// What the service tells.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Told {
    /// It has been made.
    Open,
    /// It has taken words and speaks them.
    Taken {
        /// Of the words.
        id: u64,
    },
    /// It says that it has spoken them.
    Ended {
        /// Of the words.
        id: u64,
    },
    /// It does not do what was asked, and will not do more.
    Failed {
        /// One clause.
        why: String,
    },
}

/// The way to a service.
#[derive(Debug)]
pub struct Wire {
    asks: Sender<Ask>,
    told: Receiver<Told>,
}

impl Wire {
    /// Makes the service and waits for it at most this long.
    ///
    /// # Errors
    /// One clause: it cannot be made, or not in time.
    pub fn open(make: Make, limit: Duration) -> Result<Wire, String> {
        let (asks, asked) = channel();
        let (tell, told) = channel();
        let hints = Hints(asks.clone());
        std::thread::Builder::new()
            .name("speech service".into())
            .spawn(move || serve(make, hints, &asked, &tell))
            .map_err(|e| format!("no thread for it: {e}"))?;
        let wire = Wire { asks, told };
        match wire.told.recv_timeout(limit) {
            Ok(Told::Failed { why }) => Err(why),
            Ok(_) => Ok(wire),
            Err(RecvTimeoutError::Timeout) => Err(format!("it does not answer within {} s", limit.as_secs_f64())),
            Err(RecvTimeoutError::Disconnected) => Err("it stopped while it began".into()),
        }
    }

    /// Asks for words.
    pub fn speak(&self, id: u64, text: &str) {
        // A thread that is gone is found by `told`.
        let _ = self.asks.send(Ask::Speak { id, text: text.into() });
    }

    /// Asks for silence.
    pub fn stop(&self) {
        let _ = self.asks.send(Ask::Stop);
    }

    /// The next thing told, at once.
    pub fn told(&self) -> Option<Told> {
        match self.told.try_recv() {
            Ok(told) => Some(told),
            Err(TryRecvError::Empty) => None,
            Err(TryRecvError::Disconnected) => Some(Told::Failed { why: "it stopped over a sentence".into() }),
        }
    }

    /// The next thing told, waited for.
    pub fn wait(&self, limit: Duration) -> Option<Told> {
        self.told.recv_timeout(limit).ok()
    }
}

impl Drop for Wire {
    fn drop(&mut self) {
        let _ = self.asks.send(Ask::Close);
    }
}

fn serve(make: Make, hints: Hints, asked: &Receiver<Ask>, tell: &Sender<Told>) {
    let mut service = match make(hints) {
        Ok(service) => service,
        Err(why) => {
            let _ = tell.send(Told::Failed { why });
            return;
        }
    };
    let _ = tell.send(Told::Open);
    // A hint comes through the same door as the questions: it is never looked at before its key is known.
    let mut keys: BTreeMap<String, u64> = BTreeMap::new();
    for ask in asked {
        match ask {
            Ask::Speak { id, text } => {
                let told = match service.speak(&text) {
                    Ok(key) => {
                        keys.insert(key, id);
                        Told::Taken { id }
                    }
                    Err(why) => Told::Failed { why },
                };
                let _ = tell.send(told);
            }
            Ask::Stop => {
                keys.clear();
                if let Err(why) = service.stop() {
                    let _ = tell.send(Told::Failed { why });
                }
            }
            Ask::Ended(key) => {
                if let Some(id) = keys.remove(&key) {
                    let _ = tell.send(Told::Ended { id });
                }
            }
            Ask::Close => {
                let _ = service.stop();
                break;
            }
        }
    }
}
