//! Real controllers. The only file that names the controller library.

use super::{PadEvent, Pads};
use gilrs::{EventType, Gilrs, GilrsBuilder};
use std::time::Duration;

/// All controllers that the system has: gamepads, joysticks, yokes.
pub struct Controllers(Gilrs);

impl Controllers {
    /// Looks for them.
    ///
    /// # Errors
    /// One sentence when the system has no way to see any.
    pub fn open() -> Result<Controllers, String> {
        // Buttons are told by their own numbers: no table of gamepads and no filter for their sticks is wanted.
        let built = GilrsBuilder::new().with_default_filters(false).add_included_mappings(false).build();
        built.map(Controllers).map_err(|e| {
            format!("no controller can be seen ({e}); on Linux this needs udev, and a user who may read /dev/input")
        })
    }
}

impl Pads for Controllers {
    fn next(&mut self, limit: Duration) -> Option<PadEvent> {
        let event = self.0.next_event_blocking(Some(limit))?;
        let name = self.0.gamepad(event.id).os_name().to_string();
        match event.event {
            EventType::ButtonPressed(_, code) => Some(PadEvent::Down((name, code.into_u32()))),
            EventType::ButtonReleased(_, code) => Some(PadEvent::Up((name, code.into_u32()))),
            EventType::Connected => Some(PadEvent::Here(name)),
            EventType::Disconnected => Some(PadEvent::Gone(name)),
            _ => None,
        }
    }

    fn names(&self) -> Vec<String> {
        self.0.gamepads().map(|(_, pad)| pad.os_name().to_string()).collect()
    }
}
