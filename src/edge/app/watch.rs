//! Somebody who looks on: the page.

use super::{App, AppError, Event};
use crate::core::aircraft::Value;
use crate::core::book::schema::Source;
use crate::core::crew::io::{Action, Engine, Input};
use crate::core::time::SessionTime;
use crate::edge::buttons::Does;

/// Is told of every step and may look at the engine between two of them. It must not take long.
pub trait Watcher {
    /// One input, and what the engine asked for because of it.
    fn saw(&mut self, at: SessionTime, input: &Input, actions: &[Action]);
    /// Between two steps; called at least as often as the aircraft gives frames.
    fn look(&mut self, engine: &dyn Engine);
}

/// What a touch on the page does beside saying words.
#[derive(Debug, Clone, PartialEq)]
pub enum Touch {
    /// Push-to-talk is held or released.
    Talk(bool),
    /// The pilot writes on the flight sheet.
    Sheet {
        /// The entry's name.
        entry: String,
        /// The new value, of its type.
        value: Value,
    },
}

impl App {
    /// A touch becomes what it stands for, at `now`.
    pub(super) fn touched(&mut self, touch: Touch, now: SessionTime) -> Result<(), AppError> {
        match touch {
            Touch::Sheet { entry, value } => {
                let values = [(entry, value)].into();
                self.put(now, Event::Input(Input::Sheet { values, source: Source::Typed }));
            }
            Touch::Talk(held) => self.button(Does::Talk, held, now),
        }
        Ok(())
    }
}
