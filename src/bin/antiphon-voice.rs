//! The worker of the system voice: the only program that names `tts`, and on Linux the only one that is linked to the
//! library of the speech service. It reads orders from its standard input and answers on its standard output, one JSON
//! object a line, until its input ends. `antiphon` starts it, and starts without it (docs/voices.md).
#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a program of its own"
)]

use antiphon::edge::speaker::Manner;
use antiphon::edge::speaker::system::{Answer, Ask};
use std::io::{BufRead, Write};
use std::mem::ManuallyDrop;
use std::process::ExitCode;
use tts::Tts;

/// One clause for any of the service's errors.
fn clause(e: &tts::Error) -> String {
    e.to_string().to_lowercase()
}

fn main() -> ExitCode {
    if std::env::args_os().len() > 1 {
        eprintln!("antiphon-voice is started by `antiphon --voice system` and takes no arguments");
        return ExitCode::from(2);
    }
    // Never dropped: a late report of the service would look for what is no longer there.
    let mut voice: Option<ManuallyDrop<Tts>> = None;
    for line in std::io::stdin().lock().lines() {
        let Ok(line) = line else { break };
        let answer = match serde_json::from_str(&line) {
            Ok(Ask::Open(manner)) => open(&manner).map(|tts| {
                voice = Some(ManuallyDrop::new(tts));
                Answer::Open
            }),
            Ok(Ask::Speak(text)) => speak(voice.as_deref_mut(), &text).map(Answer::Taken),
            Ok(Ask::Stop) => match &mut voice {
                Some(tts) => tts.stop().map(|_| Answer::Open).map_err(|e| clause(&e)),
                None => Ok(Answer::Open),
            },
            Err(e) => Err(format!("an order that it does not know: {e}")),
        };
        if tell(&answer.unwrap_or_else(Answer::Failed)).is_err() {
            break;
        }
    }
    ExitCode::SUCCESS
}

/// A line at once; two threads may tell.
fn tell(answer: &Answer) -> std::io::Result<()> {
    let mut out = std::io::stdout().lock();
    writeln!(out, "{}", serde_json::to_string(answer)?)?;
    out.flush()
}

fn speak(tts: Option<&mut Tts>, text: &str) -> Result<String, String> {
    let tts = tts.ok_or("it has not been opened")?;
    // The services take their text as a string that ends at a zero.
    match tts.speak(text.replace('\0', " "), true) {
        Ok(Some(key)) => Ok(format!("{key:?}")),
        Ok(None) => Ok(String::new()),
        Err(e) => Err(clause(&e)),
    }
}

fn open(manner: &Manner) -> Result<Tts, String> {
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
        let ended = |key| drop(tell(&Answer::Ended(format!("{key:?}"))));
        tts.on_utterance_end(Some(Box::new(ended))).map_err(|e| clause(&e))?;
    }
    Ok(tts)
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
