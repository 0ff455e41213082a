//! The container in which the second model's weights come: version 6 of CTranslate2's `model.bin`.
//!
//! Little-endian: version, name of the architecture, its revision, a count of tensors; of each its name, rank, dimensions,
//! kind of number, length and bytes; then other names of tensors already listed. A name is its length (two bytes) and its
//! bytes with a zero at the end.

use std::collections::BTreeMap;

/// Why the weights are refused: one sentence.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WeightsError {
    /// It ends too soon, or is something else.
    #[error("the weights are damaged at byte {0}")]
    Damaged(usize),
    /// Another version or kind of number.
    #[error("the weights are of another kind than expected ({0})")]
    Other(String),
    /// A tensor that the model needs.
    #[error("the weights hold no {0}")]
    Lacking(String),
}

/// Kind of number: 16 bits of floating point.
const HALF: u8 = 4;
const VERSION: u32 = 6;

/// The tensors by their names.
#[derive(Debug)]
pub(super) struct Weights<'a> {
    all: BTreeMap<String, (Vec<usize>, u8, &'a [u8])>,
}

/// A tensor of floating-point numbers, the last dimension innermost.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tensor {
    pub dims: Vec<usize>,
    pub values: Vec<f32>,
}

struct Reader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Reader<'a> {
    fn take(&mut self, n: usize) -> Result<&'a [u8], WeightsError> {
        let end = self.at.checked_add(n).ok_or(WeightsError::Damaged(self.at))?;
        let taken = self.bytes.get(self.at..end).ok_or(WeightsError::Damaged(self.at))?;
        self.at = end;
        Ok(taken)
    }

    fn number(&mut self, n: usize) -> Result<usize, WeightsError> {
        Ok(self.take(n)?.iter().rev().fold(0, |v, b| v << 8 | usize::from(*b)))
    }

    fn name(&mut self) -> Result<String, WeightsError> {
        let at = self.at;
        let n = self.number(2)?;
        let bytes = self.take(n)?;
        let text = std::str::from_utf8(bytes).map_err(|_| WeightsError::Damaged(at))?;
        Ok(text.trim_end_matches('\0').to_string())
    }
}

impl<'a> Weights<'a> {
    /// Finds the tensors.
    pub fn parse(bytes: &'a [u8]) -> Result<Weights<'a>, WeightsError> {
        let mut from = Reader { bytes, at: 0 };
        let version = from.number(4)?;
        if version != VERSION as usize {
            return Err(WeightsError::Other(format!("version {version} of the container")));
        }
        from.name()?;
        from.number(4)?;
        let mut all = BTreeMap::new();
        for _ in 0..from.number(4)? {
            let name = from.name()?;
            let rank = from.number(1)?;
            let dims = (0..rank).map(|_| from.number(4)).collect::<Result<Vec<_>, _>>()?;
            let kind = from.number(1)? as u8;
            let length = from.number(4)?;
            let at = from.at;
            let data = from.take(length)?;
            let count = dims.iter().try_fold(1usize, |n, d| n.checked_mul(*d));
            if kind == HALF && count.and_then(|n| n.checked_mul(2)) != Some(length) {
                return Err(WeightsError::Damaged(at));
            }
            all.insert(name, (dims, kind, data));
        }
        for _ in 0..from.number(4)? {
            let (other, of) = (from.name()?, from.name()?);
            let known = all.get(&of).cloned().ok_or(WeightsError::Damaged(from.at))?;
            all.insert(other, known);
        }
        Ok(Weights { all })
    }

    /// Whether there is a tensor of that name.
    pub fn has(&self, name: &str) -> bool {
        self.all.contains_key(name)
    }

    /// How many layers a side (`encoder`, `decoder`) has.
    pub fn layers(&self, side: &str) -> usize {
        (0..).take_while(|l| self.has(&format!("{side}/layer_{l}/ffn/linear_0/weight"))).count()
    }

    /// A tensor's numbers.
    pub fn tensor(&self, name: &str) -> Result<Tensor, WeightsError> {
        let (dims, kind, data) = self.all.get(name).ok_or_else(|| WeightsError::Lacking(name.to_string()))?;
        if *kind != HALF {
            return Err(WeightsError::Other(format!("{name} is not in 16-bit floating point")));
        }
        let values = data.chunks_exact(2).map(|b| half(u16::from_le_bytes([b[0], b[1]]))).collect();
        Ok(Tensor { dims: dims.clone(), values })
    }
}

/// A binary16 number (IEEE 754-2008, 3.4).
fn half(bits: u16) -> f32 {
    let (sign, exponent, fraction) = (u32::from(bits >> 15) << 31, u32::from(bits >> 10 & 31), u32::from(bits & 1023));
    match exponent {
        0 => f32::from_bits(sign | 0x3380_0000) * fraction as f32,
        31 => f32::from_bits(sign | 0x7f80_0000 | fraction << 13),
        e => f32::from_bits(sign | (e + 112) << 23 | fraction << 13),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn name(text: &str) -> Vec<u8> {
        [&(text.len() as u16 + 1).to_le_bytes()[..], text.as_bytes(), &[0]].concat()
    }

    /// A container with the tensor `a`, 1 by 2, and `b`, which is the same.
    fn small() -> Vec<u8> {
        let mut all = VERSION.to_le_bytes().to_vec();
        all.extend(name("Small"));
        all.extend([1, 0, 0, 0, 1, 0, 0, 0]);
        all.extend(name("a"));
        all.extend([2, 1, 0, 0, 0, 2, 0, 0, 0, HALF, 4, 0, 0, 0, 0x00, 0x3c, 0x00, 0xc0]);
        all.extend([1, 0, 0, 0]);
        all.extend(name("b"));
        all.extend(name("a"));
        all
    }

    #[test]
    fn tensors_and_their_other_names() {
        let bytes = small();
        let weights = Weights::parse(&bytes).unwrap();
        let wanted = Tensor { dims: vec![1, 2], values: vec![1.0, -2.0] };
        assert_eq!(weights.tensor("b"), Ok(wanted));
        assert_eq!(weights.tensor("c"), Err(WeightsError::Lacking("c".into())));
        assert!(weights.has("a") && !weights.has("c") && weights.layers("encoder") == 0);
    }

    #[test]
    fn a_cut_or_other_container_is_one_sentence() {
        let bytes = small();
        for keep in 0..bytes.len() {
            assert!(Weights::parse(&bytes[..keep]).is_err(), "cut to {keep} bytes");
        }
        let mut other = bytes.clone();
        other[0] = 5;
        assert_eq!(
            Weights::parse(&other).unwrap_err().to_string(),
            "the weights are of another kind than expected (version 5 of the container)"
        );
    }

    /// Values of the table in IEEE 754's binary16 as the format gives them: 1, the largest, the smallest normal, the smallest
    /// of all, and the two infinities.
    #[test]
    fn halves() {
        let cases =
            [(0x3c00, 1.0), (0x7bff, 65504.0), (0x0400, 6.103_515_6e-5), (0x0001, 5.960_464_5e-8), (0x8000, -0.0)];
        for (bits, value) in cases {
            assert_eq!(half(bits).to_bits(), f32::to_bits(value), "{bits:x}");
        }
        assert!(half(0x7c00) == f32::INFINITY && half(0xfc00) == f32::NEG_INFINITY && half(0x7e00).is_nan());
    }

    proptest! {
        #[test]
        fn never_panics_on_any_file(at in 0usize..80, to: u8) {
            let mut bytes = small();
            if let Some(b) = bytes.get_mut(at) {
                *b = to;
            }
            if let Ok(weights) = Weights::parse(&bytes) {
                let _ = weights.tensor("a");
            }
        }
    }
}
