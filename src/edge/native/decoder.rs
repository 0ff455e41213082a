//! The speech decoder as a tree: every node is a token prefix, and carries what the model remembers of its last token.
//!
//! A memory is kept per *token*, not per prefix, so that prefixes share what they have in common and a row of the next
//! batch can grow from any node.

use super::encoder::{Encoded, WIDTH};
use super::runtime::failed;
use super::work::Model;
use super::{NativeError, Runtime};
use ort::memory::Allocator;
use ort::session::SessionInputValue;
use ort::value::{Tensor, TensorRef};
use std::borrow::Cow;

/// Layers of the decoder.
const LAYERS: usize = 6;
/// Attention heads.
const HEADS: usize = 8;
/// Width of a head.
const HEAD: usize = 36;
/// What one token leaves behind: key and value, each layer, each head.
const BLOCK: usize = LAYERS * 2 * HEADS * HEAD;
/// Tokens the model knows.
pub const TOKENS: usize = 32_768;
/// The token every text begins with.
pub const START: u32 = 1;
/// The token every text ends with.
pub const END: u32 = 2;

/// A token prefix over one piece of sound.
#[derive(Debug, Clone)]
struct Node {
    parent: usize,
    depth: usize,
    block: Box<[f32]>,
}

/// One piece of sound with all prefixes decoded so far. Node 0 is the empty prefix.
#[derive(Debug, Clone)]
pub struct Branches {
    frames: usize,
    /// Keys and values over the sound, in the order of the model's inputs.
    cross: Vec<Vec<f32>>,
    /// The encoded sound; the model wants it at every step although it reads it only at the first.
    encoded: Vec<f32>,
    mask: Vec<i64>,
    nodes: Vec<Node>,
}

impl Branches {
    /// How many prefixes are kept.
    pub fn len(&self) -> usize {
        self.nodes.len()
    }
    /// Never: the empty prefix is always there.
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }
    /// Forgets all but the first `keep` prefixes.
    pub fn truncate(&mut self, keep: usize) {
        self.nodes.truncate(keep.max(1));
    }
}

/// Names of the model's inputs and outputs for what it remembers.
#[derive(Debug)]
struct Names {
    past_own: Vec<String>,
    past_cross: Vec<String>,
    present_own: Vec<String>,
    present_cross: Vec<String>,
}

impl Names {
    fn new() -> Names {
        let all = |prefix: &str, part: &str| {
            (0..LAYERS).flat_map(|l| ["key", "value"].map(|k| format!("{prefix}.{l}.{part}.{k}"))).collect::<Vec<_>>()
        };
        Names {
            past_own: all("past_key_values", "decoder"),
            past_cross: all("past_key_values", "encoder"),
            present_own: all("present", "decoder"),
            present_cross: all("present", "encoder"),
        }
    }
}

/// The speech decoder.
#[derive(Debug)]
pub struct Decoder {
    session: Model,
    names: Names,
    past: Vec<Vec<f32>>,
}

type Inputs<'a> = Vec<(Cow<'a, str>, SessionInputValue<'a>)>;

impl Decoder {
    /// Loads the decoder.
    ///
    /// # Errors
    /// As [`Runtime`]: the file is missing, damaged or slow.
    pub fn open(runtime: &Runtime) -> Result<Decoder, NativeError> {
        // A second thread was measured to gain nothing at these batch sizes, and costs the simulator a core.
        let session = runtime.session("moonshine-tiny-en/decoder_model_merged.ort", 1)?;
        Ok(Decoder { session, names: Names::new(), past: vec![Vec::new(); LAYERS * 2] })
    }

    /// Begins a text over `sound`. `see` gets the logits of the first token ([`TOKENS`] of them).
    ///
    /// # Errors
    /// [`NativeError::Run`] when the model fails.
    pub fn begin(&mut self, sound: &Encoded, see: &mut dyn FnMut(&[f32])) -> Result<Branches, NativeError> {
        let mask = vec![1i64; sound.frames * 384 + 900];
        let Decoder { session, names, .. } = self;
        let (_busy, session) = session.enter();
        let mut inputs: Inputs = Vec::with_capacity(28);
        let ids = [i64::from(START)];
        push(&mut inputs, "input_ids", view([1, 1], &ids)?);
        push(&mut inputs, "encoder_hidden_states", view([1, sound.frames, WIDTH], &sound.data)?);
        push(&mut inputs, "encoder_attention_mask", view([1, mask.len()], &mask)?);
        push(&mut inputs, "use_cache_branch", view([1], &[false])?);
        for name in names.past_own.iter().chain(&names.past_cross) {
            let empty = Tensor::<f32>::new(&Allocator::default(), [1usize, HEADS, 0, HEAD]).map_err(failed)?;
            push(&mut inputs, name, empty.into());
        }
        let outputs = session.run(inputs).map_err(failed)?;
        let mut block = vec![0.0; BLOCK].into_boxed_slice();
        let mut cross = Vec::with_capacity(LAYERS * 2);
        for (i, (own, over)) in names.present_own.iter().zip(&names.present_cross).enumerate() {
            let (_, data) = outputs[own.as_str()].try_extract_tensor::<f32>().map_err(failed)?;
            fill(&mut block, i, data, 1)?;
            let (_, data) = outputs[over.as_str()].try_extract_tensor::<f32>().map_err(failed)?;
            cross.push(data.to_vec());
        }
        let (_, logits) = outputs["logits"].try_extract_tensor::<f32>().map_err(failed)?;
        if logits.len() != TOKENS || cross.iter().any(|c| c.len() != HEADS * sound.frames * HEAD) {
            return Err(NativeError::Run("the decoder gave another shape than expected".into()));
        }
        see(logits);
        let nodes = vec![Node { parent: 0, depth: 0, block }];
        Ok(Branches { frames: sound.frames, cross, encoded: sound.data.clone(), mask, nodes })
    }

    /// Grows one new prefix for each (prefix, token); all prefixes must be of the same length. The new ones are
    /// numbered on from [`Branches::len`] in the same order; `see` gets each one's row and its logits.
    ///
    /// # Errors
    /// [`NativeError::Run`] when the model fails; then nothing has grown.
    pub fn grow(
        &mut self,
        branches: &mut Branches,
        wanted: &[(usize, u32)],
        see: &mut dyn FnMut(usize, &[f32]),
    ) -> Result<(), NativeError> {
        let Some(&(first, _)) = wanted.first() else { return Ok(()) };
        let length = branches.nodes[first].depth + 1;
        if wanted.iter().any(|(n, _)| branches.nodes[*n].depth + 1 != length) {
            return Err(NativeError::Run("prefixes of unequal length in one batch".into()));
        }
        let rows = wanted.len();
        let Decoder { session, names, past } = self;
        let (_busy, session) = session.enter();
        for (i, tensor) in past.iter_mut().enumerate() {
            tensor.resize(rows * HEADS * length * HEAD, 0.0);
            for (row, (node, _)) in wanted.iter().enumerate() {
                let mut at = *node;
                for position in (0..length).rev() {
                    let node = &branches.nodes[at];
                    for head in 0..HEADS {
                        let from = (i * HEADS + head) * HEAD;
                        let to = ((row * HEADS + head) * length + position) * HEAD;
                        tensor[to..to + HEAD].copy_from_slice(&node.block[from..from + HEAD]);
                    }
                    at = node.parent;
                }
            }
        }
        let ids: Vec<i64> = wanted.iter().map(|(_, t)| i64::from(*t)).collect();
        let mut inputs: Inputs = Vec::with_capacity(28);
        push(&mut inputs, "input_ids", view([rows, 1], &ids)?);
        push(&mut inputs, "encoder_hidden_states", view([1, branches.frames, WIDTH], &branches.encoded)?);
        push(&mut inputs, "encoder_attention_mask", view([1, branches.mask.len()], &branches.mask)?);
        push(&mut inputs, "use_cache_branch", view([1], &[true])?);
        for (name, data) in names.past_own.iter().zip(past.iter()) {
            push(&mut inputs, name, view([rows, HEADS, length, HEAD], data)?);
        }
        for (name, data) in names.past_cross.iter().zip(&branches.cross) {
            // One row serves all: the model's products broadcast over the batch.
            push(&mut inputs, name, view([1, HEADS, branches.frames, HEAD], data)?);
        }
        let outputs = session.run(inputs).map_err(failed)?;
        let (_, logits) = outputs["logits"].try_extract_tensor::<f32>().map_err(failed)?;
        if logits.len() != rows * TOKENS {
            return Err(NativeError::Run("the decoder gave another shape than expected".into()));
        }
        let mut blocks: Vec<Box<[f32]>> = (0..rows).map(|_| vec![0.0; BLOCK].into_boxed_slice()).collect();
        for (i, name) in names.present_own.iter().enumerate() {
            let (_, data) = outputs[name.as_str()].try_extract_tensor::<f32>().map_err(failed)?;
            let each = HEADS * (length + 1) * HEAD;
            if data.len() != rows * each {
                return Err(NativeError::Run("the decoder gave another shape than expected".into()));
            }
            for (row, block) in blocks.iter_mut().enumerate() {
                fill(block, i, &data[row * each..(row + 1) * each], length + 1)?;
            }
        }
        for (row, logits) in logits.chunks_exact(TOKENS).enumerate() {
            see(row, logits);
        }
        let new = wanted.iter().zip(blocks).map(|((parent, _), block)| Node { parent: *parent, depth: length, block });
        branches.nodes.extend(new);
        Ok(())
    }
}

/// Puts the last of `length` positions of tensor `i` into a token's memory.
fn fill(block: &mut [f32], i: usize, data: &[f32], length: usize) -> Result<(), NativeError> {
    if data.len() != HEADS * length * HEAD {
        return Err(NativeError::Run("the decoder gave another shape than expected".into()));
    }
    for head in 0..HEADS {
        let from = (head * length + length - 1) * HEAD;
        let to = (i * HEADS + head) * HEAD;
        block[to..to + HEAD].copy_from_slice(&data[from..from + HEAD]);
    }
    Ok(())
}

fn view<'a, T, const N: usize>(shape: [usize; N], data: &'a [T]) -> Result<SessionInputValue<'a>, NativeError>
where
    T: ort::value::PrimitiveTensorElementType + std::fmt::Debug + Clone + 'static,
{
    Ok(TensorRef::from_array_view((shape, data)).map_err(failed)?.into())
}

fn push<'a>(inputs: &mut Inputs<'a>, name: &'a str, value: SessionInputValue<'a>) {
    inputs.push((Cow::Borrowed(name), value));
}
