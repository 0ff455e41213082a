//! Rendered phrases, kept in memory and, if wanted, in a folder.

use super::Pcm;
use crate::edge::audio::recorder::write_mono;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Goes up when trimming or levelling changes, so that older files are not used.
const EDITION: u32 = 1;
/// The folder is brought below this when it is opened, bytes: about an hour of phrases.
const LARGEST: u64 = 160_000_000;

/// The store of phrases.
#[derive(Debug, Default)]
pub struct Cache {
    memory: BTreeMap<String, Pcm>,
    folder: Option<PathBuf>,
}

impl Cache {
    /// Keeps phrases in memory only.
    pub fn in_memory() -> Self {
        Self::default()
    }

    /// Keeps phrases in `folder` too. If it cannot be made, memory has to do: a cache is no reason to fail.
    pub fn in_folder(folder: &Path) -> Self {
        if std::fs::create_dir_all(folder).is_err() {
            return Self::default();
        }
        prune(folder, LARGEST);
        Cache { memory: BTreeMap::new(), folder: Some(folder.into()) }
    }

    /// The user's cache folder: `XDG_CACHE_HOME` or the system's own habit; absent if there is no home.
    pub fn user_folder() -> Option<PathBuf> {
        let var = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
        let base = var("XDG_CACHE_HOME").or_else(|| {
            if cfg!(windows) {
                var("LOCALAPPDATA")
            } else if cfg!(target_os = "macos") {
                var("HOME").map(|h| h.join("Library/Caches"))
            } else {
                var("HOME").map(|h| h.join(".cache"))
            }
        })?;
        Some(base.join("antiphon").join("speech"))
    }

    /// The key of a phrase: voice with its settings and model, the words as handed to it, and the rate.
    pub fn key(identity: &str, text: &str, rate: u32) -> String {
        let mut hash = Sha256::new();
        for part in [identity, text] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
        hash.update(rate.to_le_bytes());
        hash.update(EDITION.to_le_bytes());
        hash.finalize().iter().take(20).fold(String::new(), |mut hex, b| {
            // Writing to a String cannot fail.
            let _ = write!(hex, "{b:02x}");
            hex
        })
    }

    /// A phrase, if it is there and whole.
    pub fn get(&mut self, key: &str, rate: u32) -> Option<Pcm> {
        if let Some(pcm) = self.memory.get(key) {
            return Some(pcm.clone());
        }
        let path = self.folder.as_ref()?.join(format!("{key}.wav"));
        let pcm = Pcm::whole(rate, load(&path, rate)?);
        self.memory.insert(key.into(), pcm.clone());
        Some(pcm)
    }

    /// Keeps a phrase.
    pub fn put(&mut self, key: &str, pcm: &Pcm) {
        self.memory.insert(key.into(), pcm.clone());
        if let Some(folder) = &self.folder
            && !pcm.samples.is_empty()
        {
            // Written aside and moved, so that a reader never sees half a file. A full disk costs only time later.
            let aside = folder.join(format!("{key}.{}.part", std::process::id()));
            let kept = write_mono(&aside, pcm.rate, &pcm.samples).is_ok()
                && std::fs::rename(&aside, folder.join(format!("{key}.wav"))).is_ok();
            if !kept {
                let _ = std::fs::remove_file(&aside);
            }
        }
    }
}

/// The samples of a file that [`Cache::put`] wrote, exactly; absent if it is not whole.
fn load(path: &Path, rate: u32) -> Option<Vec<f32>> {
    let mut reader = hound::WavReader::open(path).ok()?;
    let spec = reader.spec();
    if (spec.sample_rate, spec.channels, spec.bits_per_sample) != (rate, 1, 16) {
        return None;
    }
    reader.samples::<i16>().map(|s| s.ok().map(|s| f32::from(s) / 32_768.0)).collect()
}

/// Removes the files that were written longest ago until at most `largest` bytes are left.
fn prune(folder: &Path, largest: u64) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    let mut files: Vec<_> = entries
        .flatten()
        .filter_map(|e| {
            let meta = e.metadata().ok().filter(std::fs::Metadata::is_file)?;
            Some((meta.modified().ok()?, meta.len(), e.path()))
        })
        .collect();
    files.sort();
    let mut total: u64 = files.iter().map(|f| f.1).sum();
    for (_, len, path) in files {
        if total <= largest {
            break;
        }
        if std::fs::remove_file(path).is_ok() {
            total -= len;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::edge::speaker::clip;

    fn phrase() -> Pcm {
        let raw: Vec<f32> = (0..4_000).map(|i| 0.3 * (i as f32 * 0.2).sin()).collect();
        clip::finish(16_000, &raw, 22_050).unwrap()
    }

    #[test]
    fn the_folder_gives_back_the_very_same() {
        let folder = tempfile::tempdir().unwrap();
        let key = Cache::key("a voice", "words", 22_050);
        Cache::in_folder(folder.path()).put(&key, &phrase());
        let mut later = Cache::in_folder(folder.path());
        assert_eq!(later.get(&key, 22_050), Some(phrase()));
        assert_eq!(later.get(&Cache::key("a voice", "other words", 22_050), 22_050), None);
    }

    #[test]
    fn a_damaged_file_is_as_none() {
        let folder = tempfile::tempdir().unwrap();
        let key = Cache::key("a voice", "words", 22_050);
        Cache::in_folder(folder.path()).put(&key, &phrase());
        let path = folder.path().join(format!("{key}.wav"));
        let whole = std::fs::read(&path).unwrap();
        std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
        assert_eq!(Cache::in_folder(folder.path()).get(&key, 22_050), None);
    }

    #[test]
    fn every_part_makes_another_key() {
        let keys =
            [Cache::key("a", "bc", 1), Cache::key("ab", "c", 1), Cache::key("a", "bc", 2), Cache::key("a", "bd", 1)];
        for (i, a) in keys.iter().enumerate() {
            assert!(keys[..i].iter().all(|b| a != b));
        }
    }

    #[test]
    fn the_folder_does_not_grow_for_ever() {
        let folder = tempfile::tempdir().unwrap();
        for i in 0..10 {
            std::fs::write(folder.path().join(format!("{i}.wav")), [0; 100]).unwrap();
        }
        prune(folder.path(), 550);
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 5);
    }
}
