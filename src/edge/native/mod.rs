//! The native inference runtime behind a checked door: the only files that name `ort`.
//!
//! The library is loaded at run time from the models folder, never linked. A missing, foreign or too old library, a
//! truncated model and a loader that hangs all end as one [`NativeError`], never as a panic.

mod decoder;
mod encoder;
mod graph;
mod heap;
pub mod manifest;
mod runtime;
mod second;
mod vad;
mod voice;
mod weights;
mod work;

pub use decoder::{Branches, Decoder, END, START, TOKENS};
pub use encoder::{Encoded, Encoder};
pub use heap::give_back;
pub use runtime::{NativeError, Runtime};
pub use second::Second;
pub use vad::Vad;
pub use voice::Voice;
pub use work::close;

/// The runtime for tests, or `None` (said aloud) where the models are not set up; with `REQUIRE` set that is a failure.
#[cfg(test)]
pub(crate) fn for_tests() -> Option<Runtime> {
    let models = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files");
    if models.join("onnxruntime").is_dir() {
        return Some(Runtime::open(&models).expect("the models are set up but the runtime does not load"));
    }
    assert!(std::env::var_os("REQUIRE").is_none(), "the models are not set up: run the set-up");
    eprintln!("skipped: the models are not set up");
    None
}
