//! A flight sheet in a file of its own: plain TOML, held against the book.

use super::problem::nearest;
use super::schema::Book;
use crate::core::aircraft::Value;
use std::collections::BTreeMap;

impl Book {
    /// Values for the flight sheet from a TOML text: `entry = value`, at the top or in tables, whose names are for people.
    ///
    /// # Errors
    /// One sentence for each value that the book has no place for, is of the wrong type, or is written twice.
    pub fn read_sheet(&self, text: &str) -> Result<BTreeMap<String, Value>, Vec<String>> {
        let table: toml::Table =
            text.parse().map_err(|e: toml::de::Error| vec![format!("it is not well-formed TOML: {}", e.message())])?;
        let (mut values, mut wrong) = (BTreeMap::new(), Vec::new());
        for (key, value) in table {
            match value {
                toml::Value::Table(group) => {
                    group.into_iter().for_each(|(k, v)| self.sheet_value(&k, v, &mut values, &mut wrong));
                }
                other => self.sheet_value(&key, other, &mut values, &mut wrong),
            }
        }
        if wrong.is_empty() { Ok(values) } else { Err(wrong) }
    }

    fn sheet_value(
        &self,
        key: &str,
        value: toml::Value,
        values: &mut BTreeMap<String, Value>,
        wrong: &mut Vec<String>,
    ) {
        let Some(id) = self.sheet_entry(key) else {
            let hint = match nearest(key, self.sheet.iter().map(|e| e.id.as_str())) {
                Some(n) => format!("write {n}"),
                None => "see the book for what there is".to_string(),
            };
            return wrong.push(format!("the flight sheet has no entry {key}: {hint}"));
        };
        let entry = &self.sheet[id.0 as usize];
        let plain = match value {
            toml::Value::String(w) => Some(Value::Word(w)),
            toml::Value::Integer(n) => Some(Value::Number(n as f64)),
            toml::Value::Float(n) => Some(Value::Number(n)),
            toml::Value::Boolean(b) => Some(Value::Bool(b)),
            _ => None,
        };
        match plain.filter(|v| v.fits(&entry.kind)) {
            Some(v) => {
                if values.insert(key.to_string(), v).is_some() {
                    wrong.push(format!("{key} is written twice: take one away"));
                }
            }
            None => {
                let kind = super::load::condition::describe(&entry.kind);
                wrong.push(format!("{key}, the {}, must be {kind}: correct it", entry.title));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::aircraft::ValueKind;
    use crate::core::book::schema::SheetEntry;
    use proptest::prelude::*;

    fn book() -> Book {
        let entry = |id: &str, kind| SheetEntry { id: id.into(), title: id.into(), kind, ..SheetEntry::default() };
        let sheet = vec![
            entry("runway", ValueKind::Word(Vec::new())),
            entry("fuel_kg", ValueKind::Number),
            entry("wet", ValueKind::Bool),
        ];
        Book { sheet, ..Book::default() }
    }

    #[test]
    fn values_stand_at_the_top_or_in_tables() {
        let read = book().read_sheet("runway = \"27\"\nwet = true\n[load]\nfuel_kg = 9000\n").unwrap();
        assert_eq!(read["runway"], Value::Word("27".into()));
        assert_eq!((&read["fuel_kg"], &read["wet"]), (&Value::Number(9000.0), &Value::Bool(true)));
    }

    #[test]
    fn what_does_not_fit_is_named() {
        let check = |text: &str, wanted: &str| {
            let wrong = book().read_sheet(text).unwrap_err();
            assert!(wrong.iter().any(|w| w.contains(wanted)), "{wrong:?}");
        };
        check("runwy = \"27\"", "write runway");
        check("runway = 27", "must be a word");
        check("fuel_kg = nan", "must be a number");
        check("fuel_kg = 1\n[load]\nfuel_kg = 2", "twice");
        check("fuel_kg = ", "not well-formed");
        check("fuel_kg = 2026-01-01", "must be a number");
    }

    proptest! {
        #[test]
        fn never_panics(text in ".{0,80}") {
            let _ = book().read_sheet(&text);
        }
    }
}
