//! The voice of the operating system. The only file that names `tts`.

use super::service::{Hints, Make, Manner, Service};
use std::mem::ManuallyDrop;
use tts::Tts;

/// One clause for any of the service's errors.
fn clause(e: &tts::Error) -> String {
    e.to_string().to_lowercase()
}

struct System(
    // Never dropped: a late report of the service would look for what is no longer there, and end the program.
    ManuallyDrop<Tts>,
);

impl Service for System {
    fn speak(&mut self, text: &str) -> Result<String, String> {
        // The services take their text as a string that ends at a zero.
        let text = text.replace('\0', " ");
        match self.0.speak(text, true) {
            Ok(Some(key)) => Ok(format!("{key:?}")),
            Ok(None) => Ok(String::new()),
            Err(e) => Err(clause(&e)),
        }
    }

    fn stop(&mut self) -> Result<(), String> {
        self.0.stop().map(drop).map_err(|e| clause(&e))
    }
}

/// Makes the system voice: to be called on its thread.
pub fn make(manner: Manner) -> Make {
    Box::new(move |hints: Hints| {
        let mut tts = Tts::default().map_err(|e| clause(&e))?;
        let can = tts.supported_features();
        if let Some(name) = &manner.voice {
            let voices = tts.voices().map_err(|e| clause(&e))?;
            let voice = voices.iter().find(|v| v.name().eq_ignore_ascii_case(name) || v.id() == *name);
            let Some(voice) = voice else {
                let all: Vec<String> = voices.iter().map(tts::Voice::name).collect();
                return Err(no_voice(name, &all));
            };
            tts.set_voice(voice).map_err(|e| clause(&e))?;
        }
        if can.rate {
            let to = scaled(manner.rate_percent, tts.min_rate(), tts.normal_rate(), tts.max_rate());
            tts.set_rate(to).map_err(|e| clause(&e))?;
        }
        if can.volume {
            let (low, high) = (tts.min_volume(), tts.max_volume());
            let to = low + (high - low) * (manner.volume_percent / 100.0).clamp(0.0, 1.0);
            tts.set_volume(to).map_err(|e| clause(&e))?;
        }
        if can.utterance_callbacks {
            let ended = move |key| hints.ended(format!("{key:?}"));
            tts.on_utterance_end(Some(Box::new(ended))).map_err(|e| clause(&e))?;
        }
        let service: Box<dyn Service> = Box::new(System(ManuallyDrop::new(tts)));
        Ok(service)
    })
}

fn no_voice(name: &str, all: &[String]) -> String {
    let near = all.iter().map(|n| (strsim::jaro_winkler(&n.to_lowercase(), &name.to_lowercase()), n));
    let near = near.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|n| n.0 > 0.75);
    let near = near.map(|n| format!(", did you mean {}?", n.1)).unwrap_or_default();
    format!("it has no voice {name}{near}; it has {} voices", all.len())
}

/// 100 percent is normal, 200 the fastest, 50 the slowest.
fn scaled(percent: f32, low: f32, normal: f32, high: f32) -> f32 {
    let octaves = (percent / 100.0).clamp(0.5, 2.0).log2();
    normal + octaves * if octaves < 0.0 { normal - low } else { high - normal }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn percent_is_the_services_own_scale() {
        for (percent, want) in [(100.0, 0.0), (200.0, 100.0), (50.0, -100.0), (1_000.0, 100.0), (0.0, -100.0)] {
            assert_eq!(scaled(percent, -100.0, 0.0, 100.0), want, "{percent}");
        }
        assert_eq!(scaled(50.0, 0.5, 1.0, 6.0), 0.5);
    }

    #[test]
    fn an_unknown_voice_has_its_nearest() {
        let all = ["English (America)".to_string(), "Korean".to_string()];
        assert_eq!(no_voice("koraen", &all), "it has no voice koraen, did you mean Korean?; it has 2 voices");
    }
}
