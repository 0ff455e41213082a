//! The noise that stands for "nothing was said".

/// One second of soft broadband noise (about −46 dBFS), the same every time.
pub(super) fn reference() -> Vec<f32> {
    let mut state = 0x2545_f491_4f6c_dd1d_u64;
    let mut white = move || {
        // xorshift64*: the spectrum matters here, not the quality of the chance.
        state ^= state >> 12;
        state ^= state << 25;
        state ^= state >> 27;
        (state.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 40) as f32 / (1 << 23) as f32 - 1.0
    };
    // Three leaky sums whose fall is about 3 dB an octave together.
    let (mut a, mut b, mut c) = (0.0f32, 0.0f32, 0.0f32);
    (0..16_000)
        .map(|_| {
            let w = white();
            a = 0.997 * a + 0.03 * w;
            b = 0.96 * b + 0.08 * w;
            c = 0.6 * c + 0.25 * w;
            0.01 * (a + b + c + 0.1 * w)
        })
        .collect()
}
