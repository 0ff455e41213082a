//! Clearances by chance, from a seed: a flight between the invented airports, phase by phase, with values that fit.

use super::callsign::Callsign;
use super::item::{Exercise, Item, Mode};
use super::phrases::{Airport, Phase, Phrases, Scene};
use super::rules::Rules;
use super::slips;
use crate::core::aircraft::Value;
use crate::core::words::Regime;
use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg32;
use std::collections::BTreeMap;

/// Draws exercises.
#[derive(Debug, Clone)]
pub struct Generator<'p> {
    pub(super) phrases: &'p Phrases,
    pub(super) rules: &'p Rules,
    pub(super) rng: Pcg32,
    difficulty: u8,
    /// Index of the phase to come.
    phase: usize,
    flight: Flight,
    pub(super) before: Vec<Item>,
    /// Words that were asked for lately, and the last card.
    pub(super) asked: Vec<String>,
    pub(super) last_card: String,
    last_scene: Option<&'p Scene>,
}

/// What the clearances of one flight have in common.
#[derive(Debug, Clone)]
struct Flight {
    runways: [String; 2],
    wind: (u32, u32),
    qnh: u32,
    heading: u32,
    level: u32,
}

/// How much more often a kind of item should come: 1 is as often as any other.
pub type Weights = BTreeMap<String, u32>;

impl<'p> Generator<'p> {
    /// From a seed; `difficulty` from 1 to 4.
    pub fn new(phrases: &'p Phrases, regime: Regime, difficulty: u8, seed: u64) -> Self {
        let mut rng = Pcg32::seed_from_u64(seed);
        let flight = Flight::new(phrases, &mut rng);
        let difficulty = difficulty.clamp(1, 4);
        let rules = phrases.rules(regime);
        Generator {
            phrases,
            rules,
            rng,
            difficulty,
            phase: 0,
            flight,
            before: Vec::new(),
            asked: Vec::new(),
            last_card: String::new(),
            last_scene: None,
        }
    }

    pub(super) fn below(&mut self, n: usize) -> usize {
        (self.rng.next_u32() as usize) % n.max(1)
    }

    pub(super) fn one<'a, T>(&mut self, all: &'a [T]) -> Option<&'a T> {
        if all.is_empty() { None } else { Some(&all[self.below(all.len())]) }
    }

    /// A number from `low` to `high` in steps.
    pub(super) fn step(&mut self, low: u32, high: u32, step: u32) -> u32 {
        let count = high.saturating_sub(low) / step.max(1) + 1;
        low + self.below(count as usize) as u32 * step
    }

    /// One of several with weights.
    pub(super) fn weighted(&mut self, weights: &[u32]) -> usize {
        let total: u32 = weights.iter().sum();
        let mut left = self.below(total.max(1) as usize) as u32;
        for (i, w) in weights.iter().enumerate() {
            if left < *w {
                return i;
            }
            left -= w;
        }
        0
    }

    /// The next exercise of a mode. Kinds with a greater weight come more often.
    pub fn next(&mut self, mode: Mode, weights: &Weights) -> Exercise {
        let exercise = match mode {
            Mode::Readback => self.readback(weights),
            _ => self.card(mode, weights),
        };
        self.before = exercise.items.clone();
        exercise
    }

    fn scene(&mut self, weights: &Weights) -> &'p Scene {
        let phrases = self.phrases;
        let weight = |s: &Scene| {
            let of = |i: &String| weights.get(self.rules.kind(kind_of(i))).copied().unwrap_or(1);
            s.items.iter().map(of).max().unwrap_or(1)
        };
        let weak = phrases.scenes.iter().filter(|s| s.difficulty <= self.difficulty && weight(s) > 1);
        let weak: Vec<(&Scene, u32)> = weak.map(|s| (s, weight(s))).collect();
        // Every second exercise goes to what is weak, whatever the phase; the others follow the flight.
        if !weak.is_empty() && self.below(2) == 0 {
            let i = self.weighted(&weak.iter().map(|s| s.1).collect::<Vec<_>>());
            return weak[i].0;
        }
        for _ in 0..phrases.phases.len() {
            let phase = &phrases.phases[self.phase].id;
            self.phase = (self.phase + 1) % phrases.phases.len();
            if self.phase == 0 {
                self.flight = Flight::new(phrases, &mut self.rng);
            }
            let here: Vec<&Scene> =
                phrases.scenes.iter().filter(|s| s.phase == *phase && s.difficulty <= self.difficulty).collect();
            if !here.is_empty() {
                let own = self.difficulty;
                let i =
                    self.weighted(&here.iter().map(|s| if s.difficulty == own { 4 } else { 1 }).collect::<Vec<_>>());
                return here[i];
            }
        }
        &phrases.scenes[0]
    }

    /// One clearance of a flight under way: `given` values, by binding, stand for those that would be drawn. `scene` is one
    /// of the phrasebook's phases; it decides the airport, who comes next on the way, and the range of what is drawn.
    pub fn in_flight(&mut self, own: &Callsign, plan: &Scene, given: &BTreeMap<String, Value>) -> Exercise {
        let here = self.here(&plan.phase, &plan.station);
        let mut items = |list: &[String]| -> Vec<Item> { list.iter().map(|t| self.given(t, &here, given)).collect() };
        let (info, items) = (items(&plan.info), items(&plan.items));
        let (phase, station) = (plan.phase.clone(), here.station);
        let (own, to) = (own.clone(), own.clone());
        let before = std::mem::replace(&mut self.before, items.clone());
        Exercise { mode: Mode::Readback, phase, own, to, station, card: None, items, info, slip: None, before }
    }

    fn readback(&mut self, weights: &Weights) -> Exercise {
        let scene = self.scene(weights);
        self.last_scene = Some(scene);
        let here = self.here(&scene.phase, &scene.station);
        let info = scene.info.iter().map(|t| self.item(t, &here)).collect();
        let mut items: Vec<Item> = scene.items.iter().map(|t| self.item(t, &here)).collect();
        if self.difficulty >= 3 && self.below(3) == 0 {
            alike(&mut items, &self.phrases.own);
        }
        let mut slip = None;
        if self.difficulty >= 4 && self.below(3) == 0 {
            slip = self.slip(&items);
        }
        let own = self.phrases.own.clone();
        let mut to = own.clone();
        if self.difficulty >= 3 && self.below(6) == 0 {
            to = self.one(&self.phrases.traps).cloned().unwrap_or(own.clone());
        }
        self.follow(&items);
        let before = self.before.clone();
        let (phase, station) = (scene.phase.clone(), here.station);
        Exercise { mode: Mode::Readback, phase, own, to, station, card: None, items, info, slip, before }
    }

    /// The same kind of clearance with other values, for who cannot comply; `None` if there is none.
    pub fn amend(&mut self, exercise: &Exercise) -> Option<Exercise> {
        let scene = self.last_scene?;
        for _ in 0..8 {
            let here = self.here(&scene.phase, &scene.station);
            let items: Vec<Item> = scene.items.iter().map(|t| self.item(t, &here)).collect();
            if items != exercise.items {
                self.follow(&items);
                let (to, station) = (exercise.own.clone(), exercise.station.clone());
                let before = exercise.items.clone();
                return Some(Exercise { to, station, items, slip: None, before, ..exercise.clone() });
            }
        }
        None
    }

    /// The place of a scene; the level from which it starts is set.
    pub(super) fn here(&mut self, phase: &str, role: &str) -> Here<'p> {
        let phrases = self.phrases;
        let phase = phrases.phases.iter().find(|p| p.id == phase).unwrap_or(&phrases.phases[0]);
        let airport = &phrases.world.airports[phase.airport];
        let station = match airport.stations.get(role) {
            Some(name) => name.clone(),
            None => self.one(&phrases.world.en_route.stations).cloned().unwrap_or_default(),
        };
        self.flight.level = phase.level.map_or(0, |(low, high)| self.step(low, high, 10));
        Here { phase, airport, station }
    }

    fn follow(&mut self, items: &[Item]) {
        let number = |i: &Item, b: &str| i.slots.get(b).and_then(Value::number);
        for item in items {
            if let Some(h) = number(item, "heading") {
                self.flight.heading = h as u32;
            }
            if let Some(l) = number(item, "level").filter(|_| item.kind == "level") {
                self.flight.level = l as u32;
            }
        }
    }

    /// Another value that is said first and then corrected.
    fn slip(&mut self, items: &[Item]) -> Option<(usize, BTreeMap<String, Value>)> {
        let numeric: Vec<usize> = (0..items.len())
            .filter(|i| {
                let main = self.phrases.items.get(&items[*i].kind).and_then(|k| k.main.as_ref());
                let number = |m: &String| items[*i].slots.get(m).is_some_and(|v| v.number().is_some());
                main.is_some_and(number)
            })
            .collect();
        let i = *self.one(&numeric)?;
        let main = self.phrases.items.get(&items[i].kind)?.main.clone()?;
        let wrong = slips::plausible(self.phrases, &items[i], &main, &[], &[]);
        let mut slots = items[i].slots.clone();
        // Nobody is cleared to three hundred feet, not even by mistake.
        let near = |v: &&Value| match (v.number(), items[i].slots.get(&main).and_then(Value::number)) {
            (Some(said), Some(meant)) => said >= 0.4 * meant && said <= 2.5 * meant,
            _ => true,
        };
        let wrong: Vec<&Value> = wrong.iter().filter(near).collect();
        let value = (*self.one(&wrong)?).clone();
        slots.insert(main, value);
        Some((i, slots))
    }

    /// An item from its text in a scene.
    pub(super) fn item(&mut self, text: &str, here: &Here<'_>) -> Item {
        self.given(text, here, &BTreeMap::new())
    }

    /// The same with some values given, by binding.
    fn given(&mut self, text: &str, here: &Here<'_>, given: &BTreeMap<String, Value>) -> Item {
        let kind = self.rules.kind(kind_of(text)).to_string();
        let mut item = Item { kind, slots: BTreeMap::new() };
        for fixed in text.split(' ').skip(1) {
            if let Some((name, value)) = fixed.split_once('=') {
                item.slots.insert(name.to_string(), Value::Word(value.to_string()));
            }
        }
        let phrases = self.phrases;
        let Some(kind) = phrases.items.get(&item.kind) else { return item };
        for binding in kind.slots.keys() {
            if let Some(value) = given.get(binding).filter(|_| !item.slots.contains_key(binding)) {
                item.slots.insert(binding.clone(), value.clone());
            }
        }
        // A station comes before its frequency.
        let mut types: Vec<(&String, &String)> = kind.slots.iter().collect();
        types.sort_by_key(|(_, t)| *t == "frequency");
        for (binding, t) in types {
            if !item.slots.contains_key(binding)
                && let Some(value) = self.value(t, binding, &item, here)
            {
                item.slots.insert(binding.clone(), value);
            }
        }
        // The turn goes the short way round.
        if let (true, Some(to)) = (item.slots.contains_key("turn"), item.slots.get("heading").and_then(Value::number)) {
            let right = (to as u32 + 360 - self.flight.heading % 360) % 360 <= 180;
            item.slots.insert("turn".into(), Value::Word(if right { "right" } else { "left" }.into()));
        }
        item
    }

    fn value(&mut self, kind: &str, binding: &str, item: &Item, here: &Here<'_>) -> Option<Value> {
        let word = |w: &str| Some(Value::Word(w.to_string()));
        let number = |n: u32| Some(Value::Number(f64::from(n)));
        let fine = self.difficulty >= 3;
        let (phase, airport) = (here.phase, here.airport);
        let top = self.rules.transition_altitude_ft.unwrap_or(airport.transition_altitude_ft) as u32;
        // By a region's own rule levels begin at once; else the first usable one lies above the transition altitude.
        let above = if self.rules.transition_altitude_ft.is_some() { 0 } else { 10 };
        let way = item.slots.get("way").map(Value::to_string).unwrap_or_default();
        match (kind, binding) {
            ("heading", "direction") => number(self.flight.wind.0),
            ("speed", "wind") => number(self.flight.wind.1),
            ("heading", _) => {
                let to = self.step(10, 360, if fine { 5 } else { 10 });
                let same = to % 360 == self.flight.heading % 360;
                number(if same { to % 360 + 10 } else { to })
            }
            ("level", "transition") => number(top / 100 + above),
            ("level", _) => {
                let lowest = self.phrases.world.en_route.lowest_level.max(top.div_ceil(1000) * 10 + above);
                let highest = self.phrases.world.en_route.highest_level;
                let now = self.flight.level;
                number(match way.as_str() {
                    "climb" => self.step((now + 20).max(lowest).min(highest - 20), highest, 10),
                    "descend" => self.step(lowest, now.saturating_sub(20).max(lowest), 10),
                    "maintain" => now.max(lowest),
                    _ => self.step(lowest, highest, 10),
                })
            }
            ("altitude", "visibility") => number(self.step(1_500, 8_000, 500)),
            ("altitude", _) => {
                let (low, high) = phase.altitudes.unwrap_or((2_000, top));
                number(self.step(low, high.min(top), if fine { 500 } else { 1_000 }))
            }
            ("speed", _) => {
                let (low, high) = phase.speeds.unwrap_or((160, 280));
                number(self.step(low, high, 10))
            }
            ("squawk", _) => Some(Value::Word(self.squawk())),
            ("frequency", _) => {
                let to = item.slots.get("station").map_or_else(|| here.station.clone(), Value::to_string);
                self.phrases.world.stations.get(&to).map(|f| Value::Number(*f))
            }
            ("station", "called") => word(&here.station),
            ("station", _) => word(&self.next_station(here)),
            ("qnh", _) => number(self.flight.qnh),
            // Hundredths of an inch of mercury in a hectopascal.
            ("digits", "altimeter") => number(libm::round(f64::from(self.flight.qnh) * 2.953) as u32),
            ("digits", _) => number(self.step(1, 5, 1)),
            ("runway", _) => {
                let own = &self.flight.runways[phase.airport];
                let other = self.phrases.items.get(&item.kind).is_some_and(|k| k.other_runway);
                let others: Vec<&String> = airport.runways.iter().filter(|r| *r != own).collect();
                match other && airport.runways.len() > 2 {
                    true => self.one(&others).and_then(|r| word(r)),
                    false => word(own),
                }
            }
            ("letter", "point") => self.one(&airport.points).and_then(|p| word(p)),
            ("letter", "first" | "second") => {
                let first = item.slots.get("first").map(Value::to_string);
                let others: Vec<&String> = airport.taxiways.iter().filter(|t| Some(*t) != first.as_ref()).collect();
                self.one(&others).and_then(|t| word(t))
            }
            ("letter", _) => {
                let i = self.below(26);
                word(&char::from(b'A' + i as u8).to_string())
            }
            ("approach", _) => self.one(&airport.approaches).and_then(|a| word(a)),
            ("departure", _) => self.one(&airport.departures).and_then(|d| word(d)),
            ("destination", _) => word(&self.phrases.world.airports[1 - phase.airport].name),
            ("time", _) => {
                let minute = self.below(24 * 60);
                word(&format!("{:02}{:02}", minute / 60, minute % 60))
            }
            (list, _) => {
                let all = self.phrases.lists.get(list)?;
                self.one(all).map(|(v, _)| v.clone())
            }
        }
    }

    /// Who comes next on the way.
    fn next_station(&mut self, here: &Here<'_>) -> String {
        let role = here.phase.next.as_ref().and_then(|role| here.airport.stations.get(role));
        if let Some(name) = role.filter(|n| **n != here.station) {
            return name.clone();
        }
        let others: Vec<&String> =
            self.phrases.world.en_route.stations.iter().filter(|s| **s != here.station).collect();
        self.one(&others).map(|s| (*s).clone()).unwrap_or_default()
    }

    fn squawk(&mut self) -> String {
        loop {
            let code = format!("{:04o}", self.rng.next_u32() % 0o10000);
            if !self.phrases.world.squawks.reserved.contains(&code) {
                return code;
            }
        }
    }
}

/// Where a scene plays.
#[derive(Debug, Clone)]
pub(super) struct Here<'p> {
    phase: &'p Phase,
    airport: &'p Airport,
    pub(super) station: String,
}

/// The kind in a scene's text.
pub(super) fn kind_of(text: &str) -> &str {
    text.split(' ').next().unwrap_or_default()
}

/// Gives two items the same figures, as happens on the worst of days.
fn alike(items: &mut [Item], own: &Callsign) {
    let heading = items.iter().find_map(|i| i.slots.get("heading")).and_then(Value::number);
    for item in items {
        if let (Some(h), Some(speed)) = (heading, item.slots.get_mut("speed")) {
            // Only one that a controller might ask for.
            let asked = speed.number().unwrap_or(0.0);
            if h % 10.0 == 0.0 && (asked - h).abs() <= 60.0 {
                *speed = Value::Number(h);
            }
        }
        let octal = own.number.len() == 3 && own.number.bytes().all(|b| b < b'8');
        if let (true, Some(Value::Word(code))) = (octal, item.slots.get_mut("squawk")) {
            *code = format!("{}{}", own.number, &code[3..]);
        }
    }
}

impl Flight {
    fn new(phrases: &Phrases, rng: &mut Pcg32) -> Self {
        let wind = ((rng.next_u32() % 36 + 1) * 10, rng.next_u32() % 21 + 4);
        // Into the wind.
        let runway = |airport: &Airport, pick: u32| {
            let across = |r: &String| {
                let heading = r[..2].parse::<u32>().unwrap_or(36) * 10;
                let off = (heading + 360 - wind.0) % 360;
                off.min(360 - off)
            };
            let least = airport.runways.iter().map(across).min().unwrap_or(0);
            let best: Vec<&String> = airport.runways.iter().filter(|r| across(r) == least).collect();
            best.get(pick as usize % best.len().max(1)).map_or(String::new(), |r| (*r).clone())
        };
        let pick = rng.next_u32();
        let airports = &phrases.world.airports;
        Flight {
            runways: [runway(&airports[0], pick), runway(&airports[1], pick / 2)],
            wind,
            qnh: 985 + rng.next_u32() % 46,
            heading: (rng.next_u32() % 36 + 1) * 10,
            level: 0,
        }
    }
}
