//! The speech encoder: samples in, one vector per 24 ms out.

use super::runtime::failed;
use super::work::Model;
use super::{NativeError, Runtime};
use ort::value::TensorRef;

/// Width of an encoded frame.
pub(super) const WIDTH: usize = 288;
/// The shortest sound that the model's three convolutions can take, samples.
const SHORTEST: usize = 1_600;

/// What the encoder made of a piece of sound.
#[derive(Debug, Clone)]
pub struct Encoded {
    /// How many frames of 384 samples.
    pub frames: usize,
    pub(super) data: Vec<f32>,
}

/// The speech encoder.
#[derive(Debug)]
pub struct Encoder {
    session: Model,
}

impl Encoder {
    /// Loads the encoder.
    ///
    /// # Errors
    /// As [`Runtime`]: the file is missing, damaged or slow.
    pub fn open(runtime: &Runtime) -> Result<Encoder, NativeError> {
        Ok(Encoder { session: runtime.session("moonshine-tiny-en/encoder_model.ort", 2)? })
    }

    /// Encodes mono samples at 16 kHz, from −1 to 1; less than 100 ms is filled up with silence.
    ///
    /// # Errors
    /// [`NativeError::Run`] when the model fails.
    pub fn encode(&mut self, samples: &[f32]) -> Result<Encoded, NativeError> {
        let mut filled = Vec::new();
        let samples = if samples.len() < SHORTEST {
            filled.extend_from_slice(samples);
            filled.resize(SHORTEST, 0.0);
            &filled
        } else {
            samples
        };
        let mask = vec![1i64; samples.len()];
        let (_busy, session) = self.session.enter();
        let outputs = session
            .run(ort::inputs![
                "input_values" => TensorRef::from_array_view(([1usize, samples.len()], samples)).map_err(failed)?,
                "attention_mask" => TensorRef::from_array_view(([1usize, mask.len()], mask.as_slice())).map_err(failed)?,
            ])
            .map_err(failed)?;
        let (shape, data) = outputs["last_hidden_state"].try_extract_tensor::<f32>().map_err(failed)?;
        if shape.len() != 3 || shape[2] as usize != WIDTH || data.len() % WIDTH != 0 || data.is_empty() {
            return Err(NativeError::Run("the encoder gave another shape than expected".into()));
        }
        Ok(Encoded { frames: data.len() / WIDTH, data: data.to_vec() })
    }
}
