//! The neural voice: phoneme ids in, samples out.

use super::runtime::failed;
use super::work::Model;
use super::{NativeError, Runtime};
use ort::value::TensorRef;

/// The voice of the first officer (22,050 Hz, mono).
#[derive(Debug)]
pub struct Voice {
    session: Model,
}

impl Voice {
    /// Samples a second of what [`Voice::speak`] returns.
    pub const RATE: u32 = 22_050;

    /// Loads the voice.
    ///
    /// # Errors
    /// As [`Runtime`]: the file is missing, damaged or slow.
    pub fn open(runtime: &Runtime) -> Result<Voice, NativeError> {
        Ok(Voice { session: runtime.session("joe/en_US-joe-medium.onnx", 2)? })
    }

    /// Renders phoneme ids (with the model's own start, pad and end ids) to samples from −1 to 1.
    ///
    /// `scales` are noise, length and phoneme-duration noise; with both noises 0 the result has the same length every
    /// time. An empty list gives no samples.
    ///
    /// # Errors
    /// [`NativeError::Run`] when the model refuses the input.
    pub fn speak(&mut self, phoneme_ids: &[i64], scales: [f32; 3]) -> Result<Vec<f32>, NativeError> {
        if phoneme_ids.is_empty() {
            return Ok(Vec::new());
        }
        let lengths = [phoneme_ids.len() as i64];
        let (_busy, session) = self.session.enter();
        let outputs = session
            .run(ort::inputs![
                "input" => TensorRef::from_array_view(([1usize, phoneme_ids.len()], phoneme_ids)).map_err(failed)?,
                "input_lengths" => TensorRef::from_array_view(([1usize], lengths.as_slice())).map_err(failed)?,
                "scales" => TensorRef::from_array_view(([3usize], scales.as_slice())).map_err(failed)?,
            ])
            .map_err(failed)?;
        let (_, samples) = outputs["output"].try_extract_tensor::<f32>().map_err(failed)?;
        Ok(samples.to_vec())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speaks_the_same_twice_without_noise() {
        let Some(runtime) = crate::edge::native::for_tests() else { return };
        let mut voice = Voice::open(&runtime).unwrap();
        // start, pad, "a", pad, end in the model's own table
        let ids = [1, 0, 14, 0, 25, 0, 14, 0, 2];
        let a = voice.speak(&ids, [0.0, 1.0, 0.0]).unwrap();
        let b = voice.speak(&ids, [0.0, 1.0, 0.0]).unwrap();
        assert!(a.len() > 4_000 && a.len() < 44_100, "{} samples", a.len());
        assert!(a.iter().any(|s| s.abs() > 0.01) && a.iter().all(|s| s.abs() <= 1.0));
        assert_eq!(a, b);
        assert_eq!(voice.speak(&[], [0.0, 1.0, 0.0]).unwrap(), Vec::<f32>::new());
    }

    #[test]
    fn refuses_an_unknown_phoneme_with_a_sentence() {
        let Some(runtime) = crate::edge::native::for_tests() else { return };
        let mut voice = Voice::open(&runtime).unwrap();
        let e = voice.speak(&[1, 0, 9_999_999, 0, 2], [0.0, 1.0, 0.0]).unwrap_err();
        assert!(matches!(e, NativeError::Run(_)), "{e}");
    }
}
