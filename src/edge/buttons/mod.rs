//! Buttons: push-to-talk, hold and disregard, on a controller, a yoke, a key or a signal of the simulator.
//!
//! [`Pads`] is where presses come from ([`pads`] has the real ones), [`Hands`] says what each means. A controller that
//! vanishes while a button is held never says so: whatever it held is released.

pub mod choice;
pub mod pads;

pub use choice::{Button, Does, Key, On, Wish};

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// A button of a controller: the controller's name and a number that the system gives.
pub type Place = (String, u32);

/// What happens on controllers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PadEvent {
    /// A button went down.
    Down(Place),
    /// A button went up.
    Up(Place),
    /// A controller is there.
    Here(String),
    /// A controller is gone.
    Gone(String),
}

/// Where presses come from.
pub trait Pads {
    /// The next thing that happens within this time.
    fn next(&mut self, limit: Duration) -> Option<PadEvent>;
    /// The controllers that are there, by name.
    fn names(&self) -> Vec<String>;
}

/// What has become of the buttons that somebody chose.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Told {
    /// Pressed or released.
    Button {
        /// What it is for.
        does: Does,
        /// Down or up.
        held: bool,
    },
    /// The controller that has buttons of ours is gone; what it held has been released.
    Lost(String),
    /// It is there again.
    Back(String),
}

/// What presses mean.
#[derive(Debug, Clone, Default)]
pub struct Hands {
    does: BTreeMap<Place, Does>,
    held: BTreeSet<Place>,
    gone: BTreeSet<String>,
}

impl Hands {
    /// By what was chosen; buttons that are on no controller are not looked at.
    pub fn new(buttons: &[Button]) -> Hands {
        let on_pad = |b: &Button| match &b.on {
            On::Controller { controller, button } => Some(((controller.clone(), *button), b.does)),
            _ => None,
        };
        Hands { does: buttons.iter().filter_map(on_pad).collect(), ..Hands::default() }
    }

    /// Whether any button is on a controller.
    pub fn any(&self) -> bool {
        !self.does.is_empty()
    }

    /// What an event means; in order.
    pub fn take(&mut self, event: PadEvent) -> Vec<Told> {
        match event {
            PadEvent::Down(at) => match self.does.get(&at) {
                Some(does) if self.held.insert(at) => vec![Told::Button { does: *does, held: true }],
                _ => Vec::new(),
            },
            PadEvent::Up(at) => match self.does.get(&at) {
                Some(does) if self.held.remove(&at) => vec![Told::Button { does: *does, held: false }],
                _ => Vec::new(),
            },
            PadEvent::Gone(name) => {
                let ours = self.does.keys().any(|p| p.0 == name);
                if !ours || !self.gone.insert(name.clone()) {
                    return Vec::new();
                }
                let (stuck, held) = std::mem::take(&mut self.held).into_iter().partition(|p: &Place| p.0 == name);
                self.held = held;
                let released = |p: &Place| Told::Button { does: self.does[p], held: false };
                let stuck: BTreeSet<Place> = stuck;
                stuck.iter().map(released).chain([Told::Lost(name)]).collect()
            }
            PadEvent::Here(name) if self.gone.remove(&name) => vec![Told::Back(name)],
            PadEvent::Here(_) => Vec::new(),
        }
    }
}

/// Watches from a thread of its own until nobody listens any more.
///
/// # Errors
/// No thread can be had.
pub fn watch(
    open: impl FnOnce() -> Option<Box<dyn Pads>> + Send + 'static,
    mut hands: Hands,
    tell: impl Fn(Told) -> bool + Send + 'static,
) -> std::io::Result<()> {
    let work = move || {
        let Some(mut pads) = open() else { return };
        // One that was chosen and is not there at the beginning is said to be lost like one that goes later.
        let there = pads.names();
        let chosen: BTreeSet<String> = hands.does.keys().map(|p| p.0.clone()).collect();
        for name in chosen.into_iter().filter(|n| !there.contains(n)) {
            hands.take(PadEvent::Gone(name.clone()));
            if !tell(Told::Lost(name)) {
                return;
            }
        }
        loop {
            let Some(event) = pads.next(Duration::from_millis(500)) else { continue };
            for told in hands.take(event) {
                if !tell(told) {
                    return;
                }
            }
        }
    };
    std::thread::Builder::new().name("buttons".into()).spawn(work).map(drop)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn yoke(button: u32) -> Place {
        ("Yoke".into(), button)
    }

    fn on(does: Does, controller: &str, button: u32) -> Button {
        Button { does, on: On::Controller { controller: controller.into(), button } }
    }

    fn hands() -> Hands {
        Hands::new(&[
            on(Does::Talk, "Yoke", 7),
            on(Does::Hold, "Yoke", 8),
            on(Does::Disregard, "Throttle", 7),
            Button { does: Does::Talk, on: On::Key { key: Key::Enter } },
        ])
    }

    #[test]
    fn a_press_means_what_was_chosen_and_counts_once() {
        use PadEvent::{Down, Up};
        let mut hands = hands();
        let mut check = |event: PadEvent, wanted: &[(Does, bool)]| {
            let wanted: Vec<Told> =
                wanted.iter().map(|(does, held)| Told::Button { does: *does, held: *held }).collect();
            assert_eq!(hands.take(event.clone()), wanted, "{event:?}");
        };
        check(Down(yoke(7)), &[(Does::Talk, true)]);
        check(Down(yoke(7)), &[]);
        check(Down(yoke(9)), &[]);
        check(Down(("Throttle".into(), 7)), &[(Does::Disregard, true)]);
        check(Up(yoke(7)), &[(Does::Talk, false)]);
        check(Up(yoke(7)), &[]);
    }

    #[test]
    fn a_controller_that_vanishes_releases_what_it_held_and_is_told_once() {
        let mut hands = hands();
        hands.take(PadEvent::Down(yoke(7)));
        hands.take(PadEvent::Down(("Throttle".into(), 7)));
        let gone = || PadEvent::Gone("Yoke".into());
        let wanted = [Told::Button { does: Does::Talk, held: false }, Told::Lost("Yoke".into())];
        assert_eq!(hands.take(gone()), wanted);
        assert_eq!(hands.take(gone()), []);
        assert_eq!(hands.take(PadEvent::Gone("Pedals".into())), [], "no button of ours");
        assert_eq!(hands.take(PadEvent::Here("Yoke".into())), [Told::Back("Yoke".into())]);
        assert_eq!(hands.take(PadEvent::Down(yoke(7))), [Told::Button { does: Does::Talk, held: true }]);
        let other = Told::Button { does: Does::Disregard, held: false };
        assert_eq!(hands.take(PadEvent::Up(("Throttle".into(), 7))), [other], "the other one was held on");
    }
}
