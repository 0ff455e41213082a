//! The property-tree adapter: rows over UDP, `get` and `set` over TCP, mapped by a link file.
//!
//! One thread does it all: it waits for a row for a few milliseconds, looks at the replies, sends what is due. A set is
//! sent together with the question for the property that shows it; both go out at once, since the other side reads its
//! socket once a frame.

use super::live::{Hand, Live};
use super::{LinkNews, Tell, guard};
use crate::core::aircraft::Value;
use crate::core::book::schema::ControlKind;
use crate::core::link::lines::{Line, Lines};
use crate::core::link::property::wire::{self, Reply, Row};
use crate::core::link::property::{Do, LinkFile, Map, Reach};
use crate::core::link::{FaultKind, Faults};
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, BTreeSet};
use std::io::{ErrorKind, Read, Write};
use std::net::{TcpStream, ToSocketAddrs, UdpSocket};
use std::rc::Rc;
use std::sync::mpsc::{self, Receiver, Sender, TryRecvError};
use std::time::{Duration, Instant};

/// Waiting for a row is interrupted this often.
const LOOK: Duration = Duration::from_millis(4);
/// Between two attempts to reach the commands' port, at first and at most, s.
const BACK_OFF_S: (f64, f64) = (0.25, 5.0);
/// Without rows for so long, all is asked for.
const NO_ROWS_S: f64 = 0.6;
/// Without any sign for so long, the simulator is gone.
const SILENT_S: f64 = 3.0;
/// A question that was not answered within this is asked again, s.
const AGAIN_S: f64 = 0.5;
/// Greatest step back of the clock that is a late row, s.
const LATE_S: f64 = 1.0;

/// The same row again after less than this has been sent twice.
const REPEATED: Duration = Duration::from_millis(3);

struct Wish {
    request: u64,
    control: String,
    to: Value,
}

struct PropertyHand(Sender<Wish>);

impl Hand for PropertyHand {
    fn set(&mut self, request: u64, control: &str, to: &Value) -> Result<(), String> {
        let wish = Wish { request, control: control.into(), to: to.clone() };
        self.0.send(wish).map_err(|_| "the link has ended; start again".to_string())
    }
}

/// Attaches by a link file, from a thread of its own, now and whenever the simulator is there.
///
/// # Errors
/// One sentence when the port for rows cannot be had.
pub fn connect(file: LinkFile, origin: SessionTime, tell: Tell) -> Result<Live, String> {
    let rows = if file.state.is_empty() {
        None
    } else {
        let socket = UdpSocket::bind(&file.state).map_err(|e| {
            format!(
                "rows of state cannot be received at {} ({e}); see what else uses the port, or choose another",
                file.state
            )
        })?;
        socket.set_read_timeout(Some(LOOK)).map_err(|e| format!("{} cannot be used ({e})", file.state))?;
        Some(socket)
    };
    let (send, wishes) = mpsc::channel();
    std::thread::spawn(move || {
        let tell = Rc::new(tell);
        let mut thread = Thread::new(file, rows, wishes, tell.clone());
        let mend = |t: &mut Thread| t.lost("the link broke down, and is made anew").is_ok();
        guard::keep(&tell, &mut thread, Thread::work, mend);
    });
    Ok(Live::new(Box::new(PropertyHand(send)), origin))
}

/// Nobody listens any more.
struct Unheard;

struct Commands {
    stream: TcpStream,
    lines: Lines,
    /// Properties that are known to be there.
    proven: BTreeSet<String>,
    /// Still to be proven, one at a time, since an unknown one makes the other side drop what follows it.
    to_prove: Vec<String>,
    proving: Option<(String, Instant)>,
    /// When each question was asked.
    asked: BTreeMap<String, Instant>,
}

struct Moving {
    request: u64,
    reach: Reach,
    /// What the property showed since the last write.
    reading: Option<f64>,
}

struct Thread {
    file: LinkFile,
    rows: Option<UdpSocket>,
    wishes: Receiver<Wish>,
    tell: Rc<Tell>,
    map: Map,
    faults: Faults,
    began: Instant,
    commands: Option<Commands>,
    retry: (Instant, f64),
    missing: BTreeSet<String>,
    moving: BTreeMap<String, Moving>,
    time_s: Option<f64>,
    last_row: Option<Vec<u8>>,
    row_at: Option<Instant>,
    sign_at: Option<Instant>,
    polled: Instant,
    up: bool,
    waiting: bool,
}

impl Thread {
    fn new(file: LinkFile, rows: Option<UdpSocket>, wishes: Receiver<Wish>, tell: Rc<Tell>) -> Self {
        let now = Instant::now();
        Thread {
            file,
            rows,
            wishes,
            tell,
            map: Map::default(),
            faults: Faults::default(),
            began: now,
            commands: None,
            retry: (now, BACK_OFF_S.0),
            missing: BTreeSet::new(),
            moving: BTreeMap::new(),
            time_s: None,
            last_row: None,
            row_at: None,
            sign_at: None,
            polled: now,
            up: false,
            waiting: false,
        }
    }

    fn work(&mut self) {
        while self.turn().is_ok() {}
    }

    fn say(&self, news: LinkNews) -> Result<(), Unheard> {
        if (self.tell)(news) { Ok(()) } else { Err(Unheard) }
    }

    fn fault(&mut self, kind: FaultKind, detail: &str) -> Result<(), Unheard> {
        match self.faults.count(kind, detail) {
            Some(text) => self.say(LinkNews::Told(text)),
            None => Ok(()),
        }
    }

    fn session(&self, now: Instant) -> SessionTime {
        SessionTime(now.saturating_duration_since(self.began).as_micros() as i64)
    }

    fn turn(&mut self) -> Result<(), Unheard> {
        let mut bytes = [0u8; 16 << 10];
        let got = match &self.rows {
            Some(socket) => socket.recv(&mut bytes).ok(),
            None => {
                std::thread::sleep(LOOK);
                None
            }
        };
        let now = Instant::now();
        if let Some(n) = got {
            self.row(&bytes[..n], now)?;
        }
        self.dial(now)?;
        self.replies(now)?;
        self.wish(now)?;
        self.ask(now)?;
        self.reach(now)?;
        if self.up && self.sign_at.is_none_or(|t| (now - t).as_secs_f64() > SILENT_S) {
            self.lost("nothing is heard from the simulator any more")?;
        }
        Ok(())
    }

    fn row(&mut self, bytes: &[u8], now: Instant) -> Result<(), Unheard> {
        match wire::row(bytes, self.file.columns.len(), ',') {
            Row::Labels => {}
            Row::Bad(why) => self.fault(FaultKind::Unreadable, &why)?,
            Row::Values(values) => {
                if self.last_row.as_deref() == Some(bytes) {
                    // Told again at once it is a repeated datagram; later, a simulator whose clock stands.
                    let standing = self.row_at.is_some_and(|t| now - t >= REPEATED);
                    (self.row_at, self.sign_at) = (Some(now), Some(now));
                    return if standing {
                        self.say(LinkNews::Standing)
                    } else {
                        self.fault(FaultKind::Duplicate, "a row")
                    };
                }
                let Some(Some(time_s)) = values.first().copied() else {
                    return self.fault(FaultKind::WrongValue, "a row without a time");
                };
                let late = self.time_s.is_some_and(|t| time_s < t && t - time_s < LATE_S);
                if late {
                    return self.fault(FaultKind::Backwards, &format!("{time_s} s"));
                }
                self.last_row = Some(bytes.to_vec());
                self.row_at = Some(now);
                let at = self.session(now);
                for (path, value) in self.file.columns.iter().zip(&values) {
                    self.map.put(path, *value, at);
                }
                if values.iter().any(Option::is_none) {
                    self.fault(FaultKind::WrongValue, "a column that is not finite")?;
                }
                self.frame(time_s, now)?;
            }
        }
        Ok(())
    }

    fn frame(&mut self, time_s: f64, now: Instant) -> Result<(), Unheard> {
        self.time_s = Some(time_s);
        self.sign_at = Some(now);
        self.waiting = false;
        if !self.up {
            self.up = true;
            let (program, callouts) = (self.file.title.clone(), self.file.callouts.clone());
            self.say(LinkNews::Up { program, callouts })?;
            let ours = self.file.controls.iter().filter(|(_, c)| c.kind != ControlKind::Owned);
            self.say(LinkNews::Offers(ours.map(|(name, _)| name.clone()).collect()))?;
        }
        if self.file.slew.as_ref().and_then(|p| self.map.number(p)).is_some_and(|n| n >= 0.5) {
            self.say(LinkNews::Jumped)?;
        }
        let delta = self.map.signals(&self.file, self.session(now));
        self.say(LinkNews::Frame { arrived: now, time_s, delta })
    }

    fn lost(&mut self, why: &str) -> Result<(), Unheard> {
        self.commands = None;
        self.map.clear();
        (self.row_at, self.time_s, self.last_row) = (None, None, None);
        for (_, m) in std::mem::take(&mut self.moving) {
            self.say(LinkNews::Result { request: m.request, failed: Some("the link was lost".into()) })?;
        }
        if std::mem::take(&mut self.up) {
            self.say(LinkNews::Down { why: why.into() })?;
        }
        Ok(())
    }

    /// Connects to the commands' port when it is time.
    fn dial(&mut self, now: Instant) -> Result<(), Unheard> {
        if self.commands.is_some() || self.file.commands.is_empty() || now < self.retry.0 {
            return Ok(());
        }
        let address = self.file.commands.to_socket_addrs().ok().and_then(|mut a| a.next());
        // On loopback this is decided at once; elsewhere it must not hold up the rows for long.
        let stream = address.and_then(|a| TcpStream::connect_timeout(&a, Duration::from_millis(100)).ok());
        let ready = stream.filter(|s| s.set_nodelay(true).is_ok() && s.set_nonblocking(true).is_ok());
        let Some(stream) = ready else {
            self.retry = (now + Duration::from_secs_f64(self.retry.1), (self.retry.1 * 2.0).min(BACK_OFF_S.1));
            if !self.waiting && !self.up {
                self.waiting = true;
                return self.say(LinkNews::Told(format!("waiting for the simulator at {}", self.file.commands)));
            }
            return Ok(());
        };
        self.retry.1 = BACK_OFF_S.0;
        let mut to_prove: Vec<String> = self.file.asked();
        to_prove.extend(self.file.columns.iter().rev().cloned());
        // The clock first, which is taken from the end.
        to_prove.retain(|p| *p != self.file.clock);
        to_prove.push(self.file.clock.clone());
        self.commands = Some(Commands {
            stream,
            lines: Lines::default(),
            proven: BTreeSet::new(),
            to_prove,
            proving: None,
            asked: BTreeMap::new(),
        });
        Ok(())
    }

    fn write(&mut self, text: &str) {
        if let Some(c) = &mut self.commands
            && c.stream.write_all(text.as_bytes()).is_err()
        {
            self.close();
        }
    }

    fn close(&mut self) {
        self.commands = None;
        self.retry = (Instant::now() + Duration::from_secs_f64(BACK_OFF_S.0), BACK_OFF_S.0);
    }

    fn replies(&mut self, now: Instant) -> Result<(), Unheard> {
        let mut bytes = [0u8; 16 << 10];
        let Some(c) = &mut self.commands else { return Ok(()) };
        let lines = match c.stream.read(&mut bytes) {
            Ok(0) => {
                self.close();
                return Ok(());
            }
            Ok(n) => c.lines.push(&bytes[..n]),
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => return Ok(()),
            Err(_) => {
                self.close();
                return Ok(());
            }
        };
        for line in lines {
            let text = match line {
                Line::Whole(text) => String::from_utf8_lossy(&text).into_owned(),
                Line::TooLong => {
                    self.fault(FaultKind::TooLong, "a reply")?;
                    continue;
                }
            };
            match wire::reply(&text) {
                Reply::Value(path, n) => self.told(&path, Some(n), now)?,
                Reply::NoNumber(path) => {
                    self.fault(FaultKind::WrongValue, &path)?;
                    self.told(&path, None, now)?;
                }
                Reply::Unknown => {
                    let proving = self.commands.as_mut().and_then(|c| c.proving.take());
                    if let Some((path, _)) = proving
                        && self.missing.insert(path.clone())
                    {
                        self.say(LinkNews::Told(format!(
                            "the simulator has no property {path}; what it gives is unknown"
                        )))?;
                    }
                }
                Reply::Taken | Reply::Other => {}
            }
        }
        Ok(())
    }

    fn told(&mut self, path: &str, number: Option<f64>, now: Instant) -> Result<(), Unheard> {
        if let Some(c) = &mut self.commands {
            c.asked.remove(path);
            c.proven.insert(path.to_string());
            if c.proving.as_ref().is_some_and(|(p, _)| p == path) {
                c.proving = None;
            }
        }
        let at = self.session(now);
        // A row is newer than an answer.
        let in_row = self.file.columns.iter().any(|c| c == path);
        let rows = self.row_at.is_some_and(|t| (now - t).as_secs_f64() < NO_ROWS_S);
        if !(in_row && rows) {
            self.map.put(path, number, at);
        }
        for m in self.moving.values_mut().filter(|m| m.reach.reads() == path) {
            m.reading = number;
        }
        if path != self.file.clock || rows {
            return Ok(());
        }
        // Without rows the clock's answer makes the frame, and shows whether the simulator stands.
        self.sign_at = Some(now);
        match (number, self.time_s) {
            (Some(t), Some(before)) if t == before && self.up => self.say(LinkNews::Standing),
            (Some(t), _) => self.frame(t, now),
            (None, _) => Ok(()),
        }
    }

    /// Asks for what no row holds, and, without rows, for all.
    fn ask(&mut self, now: Instant) -> Result<(), Unheard> {
        let rows = self.row_at.is_some_and(|t| (now - t).as_secs_f64() < NO_ROWS_S);
        let mut text = String::new();
        {
            let Some(c) = &mut self.commands else { return Ok(()) };
            c.proving = c.proving.take().filter(|(_, t)| (now - *t).as_secs_f64() < AGAIN_S);
            if c.proving.is_none()
                && let Some(path) = c.to_prove.pop()
                && !c.proven.contains(&path)
            {
                text.push_str(&wire::get(&path));
                c.proving = Some((path, now));
            }
            if (now - self.polled).as_secs_f64() >= self.file.poll_s {
                self.polled = now;
                let mut all = self.file.asked();
                if !rows {
                    all.extend(self.file.columns.iter().filter(|p| **p != self.file.clock).cloned());
                    // The clock last: its answer makes the frame of all the others.
                    all.push(self.file.clock.clone());
                }
                for path in all.into_iter().filter(|p| c.proven.contains(p)) {
                    let waits = c.asked.get(&path).is_some_and(|t| (now - *t).as_secs_f64() < AGAIN_S);
                    if !waits {
                        text.push_str(&wire::get(&path));
                        c.asked.insert(path, now);
                    }
                }
            }
        }
        if !text.is_empty() {
            self.write(&text);
        }
        Ok(())
    }

    /// Takes wishes in; ends when nobody can have any more.
    fn wish(&mut self, now: Instant) -> Result<(), Unheard> {
        loop {
            let wish = match self.wishes.try_recv() {
                Ok(wish) => wish,
                Err(TryRecvError::Empty) => return Ok(()),
                Err(TryRecvError::Disconnected) => return Err(Unheard),
            };
            let Wish { request, control, to } = wish;
            let begun = match self.file.controls.get(&control) {
                None => Err(format!("the link file has no control {control}")),
                Some(_) if self.commands.is_none() => Err("the simulator takes no commands now".into()),
                Some(c) => Reach::new(&control, c, &to),
            };
            match begun {
                Err(why) => self.say(LinkNews::Result { request, failed: Some(why) })?,
                Ok(reach) => {
                    if let Some(old) = self.moving.insert(control, Moving { request, reach, reading: None }) {
                        let failed = Some("a newer set took its place".into());
                        self.say(LinkNews::Result { request: old.request, failed })?;
                    }
                    self.reach(now)?;
                }
            }
        }
    }

    /// Moves on what is under way.
    fn reach(&mut self, now: Instant) -> Result<(), Unheard> {
        let at = self.session(now);
        for name in self.moving.keys().cloned().collect::<Vec<_>>() {
            let Some(m) = self.moving.get_mut(&name) else { continue };
            let (request, reads) = (m.request, m.reach.reads().to_string());
            let step = m.reach.poll(m.reading.take(), at);
            let mut text = String::new();
            let put = |text: &mut String, all: &[(String, f64)]| {
                all.iter().for_each(|(path, value)| text.push_str(&wire::set(path, *value)));
            };
            let settled = match step {
                Do::Ask => None,
                Do::Write(all) => {
                    put(&mut text, &all);
                    // Whatever was asked before is of the time before.
                    self.commands.iter_mut().for_each(|c| {
                        c.asked.remove(&reads);
                    });
                    None
                }
                Do::Done(all) => {
                    put(&mut text, &all);
                    Some(None)
                }
                Do::Failed(why, all) => {
                    put(&mut text, &all);
                    Some(Some(why))
                }
            };
            let waits = self
                .commands
                .as_ref()
                .is_some_and(|c| c.asked.get(&reads).is_some_and(|t| (now - *t).as_secs_f64() < AGAIN_S));
            if settled.is_none() && !waits {
                text.push_str(&wire::get(&reads));
                self.commands.iter_mut().for_each(|c| {
                    c.asked.insert(reads.clone(), now);
                });
            }
            if !text.is_empty() {
                self.write(&text);
            }
            if let Some(failed) = settled {
                self.moving.remove(&name);
                self.say(LinkNews::Result { request, failed })?;
            }
        }
        Ok(())
    }
}
