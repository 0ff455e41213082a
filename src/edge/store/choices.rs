//! What the user chose last time: a small file in the configuration folder.

use crate::edge::buttons::Button;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// The sound devices and buttons of last time.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Choices {
    /// The book that was flown last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub book: Option<String>,
    /// The aircraft that was flown last, as `--link` says it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub link: Option<String>,
    /// The microphone, by name.
    pub mic: Option<String>,
    /// The loudspeaker or the headphones, by name.
    pub speaker: Option<String>,
    /// Whether they are a headset.
    pub headset: bool,
    /// The buttons.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub buttons: Vec<Button>,
}

impl Choices {
    /// The file: `antiphon/sound.toml` in the XDG configuration folder.
    pub fn file() -> Option<PathBuf> {
        let set = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
        // XDG Base Directory Specification 0.8: a relative path in the variable is to be ignored.
        let config = set("XDG_CONFIG_HOME").filter(|p| p.is_absolute());
        let config = config.or_else(|| set("HOME").map(|home| home.join(".config")));
        config.map(|c| c.join("antiphon/sound.toml"))
    }

    /// What the file says; nothing if there is none or it is damaged: it only saves typing.
    pub fn read(file: &Path) -> Choices {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        toml::from_str(&text).unwrap_or_default()
    }

    /// Writes the file.
    ///
    /// # Errors
    /// One sentence when that cannot be done.
    pub fn write(&self, file: &Path) -> Result<(), String> {
        let text = toml::to_string(self).map_err(|e| e.to_string())?;
        let folder = file.parent().unwrap_or(Path::new("."));
        std::fs::create_dir_all(folder)
            .and_then(|()| std::fs::write(file, text))
            .map_err(|e| format!("{} cannot be written ({e}), so what you chose is not remembered", file.display()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::buttons::{Does, On};

    #[test]
    fn what_was_chosen_is_there_next_time() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("a/sound.toml");
        assert_eq!(Choices::read(&file), Choices::default());
        let buttons = vec![Button { does: Does::Talk, on: On::Controller { controller: "Yoke".into(), button: 7 } }];
        let (book, link) = (Some("fenwick-t2".into()), Some("tcp:localhost:7310".into()));
        let chosen =
            Choices { book, link, mic: Some("Left \"Headset\"".into()), speaker: None, headset: true, buttons };
        chosen.write(&file).unwrap();
        assert_eq!(Choices::read(&file), chosen);
        std::fs::write(&file, "mic = [").unwrap();
        assert_eq!(Choices::read(&file), Choices::default());
        let said = chosen.write(Path::new("/dev/null/sound.toml")).unwrap_err();
        assert!(said.ends_with("so what you chose is not remembered"), "{said}");
    }
}
