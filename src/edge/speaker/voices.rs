//! The table of voices, and the speaker that uses it.

use super::cache::Cache;
use super::neural::Neural;
use super::program::Program;
use super::{Pcm, SpeakError, Speaker, Synth, clip};
use crate::core::book::schema::Station;
use crate::core::voice::Lexicon;
use crate::edge::store::NotFound;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::PathBuf;

const TABLE: &str = include_str!("voices.toml");

/// What one voice is.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoiceSpec {
    /// `neural`, or a program's name.
    pub engine: String,
    /// For the program, before the text.
    #[serde(default)]
    pub settings: Vec<String>,
    /// For the neural voice: above 1 slower.
    #[serde(default = "one")]
    pub pace: f32,
    /// Plays a captain.
    #[serde(default)]
    pub captain: bool,
}

/// Settings with one of them set anew.
fn with(settings: &[String], name: &str, value: String) -> Vec<String> {
    let mut out = settings.to_vec();
    match out.iter().position(|s| s == name) {
        Some(i) if i + 1 < out.len() => out[i + 1] = value,
        _ => out.extend([name.to_string(), value]),
    }
    out
}

fn one() -> f32 {
    1.0
}

/// All voices by name, and which station has which.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct VoiceTable {
    stations: BTreeMap<Station, String>,
    voices: BTreeMap<String, VoiceSpec>,
}

impl VoiceTable {
    /// The table in the program.
    pub fn built_in() -> Self {
        // Tested; an empty table would only say that there is no voice.
        toml::from_str(TABLE).unwrap_or(VoiceTable { stations: BTreeMap::new(), voices: BTreeMap::new() })
    }

    /// Names in order.
    pub fn names(&self) -> Vec<&str> {
        self.voices.keys().map(String::as_str).collect()
    }

    /// Names of those that play a captain, in order.
    pub fn captains(&self) -> Vec<&str> {
        self.voices.iter().filter(|(_, v)| v.captain).map(|(n, _)| n.as_str()).collect()
    }

    /// A voice by name; the error has the nearest name.
    pub fn get(&self, name: &str) -> Result<&VoiceSpec, SpeakError> {
        self.voices.get(name).ok_or_else(|| {
            let near =
                self.voices.keys().map(|n| (strsim::jaro_winkler(n, name), n)).max_by(|a, b| a.0.total_cmp(&b.0));
            SpeakError::NoVoice {
                name: name.into(),
                nearest: near.filter(|n| n.0 > 0.75).map(|n| format!(", did you mean {}?", n.1)).unwrap_or_default(),
                all: self.names().join(", "),
            }
        })
    }

    /// Lets a station's voice speak at so many words a minute, as its program counts them; a neural voice stays as it is.
    fn hurry(&mut self, station: Station, wpm: u32) {
        let name = self.station(station).to_string();
        let Some(spec) = self.voices.get_mut(&name) else { return };
        match spec.engine.as_str() {
            "espeak-ng" => {
                spec.settings = with(&spec.settings, "-s", wpm.to_string());
            }
            // The program has no such measure; its voices speak about 170 words a minute (measured by ear, roughly).
            "flite" => {
                let stretch = 170.0 / f64::from(wpm);
                spec.settings = with(&spec.settings, "--setf", format!("duration_stretch={stretch:.2}"));
            }
            _ => {}
        }
    }

    /// The name of a station's voice.
    pub fn station(&self, station: Station) -> &str {
        self.stations.get(&station).map_or("", String::as_str)
    }
}

/// Every voice of the table, opened when first needed, behind the cache.
pub struct Voices {
    table: VoiceTable,
    models: Result<PathBuf, NotFound>,
    rate: u32,
    lexicon: Lexicon,
    cache: Cache,
    open: BTreeMap<String, Box<dyn Synth + Send>>,
}

impl Voices {
    /// `models` is the folder of models, or why there is none (told when the neural voice is wanted); everything rendered
    /// has `rate` Hz.
    pub fn new(models: Result<PathBuf, NotFound>, rate: u32, cache: Cache) -> Self {
        Voices {
            table: VoiceTable::built_in(),
            models,
            rate,
            lexicon: Lexicon::built_in(),
            cache,
            open: BTreeMap::new(),
        }
    }

    /// The table of voices.
    pub fn table(&self) -> &VoiceTable {
        &self.table
    }

    /// Samples per second of everything rendered.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Gives a station another voice of the table.
    pub fn assign(&mut self, station: Station, voice: &str) -> Result<(), SpeakError> {
        self.table.get(voice)?;
        self.table.stations.insert(station, voice.into());
        Ok(())
    }

    /// The pace of a station's voice from now on, words a minute.
    pub fn pace(&mut self, station: Station, wpm: u32) {
        self.table.hurry(station, wpm);
        let name = self.table.station(station).to_string();
        self.open.remove(&name);
    }

    /// Renders with a voice by name.
    pub fn render_with(&mut self, voice: &str, text: &str) -> Result<Pcm, SpeakError> {
        let spec = self.table.get(voice)?.clone();
        if !text.chars().any(char::is_alphanumeric) {
            return Ok(Pcm::empty(self.rate));
        }
        // The neural voice's phonemes come from espeak-ng, which therefore decides how letters are written.
        let reader = if spec.engine == "neural" { "espeak-ng" } else { &spec.engine };
        let words = self.lexicon.respell(text, reader);
        if !self.open.contains_key(voice) {
            let synth = open(&spec, &self.models)?;
            self.open.insert(voice.into(), synth);
        }
        let Some(synth) = self.open.get_mut(voice) else { return Ok(Pcm::empty(self.rate)) };
        let key = Cache::key(synth.identity(), &words, self.rate);
        if let Some(pcm) = self.cache.get(&key, self.rate) {
            return Ok(pcm);
        }
        let (rate, raw) = synth.speak(&words)?;
        let pcm = clip::finish(rate, &raw, self.rate)?;
        self.cache.put(&key, &pcm);
        Ok(pcm)
    }
}

impl Speaker for Voices {
    fn render(&mut self, station: Station, text: &str) -> Result<Pcm, SpeakError> {
        let voice = self.table.station(station).to_string();
        self.render_with(&voice, text)
    }
}

fn open(spec: &VoiceSpec, models: &Result<PathBuf, NotFound>) -> Result<Box<dyn Synth + Send>, SpeakError> {
    if spec.engine != "neural" {
        return Ok(Box::new(Program::new(&spec.engine, &spec.settings)));
    }
    match models {
        Ok(models) => Ok(Box::new(Neural::open(models, spec.pace)?)),
        Err(why) => Err(why.clone().into()),
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::edge::audio::level;

    /// Whether the speaking programs are installed. If not, that is said aloud, and with `REQUIRE` set it is a failure.
    pub fn programs_are_there() -> bool {
        let there = |p: &str| std::process::Command::new(p).arg("--version").output().is_ok();
        let all = ["flite", "espeak-ng"].into_iter().all(there);
        assert!(all || std::env::var_os("REQUIRE").is_none(), "flite and espeak-ng are not installed");
        if !all {
            eprintln!("skipped: flite and espeak-ng are not installed");
        }
        all
    }

    #[test]
    fn the_table_is_whole() {
        let table: VoiceTable = toml::from_str(TABLE).unwrap();
        for station in [Station::FlightDeck, Station::Ground, Station::Cabin, Station::Radio] {
            table.get(table.station(station)).unwrap();
        }
        assert!(table.captains().len() >= 4);
        let mut sounds: Vec<_> = table.voices.values().map(|v| (&v.engine, &v.settings)).collect();
        sounds.sort();
        let all = sounds.len();
        sounds.dedup();
        assert_eq!(sounds.len(), all, "every voice sounds different");
    }

    #[test]
    fn an_unknown_voice_is_a_sentence_with_the_nearest() {
        let table: VoiceTable =
            toml::from_str("[stations]\n[voices.ground]\nengine = 'flite'\n[voices.cabin]\nengine = 'flite'\n")
                .unwrap();
        let said = |name: &str| table.get(name).unwrap_err().to_string();
        insta::assert_snapshot!(said("grond"), @"there is no voice grond, did you mean ground?; the voices are cabin, ground");
        insta::assert_snapshot!(said("xyz"), @"there is no voice xyz; the voices are cabin, ground");
    }

    #[test]
    fn stations_speak_at_one_level_and_from_the_cache_the_same() {
        if !programs_are_there() {
            return;
        }
        let folder = tempfile::tempdir().unwrap();
        let mut voices = Voices::new(Err(NotFound::Models(Vec::new())), 22_050, Cache::in_folder(folder.path()));
        let phrases = [
            (Station::Ground, "Cleared to start engine two".to_string()),
            (Station::Cabin, "Cabin is ready".to_string()),
            (Station::Radio, "Saltmarsh one two, wind two seven zero degrees eight knots".to_string()),
        ];
        let mut seen = Vec::new();
        voices.prepare(&phrases, &mut |done, of| seen.push((done, of))).unwrap();
        assert_eq!(seen, [(0, 3), (1, 3), (2, 3), (3, 3)]);
        for (station, text) in &phrases {
            let pcm = voices.render(*station, text).unwrap();
            let db = level::to_db(level::active_rms(&pcm.samples, pcm.rate));
            assert!((db - clip::LEVEL_DB).abs() < 1.0, "{text}: {db:.1} dB");
            assert!(pcm.onset_s() < 0.03, "{text}: begins at {} s", pcm.onset_s());
            let fresh = Voices::new(Err(NotFound::Models(Vec::new())), 22_050, Cache::in_folder(folder.path()))
                .render(*station, text)
                .unwrap();
            assert_eq!(fresh, pcm);
        }
        assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 3);
        let said = voices.render(Station::FlightDeck, "V one").unwrap_err().to_string();
        assert!(said.starts_with("no models in "), "{said}");
        assert_eq!(voices.render(Station::Ground, " … ").unwrap(), Pcm::empty(22_050));
    }
}
