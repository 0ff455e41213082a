//! Carrying out what the engine asks for.

use super::report::{Mark, Side};
use super::{App, AppError, BLOCK, Event};
use crate::core::aircraft::crossing;
use crate::core::book::schema::{Due, Station};
use crate::core::crew::io::{Action, Crossing, Input, Note, Speech};
use crate::core::script;
use crate::core::time::SessionTime;
use crate::core::voice::VoiceEvent;
use crate::edge::audio::EAR_RATE;
use crate::edge::speaker::Pcm;
use std::sync::Arc;

/// Speech that has been asked for.
pub(super) struct Sounding {
    speech: Speech,
    pub(super) pcm: Pcm,
    began: bool,
    /// The callout it is, with the mark it is held against.
    mark: Option<(Crossing, f64)>,
}

/// Without a voice a sentence still takes its time: words a minute of an unhurried speaker.
const SILENT_WORDS_PER_S: f64 = 2.7;
/// What is still said when a session comes to its end has so long, s.
const LAST_WORDS_S: f64 = 6.0;

impl App {
    pub(super) fn carry_out(&mut self, action: Action) -> Result<(), AppError> {
        if self.parts.pilot.is_some() {
            self.hands.events.push(script::Event::Action(action.clone()));
        }
        match action {
            Action::Say(speech) => self.say(speech),
            Action::Hush { id } => self.queue.hush(self.now, id),
            Action::Set { request, control, to } => {
                if let Some(done) = self.parts.link.ask(request, &control, &to) {
                    self.put(self.now, Event::Input(Input::SetResult { request, failed: done.err() }));
                }
            }
            Action::Listen { revision, calls, due } => {
                if let super::Ears::Sound(ear) = &mut self.parts.ears {
                    ear.listen(revision, &calls, &due);
                }
                self.listening = (calls, revision);
            }
            Action::Watch { crossings } => self.watch(crossings),
            Action::Readback { expect } => self.await_readback(expect.map(|e| *e)),
            Action::Place { place } => match self.parts.link.place(&place) {
                Ok(()) => {
                    self.detector.reset();
                    self.put(self.now, Event::Input(Input::Jumped));
                }
                Err(why) => self.tell(Side::Flight, self.now, &why),
            },
            Action::Note(note) => self.noted(note),
        }
        Ok(())
    }

    fn say(&mut self, speech: Speech) {
        let speaker = &mut self.parts.speaker;
        let rendered = caught(|| speaker.render(speech.station, &speech.text));
        let pcm = match rendered {
            Some(Ok(pcm)) => pcm,
            failed => {
                // The words still take their time.
                let why = match failed {
                    Some(Err(e)) => e.to_string(),
                    _ => "the voice stopped over a sentence; it goes on with the next".to_string(),
                };
                self.room_failed("voice", &why);
                let words = speech.text.split_whitespace().count() as f64;
                let n = (words / SILENT_WORDS_PER_S * f64::from(EAR_RATE)) as usize;
                Pcm::whole(EAR_RATE, vec![0.0; n])
            }
        };
        self.queue.push(self.now, &speech, pcm.duration_s());
        self.spoken.insert(speech.id, Sounding { speech, pcm, began: false, mark: None });
    }

    /// A room that fails is told once and written down.
    pub(super) fn room_failed(&mut self, room: &str, why: &str) {
        if !self.report.faults.iter().any(|f| f == why) {
            self.report.fault(why);
            let fault = Input::Fault { room: room.into(), message: why.to_string() };
            self.put(self.now, Event::Input(fault));
        }
    }

    fn watch(&mut self, crossings: Vec<Crossing>) {
        let marks = crossings
            .iter()
            .map(|c| crossing::Mark {
                name: c.callout.clone(),
                signal: c.signal.clone(),
                value: c.value,
                rising: c.rising,
                // The words must be over at the mark: they begin earlier by their own length, and sound later than they begin.
                lead_s: self.parts.speaker.delay_s()
                    + match c.due {
                        Due::Onset => 0.0,
                        Due::End => self.parts.speaker.duration_s(Station::FlightDeck, &c.text).unwrap_or(0.4),
                    },
            })
            .collect();
        self.detector.watch(marks);
        for c in crossings {
            self.crossings.insert(c.callout.clone(), c);
        }
    }

    fn noted(&mut self, note: Note) {
        match note {
            Note::Phase { phase } => {
                self.tell(Side::Flight, self.now, &format!("phase: {phase}"));
                if self.parts.ends_in.contains(&phase) && self.leave_at.is_none() {
                    self.leave_at = Some(self.now.plus(LAST_WORDS_S));
                }
                self.report.phase = phase;
            }
            Note::Accepted { meaning, .. } => {
                if let Some(u) = self.report.utterances.last_mut() {
                    u.accepted.push(meaning.call.clone());
                    if let Some(meant) = &self.meant {
                        u.wrong |= !meant.contains(&meaning);
                    }
                }
            }
            Note::Refused { reason, text } => {
                if let Some(u) = self.report.utterances.last_mut() {
                    u.refused = Some(reason.clone());
                }
                let like = if text.is_empty() { String::new() } else { format!(" (nearest: \u{201c}{text}\u{201d})") };
                self.tell(Side::Flight, self.now, &format!("not taken: {reason}{like}"));
            }
            Note::Checklist { checklist, state } => {
                self.tell(Side::Flight, self.now, &format!("{checklist}: {state}"));
                self.report.checklists.insert(checklist, state);
            }
            Note::Item { checklist, item, state, .. } if state != "agreed" => {
                self.tell(Side::Flight, self.now, &format!("{checklist}/{item}: {state}"));
                self.report.items.push((format!("{checklist}/{item}"), state));
            }
            Note::Callout { callout, wanted: Some(wanted), speech, .. } => {
                if let (Some(s), Some(c)) = (self.spoken.get_mut(&speech), self.crossings.get(&callout)) {
                    s.mark = Some((c.clone(), wanted));
                }
            }
            Note::PutOff { what, state } => {
                self.tell(Side::Flight, self.now, &format!("put off: {what} ({state})"));
            }
            Note::Briefing { briefing, topic, state } => {
                let what = if topic.is_empty() { briefing } else { format!("{briefing}/{topic}") };
                self.tell(Side::Flight, self.now, &format!("{what}: {state}"));
            }
            Note::Radio { clearance, state, .. } if state != "given" => {
                self.tell(Side::Flight, self.now, &format!("radio, {clearance}: {}", state.replace('_', " ")));
            }
            Note::Surprise { surprise } => self.tell(Side::Flight, self.now, &format!("surprise: {surprise}")),
            Note::NotDone { what, why } => {
                self.tell(Side::Flight, self.now, &format!("not done: {what} ({why})"));
                self.report.not_done.push((what, why));
            }
            Note::Item { .. }
            | Note::Callout { .. }
            | Note::Passed { .. }
            | Note::Flow { .. }
            | Note::Limit { .. }
            | Note::Sheet { .. }
            | Note::SheetOpen { .. }
            | Note::SheetChecked { .. }
            | Note::SheetCheck { .. }
            | Note::SheetCompare { .. }
            | Note::Reopened { .. }
            | Note::Assumed { .. }
            | Note::Radio { .. }
            | Note::Survey { .. } => {}
        }
    }

    /// Everything that has become of speech until now.
    pub(super) fn voice(&mut self) -> Result<(), AppError> {
        for event in self.queue.advance(self.now) {
            match event {
                VoiceEvent::Start { id, at } => self.sounds(id, at)?,
                VoiceEvent::End { id, at, cut } => self.ended(id, at, cut)?,
                VoiceEvent::Dropped { id, at, why } => {
                    if let Some(s) = self.spoken.remove(&id) {
                        let text = format!("not said: \u{201c}{}\u{201d} ({})", s.speech.text, why.why());
                        self.tell(Side::Flight, at, &text);
                        self.put(at, Event::Input(Input::SpeechEnded { id, cut: true }));
                    }
                }
            }
        }
        Ok(())
    }

    /// Sound is counted from where this session began, which may be a resumed one.
    pub(super) fn sample_at(&self, at: SessionTime) -> u64 {
        ((at.0 - self.origin.0).max(0) as u64) * u64::from(EAR_RATE) / 1_000_000
    }

    fn sounds(&mut self, id: u64, at: SessionTime) -> Result<(), AppError> {
        let Some(s) = self.spoken.get_mut(&id) else { return Ok(()) };
        s.began = true;
        let (station, text) = (s.speech.station, s.speech.text.clone());
        self.parts.speaker.begin(id, station, &text);
        self.tell_ear(Some(&text));
        self.play(id, at)?;
        self.hands.events.push(script::Event::SpokenStarted { station, text: text.clone() });
        self.tell(Side::Crew(station), at, &text);
        self.mark(id, at, Due::Onset)?;
        self.put(at, Event::Input(Input::SpeechStarted { id }));
        Ok(())
    }

    /// The samples of speech sound from `at` on.
    pub(super) fn play(&mut self, id: u64, at: SessionTime) -> Result<(), AppError> {
        let Some(s) = self.spoken.get(&id) else { return Ok(()) };
        self.parts.speaker.start(id, &s.pcm);
        let (samples, rate) = (s.pcm.samples.clone(), s.pcm.rate);
        if self.parts.recorder.is_some() {
            let samples: Arc<[f32]> = if rate == EAR_RATE {
                samples
            } else {
                crate::edge::audio::resample::resample(&samples, rate, EAR_RATE)?.into()
            };
            self.crew_out.start(id, samples, self.sample_at(at));
        }
        Ok(())
    }

    fn ended(&mut self, id: u64, at: SessionTime, cut: bool) -> Result<(), AppError> {
        self.tell_ear(None);
        self.parts.speaker.end(id, cut);
        if cut {
            self.parts.speaker.cut(id);
            self.crew_out.cut(id, self.sample_at(at));
        } else {
            self.mark(id, at, Due::End)?;
        }
        if let Some(s) = self.spoken.remove(&id)
            && s.began
        {
            let Speech { station, text, .. } = s.speech;
            self.hands.events.push(script::Event::SpokenEnded { station, text, cut });
        }
        self.put(at, Event::Input(Input::SpeechEnded { id, cut }));
        Ok(())
    }

    /// Measures a callout: the signal's value at the moment its due end sounded.
    fn mark(&mut self, id: u64, at: SessionTime, end: Due) -> Result<(), AppError> {
        let Some((c, wanted)) = self.spoken.get(&id).and_then(|s| s.mark.clone()) else { return Ok(()) };
        if c.due != end {
            return Ok(());
        }
        let Some(now) = self.parts.link.values().get(&c.signal).and_then(|v| v.number()) else { return Ok(()) };
        // Between frames the signal goes on as it went from the last frame to this one.
        let before = self.before.get(&c.signal).copied().unwrap_or(now);
        let since = at.since(self.parts.link.session_at(self.parts.link.sim()));
        let actual = now + (now - before) * (since / self.frame_s).clamp(0.0, 1.0);
        self.report.marks.push(Mark { callout: c.callout.clone(), signal: c.signal, wanted, actual, due: end });
        self.measure(&[("callout_error", actual - wanted)])
    }

    /// One block of sound: the microphone to the ear, both sides to the recording.
    pub(super) fn block(&mut self) -> Result<(), AppError> {
        self.blocks += 1;
        let mut mic = [0.0f32; BLOCK];
        self.mic.fill(&mut mic);
        if let Some(noise) = &mut self.parts.noise {
            noise(&mut mic);
        }
        if let super::Ears::Sound(ear) = &mut self.parts.ears {
            ear.microphone(&mut mic);
        }
        if let Some(r) = &mut self.parts.recorder {
            let mut crew = [0.0f32; BLOCK];
            self.crew_out.fill(&mut crew);
            r.push(&mic, &crew)?;
        }
        let super::Ears::Sound(ear) = &mut self.parts.ears else { return Ok(()) };
        let news = match caught(|| ear.feed(&mic)) {
            Some(news) => news,
            None => {
                self.room_failed("ear", "the ear stopped over a block of sound; it goes on with the next");
                Vec::new()
            }
        };
        self.ear_news(news);
        self.voice()
    }
}

/// A panic in a room at the edge is caught here: the rest goes on.
pub(super) fn caught<T>(work: impl FnOnce() -> T) -> Option<T> {
    std::panic::catch_unwind(std::panic::AssertUnwindSafe(work)).ok()
}
