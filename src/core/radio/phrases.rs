//! The radio phrasebook: kinds of item, acts of speech, standard words, scenes, the invented world, the rules.

use super::callsign::Callsign;
use super::rules::{self, Rules};
use crate::core::aircraft::Value;
use crate::core::grammar::{Expansion, NamedSlots, Shape, parse};
use crate::core::words::{BUILT_IN, Form, Regime, SlotKind, say};
use serde::Deserialize;
use std::collections::BTreeMap;

const ITEMS: &str = include_str!("../../../phrasebooks/radio/items.toml");
const WORDS: &str = include_str!("../../../phrasebooks/radio/words.toml");
const WORLD: &str = include_str!("../../../phrasebooks/radio/world.toml");
const SCENES: &str = include_str!("../../../phrasebooks/radio/scenes.toml");
const CARDS: &str = include_str!("../../../phrasebooks/radio/cards.toml");

/// Values that are figures one by one, and times of day: types of this room beside those of every book.
pub(super) const DIGITS: &str = "digits";
pub(super) const TIME: &str = "time";
/// Lists that are made from the world and the items.
pub(super) const CALLSIGN: &str = "callsign";
pub(super) const CALLED: &str = "called";
pub(super) const OPERATOR: &str = "operator";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ItemsFile {
    lists: BTreeMap<String, BTreeMap<String, String>>,
    items: BTreeMap<String, ItemText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ItemText {
    called: String,
    slots: BTreeMap<String, String>,
    main: Option<String>,
    #[serde(default)]
    may: Vec<String>,
    #[serde(default)]
    other_runway: bool,
    read: Vec<String>,
    #[serde(default)]
    loose: Vec<String>,
}

/// A kind of item.
#[derive(Debug, Clone)]
pub struct ItemKind {
    /// How it is named on the radio.
    pub called: String,
    /// Its values: binding → type.
    pub slots: BTreeMap<String, String>,
    /// The value that may stand alone.
    pub main: Option<String>,
    /// Values that may be left out.
    pub may: Vec<String>,
    /// Where there are several runways, it is about one that is not in use.
    pub other_runway: bool,
    /// Wordings in good order.
    pub read: Vec<Expansion>,
    /// Wordings that are understood and noted.
    pub loose: Vec<Expansion>,
}

/// Words that are understood and not standard.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Avoid {
    /// Each a word or several.
    pub words: Vec<String>,
    /// What is standard.
    pub better: String,
    /// Where; everywhere if empty.
    #[serde(default)]
    pub rules: Vec<String>,
    /// Why.
    pub why: String,
    /// Where that stands, and how it was seen.
    pub source: String,
}

/// A standard word of the word drill.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StandardWord {
    /// The word.
    pub word: String,
    /// What it means.
    pub means: String,
    /// The word that some rules have instead.
    #[serde(default)]
    pub instead: BTreeMap<String, String>,
    /// What is not certain about it.
    pub doubt: Option<String>,
}

impl StandardWord {
    /// The word under these rules.
    pub fn under(&self, rules: &Rules) -> &str {
        self.instead.get(rules.name).unwrap_or(&self.word)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct WordsFile {
    acts: BTreeMap<String, Vec<String>>,
    fillers: Fillers,
    avoid: Vec<Avoid>,
    word: Vec<StandardWord>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fillers {
    words: Vec<String>,
}

/// An invented airport.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Airport {
    /// Four letters.
    pub id: String,
    /// Name as spoken.
    pub name: String,
    /// Runways by number and side.
    pub runways: Vec<String>,
    /// Holding points, one letter each.
    pub points: Vec<String>,
    /// Taxiways, one letter each.
    pub taxiways: Vec<String>,
    /// Approaches.
    pub approaches: Vec<String>,
    /// Departure routes.
    pub departures: Vec<String>,
    /// Above it flight levels are used, ft.
    pub transition_altitude_ft: f64,
    /// Who controls what: role → name.
    pub stations: BTreeMap<String, String>,
}

/// The invented world.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct World {
    callsigns: CallsignNames,
    /// Airports; the flight goes from the first to the second.
    pub airports: Vec<Airport>,
    /// Codes.
    pub squawks: Squawks,
    /// Every station with its frequency, MHz.
    pub stations: BTreeMap<String, f64>,
    /// Between the airports.
    pub en_route: EnRoute,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct CallsignNames {
    own: String,
    operators: Vec<String>,
    traps: Vec<String>,
}

/// Transponder codes.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Squawks {
    /// Those that are not assigned.
    pub reserved: Vec<String>,
}

/// Between the airports.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EnRoute {
    /// Stations.
    pub stations: Vec<String>,
    /// Waypoints.
    pub fixes: Vec<String>,
    /// Lowest flight level.
    pub lowest_level: u32,
    /// Highest flight level.
    pub highest_level: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ScenesFile {
    phases: Vec<Phase>,
    scenes: Vec<Scene>,
}

/// A phase of flight.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Phase {
    /// Its name.
    pub id: String,
    /// At which airport: 0 or 1.
    pub airport: usize,
    /// Role of who is called next; absent is someone en route.
    pub next: Option<String>,
    /// From which flight level a clearance starts.
    pub level: Option<(u32, u32)>,
    /// Altitudes that are assigned, ft.
    pub altitudes: Option<(u32, u32)>,
    /// Speeds that are assigned, kt.
    pub speeds: Option<(u32, u32)>,
}

/// What the controller may say.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scene {
    /// Phase of flight.
    pub phase: String,
    /// Role of the station, or `en_route`.
    pub station: String,
    /// 1 to 4.
    pub difficulty: u8,
    /// Kinds of item, some with a value (`level way=climb`).
    pub items: Vec<String>,
    /// Kinds that need no answer.
    #[serde(default)]
    pub info: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CardsFile {
    cards: Vec<Card>,
    scale: BTreeMap<String, String>,
}

/// A card that the pilot is shown, in the modes where he begins.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Card {
    /// The mode's name.
    pub mode: String,
    /// A short name of its own.
    pub id: String,
    /// Text with `{kind.binding}` or `{binding}` for values in figures.
    pub text: String,
    /// Phase in which it plays; any if absent.
    pub phase: Option<String>,
    /// Role of the station; any if absent.
    pub station: Option<String>,
    /// Kinds of item that are expected.
    pub items: Vec<String>,
}

/// The whole phrasebook.
#[derive(Debug, Clone)]
pub struct Phrases {
    /// Kinds of item.
    pub items: BTreeMap<String, ItemKind>,
    /// Every value that is a word, by list.
    pub lists: NamedSlots,
    /// Acts of speech.
    pub acts: BTreeMap<String, Vec<Expansion>>,
    /// Words that mean nothing here.
    pub fillers: Vec<String>,
    /// Words that are not standard.
    pub avoid: Vec<Avoid>,
    /// Standard words.
    pub words: Vec<StandardWord>,
    /// Scenes.
    pub scenes: Vec<Scene>,
    /// Phases in order.
    pub phases: Vec<Phase>,
    /// Cards.
    pub cards: Vec<Card>,
    /// What each figure of the readability scale means.
    pub scale: BTreeMap<String, String>,
    /// The world.
    pub world: World,
    /// The pilot's own callsign.
    pub own: Callsign,
    /// Callsigns that are easily taken for it.
    pub traps: Vec<Callsign>,
    rules: Vec<Rules>,
}

/// How a value of a type is spoken.
pub(super) fn form_of(kind: &str) -> Form {
    match BUILT_IN.iter().find(|(n, _)| *n == kind) {
        Some((_, slot)) => Form::from(slot),
        None if matches!(kind, DIGITS | TIME) => Form::Digits,
        None => Form::Plain,
    }
}

/// The type's name in the grammar.
pub(super) fn grammar_type(kind: &str) -> &str {
    if kind == DIGITS { "number" } else { kind }
}

/// The same wording with other references.
pub(super) fn rename(wording: &Expansion, to: &dyn Fn(&str, &str) -> (String, String)) -> Expansion {
    let all = |list: &[Expansion]| list.iter().map(|e| rename(e, to)).collect();
    let shape = match &wording.shape {
        Shape::Word(w) => Shape::Word(w.clone()),
        Shape::Sequence(list) => Shape::Sequence(all(list)),
        Shape::Choice(list) => Shape::Choice(all(list)),
        Shape::Optional(e) => Shape::Optional(Box::new(rename(e, to))),
        Shape::Repeat { what, min, max } => Shape::Repeat { what: Box::new(rename(what, to)), min: *min, max: *max },
        Shape::Reference { name, binding } => {
            let (name, binding) = to(name, binding.as_deref().unwrap_or(name));
            Shape::Reference { name, binding: Some(binding) }
        }
    };
    Expansion { span: wording.span.clone(), shape }
}

fn references<'e>(wording: &'e Expansion, out: &mut Vec<(&'e str, &'e str)>) {
    match &wording.shape {
        Shape::Word(_) => {}
        Shape::Sequence(all) | Shape::Choice(all) => all.iter().for_each(|e| references(e, out)),
        Shape::Optional(e) | Shape::Repeat { what: e, .. } => references(e, out),
        Shape::Reference { name, binding } => out.push((name, binding.as_deref().unwrap_or(name))),
    }
}

fn read<T: serde::de::DeserializeOwned>(name: &str, text: &str) -> Result<T, String> {
    toml::from_str(text).map_err(|e| format!("{name}: {}", e.message()))
}

fn wording(place: &str, text: &str) -> Result<Expansion, String> {
    let (wording, problems) = parse(text);
    match problems.first() {
        None => Ok(wording),
        Some(p) => Err(format!("{place}: \"{text}\": {}", p.message)),
    }
}

fn wordings(place: &str, texts: &[String]) -> Result<Vec<Expansion>, String> {
    texts.iter().map(|t| wording(place, t)).collect()
}

/// Words that are heard as they are written, parted or joined where they are single letters.
fn heard(place: &str, text: &str) -> Result<Expansion, String> {
    let text = text.to_lowercase();
    let parts: Vec<&str> = text.split_whitespace().collect();
    match parts.iter().all(|p| p.len() == 1) && parts.len() > 1 {
        true => wording(place, &format!("({text} | {})", parts.concat())),
        false => wording(place, &text),
    }
}

fn plain(place: &str, words: &[String]) -> Result<Vec<(Value, Expansion)>, String> {
    words.iter().map(|w| Ok((Value::Word(w.clone()), heard(place, w)?))).collect()
}

/// Every time of day: four figures, or the minutes alone.
fn times() -> Vec<(Value, Expansion)> {
    let whole = (0..24 * 60).map(|m| format!("{:02}{:02}", m / 60, m % 60));
    let minutes = (0..60).map(|m| format!("{m:02}"));
    let said = |t: &str| {
        let words = say(Form::Digits, &Value::Word(t.to_string()), Regime::Icao);
        words.split(' ').map(Expansion::word).collect()
    };
    let all = whole.chain(minutes);
    all.map(|t| (Value::Word(t.clone()), Expansion { span: 0..0, shape: Shape::Sequence(said(&t)) })).collect()
}

impl Phrases {
    /// The type of a value that is plain figures; every other is a built-in slot or a list.
    pub const DIGITS: &'static str = DIGITS;

    /// The phrasebook in the program.
    ///
    /// # Errors
    /// One sentence that names the file and what is wrong in it.
    pub fn built_in() -> Result<Phrases, String> {
        let items: ItemsFile = read("items.toml", ITEMS)?;
        let words: WordsFile = read("words.toml", WORDS)?;
        let world: World = read("world.toml", WORLD)?;
        let scenes: ScenesFile = read("scenes.toml", SCENES)?;
        let cards: CardsFile = read("cards.toml", CARDS)?;
        let callsign = |text: &String| {
            Callsign::parse(text).ok_or_else(|| format!("world.toml: \"{text}\" is no callsign; write name and number"))
        };
        let own = callsign(&world.callsigns.own)?;
        let traps = world.callsigns.traps.iter().map(callsign).collect::<Result<Vec<_>, _>>()?;
        let mut lists = NamedSlots::new();
        for (name, values) in &items.lists {
            let of = |(value, text): (&String, &String)| Ok((Value::Word(value.clone()), wording(name, text)?));
            lists.insert(name.clone(), values.iter().map(of).collect::<Result<_, String>>()?);
        }
        let kinds = items.items.into_iter().map(|(id, k)| {
            let kind = ItemKind {
                read: wordings(&id, &k.read)?,
                loose: wordings(&id, &k.loose)?,
                called: k.called,
                slots: k.slots,
                main: k.main,
                may: k.may,
                other_runway: k.other_runway,
            };
            Ok((id, kind))
        });
        let kinds: BTreeMap<String, ItemKind> = kinds.collect::<Result<_, String>>()?;
        let mut called: Vec<String> = kinds.values().map(|k| k.called.clone()).collect();
        called.sort();
        called.dedup();
        let names = |all: &dyn Fn(&Airport) -> Vec<String>| world.airports.iter().flat_map(all).collect::<Vec<_>>();
        let stations: Vec<String> = world.stations.keys().cloned().collect();
        let mut drilled: Vec<String> = words.word.iter().map(|w| w.word.clone()).collect();
        drilled.extend(words.word.iter().flat_map(|w| w.instead.values().cloned()));
        for (name, values) in [
            (CALLED, called),
            (OPERATOR, world.callsigns.operators.clone()),
            ("station", stations),
            ("destination", names(&|a| vec![a.name.clone()])),
            ("departure", names(&|a| a.departures.clone())),
            ("fix", world.en_route.fixes.clone()),
            ("word", drilled),
        ] {
            lists.insert(name.to_string(), plain(name, &values)?);
        }
        lists.insert(TIME.to_string(), times());
        let mut callsigns: Vec<Callsign> = vec![own.clone()];
        for near in traps.iter().cloned().chain(own.near()) {
            if !callsigns.contains(&near) {
                callsigns.push(near);
            }
        }
        let ways = callsigns.iter().map(|c| {
            let all =
                c.ways().iter().map(|w| wording(CALLSIGN, &format!("{} {w}", c.operator))).collect::<Result<_, _>>()?;
            let value = Value::Word(format!("{} {}", c.operator, c.number));
            Ok((value, Expansion { span: 0..0, shape: Shape::Choice(all) }))
        });
        lists.insert(CALLSIGN.to_string(), ways.collect::<Result<_, String>>()?);
        let acts = words.acts.iter().map(|(id, texts)| Ok((id.clone(), wordings(id, texts)?)));
        let phrases = Phrases {
            acts: acts.collect::<Result<_, String>>()?,
            items: kinds,
            lists,
            fillers: words.fillers.words,
            avoid: words.avoid,
            words: words.word,
            scenes: scenes.scenes,
            phases: scenes.phases,
            cards: cards.cards,
            scale: cards.scale,
            own,
            traps,
            rules: rules::read_all()?,
            world,
        };
        phrases.checked()
    }

    /// The rules of a region.
    pub fn rules(&self, regime: Regime) -> &Rules {
        // There is one for each, in the order of the table.
        self.rules.iter().find(|r| r.regime == regime).unwrap_or(&self.rules[0])
    }

    /// The region of this name, or what is nearest to it.
    ///
    /// # Errors
    /// The nearest name.
    pub fn region(&self, name: &str) -> Result<Regime, &'static str> {
        let name = name.trim().to_lowercase();
        let known = |r: &&Rules| r.name == name || r.also.contains(&name);
        if let Some(rules) = self.rules.iter().find(known) {
            return Ok(rules.regime);
        }
        let like = |r: &Rules| {
            let names = std::iter::once(r.name).chain(r.also.iter().map(String::as_str));
            names.map(|n| strsim::jaro_winkler(n, &name)).fold(0.0, f64::max)
        };
        let mut best = &self.rules[0];
        for rules in &self.rules {
            if like(rules) > like(best) {
                best = rules;
            }
        }
        Err(best.name)
    }

    /// Everything that one file says of another is there.
    fn checked(self) -> Result<Phrases, String> {
        let known_type = |t: &str| BUILT_IN.iter().any(|(n, _)| *n == t) || t == DIGITS || self.lists.contains_key(t);
        for (id, kind) in &self.items {
            if let Some((_, t)) = kind.slots.iter().find(|(_, t)| !known_type(t)) {
                return Err(format!("items.toml: {id} has a value of the unknown type {t}"));
            }
            for wording in kind.read.iter().chain(&kind.loose) {
                let mut found = Vec::new();
                references(wording, &mut found);
                for (t, binding) in found {
                    if kind.slots.get(binding).map(String::as_str) != Some(t) {
                        return Err(format!("items.toml: {id} says ${t}:{binding}, which is not among its slots"));
                    }
                }
            }
            let named = kind.main.iter().chain(&kind.may);
            if let Some(name) = named.into_iter().find(|n| !kind.slots.contains_key(*n)) {
                return Err(format!("items.toml: {id} has no slot {name}"));
            }
        }
        let kind_of = |text: &str| text.split(' ').next().unwrap_or_default().to_string();
        for rules in &self.rules {
            let spoken = self.scenes.iter().flat_map(|s| s.items.iter().chain(&s.info));
            for kind in spoken.map(|t| kind_of(t)) {
                let kind = rules.kind(&kind);
                if !rules.say.contains_key(kind) || rules.need(kind).is_none() || !self.items.contains_key(kind) {
                    return Err(format!("rules-{}.toml: {kind} needs a line in [say] and one in [[need]]", rules.name));
                }
            }
            let answered = self.scenes.iter().flat_map(|s| &s.items).chain(self.cards.iter().flat_map(|c| &c.items));
            for kind in answered.map(|t| kind_of(t)) {
                let kind = rules.kind(&kind);
                if !rules.back.contains_key(kind) || rules.need(kind).is_none() || !self.items.contains_key(kind) {
                    return Err(format!(
                        "rules-{}.toml: {kind} needs a line in [back] and one in [[need]]",
                        rules.name
                    ));
                }
            }
        }
        if let Some(scene) = self.scenes.iter().find(|s| self.phases.iter().all(|p| p.id != s.phase)) {
            return Err(format!("scenes.toml: the phase {} is not among the phases", scene.phase));
        }
        if self.world.airports.len() != 2 || self.phases.iter().any(|p| p.airport > 1) {
            return Err("world.toml: a flight needs two airports, and each phase airport 0 or 1".into());
        }
        Ok(self)
    }

    /// The type of a kind's value as a slot of the grammar.
    pub(super) fn slot_kind(&self, kind: &str) -> SlotKind {
        let name = grammar_type(kind);
        match BUILT_IN.iter().find(|(n, _)| *n == name) {
            Some((_, slot)) => slot.clone(),
            None => SlotKind::Named {
                name: name.to_string(),
                values: self.lists.get(name).map(|l| l.iter().map(|(v, _)| v.clone()).collect()).unwrap_or_default(),
            },
        }
    }
}
