//! Reaching a wanted state of a control: never blindly toggled, and taken only when it shows.

use super::file::Control;
use crate::core::aircraft::Value;
use crate::core::book::schema::ControlKind;
use crate::core::link::pending::SHOWS_WITHIN_S;
use crate::core::time::SessionTime;

/// What is to be done next.
#[derive(Debug, Clone, PartialEq)]
pub enum Do {
    /// Set these properties, in order, and ask for the one that shows the control.
    Write(Vec<(String, f64)>),
    /// Nothing yet but asking for the one that shows it.
    Ask,
    /// It shows the wanted state or moves towards it; first set these.
    Done(Vec<(String, f64)>),
    /// It does not; first set these.
    Failed(String, Vec<(String, f64)>),
}

/// Between two steps of a rotary, s.
const STEP_S: f64 = 0.15;
/// Steps of a rotary at most.
const STEPS: u32 = 400;

/// A control on its way.
#[derive(Debug, Clone)]
pub struct Reach {
    control: Control,
    to: Value,
    raw: f64,
    before: Option<f64>,
    /// When something was last written or, for a rotary, last moved.
    wrote: Option<SessionTime>,
    pressed: bool,
    pulse: Option<String>,
    steps: u32,
    last: Option<f64>,
}

impl Reach {
    /// Begins.
    ///
    /// # Errors
    /// One sentence when the control has no such state or is not ours to move.
    pub fn new(name: &str, control: &Control, to: &Value) -> Result<Self, String> {
        if control.kind == ControlKind::Owned || (control.paths.is_empty() && control.steps.is_none()) {
            return Err(format!("{name} is the pilot's own hardware; it is watched and never set"));
        }
        let raw = control.reading.raw(to).ok_or_else(|| format!("the link file has no number for {name} at {to}"))?;
        Ok(Reach {
            control: control.clone(),
            to: to.clone(),
            raw,
            before: None,
            wrote: None,
            pressed: false,
            pulse: None,
            steps: 0,
            last: None,
        })
    }

    /// The property that shows the control.
    pub fn reads(&self) -> &str {
        &self.control.reads
    }

    fn there(&self, reading: f64) -> bool {
        let value = self.control.reading.value(reading);
        let near = 1e-4 * self.raw.abs().max(1.0);
        value.as_ref().is_some_and(|v| v.same(&self.to)) || (reading - self.raw).abs() <= near
    }

    fn closer(&self, reading: f64) -> bool {
        let near = 1e-4 * self.raw.abs().max(1.0);
        self.before.is_some_and(|b| (reading - self.raw).abs() < (b - self.raw).abs() - near)
    }

    /// What is to be done at `now`, when `reading` is the number of [`reads`](Self::reads) as told since the last write
    /// (`None`: not told yet).
    pub fn poll(&mut self, reading: Option<f64>, now: SessionTime) -> Do {
        if self.control.steps.is_some() {
            return self.turn(reading, now);
        }
        match self.wrote {
            None => {
                // Where it stands must be known first, or what is done already would be done again.
                let Some(reading) = reading else { return Do::Ask };
                if self.there(reading) {
                    return Do::Done(Vec::new());
                }
                self.before = Some(reading);
                self.wrote = Some(now);
                let value = if self.control.kind == ControlKind::Momentary { 1.0 } else { self.raw };
                self.pressed = self.control.kind == ControlKind::Momentary;
                let guard = self.control.guard.iter().map(|g| (g.clone(), 1.0));
                Do::Write(guard.chain(self.control.paths.iter().map(|p| (p.clone(), value))).collect())
            }
            Some(wrote) => {
                if self.pressed && now.since(wrote) >= self.control.hold_s {
                    self.pressed = false;
                    return Do::Write(self.control.paths.iter().map(|p| (p.clone(), 0.0)).collect());
                }
                if let Some(r) = reading
                    && (self.there(r) || self.closer(r))
                    && !self.pressed
                {
                    return Do::Done(self.release());
                }
                if now.since(wrote) > SHOWS_WITHIN_S + self.control.hold_s {
                    return Do::Failed("it was taken, and nothing changed".into(), self.release());
                }
                Do::Ask
            }
        }
    }

    fn release(&self) -> Vec<(String, f64)> {
        self.control.guard.iter().map(|g| (g.clone(), 0.0)).collect()
    }

    /// A rotary: one pulse, a look, and the next.
    fn turn(&mut self, reading: Option<f64>, now: SessionTime) -> Do {
        if let Some(path) = self.pulse.take() {
            return Do::Write(vec![(path, 0.0)]);
        }
        let Some(r) = reading else { return Do::Ask };
        if self.there(r) {
            return Do::Done(self.release());
        }
        if self.last != Some(r) {
            (self.last, self.wrote) = (Some(r), Some(now));
        }
        let moved = self.wrote.unwrap_or(now);
        if now.since(moved) > SHOWS_WITHIN_S || self.steps >= STEPS {
            return Do::Failed("it was turned, and did not reach the wanted state".into(), self.release());
        }
        if self.before.is_some_and(|due| now.secs() < due) {
            return Do::Ask;
        }
        self.before = Some(now.secs() + STEP_S);
        self.steps += 1;
        let Some((up, down)) = &self.control.steps else { return Do::Ask };
        let path = if self.raw > r { up.clone() } else { down.clone() };
        self.pulse = Some(path.clone());
        Do::Write(vec![(path, 1.0)])
    }
}

#[cfg(test)]
mod tests {
    use super::super::file::Reading;
    use super::*;

    fn control(kind: ControlKind) -> Control {
        Control {
            kind,
            paths: vec!["cmd".into()],
            reads: "pos".into(),
            reading: Reading::Number { scale: 1.0, offset: 0.0, units: None },
            guard: None,
            steps: None,
            hold_s: 0.2,
        }
    }

    /// A machine of one lever: what is written to `cmd` acts on `pos` by `act`. The writes until the end, and the end.
    fn run(c: &Control, to: f64, mut pos: f64, act: impl Fn(&str, f64, f64) -> f64) -> (Vec<(String, f64)>, Do) {
        let mut reach = Reach::new("lever", c, &Value::Number(to)).expect("ours");
        let mut writes = Vec::new();
        let mut reading = None;
        for i in 0..20_000 {
            let step = reach.poll(reading.take(), SessionTime::from_secs(f64::from(i) * 0.01));
            match step {
                Do::Write(all) => {
                    for (path, value) in all {
                        pos = act(&path, value, pos);
                        writes.push((path, value));
                    }
                }
                Do::Ask => reading = Some(pos),
                end => return (writes, end),
            }
        }
        panic!("never ends: {writes:?}");
    }

    fn writes(all: &[(&str, f64)]) -> Vec<(String, f64)> {
        all.iter().map(|(p, v)| ((*p).to_string(), *v)).collect()
    }

    #[test]
    fn a_lever_is_set_once_and_must_show() {
        let c = control(ControlKind::Detent);
        let follows = |_: &str, v: f64, _: f64| v;
        assert_eq!(run(&c, 1.0, 0.0, follows), (writes(&[("cmd", 1.0)]), Do::Done(vec![])));
        assert_eq!(run(&c, 1.0, 1.0, follows), (vec![], Do::Done(vec![])), "it stands there: nothing is written");
        assert_eq!(run(&c, 1.0, 0.0, |_, _, _| 0.3).1, Do::Done(vec![]), "it moves");
        let (_, end) = run(&c, 1.0, 0.0, |_, _, pos| pos);
        assert!(matches!(end, Do::Failed(why, _) if why.contains("nothing changed")));
    }

    #[test]
    fn a_guard_is_opened_and_closed() {
        let c = Control { guard: Some("guard".into()), ..control(ControlKind::Guarded) };
        let act = |path: &str, v: f64, pos: f64| if path == "cmd" { v } else { pos };
        let (all, end) = run(&c, 1.0, 0.0, act);
        assert_eq!(all, writes(&[("guard", 1.0), ("cmd", 1.0)]));
        assert_eq!(end, Do::Done(writes(&[("guard", 0.0)])));
    }

    #[test]
    fn a_push_button_is_pressed_only_when_its_state_is_another() {
        let c = control(ControlKind::Momentary);
        let toggles = |_: &str, v: f64, pos: f64| if v == 1.0 { 1.0 - pos } else { pos };
        assert_eq!(run(&c, 1.0, 0.0, toggles), (writes(&[("cmd", 1.0), ("cmd", 0.0)]), Do::Done(vec![])));
        assert_eq!(run(&c, 1.0, 1.0, toggles), (vec![], Do::Done(vec![])));
    }

    #[test]
    fn a_rotary_is_turned_step_by_step() {
        let c = Control { steps: Some(("up".into(), "down".into())), ..control(ControlKind::Rotary) };
        let act = |path: &str, v: f64, pos: f64| match (path, v == 1.0) {
            ("up", true) => pos + 1.0,
            ("down", true) => pos - 1.0,
            _ => pos,
        };
        let (all, end) = run(&c, 3.0, 5.0, act);
        assert_eq!(all, writes(&[("down", 1.0), ("down", 0.0), ("down", 1.0), ("down", 0.0)]));
        assert_eq!(end, Do::Done(vec![]));
        assert!(matches!(run(&c, 3.0, 5.0, |_, _, pos| pos).1, Do::Failed(..)));
    }

    #[test]
    fn the_pilots_hardware_is_never_set() {
        assert!(Reach::new("lever", &control(ControlKind::Owned), &Value::Number(1.0)).is_err());
        assert!(Reach::new("lever", &control(ControlKind::Detent), &Value::Word("up".into())).is_err());
    }
}
