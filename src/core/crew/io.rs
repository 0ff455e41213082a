//! What goes into the engine and what comes out.

use super::glance::Glance;
use crate::core::aircraft::{Delta, SignalId, Value};
use crate::core::book::schema::{Due, Priority, Source, Station};
use crate::core::grammar::{CallSet, Meaning};
use crate::core::matcher::Heard;
use crate::core::radio::{Exercise, Words};
use crate::core::time::{SessionTime, SimTime, Wake};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Which pilot the *human* is: three things, never derived from each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Arrangement {
    /// Human sits on the left.
    pub left_seat: bool,
    /// Human is the captain.
    pub captain: bool,
    /// Human is pilot flying.
    pub flying: bool,
}

impl Default for Arrangement {
    fn default() -> Self {
        Arrangement { left_seat: true, captain: true, flying: true }
    }
}

/// Everything that can happen to the engine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "in", rename_all = "snake_case")]
pub enum Input {
    /// First of every session.
    Begin {
        /// Who is who.
        arrangement: Arrangement,
        /// Phase to begin in; the book's first if absent.
        phase: Option<String>,
        /// Flight-sheet values that differ from the book's: from a file or a script.
        sheet: BTreeMap<String, Value>,
    },
    /// Values for the flight sheet that were not spoken.
    Sheet {
        /// By the entry's name.
        values: BTreeMap<String, Value>,
        /// Where they come from.
        source: Source,
    },
    /// A wake-up that was asked for has come.
    Tick,
    /// Human distractions are wanted in this session.
    Surprises {
        /// The same seed draws the same.
        seed: u64,
    },
    /// The radio is on: a controller clears, and what he clears must be read back.
    Radio {
        /// Whose rules: `icao`, `easa`, `uk`, `faa`.
        rules: String,
        /// Decides what is drawn.
        seed: u64,
        /// Whether our own readbacks may hold a slip.
        slips: bool,
    },
    /// The pilot has begun to speak while a readback was waited for.
    Speaking,
    /// The pilot has said something on the radio, while a readback was waited for.
    Transmitted {
        /// What.
        words: Words,
    },
    /// The ear has a result.
    Heard {
        /// The result.
        heard: Heard,
    },
    /// The aircraft has changed.
    State {
        /// What changed.
        delta: Delta,
    },
    /// A watched value was crossed, to the microsecond of `at`.
    Crossed {
        /// The callout whose crossing it was.
        callout: String,
        /// The signal's value at the mark (predicted when `due` is the end).
        value: f64,
    },
    /// Something of ours began to sound.
    SpeechStarted {
        /// The id from [`Action::Say`].
        id: u64,
    },
    /// Something of ours has ended.
    SpeechEnded {
        /// The id from [`Action::Say`].
        id: u64,
        /// Whether it was cut before its end or never sounded.
        cut: bool,
    },
    /// The link answers a set.
    SetResult {
        /// The id from [`Action::Set`].
        request: u64,
        /// Absent if it was taken.
        failed: Option<String>,
    },
    /// The link came or went.
    Link {
        /// Whether it is up.
        up: bool,
    },
    /// The aircraft says which callouts it makes itself: they are left to it.
    AircraftCalls {
        /// By id; replaces what was said before.
        callouts: Vec<String>,
    },
    /// Time or place jumped: nothing in between was lived through.
    Jumped,
    /// A device through which the pilot is heard has changed.
    Device {
        /// Which: `microphone` or `controller`.
        device: String,
        /// What has become of it: `lost`, `back`, `muted`, `unmuted`, `clipped`. What is said of it is the book's wording
        /// `DEVICE_STATE`; without one, nothing.
        state: String,
    },
    /// A room at the edge has failed and was caught.
    Fault {
        /// Which room.
        room: String,
        /// What it said.
        message: String,
    },
}

/// Everything the engine can ask for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "out", rename_all = "snake_case")]
pub enum Action {
    /// Speak.
    Say(Speech),
    /// Stop speech that has not ended; all that is not critical if no id is given.
    Hush {
        /// This one only.
        id: Option<u64>,
    },
    /// Move a control.
    Set {
        /// Identifies the answer.
        request: u64,
        /// The control's name.
        control: String,
        /// The wanted state.
        to: Value,
    },
    /// What can be said from now on.
    Listen {
        /// Goes up by one each time.
        revision: u32,
        /// Live calls.
        calls: CallSet,
        /// Of these, the ones that answer something now due: they win over others with the same words.
        due: CallSet,
    },
    /// Crossings to look out for; replaces the previous set.
    Watch {
        /// All that are armed.
        crossings: Vec<Crossing>,
    },
    /// The controller waits for this readback from the pilot, or no longer for any.
    Readback {
        /// What is expected.
        expect: Option<Box<Exercise>>,
    },
    /// Put the aircraft somewhere: only a link to a simulator that can do it will.
    Place {
        /// A place by its name.
        place: String,
    },
    /// For the journal, the page and the debrief.
    Note(Note),
}

/// What one call of the engine returns: everything it asks for, and when it wants to be called again.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Step {
    /// In the order in which they are to be carried out.
    pub actions: Vec<Action>,
    /// The next deadline on each clock.
    pub wake: Wake,
}

/// A function of everything that came before and of one input: the crew, or a stand-in for it.
///
/// The same inputs at the same times give the same steps, byte for byte: the journal and `replay` rest on it.
pub trait Engine {
    /// Takes one input at `at` (session) and `sim` (simulated world); neither may go back.
    fn handle(&mut self, at: SessionTime, sim: SimTime, input: &Input) -> Step;

    /// This moment for the eye, with the values of `signals`; `None` before the beginning, or if there is nothing to see.
    fn glance(&self, _signals: &[SignalId]) -> Option<Glance> {
        None
    }
}

/// Words to speak.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Speech {
    /// Unique in the session.
    pub id: u64,
    /// Who speaks.
    pub station: Station,
    /// The words.
    pub text: String,
    /// How urgent.
    pub priority: Priority,
    /// Not worth saying later than this many seconds after now.
    pub expires_s: f64,
}

/// A crossing to look out for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Crossing {
    /// The callout's name.
    pub callout: String,
    /// The signal's name.
    pub signal: String,
    /// The value.
    pub value: f64,
    /// Rising or falling.
    pub rising: bool,
    /// Onset or end of the spoken words at the value.
    pub due: Due,
    /// The words, so that the edge knows how long they last.
    pub text: String,
}

/// What happened inside, told once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "note", rename_all = "snake_case")]
pub enum Note {
    /// A phase began.
    Phase {
        /// Its name.
        phase: String,
    },
    /// A call was accepted.
    Accepted {
        /// The call.
        meaning: Meaning,
        /// Its score.
        score: f64,
    },
    /// An utterance was refused.
    Refused {
        /// One of the reasons of `hear --json`.
        reason: String,
        /// The best reading, if there was one.
        text: String,
    },
    /// A flow began, ended, was held or resumed.
    Flow {
        /// Its name.
        flow: String,
        /// `begun`, `done`, `held`, `resumed`, `cancelled`.
        state: String,
    },
    /// A checklist began, ended, was held or resumed.
    Checklist {
        /// Its name.
        checklist: String,
        /// `begun`, `complete`, `held`, `resumed`, `cancelled`.
        state: String,
    },
    /// An item was settled.
    Item {
        /// The list.
        checklist: String,
        /// The item.
        item: String,
        /// `agreed`, `contradicted`, `cannot_see`, `skipped`, `no_answer`.
        state: String,
        /// `seen`, `heard_only`, `simulated`.
        known: String,
        /// From the end of the challenge to the response, s.
        after_s: f64,
    },
    /// A callout was made.
    Callout {
        /// Its name.
        callout: String,
        /// The signal's value at the mark, if it has one.
        value: Option<f64>,
        /// What it should be.
        wanted: Option<f64>,
        /// The id of its speech.
        speech: u64,
    },
    /// A callout's mark was passed without its call, since its condition did not hold.
    Passed {
        /// Its name.
        callout: String,
        /// The condition.
        why: String,
    },
    /// A limit was exceeded or came back.
    Limit {
        /// Its name.
        limit: String,
        /// Whether exceeded now.
        over: bool,
    },
    /// A sheet entry has a new value.
    Sheet {
        /// The entry.
        entry: String,
        /// The value.
        value: Value,
        /// Where it came from; absent in old journals.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        source: Option<Source>,
        /// What it was before, if it was known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        was: Option<Value>,
    },
    /// A sheet entry has no value any more.
    SheetOpen {
        /// The entry.
        entry: String,
        /// Why, in plain words.
        why: String,
    },
    /// A sheet entry has been cross-checked.
    SheetChecked {
        /// The entry.
        entry: String,
        /// By now: `pilot`, `program`, `both`.
        by: String,
    },
    /// A check of the sheet found something, or finds it no more.
    SheetCheck {
        /// The entry.
        entry: String,
        /// Whether it is wrong now.
        wrong: bool,
        /// The sentence.
        say: String,
    },
    /// What is set on the aircraft differs from the sheet, or agrees again.
    SheetCompare {
        /// The entry.
        entry: String,
        /// Whether they agree.
        agrees: bool,
    },
    /// Something that was done is open again.
    Reopened {
        /// A flow, or `LIST/ITEM`.
        what: String,
        /// The entries of the sheet that changed.
        because: String,
    },
    /// A flow or list counts as done although nobody saw it.
    Assumed {
        /// Its name.
        what: String,
    },
    /// A phase was entered from outside and the aircraft was looked at.
    Survey {
        /// The phase.
        phase: String,
        /// What was said to disagree.
        disagrees: Vec<String>,
        /// Conditions that could not be seen.
        unseen: Vec<String>,
        /// Flows and lists that count as done.
        assumed: Vec<String>,
    },
    /// A call or an effect was put off.
    PutOff {
        /// What, in words.
        what: String,
        /// `waits`, `due`, `dropped`.
        state: String,
    },
    /// A briefing began or ended, or a topic came up.
    Briefing {
        /// Its name.
        briefing: String,
        /// The topic; empty for the briefing itself.
        topic: String,
        /// `begun`, `complete`, `cancelled`; of a topic `agreed`, `contradicted`, `cannot_see`, `briefed`.
        state: String,
    },
    /// A human distraction begins.
    Surprise {
        /// Its name.
        surprise: String,
    },
    /// Something on the radio.
    Radio {
        /// The clearance.
        clearance: String,
        /// `given`, `read_back`, `asked_again`, `said_again`, `silence`, `waiting`, `unable`, `given_up`; of our own slips `caught` (by the
        /// pilot), `missed`.
        state: String,
        /// What was said.
        text: String,
    },
    /// Something was *not* done, and why.
    NotDone {
        /// What.
        what: String,
        /// Why, in plain words.
        why: String,
    },
}
