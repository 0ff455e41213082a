//! How loud a frame is.

/// The level of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Root mean square, dB relative to a full-scale square wave; −∞ for silence.
    pub dbfs: f64,
    /// Whether all samples are the same: no microphone is so quiet.
    pub digital_silence: bool,
}

/// Measures a frame of samples from −1 to 1.
pub fn level(samples: &[f32]) -> Level {
    let power: f64 = samples.iter().map(|s| f64::from(*s) * f64::from(*s)).sum();
    let dbfs = match samples.len() {
        0 => f64::NEG_INFINITY,
        n => 10.0 * libm::log10(power / n as f64),
    };
    Level { dbfs, digital_silence: samples.windows(2).all(|w| w[0] == w[1]) }
}
