//! The receiving side of the Antiphon link protocol: bytes of one connection to events.

use super::faults::{FaultKind, Faults};
use super::lines::{Line, Lines};
use super::message::{Described, Message, PROTOCOL, Unread};
use super::units::{self, Unit};
use crate::core::aircraft::{Delta, Value, ValueKind};
use std::collections::{BTreeMap, BTreeSet};

/// What arrives.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// The other side has greeted.
    Greeted {
        /// What it calls itself.
        program: String,
        /// What it can do.
        capabilities: Vec<String>,
        /// Callouts that the aircraft makes itself.
        callouts: Vec<String>,
    },
    /// The controls that can be set, as far as described.
    Offers(Vec<String>),
    /// A new state.
    Frame {
        /// The simulator's clock, s.
        time_s: f64,
        /// What changed, in the units that the names say.
        delta: Delta,
    },
    /// What became of a set.
    Result {
        /// Its id.
        id: u64,
        /// What the control shows now, if it was told.
        reads: Option<Value>,
        /// Why it was not taken.
        failed: Option<String>,
    },
    /// The simulator's clock stands or goes.
    Paused(bool),
    /// The simulator's clock runs so many times as fast.
    Rate(f64),
    /// Place or time has jumped.
    Jumped,
    /// To be answered.
    Ping(u64),
    /// An answer.
    Pong(u64),
    /// The two sides cannot talk to each other, which has been told.
    Leave,
    /// Something to tell once: one sentence.
    Told(String),
}

/// A step back of the simulator's clock by less than this is a late state; by more it is a jump.
const LATE_S: f64 = 1.0;

/// Greatest time of a simulator's clock, s: 30,000 years.
const LATEST_S: f64 = 1e12;

/// How a described signal comes.
#[derive(Debug, Clone)]
struct Source {
    /// From the unit on the wire to the one of the name.
    convert: Option<(&'static Unit, &'static Unit)>,
    settable: bool,
}

/// Reads one connection after another; counts live on.
#[derive(Debug, Clone)]
pub struct Intake {
    known: BTreeMap<String, ValueKind>,
    sources: BTreeMap<String, Source>,
    /// Described, but not of use: unknown to the book, or in a wrong unit.
    unused: BTreeSet<String>,
    lines: Lines,
    greeted: bool,
    left: bool,
    time_s: Option<f64>,
    seq: Option<u64>,
    faults: Faults,
}

impl Intake {
    /// For these signals with their types.
    pub fn new(known: BTreeMap<String, ValueKind>) -> Self {
        Intake {
            known,
            sources: BTreeMap::new(),
            unused: BTreeSet::new(),
            lines: Lines::default(),
            greeted: false,
            left: false,
            time_s: None,
            seq: None,
            faults: Faults::default(),
        }
    }

    /// A new connection begins.
    pub fn again(&mut self) {
        let known = std::mem::take(&mut self.known);
        let faults = std::mem::take(&mut self.faults);
        *self = Intake { faults, ..Intake::new(known) };
    }

    /// What was wrong so far.
    pub fn faults(&self) -> &Faults {
        &self.faults
    }

    /// The signals that this connection gives.
    pub fn given(&self) -> impl Iterator<Item = &str> {
        self.sources.keys().map(String::as_str)
    }

    /// The message that sets a control.
    ///
    /// # Errors
    /// One sentence if the simulator does not offer it.
    pub fn set(&self, id: u64, control: &str, to: &Value) -> Result<Message, String> {
        let Some(source) = self.sources.get(control).filter(|s| s.settable) else {
            return Err(format!("the simulator does not offer {control} to be set"));
        };
        let value = match (to, source.convert) {
            (Value::Number(n), Some((wire, own))) => match units::convert(*n, own, wire) {
                Some(n) => Value::Number(n),
                None => return Err(format!("{n} cannot be told in {}", wire.name)),
            },
            _ => to.clone(),
        };
        Ok(Message::Set { id, control: control.to_string(), value })
    }

    /// Takes bytes in.
    pub fn push(&mut self, bytes: &[u8]) -> Vec<Event> {
        let mut out = Vec::new();
        for line in self.lines.push(bytes) {
            if self.left {
                break;
            }
            match line {
                Line::TooLong => self.fault(&mut out, FaultKind::TooLong, ""),
                Line::Whole(line) => match Message::read(&line) {
                    Ok(message) => self.message(message, &mut out),
                    Err(Unread::Unknown(kind)) => self.fault(&mut out, FaultKind::UnknownMessage, &kind),
                    Err(Unread::Unreadable(why)) => self.fault(&mut out, FaultKind::Unreadable, &why),
                },
            }
        }
        out
    }

    fn fault(&mut self, out: &mut Vec<Event>, kind: FaultKind, detail: &str) {
        out.extend(self.faults.count(kind, detail).map(Event::Told));
    }

    fn message(&mut self, message: Message, out: &mut Vec<Event>) {
        match message {
            Message::Hello { protocol, program, capabilities, callouts } => {
                if protocol != PROTOCOL {
                    let detail = format!("it speaks version {protocol}, this program version {PROTOCOL}");
                    self.fault(out, FaultKind::Version, &detail);
                    self.left = true;
                    out.push(Event::Leave);
                } else if self.greeted {
                    self.fault(out, FaultKind::OutOfTurn, "a second hello");
                } else {
                    self.greeted = true;
                    out.push(Event::Greeted { program, capabilities, callouts });
                }
            }
            _ if !self.greeted => self.fault(out, FaultKind::OutOfTurn, "before hello"),
            Message::Describe { signals } => {
                for (name, d) in signals {
                    self.describe(name, &d, out);
                }
                let settable = self.sources.iter().filter(|(_, s)| s.settable);
                out.push(Event::Offers(settable.map(|(name, _)| name.clone()).collect()));
            }
            Message::State { time_s, seq, values } => self.state(time_s, seq, values, out),
            Message::Result { id, ok, reads, why } => {
                let failed = (!ok).then(|| why.unwrap_or_else(|| "the simulator did not take it".into()));
                out.push(Event::Result { id, reads, failed });
            }
            Message::Pause { paused } => out.push(Event::Paused(paused)),
            Message::Rate { rate } if rate > 0.0 && rate.is_finite() => out.push(Event::Rate(rate)),
            Message::Rate { rate } => self.fault(out, FaultKind::WrongValue, &format!("rate {rate}")),
            Message::Reposition {} => {
                self.time_s = None;
                out.push(Event::Jumped);
            }
            Message::Ping { n } => out.push(Event::Ping(n)),
            Message::Pong { n } => out.push(Event::Pong(n)),
            Message::Set { .. } => self.fault(out, FaultKind::OutOfTurn, "a set"),
            Message::Error { text } => self.fault(out, FaultKind::TheirError, &text),
        }
    }

    fn describe(&mut self, name: String, d: &Described, out: &mut Vec<Event>) {
        let convert = match (&d.unit, units::of_signal(&name)) {
            _ if !self.known.contains_key(&name) => None,
            (None, _) => Some(None),
            (Some(unit), own) => match (units::find(unit), own) {
                (Some(wire), Some(own)) if wire.measures == own.measures => Some((wire != own).then_some((wire, own))),
                (Some(_), None) => Some(None),
                _ => {
                    self.fault(out, FaultKind::WrongUnit, &format!("{name} in {unit}"));
                    None
                }
            },
        };
        match convert {
            Some(convert) => {
                self.unused.remove(&name);
                self.sources.insert(name, Source { convert, settable: d.settable });
            }
            None => {
                self.sources.remove(&name);
                self.unused.insert(name);
            }
        }
    }

    fn state(&mut self, time_s: f64, seq: Option<u64>, values: BTreeMap<String, Option<Value>>, out: &mut Vec<Event>) {
        // Beyond this no clock of ours can count.
        if time_s.abs() > LATEST_S {
            return self.fault(out, FaultKind::WrongValue, &format!("time {time_s} s"));
        }
        if seq.is_some() && seq == self.seq {
            return self.fault(out, FaultKind::Duplicate, &format!("at {time_s} s"));
        }
        if let Some(before) = self.time_s
            && time_s < before
        {
            if before - time_s < LATE_S {
                return self.fault(out, FaultKind::Backwards, &format!("{time_s} s after {before} s"));
            }
            out.push(Event::Jumped);
        }
        (self.time_s, self.seq) = (Some(time_s), seq);
        let mut delta = Delta::new();
        for (name, value) in values {
            if let Some(value) = self.value(&name, value, out) {
                delta.insert(name, value);
            }
        }
        out.push(Event::Frame { time_s, delta });
    }

    /// A value in our unit; `None` if it is not to be used.
    fn value(&mut self, name: &str, value: Option<Value>, out: &mut Vec<Event>) -> Option<Option<Value>> {
        let (Some(source), Some(kind)) = (self.sources.get(name), self.known.get(name)) else {
            if !self.unused.contains(name) {
                self.fault(out, FaultKind::UnknownSignal, name);
            }
            return None;
        };
        let Some(value) = value else { return Some(None) };
        let value = match (value, source.convert) {
            (Value::Number(n), Some((wire, own))) => units::convert(n, wire, own).map(Value::Number),
            (value, _) => Some(value),
        };
        match value {
            Some(v) if v.fits(kind) => Some(Some(v)),
            _ => {
                self.fault(out, FaultKind::WrongValue, name);
                None
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn intake() -> Intake {
        let known = [
            ("ias_kt", ValueKind::Number),
            ("gear_lever", ValueKind::Word(vec!["up".into(), "down".into()])),
            ("on_ground", ValueKind::Bool),
        ];
        Intake::new(known.into_iter().map(|(n, k)| (n.to_string(), k)).collect())
    }

    const HELLO: &str = r#"{"type":"hello","protocol":1,"program":"toy"}"#;
    const DESCRIBE: &str = r#"{"type":"describe","signals":{"ias_kt":{"unit":"m/s","settable":true},"gear_lever":{"settable":true},"on_ground":{},"rivets":{}}}"#;

    /// Sends lines, of which the first two are answered as they should be; the events after them, as text.
    fn check(lines: &[&str], want: &[&str]) {
        let mut i = intake();
        let mut events = Vec::new();
        for line in [HELLO, DESCRIBE].iter().chain(lines) {
            events.extend(i.push(format!("{line}\n").as_bytes()));
        }
        let told: Vec<String> = events
            .iter()
            .filter(|e| !matches!(e, Event::Greeted { .. } | Event::Offers(_)))
            .map(|e| match e {
                Event::Frame { time_s, delta } => format!("{time_s}: {delta:?}"),
                other => format!("{other:?}"),
            })
            .collect();
        assert_eq!(told.len(), want.len(), "{told:#?}");
        for (t, w) in told.iter().zip(want) {
            assert!(t.contains(w), "{t}\nshould contain {w}");
        }
    }

    #[test]
    fn values_come_in_the_unit_of_the_name() {
        let mut i = intake();
        let events = i.push(format!("{HELLO}\n{DESCRIBE}\n").as_bytes());
        assert_eq!(events.last(), Some(&Event::Offers(vec!["gear_lever".into(), "ias_kt".into()])));
        let events = i.push(b"{\"type\":\"state\",\"time_s\":1,\"values\":{\"ias_kt\":100}}\n");
        let [Event::Frame { delta, .. }] = &events[..] else { panic!("{events:?}") };
        let kt = delta["ias_kt"].as_ref().and_then(Value::number).expect("a number");
        // NIST SP 811: 1 kt = 1852/3600 m/s.
        assert!((kt - 194.384_449).abs() < 1e-5, "{kt}");
        let Ok(Message::Set { value: Value::Number(back), .. }) = i.set(1, "ias_kt", &Value::Number(kt)) else {
            panic!("settable")
        };
        assert!((back - 100.0).abs() < 1e-9, "{back}");
        assert!(i.set(1, "on_ground", &Value::Bool(true)).is_err());
    }

    #[test]
    fn what_is_faulty_is_passed_over_and_told_once() {
        check(
            &[
                r#"{"type":"state","time_s":1,"seq":1,"values":{"rivets":7,"gear_lever":"sideways","wings":2}}"#,
                r#"{"type":"state","time_s":1,"seq":1,"values":{"on_ground":true}}"#,
                r#"{"type":"state","time_s":0.5,"seq":2,"values":{"on_ground":true}}"#,
                r#"{"type":"state","time_s":0.4,"seq":2,"values":{"on_ground":true}}"#,
                "nonsense",
                r#"{"type":"dance"}"#,
                r#"{"type":"rate","rate":-1}"#,
                r#"{"type":"state","time_s":1e300}"#,
                r#"{"type":"set","id":1,"control":"x","value":1}"#,
                r#"{"type":"state","time_s":2,"seq":3,"values":{"on_ground":true,"gear_lever":null}}"#,
            ],
            &[
                "does not fit the signal",
                "not known here",
                "1: {}",
                "twice",
                "older",
                "not a message",
                "does not know (dance)",
                "out of turn",
                "2: {\"gear_lever\": None, \"on_ground\": Some(Bool(true))}",
            ],
        );
    }

    #[test]
    fn a_wrong_unit_takes_the_signal_away() {
        check(
            &[
                r#"{"type":"describe","signals":{"ias_kt":{"unit":"ft"}}}"#,
                r#"{"type":"state","time_s":1,"values":{"ias_kt":3}}"#,
            ],
            &["unit that does not fit", "1: {}"],
        );
    }

    #[test]
    fn far_back_is_a_jump() {
        check(&[r#"{"type":"state","time_s":50}"#, r#"{"type":"state","time_s":3}"#], &["50: {}", "Jumped", "3: {}"]);
    }

    #[test]
    fn another_version_ends_the_talk() {
        let mut i = intake();
        let events = i.push(b"{\"type\":\"hello\",\"protocol\":9}\n{\"type\":\"ping\",\"n\":1}\n");
        assert!(matches!(&events[..], [Event::Told(_), Event::Leave]), "{events:?}");
        i.again();
        assert!(matches!(&i.push(format!("{HELLO}\n").as_bytes())[..], [Event::Greeted { .. }]));
        assert_eq!(i.faults().of(FaultKind::Version), 1, "counts live on");
    }

    proptest! {
        #[test]
        fn never_panics(lines in proptest::collection::vec("[ -~]{0,60}", 0..20), bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let mut i = intake();
            i.push(format!("{HELLO}\n{DESCRIBE}\n").as_bytes());
            i.push(lines.join("\n").as_bytes());
            for e in i.push(&bytes) {
                if let Event::Frame { time_s, .. } = e {
                    prop_assert!(time_s.is_finite());
                }
            }
        }
    }
}
