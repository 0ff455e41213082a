//! How loud a frame is.

/// The level of a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Level {
    /// Root mean square about the mean, dB relative to a full-scale square wave; −∞ for silence. A constant voltage of a poor
    /// sound card is no sound.
    pub dbfs: f64,
    /// Whether all samples are the same: no microphone is so quiet.
    pub digital_silence: bool,
}

/// Measures a frame of samples from −1 to 1.
pub fn level(samples: &[f32]) -> Level {
    let n = samples.len().max(1) as f64;
    let mean = samples.iter().map(|s| f64::from(*s)).sum::<f64>() / n;
    let power: f64 = samples.iter().map(|s| (f64::from(*s) - mean) * (f64::from(*s) - mean)).sum();
    let dbfs = 10.0 * libm::log10(power / n);
    Level { dbfs, digital_silence: samples.windows(2).all(|w| w[0] == w[1]) }
}
