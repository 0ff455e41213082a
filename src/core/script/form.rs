//! The TOML of a session script, read and proven. `tests/sessions/README.md` describes every key.

use super::pattern::Pattern;
use super::wanted::{RawWanted, Wanted};
use crate::core::aircraft::Value;
use crate::core::book::schema::Station;
use crate::core::crew::io::{Arrangement, Input};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fmt;
use toml::Spanned;

/// A script, ready to be acted out.
#[derive(Debug, Clone, PartialEq)]
pub struct Script {
    /// Line of `[script]` in the file, from 1.
    pub line: usize,
    /// One line for people.
    pub title: String,
    /// Folder name in `phrasebooks/`, or a path that begins with `.` or `/`.
    pub book: String,
    /// Phase to begin in; the book's first if absent.
    pub phase: Option<String>,
    /// What the human is.
    pub arrangement: Arrangement,
    /// Flight-sheet values that differ from the book's.
    pub sheet: BTreeMap<String, Value>,
    /// Seed of the session.
    pub seed: u64,
    /// Human distractions are drawn by this; none if absent.
    pub surprises: Option<u64>,
    /// The radio, if it is on.
    pub radio: Option<Radio>,
    /// Noise under the pilot's voice, where it becomes audio.
    pub noise: Option<Noise>,
    /// From the end of a line that he reacts to until he begins, s.
    pub reaction_s: f64,
    /// Words to which nothing was heard or done for so long are said again, as is the answer to a line that is told once
    /// more; twice at most, s.
    pub patience_s: Option<f64>,
    /// The session goes on so long after the last step, s.
    pub linger_s: f64,
    /// The whole must be over by then, session time, s.
    pub limit_s: f64,
    /// The aircraft before the first moment.
    pub world: World,
    /// The steps in order.
    pub steps: Vec<Step>,
    /// What he does at any moment.
    pub reactions: Vec<Reaction>,
    /// What must not happen in the whole session.
    pub never: Never,
}

/// `[script] radio`: a controller clears, and what he clears is read back.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Radio {
    /// Whose rules.
    #[serde(default = "icao")]
    pub rules: String,
    /// Decides what is drawn.
    pub seed: u64,
    /// Whether our own readbacks may hold a slip.
    #[serde(default)]
    pub slips: bool,
}

impl Script {
    /// What the engine is told beside the beginning: the radio, and whether distractions are wanted.
    pub fn opening(&self) -> Vec<Input> {
        let surprises = self.surprises.map(|seed| Input::Surprises { seed });
        self.radio.as_ref().map(Into::into).into_iter().chain(surprises).collect()
    }
}

impl From<&Radio> for Input {
    fn from(r: &Radio) -> Input {
        Input::Radio { rules: r.rules.clone(), seed: r.seed, slips: r.slips }
    }
}

fn icao() -> String {
    "icao".into()
}

/// Noise under the pilot's voice.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Noise {
    /// Which.
    pub kind: String,
    /// Signal-to-noise ratio, dB.
    pub snr_db: f64,
}

/// `[world]`: the built-in aircraft before the first moment.
#[derive(Debug, Clone, PartialEq, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct World {
    /// A named start.
    pub place: Option<String>,
    /// Mass, kg.
    pub mass_kg: Option<f64>,
    /// Outside air temperature, °C.
    pub oat_c: Option<f64>,
    /// Pressure at sea level, hPa.
    pub qnh_hpa: Option<f64>,
    /// Where the wind blows from, degrees true.
    pub wind_from_deg: Option<f64>,
    /// Wind, kt.
    pub wind_kt: Option<f64>,
    /// Signals and controls by name.
    pub set: BTreeMap<String, Value>,
    /// Faults by name.
    pub inject: Vec<String>,
}

/// `[[steps]]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its line in the file, from 1.
    pub line: usize,
    /// For messages.
    pub name: Option<String>,
    /// When it begins.
    pub trigger: Trigger,
    /// From the trigger to the deeds, s.
    pub delay_s: f64,
    /// He says this.
    pub say: Option<String>,
    /// He says it also while a line of ours sounds.
    pub cut_in: bool,
    /// He moves these controls.
    pub moves: BTreeMap<String, Value>,
    /// Numbers go there evenly in so many seconds.
    pub ramp_s: f64,
    /// At once, in the world.
    pub set: BTreeMap<String, Value>,
    /// Faults that begin.
    pub inject: Vec<String>,
    /// A tap on the page.
    pub touch: Option<String>,
    /// What must come, and within how many seconds from the end of the step's own words and moves.
    pub expect: Vec<(Wanted, f64)>,
    /// Nothing is spoken for so long from the same moment, s.
    pub silent_for_s: Option<f64>,
    /// What must not happen until the next step begins.
    pub never: Never,
}

/// When a step begins: all that is named must hold together.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Trigger {
    /// Not before this session time, s.
    pub at: Option<f64>,
    /// This long after the step before was done, s.
    pub after: Option<f64>,
    /// This long after every expectation and silence so far was settled, s.
    pub after_met: Option<f64>,
    /// Any of these has been spoken.
    pub on_spoken: Vec<Pattern>,
    /// By this station.
    pub from: Option<Station>,
    /// At the line's beginning instead of its end.
    pub as_it_begins: bool,
    /// While in this phase.
    pub on_phase: Option<String>,
    /// While this condition holds.
    pub when: Option<String>,
    /// It must come within this time of being armed, s.
    pub within_s: f64,
    /// If it does not come, the step is left out.
    pub optional: bool,
}

/// `[[reactions]]`.
#[derive(Debug, Clone, PartialEq)]
pub struct Reaction {
    /// To any of these.
    pub on_spoken: Vec<Pattern>,
    /// By this station.
    pub from: Option<Station>,
    /// He says this; his last words again if absent.
    pub say: Option<String>,
    /// Times in the session.
    pub at_most: u32,
}

/// What must not happen.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Never {
    /// No such line begins.
    pub spoken: Vec<Pattern>,
    /// The program does not set these controls.
    pub set: Vec<String>,
    /// These calls are not accepted.
    pub called: Vec<String>,
}

/// What is wrong with a script.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Line of the file, from 1.
    pub line: usize,
    /// One sentence, with what to do.
    pub sentence: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.sentence)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFile {
    script: Spanned<RawHead>,
    #[serde(default)]
    world: World,
    #[serde(default)]
    steps: Vec<Spanned<RawStep>>,
    #[serde(default)]
    reactions: Vec<Spanned<RawReaction>>,
    never: Option<Spanned<RawNever>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawHead {
    title: String,
    book: String,
    phase: Option<String>,
    #[serde(default)]
    arrangement: RawArrangement,
    #[serde(default)]
    sheet: BTreeMap<String, Value>,
    #[serde(default = "one")]
    seed: u64,
    surprises: Option<u64>,
    radio: Option<Radio>,
    noise: Option<Noise>,
    reaction_s: Option<f64>,
    patience_s: Option<f64>,
    linger_s: Option<f64>,
    limit_s: Option<f64>,
}

fn one() -> u64 {
    1
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct RawArrangement {
    left_seat: Option<bool>,
    captain: Option<bool>,
    flying: Option<bool>,
}

/// One text or several.
#[derive(Deserialize, Clone)]
#[serde(untagged)]
pub(super) enum Texts {
    One(String),
    Many(Vec<String>),
}

impl Texts {
    fn list(self) -> Vec<String> {
        match self {
            Texts::One(t) => vec![t],
            Texts::Many(all) => all,
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawStep {
    name: Option<String>,
    at: Option<f64>,
    after: Option<f64>,
    after_met: Option<f64>,
    on_spoken: Option<Texts>,
    from: Option<Station>,
    #[serde(default)]
    as_it_begins: bool,
    on_phase: Option<String>,
    when: Option<String>,
    within_s: Option<f64>,
    #[serde(default)]
    optional: bool,
    delay_s: Option<f64>,
    say: Option<String>,
    #[serde(default)]
    cut_in: bool,
    #[serde(default, rename = "move")]
    moves: BTreeMap<String, Value>,
    ramp_s: Option<f64>,
    #[serde(default)]
    set: BTreeMap<String, Value>,
    #[serde(default)]
    inject: Vec<String>,
    touch: Option<String>,
    #[serde(default)]
    expect: Vec<RawWanted>,
    silent_for_s: Option<f64>,
    #[serde(default)]
    never_spoken: Vec<String>,
    #[serde(default)]
    never_set: Vec<String>,
    #[serde(default)]
    never_called: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawReaction {
    on_spoken: Texts,
    from: Option<Station>,
    say: Option<String>,
    #[serde(default)]
    say_last: bool,
    at_most: Option<u32>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields, default)]
#[derive(Default)]
struct RawNever {
    spoken: Vec<String>,
    set: Vec<String>,
    called: Vec<String>,
}

/// Default of a trigger's `within_s`.
const TRIGGER_WITHIN_S: f64 = 300.0;
/// Default of an expectation's `within_s`.
const EXPECT_WITHIN_S: f64 = 10.0;

/// Collects what is wrong; `line` is where we are.
pub(super) struct Faults {
    line: usize,
    all: Vec<Problem>,
}

impl Faults {
    pub(super) fn add(&mut self, sentence: impl Into<String>) {
        self.all.push(Problem { line: self.line, sentence: sentence.into() });
    }
    /// A time that must be a number from zero.
    fn seconds(&mut self, key: &str, s: Option<f64>, default: f64) -> f64 {
        match s {
            Some(s) if !s.is_finite() || s < 0.0 => {
                self.add(format!("`{key}` is {s}: give a number of seconds from 0."));
                default
            }
            s => s.unwrap_or(default),
        }
    }
    pub(super) fn patterns(&mut self, key: &str, texts: Option<Texts>) -> Vec<Pattern> {
        let Some(texts) = texts else { return Vec::new() };
        let texts = texts.list();
        if texts.is_empty() {
            self.add(format!("`{key}` is an empty list: name at least one line, or leave the key out."));
        }
        let mut out = Vec::new();
        for t in texts {
            match Pattern::new(&t) {
                Some(p) => out.push(p),
                None => self.add(format!("`{key}` has no word in \"{t}\": write the words to look for.")),
            }
        }
        out
    }
    fn never(&mut self, raw: RawNever, prefix: &str) -> Never {
        let spoken = (!raw.spoken.is_empty()).then_some(Texts::Many(raw.spoken));
        Never { spoken: self.patterns(&format!("{prefix}spoken"), spoken), set: raw.set, called: raw.called }
    }
    fn finite(&mut self, what: &str, values: &BTreeMap<String, Value>) {
        for (name, value) in values {
            if value.number().is_some_and(|n| !n.is_finite()) {
                self.add(format!("`{what}` gives {name} the value {value}: give a finite number."));
            }
        }
    }
    fn words(&mut self, key: &str, text: Option<&String>) {
        if text.is_some_and(|t| t.trim().is_empty()) {
            self.add(format!("`{key}` is empty: write the words, or leave the key out."));
        }
    }
}

/// Reads a script. All problems are told, except that a mistake of TOML itself hides those after it.
pub fn parse(text: &str) -> Result<Script, Vec<Problem>> {
    let line_of = |byte: usize| 1 + text.bytes().take(byte).filter(|b| *b == b'\n').count();
    let raw: RawFile = toml::from_str(text).map_err(|e| {
        let line = e.span().map_or(1, |s| line_of(s.start));
        vec![Problem { line, sentence: plain(e.message()) }]
    })?;
    let line = line_of(raw.script.span().start);
    let mut faults = Faults { line, all: Vec::new() };
    let head = raw.script.into_inner();
    faults.words("title", Some(&head.title));
    faults.words("book", Some(&head.book));
    faults.finite("sheet", &head.sheet);
    faults.finite("world.set", &raw.world.set);
    let w = &raw.world;
    let numbers = [w.mass_kg, w.oat_c, w.qnh_hpa, w.wind_from_deg, w.wind_kt, head.noise.as_ref().map(|n| n.snr_db)];
    if numbers.iter().flatten().any(|n| !n.is_finite()) {
        faults.add("a number of the world or of the noise is not finite: give a finite number.");
    }
    let reaction_s = faults.seconds("reaction_s", head.reaction_s, 0.5);
    let patience_s = head.patience_s.map(|s| faults.seconds("patience_s", Some(s), 8.0));
    let linger_s = faults.seconds("linger_s", head.linger_s, 5.0);
    let limit_s = faults.seconds("limit_s", head.limit_s, 3600.0);
    if raw.steps.is_empty() {
        faults.add("the script has no [[steps]]: write at least one.");
    }
    let mut steps = Vec::new();
    for raw in raw.steps {
        faults.line = line_of(raw.span().start);
        steps.push(step(raw.into_inner(), reaction_s, &mut faults));
    }
    let mut reactions = Vec::new();
    for raw in raw.reactions {
        faults.line = line_of(raw.span().start);
        reactions.push(reaction(raw.into_inner(), &mut faults));
    }
    let mut never = Never::default();
    if let Some(raw) = raw.never {
        faults.line = line_of(raw.span().start);
        never = faults.never(raw.into_inner(), "");
    }
    if !faults.all.is_empty() {
        return Err(faults.all);
    }
    let who = Arrangement::default();
    let arrangement = Arrangement {
        left_seat: head.arrangement.left_seat.unwrap_or(who.left_seat),
        captain: head.arrangement.captain.unwrap_or(who.captain),
        flying: head.arrangement.flying.unwrap_or(who.flying),
    };
    Ok(Script {
        line,
        title: head.title,
        book: head.book,
        phase: head.phase,
        arrangement,
        sheet: head.sheet,
        seed: head.seed,
        surprises: head.surprises,
        radio: head.radio,
        noise: head.noise,
        reaction_s,
        patience_s,
        linger_s,
        limit_s,
        world: raw.world,
        steps,
        reactions,
        never,
    })
}

fn step(raw: RawStep, reaction_s: f64, faults: &mut Faults) -> Step {
    let on_spoken = faults.patterns("on_spoken", raw.on_spoken);
    if on_spoken.is_empty() && (raw.from.is_some() || raw.as_it_begins) {
        faults.add("`from` and `as_it_begins` belong to `on_spoken`: add it, or take them away.");
    }
    let mut time = |key: &str, s: Option<f64>| s.map(|s| faults.seconds(key, Some(s), 0.0));
    let (at, after, after_met) = (time("at", raw.at), time("after", raw.after), time("after_met", raw.after_met));
    let silent_for_s = time("silent_for_s", raw.silent_for_s);
    let natural = if on_spoken.is_empty() { 0.0 } else { reaction_s };
    let trigger = Trigger {
        at,
        after,
        after_met,
        on_spoken,
        from: raw.from,
        as_it_begins: raw.as_it_begins,
        on_phase: raw.on_phase,
        when: raw.when,
        within_s: faults.seconds("within_s", raw.within_s, TRIGGER_WITHIN_S),
        optional: raw.optional,
    };
    if raw.ramp_s.is_some() && raw.moves.is_empty() {
        faults.add("`ramp_s` belongs to `move`: add it, or take `ramp_s` away.");
    }
    if raw.cut_in && raw.say.is_none() {
        faults.add("`cut_in` belongs to `say`: add it, or take `cut_in` away.");
    }
    faults.words("say", raw.say.as_ref());
    faults.words("touch", raw.touch.as_ref());
    faults.words("when", trigger.when.as_ref());
    faults.finite("move", &raw.moves);
    faults.finite("set", &raw.set);
    let mut expect = Vec::new();
    for wanted in raw.expect {
        let within = faults.seconds("expect.within_s", wanted.within_s, EXPECT_WITHIN_S);
        expect.extend(wanted.prove(faults).map(|w| (w, within)));
    }
    let never = RawNever { spoken: raw.never_spoken, set: raw.never_set, called: raw.never_called };
    Step {
        line: faults.line,
        name: raw.name,
        trigger,
        delay_s: faults.seconds("delay_s", raw.delay_s, natural),
        say: raw.say,
        cut_in: raw.cut_in,
        moves: raw.moves,
        ramp_s: faults.seconds("ramp_s", raw.ramp_s, 0.0),
        set: raw.set,
        inject: raw.inject,
        touch: raw.touch,
        expect,
        silent_for_s,
        never: faults.never(never, "never_"),
    }
}

fn reaction(raw: RawReaction, faults: &mut Faults) -> Reaction {
    if raw.say.is_some() == raw.say_last {
        faults.add("a reaction has either `say = \"…\"` or `say_last = true`: give one of the two.");
    }
    faults.words("say", raw.say.as_ref());
    let on_spoken = faults.patterns("on_spoken", Some(raw.on_spoken));
    Reaction { on_spoken, from: raw.from, say: raw.say, at_most: raw.at_most.unwrap_or(1) }
}

/// The TOML parser's message as a sentence; a wrong key is answered with the nearest right one.
fn plain(message: &str) -> String {
    let quoted: Vec<&str> = message.split('`').skip(1).step_by(2).collect();
    let wrong_name = message.starts_with("unknown field") || message.starts_with("unknown variant");
    match quoted.as_slice() {
        [wrong, right @ ..] if wrong_name && !right.is_empty() => {
            let near = right.iter().min_by_key(|r| strsim::damerau_levenshtein(wrong, r)).unwrap_or(wrong);
            if strsim::damerau_levenshtein(wrong, near) <= 3 {
                format!("`{wrong}` is not known here: write `{near}`.")
            } else {
                format!("`{wrong}` is not known here: it can be {}.", right.join(", "))
            }
        }
        [name, ..] if message.starts_with("missing field") => format!("`{name}` is missing: add it."),
        _ => format!("{}: correct the TOML here.", message.trim_end_matches('.').replace('\n', ", ")),
    }
}
