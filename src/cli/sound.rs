//! Where the pilot is heard and where the crew speaks, as the command line says it.

use super::{Failure, wiring};
use crate::edge::app::{Ears, News, SoundEar};
use crate::edge::audio::device::{Health, Listed, Way};
use crate::edge::audio::duplex::{Devices, Duplex, Gone, Handle, PLAY_RATE, Told, Wanted};
use crate::edge::audio::echo::Canceller;
use crate::edge::buttons::Button;
use crate::edge::ear::live::{Clean, Feed, LiveEar};
use crate::edge::speaker::{Played, Speaker};
use crate::edge::store::Choices;
use std::convert::Infallible;
use std::path::{Path, PathBuf};
use std::sync::mpsc::Sender;
use std::sync::{Arc, OnceLock};

/// One end of the sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum End {
    /// None.
    Nothing,
    /// A WAV file.
    File(PathBuf),
    /// What the system would choose.
    Default,
    /// A device by name.
    Named(String),
}

/// `none` (or `off`), `default`, a WAV file, or a device's name.
pub fn parse(text: &str) -> Result<End, Infallible> {
    let path = Path::new(text);
    Ok(match text {
        "none" | "off" => End::Nothing,
        "default" => End::Default,
        _ if path.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")) => End::File(path.into()),
        _ => End::Named(text.into()),
    })
}

impl End {
    /// The file, if it is one.
    pub fn file(&self) -> Option<&Path> {
        if let End::File(path) = self { Some(path) } else { None }
    }

    /// What is wanted of a device.
    pub fn device(&self) -> Wanted {
        match self {
            End::Nothing | End::File(_) => Wanted::Nothing,
            End::Default => Wanted::Default,
            End::Named(name) => Wanted::Named(name.clone()),
        }
    }
}

/// Both ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ends {
    /// Where the pilot is heard.
    pub mic: End,
    /// Where the crew speaks.
    pub speaker: End,
    /// Whether the crew cannot be heard by the microphone.
    pub headset: bool,
}

impl Ends {
    /// What was given, else what was chosen last time, else the system's own. Who types needs no microphone, and who is not
    /// heard live hears nobody live, unless told so.
    pub fn settle(mic: Option<End>, speaker: Option<End>, headset: bool, typed: bool, last: &Choices) -> Ends {
        let again = |name: &Option<String>| name.clone().map_or(End::Default, End::Named);
        let remembered = mic.is_none() && !typed;
        let mic = mic.unwrap_or_else(|| if typed { End::Nothing } else { again(&last.mic) });
        let live = mic.device() != Wanted::Nothing;
        let speaker = speaker.unwrap_or_else(|| if live { again(&last.speaker) } else { End::Nothing });
        Ends { mic, speaker, headset: headset || (remembered && last.headset) }
    }

    /// Whether any device is wanted.
    pub fn live(&self) -> bool {
        self.mic.device() != Wanted::Nothing || self.speaker.device() != Wanted::Nothing
    }

    /// Remembers what was named and could be opened.
    pub fn remember(&self, known: &Devices, buttons: &[Button], last: &Choices) {
        let id = |place: &End, now: &Option<(Listed, Health)>, last: &Option<String>| match place {
            End::Named(_) => now.as_ref().map(|(l, _)| l.id.clone()),
            End::Default => None,
            _ => last.clone(),
        };
        let chosen = Choices {
            mic: id(&self.mic, &known.mic, &last.mic),
            speaker: id(&self.speaker, &known.speaker, &last.speaker),
            // Who is not heard by a microphone says nothing about it.
            headset: if self.mic.device() == Wanted::Nothing { last.headset } else { self.headset },
            buttons: buttons.to_vec(),
            ..last.clone()
        };
        if let Some(file) = Choices::file().filter(|_| chosen != *last)
            && let Err(why) = chosen.write(&file)
        {
            eprintln!("antiphon: {why}");
        }
    }
}

/// One line about each device.
pub fn told(known: &Devices) -> String {
    let one = |way: Way, d: &Option<(Listed, Health)>| {
        d.as_ref().map(|(l, _)| format!("{}: {} ({}), {} Hz\n", way.word(), l.name, l.id, l.rate)).unwrap_or_default()
    };
    one(Way::In, &known.mic) + &one(Way::Out, &known.speaker)
}

/// The devices of a session, open.
pub struct Live {
    // Held so that they stay open.
    _duplex: Duplex,
    handle: Handle,
    feed: Arc<OnceLock<Feed>>,
}

impl Live {
    /// Opens what is wanted. From then on `send` gets what becomes of the devices.
    pub fn open(ends: &Ends, send: Sender<News>) -> Result<Live, Failure> {
        let feed: Arc<OnceLock<Feed>> = Arc::default();
        let ear = feed.clone();
        let told = move |told| match told {
            Told::Piece(piece) => {
                // Sound from before the ear is there is nobody's.
                if let Some(ear) = ear.get() {
                    ear.piece(piece);
                }
            }
            Told::Microphone(turn) => {
                let (state, text) = wiring::microphone(turn);
                let _ = send.send(News::Device { device: "microphone".into(), state: state.into(), text: text.into() });
            }
            Told::Speaker(gone) => {
                let (state, text) = match gone {
                    Gone::Lost => (
                        "lost",
                        "the loudspeaker is gone: what is said is only written here; it is taken up again by itself",
                    ),
                    Gone::Back => ("back", "the loudspeaker plays again"),
                };
                let _ = send.send(News::Device { device: "speaker".into(), state: state.into(), text: text.into() });
            }
        };
        let opened = Duplex::open(ends.mic.device(), ends.speaker.device(), told);
        let (duplex, handle) = opened.map_err(|e| Failure::new(e.to_string()))?;
        Ok(Live { _duplex: duplex, handle, feed })
    }

    /// What is known of the devices.
    pub fn known(&self) -> Devices {
        self.handle.devices()
    }

    /// The microphone's own name; empty without one.
    pub fn microphone(&self) -> String {
        self.handle.devices().mic.map(|(l, _)| l.id).unwrap_or_default()
    }

    /// The voice, played if there is a loudspeaker.
    pub fn voice(&self, voice: Box<dyn Speaker>) -> Box<dyn Speaker> {
        Box::new(Played::new(voice, self.handle.clone()))
    }

    /// The rate at which voices are best rendered, Hz.
    pub fn rate(&self) -> u32 {
        PLAY_RATE
    }

    /// The ear, in a thread of its own, on the microphone; without a headset what the loudspeaker plays is taken out of it.
    pub fn ears(
        &self,
        ear: Box<dyn SoundEar + Send>,
        recorded: bool,
        headset: bool,
        send: Sender<News>,
    ) -> Result<Ears, Failure> {
        let news = move |news, anchor| send.send(News::Ear { news, anchor }).is_ok();
        let known = self.handle.devices();
        let clean: Clean = if headset || known.speaker.is_none() {
            Box::new(|mic: &[f32], _: &[f32], out: &mut Vec<f32>| out.extend_from_slice(mic))
        } else {
            let mut canceller = Canceller::new(known.loop_s());
            Box::new(move |mic: &[f32], crew: &[f32], out: &mut Vec<f32>| canceller.clean(mic, crew, out))
        };
        let started = LiveEar::start(ear, clean, recorded, news);
        let (ear, feed) =
            started.map_err(|e| Failure::new(format!("the ear cannot be started ({e}); close other programs")))?;
        let _ = self.feed.set(feed);
        Ok(Ears::Sound(Box::new(ear)))
    }
}
