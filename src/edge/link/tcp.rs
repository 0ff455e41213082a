//! The Antiphon link protocol over TCP: connects, again and again, and tells what it hears.

use super::live::{Hand, Live};
use super::{LinkNews, Tell, guard};
use crate::core::aircraft::{Delta, Value, ValueKind};
use crate::core::link::intake::{Event, Intake};
use crate::core::link::message::{Message, PROTOCOL};
use crate::core::link::pending::{Pending, Settled};
use crate::core::link::{Delay, FaultKind, Faults};
use crate::core::time::SessionTime;
use std::collections::BTreeMap;
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Waits between attempts to connect; the last is repeated.
const BACK_OFF: [Duration; 5] = [
    Duration::from_millis(250),
    Duration::from_millis(500),
    Duration::from_secs(1),
    Duration::from_secs(2),
    Duration::from_secs(5),
];
/// Longest time for one attempt.
const CONNECT: Duration = Duration::from_secs(2);
/// Reading looks up this often.
const LOOK: Duration = Duration::from_millis(10);
/// Nothing heard for so long, not even an answer to a ping: the connection is only half open.
const SILENT: Duration = Duration::from_secs(3);
/// States closer together than this are put together.
const CLOSE: Duration = Duration::from_millis(4);
/// So many put together in a row are a flood.
const FLOOD: u32 = 200;

/// What the thread and the hand share.
struct Shared {
    intake: Intake,
    out: Option<TcpStream>,
    pending: Pending,
    settled: Vec<Settled>,
    values: BTreeMap<String, Value>,
    began: Instant,
}

impl Shared {
    fn now(&self) -> SessionTime {
        SessionTime(self.began.elapsed().as_micros() as i64)
    }
}

fn lock(shared: &Mutex<Shared>) -> MutexGuard<'_, Shared> {
    // A panic of the other side of the lock leaves plain data behind.
    shared.lock().unwrap_or_else(PoisonError::into_inner)
}

struct TcpHand(Arc<Mutex<Shared>>);

impl Hand for TcpHand {
    fn set(&mut self, request: u64, control: &str, to: &Value) -> Result<(), String> {
        let mut s = lock(&self.0);
        let message = s.intake.set(request, control, to)?;
        let Some(out) = &mut s.out else { return Err("there is no link to the aircraft".into()) };
        out.write_all(message.write().as_bytes()).map_err(|e| format!("the simulator does not take it ({e})"))?;
        let (now, before) = (s.now(), s.values.get(control).cloned());
        let replaced = s.pending.sent(request, control, to, before, now);
        s.settled.extend(replaced);
        Ok(())
    }
}

/// Connects to `address` from a thread of its own, now and whenever the connection is lost; tells what it hears of
/// `known` signals. The session begins at `origin`.
pub fn connect(address: &str, known: BTreeMap<String, ValueKind>, origin: SessionTime, tell: Tell) -> Live {
    let shared = Arc::new(Mutex::new(Shared {
        intake: Intake::new(known),
        out: None,
        pending: Pending::default(),
        settled: Vec::new(),
        values: BTreeMap::new(),
        began: Instant::now(),
    }));
    let hand = TcpHand(shared.clone());
    let address = address.to_string();
    std::thread::spawn(move || {
        let mend = |shared: &mut Arc<Mutex<Shared>>| {
            let lost = leave(shared);
            lost.into_iter().all(|s| tell(result(s)))
                && tell(LinkNews::Down { why: "the link broke down, and is made anew".into() })
        };
        let mut shared = shared;
        guard::keep(&tell, &mut shared, |shared| run(&address, shared, &tell), mend);
    });
    Live::new(Box::new(hand), origin)
}

/// Why a talk ended.
enum Over {
    /// The connection, with a sentence.
    Lost(String),
    /// The two sides cannot talk to each other, which has been told.
    Left,
    /// Nobody listens any more.
    Unheard,
}

fn run(address: &str, shared: &Arc<Mutex<Shared>>, tell: &Tell) {
    let mut attempt = 0;
    let mut waiting = false;
    loop {
        if Arc::strong_count(shared) == 1 {
            return;
        }
        if let Some(stream) = dial(address) {
            lock(shared).intake.again();
            let mut talk = Talk::new(shared, tell);
            let over = talk.run(stream);
            let up = talk.up;
            let lost = leave(shared);
            let mut heard = lost.into_iter().all(|s| tell(result(s)));
            match over {
                Over::Unheard => return,
                Over::Lost(why) if up => {
                    attempt = 0;
                    heard &= tell(LinkNews::Down { why });
                }
                Over::Lost(why) if !waiting => heard &= tell(LinkNews::Told(why)),
                Over::Lost(_) | Over::Left => {}
            }
            waiting = !up;
            if !heard {
                return;
            }
        } else if !waiting {
            waiting = true;
            if !tell(LinkNews::Told(format!("waiting for the simulator at {address}"))) {
                return;
            }
        }
        std::thread::sleep(BACK_OFF[attempt.min(BACK_OFF.len() - 1)]);
        attempt += 1;
    }
}

/// Leaves a connection: what was under way is lost with it.
fn leave(shared: &Mutex<Shared>) -> Vec<Settled> {
    let mut s = lock(shared);
    s.out = None;
    s.values.clear();
    s.pending.lost()
}

fn dial(address: &str) -> Option<TcpStream> {
    let stream = address.to_socket_addrs().ok()?.find_map(|a| TcpStream::connect_timeout(&a, CONNECT).ok())?;
    stream.set_nodelay(true).ok()?;
    stream.set_read_timeout(Some(LOOK)).ok()?;
    stream.set_write_timeout(Some(Duration::from_millis(200))).ok()?;
    Some(stream)
}

fn result(s: Settled) -> LinkNews {
    LinkNews::Result { request: s.request, failed: s.failed }
}

/// One connection.
struct Talk<'a> {
    shared: &'a Arc<Mutex<Shared>>,
    tell: &'a Tell,
    /// The greeting, until the first state shows that the aircraft is there.
    greeting: Option<LinkNews>,
    up: bool,
    paused: bool,
    began: Instant,
    delay: Delay,
    /// A state that came too close after another.
    held: Option<(Instant, f64, Delta)>,
    told: Option<Instant>,
    close: u32,
    flood: Faults,
}

impl<'a> Talk<'a> {
    fn new(shared: &'a Arc<Mutex<Shared>>, tell: &'a Tell) -> Self {
        Talk {
            shared,
            tell,
            greeting: None,
            up: false,
            paused: false,
            began: Instant::now(),
            delay: Delay::default(),
            held: None,
            told: None,
            close: 0,
            flood: Faults::default(),
        }
    }

    fn at(&self, now: Instant) -> SessionTime {
        SessionTime(now.saturating_duration_since(self.began).as_micros() as i64)
    }

    fn say(&self, news: LinkNews) -> Result<(), Over> {
        if (self.tell)(news) { Ok(()) } else { Err(Over::Unheard) }
    }

    fn send(&self, message: &Message) -> Result<(), Over> {
        let mut s = lock(self.shared);
        let Some(out) = &mut s.out else { return Ok(()) };
        let sent = out.write_all(message.write().as_bytes());
        sent.map_err(|e| Over::Lost(format!("the simulator takes nothing more ({e})")))
    }

    fn run(&mut self, mut stream: TcpStream) -> Over {
        match stream.try_clone() {
            Ok(out) => lock(self.shared).out = Some(out),
            Err(e) => return Over::Lost(format!("the connection cannot be used ({e})")),
        }
        let hello = Message::Hello {
            protocol: PROTOCOL,
            program: format!("antiphon {}", env!("CARGO_PKG_VERSION")),
            capabilities: Vec::new(),
            callouts: Vec::new(),
        };
        if let Err(over) = self.send(&hello) {
            return over;
        }
        let mut heard = Instant::now();
        let mut bytes = [0u8; 16 << 10];
        loop {
            let got = match stream.read(&mut bytes) {
                Ok(0) => return Over::Lost("the simulator has closed the link".into()),
                Ok(n) => Some(n),
                Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted) => {
                    None
                }
                Err(e) => return Over::Lost(format!("the link broke ({e})")),
            };
            let now = Instant::now();
            let done = match got {
                Some(n) => {
                    heard = now;
                    self.hear(&bytes[..n], now)
                }
                None if now - heard > SILENT => {
                    return Over::Lost("nothing is heard from the simulator any more".into());
                }
                None => Ok(()),
            };
            if let Err(over) = done.and_then(|()| self.tend(now)) {
                return over;
            }
        }
    }

    /// What falls due between messages.
    fn tend(&mut self, now: Instant) -> Result<(), Over> {
        if self.held.is_some() && self.told.is_none_or(|t| now - t >= CLOSE) {
            self.release()?;
        }
        let settled = {
            let mut s = lock(self.shared);
            let at = s.now();
            let mut all = std::mem::take(&mut s.settled);
            all.extend(s.pending.expired(at));
            all
        };
        for s in settled {
            self.say(result(s))?;
        }
        if Arc::strong_count(self.shared) == 1 {
            return Err(Over::Unheard);
        }
        let ping = self.delay.ping(self.at(now));
        ping.map_or(Ok(()), |n| self.send(&Message::Ping { n }))
    }

    fn hear(&mut self, bytes: &[u8], now: Instant) -> Result<(), Over> {
        let events = lock(self.shared).intake.push(bytes);
        for event in events {
            match event {
                Event::Greeted { program, callouts, .. } => self.greeting = Some(LinkNews::Up { program, callouts }),
                Event::Offers(controls) => self.say(LinkNews::Offers(controls))?,
                Event::Frame { time_s, delta } => self.frame(now, time_s, delta)?,
                Event::Result { id, reads, failed } => {
                    let settled = lock(self.shared).pending.answered(id, reads.as_ref(), failed);
                    if let Some(s) = settled {
                        self.say(result(s))?;
                    }
                }
                Event::Paused(paused) => {
                    self.release()?;
                    self.paused = paused;
                    self.say(LinkNews::Paused(paused))?;
                }
                Event::Rate(rate) => {
                    self.release()?;
                    self.say(LinkNews::Rate(rate))?;
                }
                Event::Jumped => {
                    self.release()?;
                    self.say(LinkNews::Jumped)?;
                }
                Event::Ping(n) => self.send(&Message::Pong { n })?,
                Event::Pong(n) => {
                    if let Some(s) = self.delay.pong(n, self.at(now)) {
                        self.say(LinkNews::Delay(s))?;
                    }
                    if self.paused && self.up {
                        self.say(LinkNews::Standing)?;
                    }
                }
                Event::Leave => return Err(Over::Left),
                Event::Told(text) => self.say(LinkNews::Told(text))?,
            }
        }
        Ok(())
    }

    fn frame(&mut self, now: Instant, time_s: f64, delta: Delta) -> Result<(), Over> {
        if let Some(greeting) = self.greeting.take() {
            self.up = true;
            self.say(greeting)?;
        }
        let settled: Vec<Settled> = {
            let mut s = lock(self.shared);
            let mut settled = Vec::new();
            for (name, value) in &delta {
                match value {
                    Some(v) => {
                        settled.extend(s.pending.shows(name, v));
                        s.values.insert(name.clone(), v.clone());
                    }
                    None => drop(s.values.remove(name)),
                }
            }
            settled
        };
        match &mut self.held {
            Some((at, time, all)) => {
                (*at, *time) = (now, time_s);
                all.extend(delta);
            }
            None => self.held = Some((now, time_s, delta)),
        }
        if self.told.is_none_or(|t| now - t >= CLOSE) {
            self.close = 0;
            self.release()?;
        } else {
            self.close += 1;
            if self.close == FLOOD {
                let told = self.flood.count(FaultKind::Flood, "");
                told.map_or(Ok(()), |text| self.say(LinkNews::Told(text)))?;
            }
        }
        // The state first, so that a result finds it there.
        if !settled.is_empty() {
            self.release()?;
        }
        settled.into_iter().try_for_each(|s| self.say(result(s)))
    }

    fn release(&mut self) -> Result<(), Over> {
        let Some((arrived, time_s, delta)) = self.held.take() else { return Ok(()) };
        self.told = Some(arrived);
        self.say(LinkNews::Frame { arrived, time_s, delta })
    }
}
