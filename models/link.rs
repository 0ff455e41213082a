//! Build script: where the linker finds libvosk, for the worker `antiphon-vosk` alone.
//!
//! Without the feature `vosk` it does nothing, so that the program itself builds on a machine that lacks the library.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_macros,
    reason = "a build script reads its environment and prints to cargo"
)]

use std::path::Path;

fn main() {
    println!("cargo:rerun-if-changed=models/link.rs");
    if std::env::var_os("CARGO_FEATURE_VOSK").is_none() {
        return;
    }
    let folder = Path::new(&std::env::var("CARGO_MANIFEST_DIR").unwrap_or_default()).join("models/files/vosk");
    println!("cargo:rerun-if-changed={}", folder.display());
    // A library that the system has is found without us.
    if folder.is_dir() {
        println!("cargo:rustc-link-search=native={}", folder.display());
    } else {
        println!(
            "cargo:warning=models/files/vosk is not there: run `make vosk`, which fetches libvosk and builds this"
        );
    }
    // At run time: beside the worker, or in the source folder above target/release. The program itself also names the
    // models folder that it uses when it starts the worker.
    if std::env::var("CARGO_CFG_TARGET_OS").is_ok_and(|os| os == "linux") {
        println!("cargo:rustc-link-arg-bin=antiphon-vosk=-Wl,-rpath,$ORIGIN:$ORIGIN/../../models/files/vosk");
    }
}
