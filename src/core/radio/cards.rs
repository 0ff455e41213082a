//! Cards: the exercises in which the pilot begins, with letters and numbers, standard words, radio checks, reports.

use super::clearance::{Generator, Weights, kind_of};
use super::item::{Exercise, Item, Mode, fill, written};
use super::phrases::{Card, StandardWord};
use crate::core::aircraft::Value;
use std::collections::BTreeMap;

impl Generator<'_> {
    /// A card of a mode.
    pub(super) fn card(&mut self, mode: Mode, weights: &Weights) -> Exercise {
        let phrases = self.phrases;
        let name = Mode::ALL.iter().find(|(_, m)| *m == mode).map_or("", |(n, _)| n);
        let cards: Vec<&Card> = phrases.cards.iter().filter(|c| c.mode == name).collect();
        let weight = |c: &&Card| {
            let of = |i: &String| weights.get(self.rules.kind(kind_of(i))).copied().unwrap_or(1);
            c.items.iter().map(of).max().unwrap_or(1)
        };
        // The same card twice in a row would be tedious.
        let last = self.last_card.clone();
        let all: Vec<u32> = cards.iter().map(|c| if cards.len() > 1 && c.id == last { 0 } else { weight(c) }).collect();
        let i = self.weighted(&all);
        let card = cards.get(i).copied().unwrap_or(&phrases.cards[0]);
        self.last_card.clone_from(&card.id);
        let phases = &phrases.phases;
        let phase = card.phase.clone().or_else(|| self.one(phases).map(|p| p.id.clone())).unwrap_or_default();
        let roles: Vec<String> = phrases.world.airports.iter().flat_map(|a| a.stations.keys().cloned()).collect();
        let role = card.station.clone().or_else(|| self.one(&roles).cloned()).unwrap_or_default();
        let here = self.here(&phase, &role);
        let mut items: Vec<Item> = card.items.iter().map(|t| self.item(t, &here)).collect();
        let mut shown: BTreeMap<String, String> = BTreeMap::new();
        for item in &mut items {
            if item.slots.contains_key("word") {
                self.word(item, &mut shown);
            }
            if let Some(scale) = item.slots.get("scale") {
                shown.insert("how".into(), phrases.scale.get(&scale.to_string()).cloned().unwrap_or_default());
            }
        }
        if let [Item { slots: first, .. }, .., Item { slots: last, .. }] = items.as_mut_slice()
            && let (Some(a), Some(b)) = (first.get("fix"), last.get("fix"))
        {
            // The next position is another one, and later.
            if a == b {
                let fixes = &phrases.world.en_route.fixes;
                let at = fixes.iter().position(|f| *f == a.to_string()).unwrap_or(0);
                last.insert("fix".into(), Value::Word(fixes[(at + 1) % fixes.len()].clone()));
            }
            if let Some(later) = first.get("time").and_then(|t| later(&t.to_string(), 17)) {
                last.insert("time".into(), Value::Word(later));
            }
        }
        for item in &items {
            for (binding, value) in &item.slots {
                let text = match (binding.as_str(), value) {
                    ("heading", Value::Number(n)) => format!("{n:03}"),
                    ("frequency", Value::Number(n)) => format!("{n:.3}"),
                    // In inches, as it is displayed.
                    ("altimeter", Value::Number(n)) => format!("{:.2}", n / 100.0),
                    (_, v) => written(v),
                };
                shown.insert(format!("{}.{binding}", item.kind), text.clone());
                shown.entry(binding.clone()).or_insert(text);
            }
        }
        shown.insert("own".into(), phrases.own.to_string());
        let text = fill(&card.text, &|name| shown.get(name).cloned());
        let own = phrases.own.clone();
        Exercise {
            mode,
            phase: card.id.clone(),
            to: own.clone(),
            own,
            station: here.station,
            card: Some(text),
            items,
            info: Vec::new(),
            slip: None,
            before: self.before.clone(),
        }
    }

    /// A standard word that was not asked for lately.
    fn word(&mut self, item: &mut Item, shown: &mut BTreeMap<String, String>) {
        let phrases = self.phrases;
        let fresh: Vec<&StandardWord> = phrases.words.iter().filter(|w| !self.asked.contains(&w.word)).collect();
        if let Some(word) = self.one(&fresh) {
            item.slots.insert("word".into(), Value::Word(word.under(self.rules).to_string()));
            shown.insert("means".into(), word.means.clone());
            self.asked.push(word.word.clone());
            if self.asked.len() * 2 > phrases.words.len() {
                self.asked.remove(0);
            }
        }
    }
}

/// A time of day so many minutes later.
fn later(time: &str, by: u32) -> Option<String> {
    let minutes = time.get(..2)?.parse::<u32>().ok()? * 60 + time.get(2..)?.parse::<u32>().ok()? + by;
    Some(format!("{:02}{:02}", minutes / 60 % 24, minutes % 60))
}
