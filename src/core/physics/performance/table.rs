//! Tables with one or two entries: read between their points, never beyond them.

use super::{NoData, Quantity};
use serde::Deserialize;

/// One entry, one result. Entries rise.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Line {
    pub at: Vec<f64>,
    pub gives: Vec<f64>,
}

/// Two entries, one result: a row of results for each entry of `rows`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Sheet {
    pub rows: Vec<f64>,
    pub columns: Vec<f64>,
    pub gives: Vec<Vec<f64>>,
}

/// An entry with its name, for what is told of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Entry {
    pub what: Quantity,
    pub value: f64,
}

/// An entry.
pub(super) fn entry(what: Quantity, value: f64) -> Entry {
    Entry { what, value }
}

impl Entry {
    /// Inside a range, or no data.
    pub fn within(self, [low, high]: [f64; 2]) -> Result<f64, NoData> {
        if (low..=high).contains(&self.value) {
            return Ok(self.value);
        }
        Err(NoData { what: self.what, value: self.value, low, high })
    }
}

/// Index of the interval that holds the entry, and the part of it that is passed.
fn find(axis: &[f64], e: Entry) -> Result<(usize, f64), NoData> {
    let (low, high) = (axis[0], axis[axis.len() - 1]);
    let x = e.within([low, high])?;
    let next = axis.iter().position(|a| *a >= x).unwrap_or(axis.len() - 1).max(1);
    let (a, b) = (axis[next - 1], axis[next]);
    Ok((next - 1, (x - a) / (b - a)))
}

fn mix(a: f64, b: f64, part: f64) -> f64 {
    a + (b - a) * part
}

impl Line {
    /// The result at an entry.
    ///
    /// # Errors
    /// The entry is outside.
    pub fn read(&self, e: Entry) -> Result<f64, NoData> {
        let (i, part) = find(&self.at, e)?;
        Ok(mix(self.gives[i], self.gives[i + 1], part))
    }

    /// What is wrong with the table.
    pub fn wrong(&self) -> Option<String> {
        axis_wrong(&self.at).or_else(|| results_wrong(&self.gives, self.at.len()))
    }
}

impl Sheet {
    /// The result at two entries.
    ///
    /// # Errors
    /// An entry is outside.
    pub fn read(&self, row: Entry, column: Entry) -> Result<f64, NoData> {
        let (i, down) = find(&self.rows, row)?;
        let (j, across) = find(&self.columns, column)?;
        let line = |k: usize| mix(self.gives[k][j], self.gives[k][j + 1], across);
        Ok(mix(line(i), line(i + 1), down))
    }

    /// What is wrong with the table.
    pub fn wrong(&self) -> Option<String> {
        if self.gives.len() != self.rows.len() {
            return Some(format!("{} rows of results for {} entries", self.gives.len(), self.rows.len()));
        }
        let rows = || self.gives.iter().find_map(|row| results_wrong(row, self.columns.len()));
        axis_wrong(&self.rows).or_else(|| axis_wrong(&self.columns)).or_else(rows)
    }
}

fn axis_wrong(axis: &[f64]) -> Option<String> {
    if axis.len() < 2 {
        return Some("a table needs two entries or more".into());
    }
    let rises = axis.windows(2).all(|pair| pair[0] < pair[1]) && axis.iter().all(|x| x.is_finite());
    (!rises).then(|| "the entries of a table rise from one to the next".into())
}

fn results_wrong(results: &[f64], entries: usize) -> Option<String> {
    if results.len() != entries {
        return Some(format!("{} results for {entries} entries", results.len()));
    }
    results.iter().any(|x| !x.is_finite()).then(|| "a result is not a number".into())
}
