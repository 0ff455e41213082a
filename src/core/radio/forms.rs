//! In which words a value was said, against the words that the rules want.

use super::callsign::Callsign;
use super::item::Item;
use super::phrases::{Phrases, form_of};
use super::reading::{Manner, Piece, What};
use super::rules::{REGIONS, Rules};
use super::score::{Note, Said};
use crate::core::aircraft::Value;
use crate::core::words::{Form, digit, is_number_word, letter, say};
use std::collections::BTreeMap;

/// Other spellings of the same spoken word made equal.
fn plain(word: &str) -> String {
    match (digit(word), letter(word), word) {
        (Some(d), _, _) => d.to_string(),
        (_, Some(l), _) => l.to_string(),
        (_, _, "tousand") => "thousand".into(),
        (_, _, "dayseemal") => "decimal".into(),
        (_, _, "center") => "centre".into(),
        _ => word.into(),
    }
}

fn same(a: &[&str], b: &[&str]) -> bool {
    a.iter().map(|w| plain(w)).eq(b.iter().map(|w| plain(w)))
}

/// Remarks on how one item was said.
pub(super) fn remarks(
    phrases: &Phrases,
    rules: &Rules,
    item: &Item,
    slots: &BTreeMap<String, Value>,
    words: &BTreeMap<String, Vec<String>>,
    manner: Manner,
    heard: &Said,
) -> Vec<Note> {
    let mut notes = Vec::new();
    let Some(kind) = phrases.items.get(&item.kind) else { return notes };
    match manner {
        Manner::Good => {}
        Manner::Loose => {
            let text = format!("{} not in standard words", kind.called);
            notes.push(Note { text, source: "wording of the phrasebook, M".into() });
        }
        Manner::Bare => {
            let text = format!("{}: the value alone, without its word", kind.called);
            notes.push(Note { text, source: "common practice, no source".into() });
        }
    }
    // "240" on paper, or as an ear writes it, says nothing of how it was spoken.
    if heard.words.by_ear {
        return notes;
    }
    let text = words_of(&heard.words.text);
    for (binding, value) in slots {
        let (Some(t), Some(said)) = (kind.slots.get(binding), words.get(binding)) else { continue };
        let form = form_of(t);
        if form == Form::Plain || !holds(&text, said) {
            continue;
        }
        notes.extend(form_note(phrases, rules, t, form, value, said));
    }
    notes
}

/// A remark if a value was not said in the form of these rules.
fn form_note(phrases: &Phrases, rules: &Rules, kind: &str, form: Form, value: &Value, said: &[String]) -> Option<Note> {
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    let wanted = say(form, value, rules.regime);
    // Words that stand around a value are no part of its form.
    let bare: Vec<&str> = inner(&wanted);
    if same(&said, &bare) {
        return None;
    }
    let of = |name: &str| REGIONS.iter().find(|r| r.0 == name).map(|r| say(form, value, r.1));
    for doubt in rules.doubts.iter().filter(|d| d.kind == kind) {
        if doubt.also.iter().filter_map(|n| of(n)).any(|w| same(&said, &inner(&w))) {
            let text =
                format!("\"{}\" taken as right here, beside \"{}\": {}", said.join(" "), bare.join(" "), doubt.why);
            return Some(Note { text, source: doubt.source.clone() });
        }
    }
    let elsewhere = REGIONS.iter().find(|r| r.1 != rules.regime && same(&said, &inner(&say(form, value, r.1))));
    let where_from = elsewhere.map_or(String::new(), |r| format!(" (the form of {})", phrases.rules(r.1).title));
    let text = format!("\"{}\" understood, not standard here{where_from}: say \"{}\"", said.join(" "), bare.join(" "));
    Some(Note { text, source: rules.title.clone() })
}

/// A remark where the rules want a unit behind a value and it was not said: CAP 413, "hectopascals" below 1000 (S AIRQUIZ).
pub(super) fn unit(phrases: &Phrases, rules: &Rules, item: &Item, all: &[String], heard: &Said) -> Option<Note> {
    let kind = phrases.items.get(&item.kind)?;
    let main = kind.main.as_ref()?;
    if form_of(kind.slots.get(main)?) != Form::Qnh || !holds(&words_of(&heard.words.text), all) {
        return None;
    }
    let wanted = say(Form::Qnh, item.slots.get(main)?, rules.regime);
    let last = wanted.split(' ').next_back().filter(|w| !is_number_word(w))?;
    let text = format!("{} without its unit: say \"{wanted}\"", kind.called);
    (!all.iter().any(|w| w == last)).then(|| Note { text, source: rules.title.clone() })
}

/// The words of a value without the words around it.
fn inner(words: &str) -> Vec<&str> {
    let counts =
        |w: &&str| is_number_word(w) || letter(w).is_some() || matches!(*w, "left" | "right" | "centre" | "center");
    words.split(' ').filter(counts).collect()
}

/// A remark if the figures of a callsign were grouped, or not grouped, against the rules.
pub(super) fn callsign(rules: &Rules, own: &Callsign, piece: &Piece, heard: &Said) -> Option<Note> {
    if heard.words.by_ear || !holds(&words_of(&heard.words.text), &piece.words) {
        return None;
    }
    let said: Vec<&str> = piece.words.iter().map(String::as_str).skip(own.operator.split(' ').count()).collect();
    let (figures, groups) = (own.by_figures(rules.regime), own.by_groups(rules.regime));
    let split = |w: &str| -> Vec<String> { w.split(' ').map(plain).collect() };
    let said: Vec<String> = said.iter().map(|w| plain(w)).collect();
    // Figures one by one are allowed for clarity where groups are the rule.
    if said == split(&figures) || (rules.callsign.group && said == split(&groups)) {
        return None;
    }
    let text = format!("the callsign's figures: say \"{}\"", if rules.callsign.group { groups } else { figures });
    Some(Note { text, source: rules.callsign.group_source.clone() })
}

/// The words of a text, lower case.
fn words_of(text: &str) -> Vec<String> {
    let parts = text.split(|c: char| !(c.is_alphanumeric() || c == '\'' || c == '-'));
    parts.filter(|w| !w.is_empty()).map(str::to_lowercase).collect()
}

/// Whether a text holds these words in a row. Typed figures hold none: "240" says nothing of how it is spoken.
fn holds<W: AsRef<str>>(text: &[String], words: &[W]) -> bool {
    !words.is_empty() && text.windows(words.len()).any(|t| t.iter().zip(words).all(|(a, b)| a == b.as_ref()))
}

/// Words that are understood and not standard.
pub(super) fn avoided(phrases: &Phrases, rules: &Rules, said: &Said) -> Vec<Note> {
    let text = words_of(&said.words.text);
    let values: Vec<&Vec<String>> = said
        .pieces
        .iter()
        .filter_map(|p| if let What::Item { words, .. } = &p.what { Some(words.values()) } else { None })
        .flatten()
        .collect();
    let mut notes = Vec::new();
    for avoid in phrases.avoid.iter().filter(|a| a.rules.is_empty() || a.rules.iter().any(|r| r == rules.name)) {
        for phrase in &avoid.words {
            let wanted: Vec<&str> = phrase.split(' ').collect();
            // A word of numbers counts within a number only: a holding point is another point.
            let number = wanted.iter().any(|w| is_number_word(w));
            let within = values.iter().any(|v| holds(v, &wanted));
            if holds(&text, &wanted) && (!number || (within && !said.words.by_ear)) {
                let text = format!("\"{phrase}\": {}; say {}", avoid.why, quoted(&avoid.better));
                notes.push(Note { text, source: avoid.source.clone() });
            }
        }
    }
    notes
}

fn quoted(better: &str) -> String {
    if better.contains(' ') { better.to_string() } else { format!("\"{better}\"") }
}
