//! `[clearances]`: what a controller says in flight, held against the radio phrasebook.

use super::All;
use super::aircraft::reader;
use super::calls::{BY, refer};
use super::condition::Env;
use super::names::{SlotName, kind_of};
use super::reader::Reader;
use super::tree::Node;
use crate::core::aircraft::ValueKind;
use crate::core::book::problem::nearest;
use crate::core::book::rules;
use crate::core::book::schema::{Book, By, Clearance, FlowId, SheetId};
use crate::core::radio::{Phrases, Scene};
use crate::core::words::BUILT_IN;

/// Reads `[clearances]`.
pub fn clearances(all: &All, book: &mut Book) {
    let items = all.sections.items("clearances");
    if items.is_empty() {
        return;
    }
    // The phrasebook is part of the program; that it loads is held by a test.
    let Ok(phrases) = Phrases::built_in() else { return };
    for item in items {
        let what = format!("clearance `{}`", item.id);
        let r = reader(all.cx, &what, item);
        r.only(&["by", "phases", "when", "scene", "station", "items", "info", "with", "sets", "flow", "replaces"]);
        let Some(scene) = scene(all, &r, &phrases) else { continue };
        let slots = slots(&scene, &phrases);
        let with = r.node("with").map_or(&[][..], Node::entries).iter();
        let with = with.filter_map(|e| {
            let Some((_, kind)) = slots.iter().find(|(name, _)| *name == e.key) else {
                unknown(all, &e.value, "value", &e.key, slots.iter().map(|(n, _)| n.as_str()));
                return None;
            };
            Some((e.key.clone(), all.cx.expr(&e.value, &e.key, &all.env(), Some(kind))))
        });
        let with = with.collect();
        let env = Env { slots: Some(&slots), ..all.env() };
        let sets = r.node("sets").map_or(&[][..], Node::entries).iter();
        let sets = sets.filter_map(|e| {
            let Some(entry) = all.names.sheet.find(&e.key) else {
                let text = format!("There is no flight-sheet entry `{}`.", e.key);
                let hint = all.names.sheet.nearest(&e.key).map(|n| format!("did you mean `{n}`?"));
                all.cx.raise(rules::UNKNOWN_SHEET, e.at, text, hint);
                return None;
            };
            let kind = all.names.sheet_kinds.get(entry as usize);
            Some((SheetId(entry), all.cx.expr(&e.value, &e.key, &env, kind)))
        });
        let sets = sets.collect();
        r.need("when", "\"true\"");
        let Some(when) = r.condition("when", &all.env()) else { continue };
        let by = r.choice("by", BY).unwrap_or(By::Pm);
        let flow = r.node("flow").and_then(|_| refer(all, &r, "flow")).map(FlowId);
        let phases = r.phases("phases", all.names);
        book.clearances.push(Clearance { id: item.id.clone(), by, phases, when, scene, with, sets, flow });
    }
}

fn scene(all: &All, r: &Reader, phrases: &Phrases) -> Option<Scene> {
    r.need("scene", "\"taxi\"");
    r.need("station", "\"ground\"");
    r.need("items", "[\"taxi\", \"qnh\"]");
    let (name, station) = (r.text("scene")?, r.text("station")?);
    let Some(phase) = phrases.phases.iter().find(|p| p.id == name) else {
        unknown(all, r.node("scene")?, "scene", name, phrases.phases.iter().map(|p| p.id.as_str()));
        return None;
    };
    let airport = &phrases.world.airports[phase.airport];
    if station != EN_ROUTE && !airport.stations.contains_key(station) {
        let known = airport.stations.keys().map(String::as_str).chain([EN_ROUTE]);
        unknown(all, r.node("station")?, "station", station, known);
        return None;
    }
    let list = |key: &str| -> Vec<String> {
        let texts = r.texts(key).into_iter();
        let known = texts.filter(|(text, node)| {
            let kind = text.split(' ').next().unwrap_or_default();
            let known = phrases.items.contains_key(kind);
            if !known {
                unknown(all, node, "item", kind, phrases.items.keys().map(String::as_str));
            }
            known
        });
        known.map(|(text, _)| text.to_string()).collect()
    };
    let (items, info) = (list("items"), list("info"));
    Some(Scene { phase: name.into(), station: station.into(), difficulty: 1, items, info })
}

/// The role of whoever is called on the way.
const EN_ROUTE: &str = "en_route";

fn unknown<'n>(all: &All, at: &Node, what: &str, name: &str, known: impl Iterator<Item = &'n str>) {
    let hint = nearest(name, known).map(|n| format!("did you mean `{n}`?"));
    all.cx.raise(rules::UNKNOWN_RADIO, at.at, format!("The radio phrasebook has no {what} `{name}` here."), hint);
}

/// The values of a clearance by binding, with their types.
fn slots(scene: &Scene, phrases: &Phrases) -> Vec<SlotName> {
    let mut out: Vec<SlotName> = Vec::new();
    for text in scene.items.iter().chain(&scene.info) {
        let kind = text.split(' ').next().unwrap_or_default();
        for (binding, name) in phrases.items.get(kind).iter().flat_map(|k| &k.slots) {
            if out.iter().all(|(b, _)| b != binding) {
                out.push((binding.clone(), value_kind(name)));
            }
        }
    }
    out
}

/// The type of a radio value; those of lists are words.
fn value_kind(name: &str) -> ValueKind {
    match BUILT_IN.iter().find(|(n, _)| *n == name) {
        Some((_, slot)) => kind_of(slot),
        None if name == Phrases::DIGITS => ValueKind::Number,
        None => ValueKind::Word(Vec::new()),
    }
}
