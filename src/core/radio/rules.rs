//! The rules of one region as they stand in the phrasebook: wording, what must be read back, callsigns, doubts.

use crate::core::words::Regime;
use serde::Deserialize;
use std::collections::BTreeMap;

/// How much an item must come back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Need {
    /// Needs no answer; never missing.
    None,
    /// Read back, or acknowledged.
    Acknowledge,
    /// Recommended: told when missing, no fault.
    Should,
    /// Missing is a fault.
    Must,
}

/// Where a rule stands.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cited {
    /// Document and paragraph, with what it says.
    pub paragraph: String,
    /// How it was seen: S its own text, C second-hand, M from memory, P common practice without a source; and the key.
    pub source: String,
}

/// What must be read back, for some kinds of item.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NeedRule {
    /// How much.
    pub need: Need,
    /// Kinds of item.
    pub items: Vec<String>,
    /// Document and paragraph.
    pub paragraph: String,
    /// How it was seen.
    pub source: String,
    /// What is not certain about it.
    pub doubt: Option<String>,
}

/// A form of another region that may be right here too.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Doubt {
    /// The type of value.
    #[serde(rename = "type")]
    pub kind: String,
    /// The regions whose form is accepted.
    pub also: Vec<String>,
    /// Why.
    pub why: String,
    /// How it was seen.
    pub source: String,
}

/// Where a callsign may stand in a readback.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Place {
    /// Last.
    End,
    /// First or last.
    Either,
}

/// Rules for the callsign.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CallsignRule {
    /// Where it stands.
    pub place: Place,
    /// Paragraph that wants it.
    pub paragraph: String,
    /// How it was seen.
    pub source: String,
    /// Whether it may be shortened.
    pub shorten: bool,
    /// Source of that.
    pub shorten_source: String,
    /// Whether figures are spoken in groups ("four seventeen").
    pub group: bool,
    /// Source of that.
    pub group_source: String,
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct Confirm {
    items: Vec<String>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    title: String,
    #[serde(default)]
    also: Vec<String>,
    transition_altitude_ft: Option<f64>,
    #[serde(default)]
    instead: BTreeMap<String, String>,
    #[serde(default)]
    spoken: BTreeMap<String, BTreeMap<String, String>>,
    #[serde(default)]
    say: BTreeMap<String, String>,
    #[serde(default)]
    say_after: BTreeMap<String, String>,
    #[serde(default)]
    back: BTreeMap<String, String>,
    #[serde(default)]
    back_after: BTreeMap<String, String>,
    #[serde(default)]
    react: BTreeMap<String, String>,
    confirm: Option<Confirm>,
    callsign: Option<CallsignRule>,
    order: Option<Cited>,
    #[serde(default)]
    need: Vec<NeedRule>,
    #[serde(default)]
    doubt: Vec<Doubt>,
}

/// The rules of one region.
#[derive(Debug, Clone, PartialEq)]
pub struct Rules {
    /// How values are spoken.
    pub regime: Regime,
    /// The name on the command line.
    pub name: &'static str,
    /// The documents.
    pub title: String,
    /// Other names.
    pub also: Vec<String>,
    /// Where flight levels begin, if not the airport's own figure, ft.
    pub transition_altitude_ft: Option<f64>,
    /// A kind of item that these rules have in place of another.
    pub instead: BTreeMap<String, String>,
    /// Values that are words, as spoken: list → value → words.
    pub spoken: BTreeMap<String, BTreeMap<String, String>>,
    /// The controller's wording by kind.
    pub say: BTreeMap<String, String>,
    /// What he adds at the end of the message.
    pub say_after: BTreeMap<String, String>,
    /// A right readback by kind.
    pub back: BTreeMap<String, String>,
    /// What it adds at its end.
    pub back_after: BTreeMap<String, String>,
    /// The controller's answers by occasion.
    pub react: BTreeMap<String, String>,
    /// Kinds whose correct readback is confirmed aloud.
    pub confirm: Vec<String>,
    /// The callsign.
    pub callsign: CallsignRule,
    /// The rule that the order must be kept, if there is one.
    pub order: Option<Cited>,
    /// What must be read back; the first rule that names a kind counts.
    pub need: Vec<NeedRule>,
    /// Forms that may be right too.
    pub doubts: Vec<Doubt>,
}

/// The regions by the name that the command line knows them under; the first is what the others build on.
pub const REGIONS: [(&str, Regime, &str); 4] = [
    ("icao", Regime::Icao, include_str!("../../../phrasebooks/radio/rules-icao.toml")),
    ("easa", Regime::Sera, include_str!("../../../phrasebooks/radio/rules-easa.toml")),
    ("uk", Regime::Uk, include_str!("../../../phrasebooks/radio/rules-uk.toml")),
    ("faa", Regime::Faa, include_str!("../../../phrasebooks/radio/rules-faa.toml")),
];

/// The name of a region's rules.
pub fn name_of(regime: Regime) -> &'static str {
    REGIONS.iter().find(|r| r.1 == regime).map_or("", |r| r.0)
}

/// All regions, each with what it takes over from the first.
///
/// # Errors
/// One sentence that names the file.
pub(super) fn read_all() -> Result<Vec<Rules>, String> {
    let mut all: Vec<Rules> = Vec::new();
    for (name, regime, text) in REGIONS {
        let file: File = toml::from_str(text).map_err(|e| format!("rules-{name}.toml: {}", e.message()))?;
        let base = all.first();
        let callsign = file.callsign.or_else(|| base.map(|b| b.callsign.clone()));
        let over = |own: BTreeMap<String, String>, of: &dyn Fn(&Rules) -> BTreeMap<String, String>| {
            let mut all = base.map(of).unwrap_or_default();
            all.extend(own);
            all
        };
        let mut spoken = base.map(|b| b.spoken.clone()).unwrap_or_default();
        spoken.extend(file.spoken);
        let mut need = file.need;
        need.extend(base.map(|b| b.need.clone()).unwrap_or_default());
        all.push(Rules {
            regime,
            name,
            title: file.title,
            also: file.also,
            transition_altitude_ft: file.transition_altitude_ft,
            instead: file.instead,
            spoken,
            say: over(file.say, &|b| b.say.clone()),
            say_after: over(file.say_after, &|b| b.say_after.clone()),
            back: over(file.back, &|b| b.back.clone()),
            back_after: over(file.back_after, &|b| b.back_after.clone()),
            react: over(file.react, &|b| b.react.clone()),
            confirm: file.confirm.map(|c| c.items).or_else(|| base.map(|b| b.confirm.clone())).unwrap_or_default(),
            callsign: callsign.ok_or_else(|| format!("rules-{name}.toml: there is no [callsign]; write one"))?,
            order: file.order,
            need,
            doubts: file.doubt,
        });
    }
    Ok(all)
}

impl Rules {
    /// What must be read back of this kind of item.
    pub fn need(&self, kind: &str) -> Option<&NeedRule> {
        self.need.iter().find(|n| n.items.iter().any(|i| i == kind))
    }

    /// The kind that these rules have for one of the phrasebook.
    pub fn kind<'a>(&'a self, kind: &'a str) -> &'a str {
        self.instead.get(kind).map_or(kind, String::as_str)
    }

    /// The controller's answer for an occasion; empty if there is none.
    pub fn react(&self, occasion: &str) -> &str {
        self.react.get(occasion).map_or("", String::as_str)
    }
}
