//! A resolved book. Every name has become an index or has been proven to exist; every expression is typed.
//!
//! The shape of the TOML is the shape of these structs; keys carry the same names unless a comment says otherwise.

mod clearance;
mod manner;
mod panel;
mod phase;
mod practice;
mod sheet;
mod watch;
mod wording;

pub use clearance::Clearance;
pub use manner::{Briefing, Later, Level, Manners, Surprise, Topic};
pub use panel::{Control, ControlKind, Refusal, Signal};
pub use phase::{Expect, Phase};
pub use practice::{Among, Circumstance, Draw, Practice};
pub use sheet::{Check, Compare, Derived, Figure, FigureId, SheetEntry, Source};
pub use watch::{Callout, Due, Edge, Limit, OwnVoice, Priority};
pub use wording::WORDINGS;

use super::expr::Expr;
use crate::core::aircraft::SignalId;
use crate::core::grammar::{CallId, WordGraph};
use crate::core::time::Clock;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// Index into [`Book::controls`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ControlId(pub u16);
/// Index into [`Book::flows`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct FlowId(pub u16);
/// Index into [`Book::checklists`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ChecklistId(pub u16);
/// Index into [`Book::callouts`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct CalloutId(pub u16);
/// Index into [`Book::phases`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct PhaseId(pub u16);
/// Index into [`Book::sheet`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct SheetId(pub u16);

/// A whole book, ready to fly.
#[derive(Debug, Clone, Default)]
pub struct Book {
    /// `[book] id`: the folder's name.
    pub id: String,
    /// `[book] title`, for people.
    pub title: String,
    /// `[book] aircraft`: the built-in aircraft that it flies, one of [`AIRCRAFT`](crate::core::physics::performance::AIRCRAFT).
    pub aircraft: String,
    /// SHA-256 (hex) of every file that went in, in order: goes into the journal's header.
    pub hash: String,
    /// `[signals.ID]`.
    pub signals: Vec<Signal>,
    /// `[controls.ID]`.
    pub controls: Vec<Control>,
    /// `[calls.ID]`, then one hidden call for each checklist item's `respond` and each `ask` step's `reply` (named `list/item`).
    pub calls: Vec<Call>,
    /// `[flows.ID]`.
    pub flows: Vec<Flow>,
    /// `[checklists.ID]`.
    pub checklists: Vec<Checklist>,
    /// `[callouts.ID]`.
    pub callouts: Vec<Callout>,
    /// `[limits.ID]`: watched all the time.
    pub limits: Vec<Limit>,
    /// `[phases.ID]`; the first in the file `[book] first_phase` names is where a session begins.
    pub phases: Vec<Phase>,
    /// Where a session begins unless told otherwise.
    pub first_phase: Option<PhaseId>,
    /// `[sheet.ID]`: entries of the flight sheet.
    pub sheet: Vec<SheetEntry>,
    /// `[figures.ID]`: what is computed for the sheet.
    pub figures: Vec<Figure>,
    /// `[roles]`.
    pub roles: Roles,
    /// `[briefings.ID]`.
    pub briefings: Vec<Briefing>,
    /// `[surprises.ID]`.
    pub surprises: Vec<Surprise>,
    /// `[clearances.ID]`.
    pub clearances: Vec<Clearance>,
    /// `[practice.PHASE]`.
    pub practices: Vec<Practice>,
    /// `[manners]`.
    pub manners: Manners,
    /// `[wording]`: what the engine itself says ("holding_at", "say_again" …): every [`WORDINGS`] key is present.
    pub wording: BTreeMap<String, Template>,
    /// What came unchanged from the books that this one takes in: by kind and name, as in `unexercised`.
    pub inherited: BTreeSet<String>,
    /// The names of the books that it extends, nearest first.
    pub extends: Vec<String>,
    /// What no demo and no script exercises, and why (`unexercised = "…"`): by kind and name, `limit fire_1`, `item list/item`.
    pub unexercised: BTreeMap<String, String>,
    /// All wordings of all calls; call `i` of the graph is call `i` of `calls`.
    pub graph: WordGraph,
}

/// Who is spoken to, and who speaks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Station {
    /// The two pilots.
    #[default]
    FlightDeck,
    /// Ground crew on the interphone.
    Ground,
    /// Cabin crew.
    Cabin,
    /// The controller.
    Radio,
}

/// Who has a duty, as a book says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// Pilot flying.
    Pf,
    /// Pilot monitoring.
    #[default]
    Pm,
    /// The captain, whatever the flight role.
    Captain,
    /// The first officer, whatever the flight role.
    FirstOfficer,
    /// Left seat.
    Left,
    /// Right seat.
    Right,
    /// Each pilot in turn.
    Both,
}

/// `[roles]`: the moment when duties pass from ground duty to flight role.
#[derive(Debug, Clone, Default)]
pub struct Roles {
    /// Phases in which `pf`/`pm` mean the flight roles; in all others captain stands for pf and first officer for pm.
    pub flight_roles_in: Vec<PhaseId>,
}

/// `[calls.ID]`: something a pilot can say.
#[derive(Debug, Clone)]
pub struct Call {
    /// The name.
    pub id: String,
    /// The wordings as written (`say = ["flaps $flap:to", …]`), for listings.
    pub say: Vec<String>,
    /// Phases in which it is live; empty means all.
    pub phases: Vec<PhaseId>,
    /// Further condition; false takes it out of the live grammar, unknown leaves it in.
    pub when: Option<Expr>,
    /// To whom it is said.
    pub to: Station,
    /// Needs the stricter score.
    pub critical: bool,
    /// Live in every phase and while the program speaks.
    pub always: bool,
    /// Only meaningful as an answer that something waits for.
    pub answer_only: bool,
    /// Conversation: asleep in sterile phases.
    pub chat: bool,
    /// It puts off the other calls of its breath, or what was refused last.
    pub later: Option<Later>,
    /// What it does: the first whose condition holds. Empty: it only answers.
    pub does: Vec<Effect>,
}

/// One guarded effect: `does = { flow = "…", if = "…" }` or a list of such.
#[derive(Debug, Clone)]
pub struct Effect {
    /// Only if this holds; absent is true, unknown is false.
    pub only_if: Option<Expr>,
    /// `also = true`: done besides the first that holds, if its own condition holds.
    pub also: bool,
    /// `once = "EXPR"`: done when this becomes true, not before.
    pub once: Option<Expr>,
    /// The effect.
    pub act: Act,
}

/// What a call can do.
#[derive(Debug, Clone)]
pub enum Act {
    /// `flow = "ID"`.
    Flow(FlowId),
    /// `checklist = "ID"`.
    Checklist(ChecklistId),
    /// `set = "CONTROL"`, `to = "EXPR"`: the command cycle.
    Set(ControlId, Expr),
    /// `phase = "ID"`.
    Phase(PhaseId),
    /// `sheet = "ID"`, `value = "EXPR"`.
    Sheet(SheetId, Expr),
    /// `speak = "TEMPLATE"`, `station = "…"`: an answer in words only.
    Speak(Template, Station),
    /// `briefing = "ID"`: begins it.
    Briefing(u16),
    /// `engine = "hold"`: one of the engine's own.
    Engine(Intrinsic),
    /// `checked = ["ID"]`: the pilot has cross-checked these entries of the sheet.
    Checked(Vec<SheetId>),
    /// `compute = ["ID"]`: these entries are computed anew, with the signals of this moment.
    Compute(Vec<SheetId>),
    /// `survey = "PHASE"`: the flight is in this phase, entered from outside; `again = "PHASE"` asks the link besides to put
    /// the aircraft to the phase's `place`.
    Survey {
        /// The phase.
        phase: PhaseId,
        /// Whether the aircraft is to be put there.
        place: bool,
    },
}

/// Calls that act on the conversation itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Intrinsic {
    /// Stop where we are: list and flow keep their place.
    Hold,
    /// Go on.
    Resume,
    /// As if the last call had not been said; what waits is dropped.
    Disregard,
    /// Not what I meant: cancel before the action, say what was done after it.
    Negative,
    /// The next call replaces the last.
    Correction,
    /// Repeat the last thing said.
    SayAgain,
    /// Stop our own talk at once.
    Halt,
    /// Leave the present checklist item: the explicit word.
    Skip,
    /// The takeoff is rejected: everything but the reject flow stops.
    Reject,
    /// Go around.
    GoAround,
    /// The pilot takes control.
    IHaveControl,
    /// The pilot gives control away.
    YouHaveControl,
    /// Undo what the last call moved, where that is safe.
    PutBack,
    /// The pilot does himself what the program was about to do.
    LeaveToMe,
    /// The briefing is over.
    BriefingComplete,
    /// The pilot speaks to somebody else: nothing but the always-live calls is heard.
    Suspend,
    /// He is back.
    Attend,
    /// What is left of the list or flow that runs.
    WhatIsLeft,
    /// What is being waited for.
    WhatWaits,
    /// Why the last thing was not done.
    WhyNot,
    /// What has been put off.
    WhatIsPutOff,
    /// Drops what has been put off.
    DropPutOff,
    /// Least talk.
    TalkQuiet,
    /// Talk as on the line.
    TalkLine,
    /// Most talk.
    TalkTraining,
    /// Nothing below critical is spoken.
    Mute,
    /// The end of that.
    Unmute,
    /// Flows go faster.
    Faster,
    /// Flows go slower.
    Slower,
}

/// A sentence with values in it: `"Flaps {to:number}"`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Template {
    /// Pieces in order.
    pub parts: Vec<Part>,
}

/// A piece of a template.
#[derive(Debug, Clone, PartialEq)]
pub enum Part {
    /// As it stands.
    Text(String),
    /// `{EXPR}` or `{EXPR:FORMAT}`.
    Value(Expr, Format),
    /// `{item}`, `{what}` …: filled by the engine ([`WORDINGS`]).
    Hole(String),
}

/// How a value is spoken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Format {
    /// Words as they are, numbers in words ("twenty").
    #[default]
    Plain,
    /// Digit by digit.
    Digits,
    /// Three digits.
    Heading,
    /// Feet with hundreds and thousands.
    Altitude,
    /// "flight level …".
    Level,
    /// Digits and left, right, centre.
    Runway,
    /// One decimal.
    Decimal,
    /// A whole number in words.
    Number,
    /// Knots, digit by digit.
    Speed,
    /// A VHF channel.
    Frequency,
    /// Four digits.
    Squawk,
    /// An altimeter setting.
    Qnh,
    /// The spelling alphabet.
    Letters,
}

/// What starts a flow on its own: `start = { when = "…" }`, `{ after_flow = "…" }`, `{ after_checklist = "…" }`, `{ on_phase = "…" }`.
#[derive(Debug, Clone)]
pub enum Trigger {
    /// When the condition becomes true.
    When(Expr),
    /// When a flow has completed.
    AfterFlow(FlowId),
    /// When a checklist has completed.
    AfterChecklist(ChecklistId),
    /// When a phase begins.
    OnPhase(PhaseId),
}

/// `[flows.ID]`: a sequence that somebody works through. Interphone dialogues are flows too (`station = "ground"`).
#[derive(Debug, Clone)]
pub struct Flow {
    /// The name.
    pub id: String,
    /// What people call it.
    pub title: String,
    /// Whose job. When it is the pilot's, the program watches and does nothing.
    pub by: By,
    /// Who speaks in it.
    pub station: Station,
    /// Phases in which it may start; empty means all.
    pub phases: Vec<PhaseId>,
    /// Started without being called for.
    pub start: Vec<Trigger>,
    /// May run again after completion without re-arming.
    pub repeatable: bool,
    /// Pause between steps, session clock. Default 1.2 s.
    pub pace_s: f64,
    /// The steps.
    pub steps: Vec<Step>,
    /// Phase entered at the end.
    pub then_phase: Option<PhaseId>,
    /// Neither waits for another flow nor is waited for.
    pub beside: bool,
    /// From when on it is asked for if the pilot has not called for it.
    pub expected: Option<Expected>,
}

/// When a list or flow should have been called for: it is asked for then, and never begun unasked.
#[derive(Debug, Clone)]
pub struct Expected {
    /// It should have been done when this holds …
    pub when: Expr,
    /// … for so long, simulator's clock.
    pub after_s: f64,
}

/// One step of a flow.
#[derive(Debug, Clone)]
pub struct Step {
    /// Skipped unless this holds (`if`); absent is true, unknown is false.
    pub only_if: Option<Expr>,
    /// From which level of talk on a sentence of it is spoken.
    pub level: Level,
    /// What is done.
    pub what: StepKind,
}

/// What a step does.
#[derive(Debug, Clone)]
pub enum StepKind {
    /// `set = "CONTROL"`, `to = "EXPR"`, optional `confirm = true`: wait for the indication before going on.
    Set {
        /// The control.
        control: ControlId,
        /// The wanted state.
        to: Expr,
        /// Whether to wait for the indication.
        confirm: bool,
    },
    /// `say = "TEMPLATE"`; the next step waits until it has been spoken.
    Say(Template),
    /// `wait = "EXPR"`, `within_s`, `late = "TEMPLATE"`, `clock`: until true; when late, said once and the flow goes on waiting
    /// (`give_up = true`: the flow ends as not done).
    Wait {
        /// Until this is true.
        until: Expr,
        /// Late after this many seconds; absent waits for ever.
        within_s: Option<f64>,
        /// Which clock `within_s` follows.
        clock: Clock,
        /// Said when late.
        late: Option<Template>,
        /// Whether being late ends the flow.
        give_up: bool,
    },
    /// `pause_s = 3`: just time.
    Pause {
        /// Seconds.
        seconds: f64,
        /// On this clock.
        clock: Clock,
    },
    /// `ask = "TEMPLATE"`, `reply = ["wording", …]` or `calls = ["ID"]`, `within_s`, `repeats`, `verify`, `contradicted`: a reply is due.
    Ask(Box<Ask>),
    /// `run = "FLOW"`: starts another flow and waits for it.
    Run(FlowId),
    /// `read = "CHECKLIST"`: starts a checklist and waits for it.
    Read(ChecklistId),
    /// `enter = "PHASE"`.
    Enter(PhaseId),
    /// `sheet = "ID"`, `value = "EXPR"`.
    Sheet(SheetId, Expr),
    /// `checked = ["ID"]`: whoever does the flow has cross-checked these entries of the sheet.
    Checked(Vec<SheetId>),
    /// `compute = ["ID"]`: these entries are computed anew, with the signals of this moment.
    Compute(Vec<SheetId>),
    /// `make = "SIGNAL"`, `to = "EXPR"`: what ground or cabin do in the world (chocks, push, cabin secure): a set on a control that only a
    /// flow of their station may touch.
    Make {
        /// The control, owned by ground or cabin.
        control: ControlId,
        /// The state.
        to: Expr,
    },
}

/// A question to the pilot with an answer due.
#[derive(Debug, Clone)]
pub struct Ask {
    /// Said first; absent when the pilot is expected to speak unasked.
    pub say: Option<Template>,
    /// Calls that answer.
    pub replies: Vec<CallId>,
    /// Asked again after this many seconds of silence from the end of the question. Default 8 s; absent in the TOML waits for ever with `patient = true`.
    pub within_s: Option<f64>,
    /// How often it is repeated. Default 1.
    pub repeats: u32,
    /// The answer holds only if this is true (slots of the reply bound).
    pub verify: Option<Expr>,
    /// Said when the aircraft contradicts the answer.
    pub contradicted: Option<Template>,
    /// Whether no answer ends the flow (else it goes on, recorded as not answered).
    pub needed: bool,
}

/// How the program knows that an item is true.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    /// A signal shows it.
    Seen,
    /// The pilot's word only.
    HeardOnly,
    /// No source: spoken for the exercise.
    Simulated,
}

/// `[checklists.ID]`.
#[derive(Debug, Clone)]
pub struct Checklist {
    /// The name.
    pub id: String,
    /// What people call it, spoken first.
    pub title: Template,
    /// Who reads.
    pub reader: By,
    /// Phases in which it may be called for; empty means all.
    pub phases: Vec<PhaseId>,
    /// The items in order.
    pub items: Vec<Item>,
    /// The completion call, spoken last.
    pub complete: Template,
    /// Phase entered when complete.
    pub then_phase: Option<PhaseId>,
    /// From when on it is asked for if the pilot has not called for it.
    pub expected: Option<Expected>,
}

/// One item: `[[checklists.ID.items]]`.
#[derive(Debug, Clone)]
pub struct Item {
    /// The name, unique in the list.
    pub id: String,
    /// The challenge.
    pub challenge: Template,
    /// Who answers.
    pub by: By,
    /// The list waits here until this is true (`waits_for`).
    pub waits_for: Option<Expr>,
    /// The hidden call with the accepted responses (`respond = ["set", "flaps $flap:value"]`); none when only the program ever answers.
    pub respond: Option<CallId>,
    /// What the program says when the item is its own.
    pub say: Option<Template>,
    /// The aircraft must agree (slots of the response bound).
    pub verify: Option<Expr>,
    /// How the aircraft's own state is told in a challenge ("Flaps show {flap_angle_deg}").
    pub shown: Option<Template>,
    /// Told how it is known: `seen` if there is a `verify`, else `heard_only` or `simulated`.
    pub known: Known,
    /// Cannot be skipped but by the explicit word, and is recorded so.
    pub killer: bool,
    /// Asked again after this many seconds. Default 8.
    pub within_s: f64,
}

impl Book {
    /// The call of this name.
    pub fn call(&self, id: &str) -> Option<CallId> {
        self.calls.iter().position(|c| c.id == id).map(|i| CallId(i as u16))
    }
    /// Whether a call needs the stricter score: it says so itself, or moves a control that does.
    pub fn is_critical(&self, call: CallId) -> bool {
        let moves = |act: &Act| matches!(act, Act::Set(c, _) if self.controls[c.0 as usize].critical);
        self.calls.get(call.0 as usize).is_some_and(|c| c.critical || c.does.iter().any(|e| moves(&e.act)))
    }
    /// The signal of this name.
    pub fn signal(&self, id: &str) -> Option<SignalId> {
        self.signals.iter().position(|s| s.id == id).map(|i| SignalId(i as u16))
    }
    /// The entry of the flight sheet of this name.
    pub fn sheet_entry(&self, id: &str) -> Option<SheetId> {
        self.sheet.iter().position(|e| e.id == id).map(|i| SheetId(i as u16))
    }
    /// The phase of this name.
    pub fn phase(&self, id: &str) -> Option<PhaseId> {
        self.phases.iter().position(|p| p.id == id).map(|i| PhaseId(i as u16))
    }
}
