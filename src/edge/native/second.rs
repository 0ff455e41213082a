//! A second model that has learned from other recordings: how much it minds writing a given text for a sound.
//!
//! Whisper tiny.en (OpenAI, MIT): an encoder and a decoder, whose weights come without a network. The network is built
//! here as it is described by Radford and others, "Robust Speech Recognition via Large-Scale Weak Supervision" (2022), and in
//! the code published with it; products with weights are computed in whole numbers of 8 bits. Unlike the model's own
//! program it is given the sound as long as it is, and not filled up to 30 s.

use super::graph::{Graph, INT64, OWN, With};
use super::runtime::failed;
use super::weights::{Tensor, Weights, WeightsError};
use super::work::Model;
use super::{NativeError, Runtime};
use ort::value::TensorRef;
use std::f64::consts::PI;

/// Where the weights lie under the models folder.
pub(super) const WEIGHTS: &str = "whisper-tiny-en/model.bin";
/// Width of a head of attention.
const HEAD: usize = 64;
/// Samples in a frame of the spectrum, and from one to the next: 25 and 10 ms.
const WINDOW: usize = 400;
const HOP: usize = 160;
/// Bands of the spectrum.
const BANDS: usize = 80;
/// The longest sound, samples: 30 s.
const MOST: usize = 480_000;
/// Silence after the sound, samples (0.2 s).
const AFTER: usize = 3_200;

/// The second model.
#[derive(Debug)]
pub struct Second {
    encoder: Model,
    decoder: Model,
}

impl Second {
    /// The most tokens of a text.
    pub const LONGEST: usize = 96;

    /// Builds and loads the networks.
    ///
    /// # Errors
    /// The weights are missing, damaged or of another model, or the runtime cannot load what is made of them.
    pub fn open(runtime: &Runtime) -> Result<Second, NativeError> {
        let path = super::manifest::verify(runtime.models(), WEIGHTS)?;
        let bad = |why: String| NativeError::Model { path: path.clone(), why };
        let bytes = std::fs::read(&path).map_err(|e| bad(e.to_string()))?;
        let weights = Weights::parse(&bytes).map_err(|e| bad(e.to_string()))?;
        // One after the other, since each is there twice while it is loaded.
        let encoder = runtime.built(encoder(&weights).map_err(|e| bad(e.to_string()))?, WEIGHTS)?;
        let decoder = runtime.built(decoder(&weights).map_err(|e| bad(e.to_string()))?, WEIGHTS)?;
        drop(bytes);
        super::give_back();
        Ok(Second { encoder, decoder })
    }

    /// How much less likely than its own choice the model finds each next token of a text, summed, nats: 0 for what it would
    /// write itself. A text is its tokens, from the sign of its beginning to that of its end; `from` tokens are signs that
    /// count for nothing. `samples` are mono at 16 kHz, from −1 to 1; of more than 30 s the beginning counts.
    ///
    /// # Errors
    /// [`NativeError::Run`] when a text has fewer than two tokens or more than 96, or the model fails.
    pub fn strains(&mut self, samples: &[f32], texts: &[Vec<u32>], from: usize) -> Result<Vec<f32>, NativeError> {
        let width = texts.iter().map(Vec::len).max().unwrap_or(0).saturating_sub(1);
        if width >= Self::LONGEST || texts.iter().any(|t| t.len() < 2) {
            return Err(NativeError::Run("a text of no or too many tokens".into()));
        }
        if texts.is_empty() {
            return Ok(Vec::new());
        }
        let states = self.encode(samples)?;
        let (mut tokens, mut next) = (Vec::new(), Vec::new());
        for text in texts {
            let filled = text.iter().map(|t| i64::from(*t)).chain(std::iter::repeat(i64::from(text[text.len() - 1])));
            tokens.extend(filled.clone().take(width));
            next.extend(filled.skip(1).take(width));
        }
        let shape = [texts.len(), width];
        let (_busy, decoder) = self.decoder.enter();
        let outputs = decoder
            .run(ort::inputs![
                "tokens" => TensorRef::from_array_view((shape, tokens.as_slice())).map_err(failed)?,
                "next" => TensorRef::from_array_view((shape, next.as_slice())).map_err(failed)?,
                "states" => TensorRef::from_array_view((states.0, states.1.as_slice())).map_err(failed)?,
            ])
            .map_err(failed)?;
        let (_, strain) = outputs["strain"].try_extract_tensor::<f32>().map_err(failed)?;
        if strain.len() != texts.len() * width {
            return Err(NativeError::Run("the second decoder gave another shape than expected".into()));
        }
        let of = |(text, row): (&Vec<u32>, &[f32])| row.iter().take(text.len() - 1).skip(from.saturating_sub(1)).sum();
        Ok(texts.iter().zip(strain.chunks(width.max(1))).map(of).collect())
    }

    fn encode(&mut self, samples: &[f32]) -> Result<([usize; 3], Vec<f32>), NativeError> {
        let mut sound = samples[..samples.len().min(MOST - AFTER)].to_vec();
        sound.resize((sound.len() + AFTER).next_multiple_of(2 * HOP), 0.0);
        let (_busy, encoder) = self.encoder.enter();
        let outputs = encoder
            .run(ort::inputs![
                "samples" => TensorRef::from_array_view(([1, sound.len()], sound.as_slice())).map_err(failed)?,
            ])
            .map_err(failed)?;
        let (shape, states) = outputs["states"].try_extract_tensor::<f32>().map_err(failed)?;
        match shape[..] {
            [1, frames, width] => Ok(([1, frames as usize, width as usize], states.to_vec())),
            _ => Err(NativeError::Run("the second encoder gave another shape than expected".into())),
        }
    }
}

/// A network whose products are of the weights.
struct Network<'a> {
    graph: Graph,
    weights: &'a Weights<'a>,
}

impl Network<'_> {
    fn constant(&mut self, name: &str) -> Result<String, WeightsError> {
        let tensor = self.weights.tensor(name)?;
        Ok(self.graph.tensor(name, &tensor))
    }

    fn op(&mut self, kind: &str, inputs: &[&str]) -> String {
        self.graph.op(kind, inputs, &[])
    }

    /// `x` times a matrix of [out, in], in whole numbers, and its bias if it has one.
    fn linear(&mut self, x: &str, place: &str) -> Result<String, WeightsError> {
        let rows = Rows::of(&self.weights.tensor(&format!("{place}/weight"))?);
        let (matrix, scales) = rows.columns(&mut self.graph, place);
        let bias = match format!("{place}/bias") {
            name if self.weights.has(&name) => self.constant(&name)?,
            _ => String::new(),
        };
        let inputs = [x, &matrix, &scales, "", &bias];
        let count = if bias.is_empty() { 3 } else { 5 };
        Ok(self.graph.many(OWN, "DynamicQuantizeMatMul", &inputs[..count], 1, &[]).swap_remove(0))
    }

    fn norm(&mut self, x: &str, place: &str) -> Result<String, WeightsError> {
        let (gamma, beta) = (self.constant(&format!("{place}/gamma"))?, self.constant(&format!("{place}/beta"))?);
        Ok(self.graph.op(
            "LayerNormalization",
            &[x, &gamma, &beta],
            &[With::Int("axis", -1), With::Float("epsilon", 1e-5)],
        ))
    }

    fn split(&mut self, x: &str, axis: i64, parts: usize) -> Vec<String> {
        let with = [With::Int("axis", axis), With::Int("num_outputs", parts as i64)];
        self.graph.many("", "Split", &[x], parts, &with)
    }

    /// [rows, length, width] → [rows, heads, length, 64]
    fn heads(&mut self, x: &str) -> String {
        let shape = self.graph.row(&[0, 0, -1, HEAD as i64]);
        let apart = self.op("Reshape", &[x, &shape]);
        self.graph.op("Transpose", &[&apart], &[With::Ints("perm", &[0, 2, 1, 3])])
    }

    fn attention(&mut self, query: &str, key: &str, value: &str, mask: Option<&str>) -> String {
        let scale = self.graph.float(1.0 / (HEAD as f32).sqrt());
        let query = self.heads(query);
        let query = self.op("Mul", &[&query, &scale]);
        let key = self.heads(key);
        let key = self.graph.op("Transpose", &[&key], &[With::Ints("perm", &[0, 1, 3, 2])]);
        let mut odds = self.op("MatMul", &[&query, &key]);
        if let Some(mask) = mask {
            odds = self.op("Add", &[&odds, mask]);
        }
        let odds = self.graph.op("Softmax", &[&odds], &[With::Int("axis", -1)]);
        let value = self.heads(value);
        let found = self.op("MatMul", &[&odds, &value]);
        let found = self.graph.op("Transpose", &[&found], &[With::Ints("perm", &[0, 2, 1, 3])]);
        let shape = self.graph.row(&[0, 0, -1]);
        self.op("Reshape", &[&found, &shape])
    }

    /// A layer: attention within, to the sound if this is a decoder, and the two products.
    fn layer(&mut self, x: &str, place: &str, sound: Option<&str>, mask: Option<&str>) -> Result<String, WeightsError> {
        let own = format!("{place}/self_attention");
        let y = self.norm(x, &format!("{own}/layer_norm"))?;
        let y = self.linear(&y, &format!("{own}/linear_0"))?;
        let parts = self.split(&y, -1, 3);
        let y = self.attention(&parts[0], &parts[1], &parts[2], mask);
        let y = self.linear(&y, &format!("{own}/linear_1"))?;
        let mut x = self.op("Add", &[x, &y]);
        if let Some(sound) = sound {
            let across = format!("{place}/attention");
            let y = self.norm(&x, &format!("{across}/layer_norm"))?;
            let query = self.linear(&y, &format!("{across}/linear_0"))?;
            let both = self.linear(sound, &format!("{across}/linear_1"))?;
            let parts = self.split(&both, -1, 2);
            let y = self.attention(&query, &parts[0], &parts[1], None);
            let y = self.linear(&y, &format!("{across}/linear_2"))?;
            x = self.op("Add", &[&x, &y]);
        }
        let wide = format!("{place}/ffn");
        let y = self.norm(&x, &format!("{wide}/layer_norm"))?;
        let y = self.linear(&y, &format!("{wide}/linear_0"))?;
        let y = self.op("Gelu", &[&y]);
        let y = self.linear(&y, &format!("{wide}/linear_1"))?;
        Ok(self.op("Add", &[&x, &y]))
    }

    /// The first places of `encodings`, as many as `x` is long.
    fn places(&mut self, x: &str, side: &str) -> Result<String, WeightsError> {
        let all = self.constant(&format!("{side}/position_encodings/encodings"))?;
        let length = self.length(x);
        let from = self.graph.row(&[0]);
        Ok(self.op("Slice", &[&all, &from, &length]))
    }

    /// The second dimension.
    fn length(&mut self, x: &str) -> String {
        let shape = self.op("Shape", &[x]);
        let (from, to) = (self.graph.row(&[1]), self.graph.row(&[2]));
        self.op("Slice", &[&shape, &from, &to])
    }
}

/// Sound [1, samples] → states [1, frames of 20 ms, width].
fn encoder(weights: &Weights<'_>) -> Result<Vec<u8>, WeightsError> {
    let mut net = Network { graph: Graph::default(), weights };
    net.graph.input("samples", None, &["one", "samples"]);
    let bands = spectrum(&mut net);
    let mut x = bands;
    for (conv, step) in [("conv1", 1), ("conv2", 2)] {
        let (w, b) = (net.constant(&format!("encoder/{conv}/weight"))?, net.constant(&format!("encoder/{conv}/bias"))?);
        let with = [With::Ints("pads", &[1, 1]), With::Ints("strides", &[step])];
        let y = net.graph.op("Conv", &[&x, &w, &b], &with);
        x = net.op("Gelu", &[&y]);
    }
    x = net.graph.op("Transpose", &[&x], &[With::Ints("perm", &[0, 2, 1])]);
    let places = net.places(&x, "encoder")?;
    x = net.op("Add", &[&x, &places]);
    for layer in 0..weights.layers("encoder") {
        x = net.layer(&x, &format!("encoder/layer_{layer}"), None, None)?;
    }
    x = net.norm(&x, "encoder/layer_norm")?;
    net.graph.result(&x, "states");
    Ok(net.graph.written())
}

/// The logarithm of the energy in 80 bands, by frame, as the model was trained on: within 8 powers of ten of the loudest,
/// moved to lie about zero.
fn spectrum(net: &mut Network<'_>) -> String {
    let waves = net.graph.tensor("waves", &waves());
    let bands = net.graph.tensor("bands", &bands());
    let axis = net.graph.row(&[1]);
    let x = net.op("Unsqueeze", &["samples", &axis]);
    let half = WINDOW as i64 / 2;
    let pads = net.graph.row(&[0, 0, half, 0, 0, half]);
    let x = net.graph.op("Pad", &[&x, &pads], &[With::Text("mode", "reflect")]);
    let x = net.graph.op("Conv", &[&x, &waves], &[With::Ints("strides", &[HOP as i64])]);
    // The frame that begins where the sound ends is none.
    let (from, to, axis) = (net.graph.row(&[0]), net.graph.row(&[-1]), net.graph.row(&[2]));
    let x = net.op("Slice", &[&x, &from, &to, &axis]);
    let x = net.op("Mul", &[&x, &x]);
    let parts = net.split(&x, 1, 2);
    let x = net.op("Add", &[&parts[0], &parts[1]]);
    let x = net.op("MatMul", &[&bands, &x]);
    let least = net.graph.float(1e-10);
    let x = net.op("Max", &[&x, &least]);
    let x = net.op("Log", &[&x]);
    let ten = net.graph.float((1.0 / 10f64.ln()) as f32);
    let x = net.op("Mul", &[&x, &ten]);
    let axes = net.graph.row(&[1, 2]);
    let loudest = net.graph.op("ReduceMax", &[&x, &axes], &[With::Int("keepdims", 1)]);
    let range = net.graph.float(8.0);
    let floor = net.op("Sub", &[&loudest, &range]);
    let x = net.op("Max", &[&x, &floor]);
    let (four, quarter) = (net.graph.float(4.0), net.graph.float(0.25));
    let x = net.op("Add", &[&x, &four]);
    net.op("Mul", &[&x, &quarter])
}

/// Tokens [texts, length], the tokens that follow them, states of the sound → strain of each that follows, nats.
fn decoder(weights: &Weights<'_>) -> Result<Vec<u8>, WeightsError> {
    let mut net = Network { graph: Graph::default(), weights };
    net.graph.input("tokens", Some(INT64), &["texts", "length"]);
    net.graph.input("next", Some(INT64), &["texts", "length"]);
    net.graph.input("states", None, &["one", "frames", "width"]);
    let rows = Rows::of(&weights.tensor("decoder/embeddings/weight")?);
    let (columns, scales) = rows.columns(&mut net.graph, "decoder/embeddings");
    let words = net.graph.bytes("decoder/embeddings/rows", &[rows.out, rows.width], &rows.values);
    let x = net.op("Gather", &[&words, "tokens"]);
    let x = net.graph.op("Cast", &[&x], &[With::Int("to", 1)]);
    let scale = net.op("Gather", &[&scales, "tokens"]);
    let axis = net.graph.row(&[2]);
    let scale = net.op("Unsqueeze", &[&scale, &axis]);
    let x = net.op("Mul", &[&x, &scale]);
    let places = net.places(&x, "decoder")?;
    let mut x = net.op("Add", &[&x, &places]);
    // No token sees those after it.
    let most = Second::LONGEST;
    let values = (0..most * most).map(|i| if i % most > i / most { -1e9 } else { 0.0 }).collect();
    let mask = net.graph.tensor("mask", &Tensor { dims: vec![most, most], values });
    let length = net.length("tokens");
    let both = net.graph.op("Concat", &[&length, &length], &[With::Int("axis", 0)]);
    let from = net.graph.row(&[0, 0]);
    let mask = net.op("Slice", &[&mask, &from, &both]);
    for layer in 0..weights.layers("decoder") {
        x = net.layer(&x, &format!("decoder/layer_{layer}"), Some("states"), Some(&mask))?;
    }
    x = net.norm(&x, "decoder/layer_norm")?;
    let odds = net.graph.many(OWN, "DynamicQuantizeMatMul", &[&x, &columns, &scales], 1, &[]).swap_remove(0);
    let axes = net.graph.row(&[-1]);
    let best = net.graph.op("ReduceMax", &[&odds, &axes], &[With::Int("keepdims", 0)]);
    let next = net.op("Unsqueeze", &["next", &axis]);
    let written = net.graph.op("GatherElements", &[&odds, &next], &[With::Int("axis", 2)]);
    let written = net.op("Squeeze", &[&written, &axis]);
    let strain = net.op("Sub", &[&best, &written]);
    net.graph.result(&strain, "strain");
    Ok(net.graph.written())
}

/// A matrix of [out, width] in whole numbers from −127 to 127, each row to its own scale.
struct Rows {
    out: usize,
    width: usize,
    values: Vec<i8>,
    scales: Vec<f32>,
}

impl Rows {
    fn of(matrix: &Tensor) -> Rows {
        let width = matrix.dims.last().copied().unwrap_or(1).max(1);
        let mut rows = Rows { out: matrix.values.len() / width, width, values: Vec::new(), scales: Vec::new() };
        rows.values.reserve(matrix.values.len());
        for row in matrix.values.chunks_exact(width) {
            let most = row.iter().fold(0f32, |m, v| m.max(v.abs()));
            let scale = if most > 0.0 { most / 127.0 } else { 1.0 };
            rows.values.extend(row.iter().map(|v| (v / scale).round_ties_even() as i8));
            rows.scales.push(scale);
        }
        rows
    }

    /// The matrix turned, [width, out], and its scales.
    fn columns(&self, graph: &mut Graph, place: &str) -> (String, String) {
        let mut turned = vec![0i8; self.values.len()];
        for (o, row) in self.values.chunks_exact(self.width).enumerate() {
            for (i, v) in row.iter().enumerate() {
                turned[i * self.out + o] = *v;
            }
        }
        let matrix = graph.bytes(&format!("{place}/columns"), &[self.width, self.out], &turned);
        let scales = Tensor { dims: vec![self.out], values: self.scales.clone() };
        (matrix, graph.tensor(&format!("{place}/scales"), &scales))
    }
}

/// Cosines and sines of every frequency from 0 to 8 kHz in steps of 40 Hz, under a Hann window.
fn waves() -> Tensor {
    let count = WINDOW / 2 + 1;
    let wave = |f: usize, n: usize, of: fn(f64) -> f64| {
        let turn = 2.0 * PI * n as f64 / WINDOW as f64;
        (of(turn * f as f64) * (0.5 - 0.5 * turn.cos())) as f32
    };
    let side = |of: fn(f64) -> f64| (0..count * WINDOW).map(move |i| wave(i / WINDOW, i % WINDOW, of));
    Tensor { dims: vec![2 * count, 1, WINDOW], values: side(f64::cos).chain(side(f64::sin)).collect() }
}

/// Triangles over the frequencies, as wide as the mel scale of Slaney's Auditory Toolbox (1998) makes them: even up to 1 kHz,
/// by equal ratios above; each of the same area.
fn bands() -> Tensor {
    const LINEAR: f64 = 200.0 / 3.0;
    let step = 6.4f64.ln() / 27.0;
    let mel = |hz: f64| if hz < 1000.0 { hz / LINEAR } else { 15.0 + (hz / 1000.0).ln() / step };
    let hz = |mel: f64| if mel < 15.0 { mel * LINEAR } else { 1000.0 * ((mel - 15.0) * step).exp() };
    let edges: Vec<f64> = (0..BANDS + 2).map(|i| hz(mel(8000.0) * i as f64 / (BANDS + 1) as f64)).collect();
    let count = WINDOW / 2 + 1;
    let value = |band: usize, line: usize| {
        let (f, low, peak, high) = (40.0 * line as f64, edges[band], edges[band + 1], edges[band + 2]);
        let height = ((f - low) / (peak - low)).min((high - f) / (high - peak)).max(0.0);
        (height * 2.0 / (high - low)) as f32
    };
    let values = (0..BANDS * count).map(|i| value(i / count, i % count)).collect();
    Tensor { dims: vec![BANDS, count], values }
}
