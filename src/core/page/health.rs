//! Link, ear and voice: whether they are well, as far as the engine's inputs tell.

use super::Rooms;
use super::view::Health;
use crate::core::crew::io::Input;
use crate::core::time::SessionTime;
use std::collections::BTreeMap;

/// What was last heard of each room.
#[derive(Debug, Default)]
pub(super) struct Watch {
    state: Option<SessionTime>,
    down: bool,
    heard: Option<SessionTime>,
    said: Option<SessionTime>,
    faults: BTreeMap<String, (SessionTime, String)>,
}

/// A state later than this is late, s: the engine gets a sign of life every second.
const LATE_S: f64 = 2.5;
/// A fault counts for so long after it, s, unless the room has worked since.
const FAULT_S: f64 = 60.0;

impl Watch {
    pub fn saw(&mut self, at: SessionTime, input: &Input) {
        match input {
            Input::State { .. } => self.state = Some(at),
            Input::Link { up } => self.down = !up,
            Input::Heard { .. } => {
                self.heard = Some(at);
                self.faults.remove("ear");
            }
            Input::SpeechStarted { .. } => self.said = Some(at),
            Input::Fault { room, message } => {
                self.faults.insert(room.clone(), (at, message.clone()));
            }
            _ => {}
        }
    }

    pub fn told(&self, now: SessionTime, rooms: &Rooms) -> Vec<Health> {
        let fault = |room: &str| self.faults.get(room).filter(|(at, _)| now.since(*at) < FAULT_S);
        let late = self.state.is_none_or(|t| now.since(t) > LATE_S);
        let aircraft = match (self.down, late) {
            (true, _) => ("bad", "lost from sight".to_string()),
            (false, true) => ("waits", "nothing seen for a while".to_string()),
            (false, false) => ("good", rooms.aircraft.clone()),
        };
        let room = |name: &str, works: &str, last: Option<SessionTime>, never: &str| match fault(name) {
            Some((_, why)) => ("bad", why.clone()),
            None if last.is_none() => ("good", format!("{works}, {never}")),
            None => ("good", works.to_string()),
        };
        let ear = room("ear", &rooms.ear, self.heard, "nothing heard yet");
        let voice = room("voice", &rooms.voice, self.said, "nothing said yet");
        [("aircraft", aircraft), ("hearing", ear), ("voice", voice)]
            .into_iter()
            .map(|(room, (state, text))| Health { room, state, text })
            .collect()
    }
}
