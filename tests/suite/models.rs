//! The models, which a fresh machine sets up first.

use std::path::{Path, PathBuf};

/// The models, or `None` (said aloud); with `REQUIRE` set their absence is a failure.
pub fn models() -> Option<PathBuf> {
    let models = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/files");
    if models.join("onnxruntime").is_dir() {
        return Some(models);
    }
    assert!(std::env::var_os("REQUIRE").is_none(), "the models are not set up: run `make setup`");
    eprintln!("skipped: the models are not set up");
    None
}
