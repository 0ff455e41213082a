//! What a speaker that sounds by itself tells the loop.

use super::{App, AppError};
use crate::edge::speaker::VoiceNews;

impl App {
    /// Takes it in: once a frame.
    pub(super) fn voice_news(&mut self) -> Result<(), AppError> {
        for news in self.parts.speaker.news() {
            match news {
                VoiceNews::Ended { id } => self.queue.retime(self.now, id, 0.0),
                VoiceNews::Instead { id, pcm } => {
                    self.queue.retime(self.now, id, pcm.duration_s());
                    if let Some(s) = self.spoken.get_mut(&id) {
                        s.pcm = pcm;
                        self.play(id, self.now)?;
                    }
                }
                VoiceNews::Trouble { room, why } => {
                    self.tell(super::Side::Flight, self.now, &why);
                    self.room_failed(&room, &why);
                }
            }
        }
        self.voice()
    }
}
