//! The pilot's buttons, as the command line and `sound.toml` name them.

use super::Failure;
use crate::core::book::Book;
use crate::edge::app::News;
use crate::edge::buttons::pads::Controllers;
use crate::edge::buttons::{self, Button, Does, Hands, On, PadEvent, Pads, Wish};
use crate::edge::store::Choices;
use std::io::BufRead;
use std::sync::mpsc::Sender;
use std::time::{Duration, Instant};

/// The buttons of last time with the wishes of this time.
pub fn settle(last: &Choices, wishes: &[Wish], book: &Book) -> Result<Vec<Button>, Failure> {
    let mut all = last.buttons.clone();
    for wish in wishes {
        if let Wish(_, Some(On::Signal { signal })) = wish
            && book.signals.iter().all(|s| s.id != *signal)
        {
            let near = book.signals.iter().map(|s| (strsim::jaro_winkler(&s.id, signal), &s.id));
            let near = near.max_by(|a, b| a.0.total_cmp(&b.0)).filter(|n| n.0 > 0.75);
            let near = near.map(|n| format!(", did you mean {}?", n.1)).unwrap_or_default();
            return Err(Failure::new(format!("the book has no signal \u{201c}{signal}\u{201d}{near}")));
        }
        wish.carry_out(&mut all);
    }
    Ok(all)
}

/// The buttons that are signals of the aircraft.
pub fn signals(buttons: &[Button]) -> Vec<(Does, String)> {
    let one = |b: &Button| match &b.on {
        On::Signal { signal } => Some((b.does, signal.clone())),
        _ => None,
    };
    buttons.iter().filter_map(one).collect()
}

/// One line about each button.
pub fn told(buttons: &[Button]) -> String {
    buttons.iter().map(|b| format!("{}: {}\n", b.does.word(), b.on)).collect()
}

/// Watches controllers and the Enter key; `keyboard`: whether nothing else reads the terminal.
pub fn watch(buttons: &[Button], keyboard: bool, send: &Sender<News>) -> Result<(), Failure> {
    let hands = Hands::new(buttons);
    if hands.any() {
        let to = send.clone();
        let open = || match Controllers::open() {
            Ok(pads) => Some(Box::new(pads) as Box<dyn Pads>),
            Err(why) => {
                eprintln!("antiphon: {why}");
                None
            }
        };
        let started = buttons::watch(open, hands, move |told| to.send(told.into()).is_ok());
        started.map_err(|e| Failure::new(format!("the buttons cannot be watched ({e}); close other programs")))?;
    }
    if keyboard && buttons.iter().any(|b| matches!(b.on, On::Key { .. })) {
        let send = send.clone();
        std::thread::spawn(move || {
            let mut held = false;
            for line in std::io::stdin().lock().lines() {
                held = !held;
                if line.is_err() || send.send(News::Button { does: Does::Talk, held }).is_err() {
                    return;
                }
                eprintln!("{}", if held { "talk: go on" } else { "talk: over" });
            }
        });
    }
    Ok(())
}

/// Waits for a press of any button.
pub fn pressed(pads: &mut dyn Pads, limit: Duration) -> Option<(String, u32)> {
    let end = Instant::now() + limit;
    while let Some(left) = end.checked_duration_since(Instant::now()) {
        if let Some(PadEvent::Down(at)) = pads.next(left.min(Duration::from_millis(200))) {
            return Some(at);
        }
    }
    None
}

/// Lets the pilot press the button that he wants, and remembers it.
pub fn learn(does: Does, pads: &mut dyn Pads, limit: Duration) -> Result<String, Failure> {
    let there = pads.names();
    if there.is_empty() {
        return Err(Failure::new(format!(
            "no controller is there: plug one in and run it again; or give a key, antiphon fly --button {}=enter",
            Does::Talk.word()
        )));
    }
    outln!("press the button for {} on {} …", does.word(), there.join(" or "));
    let Some((controller, button)) = pressed(pads, limit) else {
        return Err(Failure::new(format!(
            "no press has arrived within {} s: press a button, not a lever, and see whether the system shows it",
            limit.as_secs()
        )));
    };
    let file =
        Choices::file().ok_or_else(|| Failure::new("there is no folder to remember it in; set XDG_CONFIG_HOME"))?;
    let mut choices = Choices::read(&file);
    let on = On::Controller { controller, button };
    let said = format!("{}: {on}, remembered in {}", does.word(), file.display());
    Wish(does, Some(on)).carry_out(&mut choices.buttons);
    choices.write(&file).map_err(Failure)?;
    Ok(said)
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Pressed(Vec<PadEvent>, Vec<String>);

    impl Pads for Pressed {
        fn next(&mut self, _: Duration) -> Option<PadEvent> {
            if self.0.is_empty() { None } else { Some(self.0.remove(0)) }
        }
        fn names(&self) -> Vec<String> {
            self.1.clone()
        }
    }

    #[test]
    fn without_a_controller_or_a_press_it_says_what_to_do() {
        let mut none = Pressed(Vec::new(), Vec::new());
        let said = learn(Does::Talk, &mut none, Duration::ZERO).unwrap_err().0;
        assert!(said.starts_with("no controller is there: plug one in"), "{said}");
        let mut dumb = Pressed(vec![PadEvent::Up(("Yoke".into(), 1))], vec!["Yoke".into()]);
        let said = learn(Does::Talk, &mut dumb, Duration::from_millis(5)).unwrap_err().0;
        assert!(said.starts_with("no press has arrived within 0 s"), "{said}");
        let events = vec![PadEvent::Here("Yoke".into()), PadEvent::Down(("Yoke".into(), 65_824))];
        let mut yoke = Pressed(events, vec!["Yoke".into()]);
        assert_eq!(pressed(&mut yoke, Duration::from_secs(5)), Some(("Yoke".into(), 65_824)));
    }
}
