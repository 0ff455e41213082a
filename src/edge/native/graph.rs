//! Writes a network as the runtime reads it: ONNX, in the wire format of Protocol Buffers.
//!
//! Field numbers are those of `onnx.proto` (ONNX, IR version 10). Only what the second model needs is here.

use super::weights::Tensor;
use std::collections::BTreeSet;

/// An attribute of an operation.
pub(super) enum With<'a> {
    Int(&'a str, i64),
    Ints(&'a str, &'a [i64]),
    Float(&'a str, f32),
    Text(&'a str, &'a str),
}

/// The runtime's own operations.
pub(super) const OWN: &str = "com.microsoft";
const FLOAT: u64 = 1;
const INT8: u64 = 3;
/// ONNX's type of whole numbers.
pub(super) const INT64: u64 = 7;

/// A network under construction. Every value has a name.
#[derive(Debug, Default)]
pub(super) struct Graph {
    fields: Vec<u8>,
    constants: BTreeSet<String>,
    count: usize,
}

fn varint(out: &mut Vec<u8>, mut value: u64) {
    while value >= 128 {
        out.push(value as u8 | 128);
        value >>= 7;
    }
    out.push(value as u8);
}

fn number(out: &mut Vec<u8>, field: u64, value: u64) {
    varint(out, field << 3);
    varint(out, value);
}

fn bytes(out: &mut Vec<u8>, field: u64, value: &[u8]) {
    varint(out, field << 3 | 2);
    varint(out, value.len() as u64);
    out.extend_from_slice(value);
}

impl With<'_> {
    fn written(&self) -> Vec<u8> {
        let mut out = Vec::new();
        let (name, kind) = match self {
            With::Float(name, value) => {
                varint(&mut out, 2 << 3 | 5);
                out.extend(value.to_le_bytes());
                (name, 1)
            }
            With::Int(name, value) => {
                number(&mut out, 3, *value as u64);
                (name, 2)
            }
            With::Text(name, value) => {
                bytes(&mut out, 4, value.as_bytes());
                (name, 3)
            }
            With::Ints(name, values) => {
                values.iter().for_each(|v| number(&mut out, 8, *v as u64));
                (name, 7)
            }
        };
        bytes(&mut out, 1, name.as_bytes());
        number(&mut out, 20, kind);
        out
    }
}

impl Graph {
    fn fresh(&mut self) -> String {
        self.count += 1;
        format!("v{}", self.count)
    }

    /// An operation with several results.
    pub fn many(
        &mut self,
        domain: &str,
        kind: &str,
        inputs: &[&str],
        results: usize,
        with: &[With<'_>],
    ) -> Vec<String> {
        let names: Vec<String> = (0..results).map(|_| self.fresh()).collect();
        let mut node = Vec::new();
        inputs.iter().for_each(|i| bytes(&mut node, 1, i.as_bytes()));
        names.iter().for_each(|n| bytes(&mut node, 2, n.as_bytes()));
        bytes(&mut node, 4, kind.as_bytes());
        with.iter().for_each(|w| bytes(&mut node, 5, &w.written()));
        bytes(&mut node, 7, domain.as_bytes());
        bytes(&mut self.fields, 1, &node);
        names
    }

    /// An operation with one result; its name.
    pub fn op(&mut self, kind: &str, inputs: &[&str], with: &[With<'_>]) -> String {
        self.many("", kind, inputs, 1, with).swap_remove(0)
    }

    fn constant(&mut self, name: Option<&str>, kind: u64, dims: &[usize], data: &[u8]) -> String {
        let name = match name {
            Some(name) => name.to_string(),
            None => self.fresh(),
        };
        if self.constants.insert(name.clone()) {
            let mut tensor = Vec::with_capacity(data.len() + 64);
            dims.iter().for_each(|d| number(&mut tensor, 1, *d as u64));
            number(&mut tensor, 2, kind);
            bytes(&mut tensor, 8, name.as_bytes());
            bytes(&mut tensor, 9, data);
            bytes(&mut self.fields, 5, &tensor);
        }
        name
    }

    /// Numbers that never change; the same name stands for the same numbers.
    pub fn tensor(&mut self, name: &str, tensor: &Tensor) -> String {
        let data: Vec<u8> = tensor.values.iter().flat_map(|v| v.to_le_bytes()).collect();
        self.constant(Some(name), FLOAT, &tensor.dims, &data)
    }

    /// One number.
    pub fn float(&mut self, value: f32) -> String {
        self.constant(None, FLOAT, &[], &value.to_le_bytes())
    }

    /// Whole numbers of 8 bits.
    pub fn bytes(&mut self, name: &str, dims: &[usize], values: &[i8]) -> String {
        let data: Vec<u8> = values.iter().map(|v| *v as u8).collect();
        self.constant(Some(name), INT8, dims, &data)
    }

    /// A row of whole numbers: shapes, places, axes.
    pub fn row(&mut self, values: &[i64]) -> String {
        let data: Vec<u8> = values.iter().flat_map(|v| v.to_le_bytes()).collect();
        self.constant(None, INT64, &[values.len()], &data)
    }

    /// Gives a value the name under which it is fetched.
    pub fn result(&mut self, value: &str, name: &str) {
        let mut node = Vec::new();
        bytes(&mut node, 1, value.as_bytes());
        bytes(&mut node, 2, name.as_bytes());
        bytes(&mut node, 4, b"Identity");
        bytes(&mut self.fields, 1, &node);
        self.door(12, name, FLOAT, &[]);
    }

    /// A value that is given: its dimensions by name.
    pub fn input(&mut self, name: &str, kind: Option<u64>, dims: &[&str]) {
        self.door(11, name, kind.unwrap_or(FLOAT), dims);
    }

    fn door(&mut self, field: u64, name: &str, kind: u64, dims: &[&str]) {
        let mut tensor = Vec::new();
        number(&mut tensor, 1, kind);
        if !dims.is_empty() {
            let mut shape = Vec::new();
            for dim in dims {
                let mut one = Vec::new();
                bytes(&mut one, 2, dim.as_bytes());
                bytes(&mut shape, 1, &one);
            }
            bytes(&mut tensor, 2, &shape);
        }
        let (mut kind, mut info) = (Vec::new(), Vec::new());
        bytes(&mut kind, 1, &tensor);
        bytes(&mut info, 1, name.as_bytes());
        bytes(&mut info, 2, &kind);
        bytes(&mut self.fields, field, &info);
    }

    /// The whole as a file's bytes.
    pub fn written(mut self) -> Vec<u8> {
        bytes(&mut self.fields, 2, b"network");
        let mut out = Vec::with_capacity(self.fields.len() + 64);
        number(&mut out, 1, 10);
        for (domain, version) in [("", 20), (OWN, 1)] {
            let mut set = Vec::new();
            bytes(&mut set, 1, domain.as_bytes());
            number(&mut set, 2, version);
            bytes(&mut out, 8, &set);
        }
        bytes(&mut out, 7, &self.fields);
        out
    }
}
