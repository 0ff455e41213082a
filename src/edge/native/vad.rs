//! Voice activity: the probability that 32 ms of sound hold speech.

use super::runtime::failed;
use super::work::Model;
use super::{NativeError, Runtime};
use ort::value::TensorRef;

/// Samples the model wants to see again from the frame before.
const CONTEXT: usize = 64;
/// Size of the model's memory.
const STATE: usize = 2 * 128;

/// The voice-activity model with its memory of the sound so far.
#[derive(Debug)]
pub struct Vad {
    session: Model,
    state: Vec<f32>,
    input: Vec<f32>,
}

impl Vad {
    /// Samples in a frame: 32 ms at 16 kHz.
    pub const FRAME: usize = 512;

    /// Loads the model.
    ///
    /// # Errors
    /// As [`Runtime`]: the file is missing, damaged or slow.
    pub fn open(runtime: &Runtime) -> Result<Vad, NativeError> {
        let session = runtime.session("silero/silero_vad_16k_op15.onnx", 1)?;
        Ok(Vad { session, state: vec![0.0; STATE], input: vec![0.0; CONTEXT + Self::FRAME] })
    }

    /// Forgets what it has made of the sound so far, but not the last samples.
    pub fn forget(&mut self) {
        self.state.fill(0.0);
    }

    /// Forgets the sound so far.
    pub fn reset(&mut self) {
        self.state.fill(0.0);
        self.input.fill(0.0);
    }

    /// The probability (0 to 1) that this frame, the one after the last, holds speech.
    ///
    /// # Errors
    /// [`NativeError::Run`] when the frame has not [`Vad::FRAME`] samples or the model fails.
    pub fn probability(&mut self, frame: &[f32]) -> Result<f32, NativeError> {
        if frame.len() != Self::FRAME {
            return Err(NativeError::Run(format!("a frame of {} samples", frame.len())));
        }
        self.input.copy_within(Self::FRAME.., 0);
        self.input[CONTEXT..].copy_from_slice(frame);
        let rate = [16_000i64];
        let shape: [usize; 0] = [];
        let (_busy, session) = self.session.enter();
        let outputs = session
            .run(ort::inputs![
                "input" => TensorRef::from_array_view(([1usize, self.input.len()], self.input.as_slice())).map_err(failed)?,
                "state" => TensorRef::from_array_view(([2usize, 1, 128], self.state.as_slice())).map_err(failed)?,
                "sr" => TensorRef::from_array_view((shape, rate.as_slice())).map_err(failed)?,
            ])
            .map_err(failed)?;
        let (_, state) = outputs["stateN"].try_extract_tensor::<f32>().map_err(failed)?;
        let (_, out) = outputs["output"].try_extract_tensor::<f32>().map_err(failed)?;
        match (state.len(), out.first()) {
            (STATE, Some(p)) => {
                self.state.copy_from_slice(state);
                Ok(*p)
            }
            _ => Err(NativeError::Run("the voice-activity model gave another shape than expected".into())),
        }
    }
}
