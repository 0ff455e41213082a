//! What is known of the pilot's voice: a small file in the data folder.

use crate::core::matcher::Own;
use std::path::{Path, PathBuf};

/// The file: `antiphon/voice.toml` in the XDG data folder.
pub fn own_file() -> Option<PathBuf> {
    let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    // XDG Base Directory Specification 0.8: a relative path in the variable is to be ignored.
    let data = set("XDG_DATA_HOME").filter(|p| p.is_absolute());
    let data = data.or_else(|| set("HOME").map(|home| home.join(".local/share")));
    data.map(|d| d.join("antiphon/voice.toml"))
}

/// What the file says; `None` if there is none.
///
/// # Errors
/// One sentence when it is damaged.
pub fn read_own(file: &Path) -> Result<Option<Own>, String> {
    let Ok(text) = std::fs::read_to_string(file) else { return Ok(None) };
    let damaged = || format!("{} is damaged and not used: delete it, and run `antiphon voice` again", file.display());
    let own: Own = toml::from_str(&text).map_err(|_| damaged())?;
    let sound = own.gain_db.is_finite() && own.lift.is_finite();
    if sound { Ok(Some(own)) } else { Err(damaged()) }
}

/// Writes the file, beside its place first.
///
/// # Errors
/// One sentence when that cannot be done.
pub fn write_own(own: &Own, file: &Path) -> Result<(), String> {
    let told = |e: &dyn std::fmt::Display| format!("{} cannot be written ({e}): see to the folder", file.display());
    let text = toml::to_string(own).map_err(|e| told(&e))?;
    let part = file.with_extension("toml.part");
    std::fs::create_dir_all(file.parent().unwrap_or(Path::new(".")))
        .and_then(|()| std::fs::write(&part, text))
        .and_then(|()| std::fs::rename(&part, file))
        .map_err(|e| told(&e))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_learned_is_there_next_time() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a/voice.toml");
        assert_eq!(read_own(&file), Ok(None));
        let mut own = Own { microphone: "Left \"Headset\"".into(), gain_db: 3.5, lift: 0.25, ..Own::default() };
        own.corrected("flaps", "set flaps up");
        write_own(&own, &file).unwrap();
        assert_eq!(read_own(&file), Ok(Some(own)));
        for damaged in ["gain_db = [", "gain_db = nan\nlift = 0.0\n", "gain_db = 0.0\nlift = 0.0\nother = 1\n"] {
            std::fs::write(&file, damaged).unwrap();
            assert!(read_own(&file).unwrap_err().ends_with("run `antiphon voice` again"), "{damaged}");
        }
    }
}
