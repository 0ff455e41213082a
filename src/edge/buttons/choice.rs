//! Which button is for what, as it stands in `sound.toml`.

use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// What a button is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, clap::ValueEnum)]
#[serde(rename_all = "snake_case")]
pub enum Does {
    /// Push-to-talk: held while you speak.
    Talk,
    /// As the word "hold": list and flow stop where they are.
    Hold,
    /// As the word "disregard".
    Disregard,
}

impl Does {
    /// The word for it, as it is written.
    pub fn word(self) -> &'static str {
        match self {
            Does::Talk => "talk",
            Does::Hold => "hold",
            Does::Disregard => "disregard",
        }
    }
}

/// Where a button is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum On {
    /// On a controller: its name, and the number that the system gives the button.
    Controller {
        /// The controller's name.
        controller: String,
        /// The number, as the system has it.
        button: u32,
    },
    /// A signal of the aircraft that is true while the button is held.
    Signal {
        /// Its name in the book.
        signal: String,
    },
    /// The Enter key of the terminal. A terminal does not tell when a key is let go: once presses, once more releases.
    Key {
        /// The key.
        key: Key,
    },
}

/// A key of the terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Key {
    /// Enter.
    Enter,
}

/// A button that somebody chose.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Button {
    /// What it is for.
    pub does: Does,
    /// Where it is.
    #[serde(flatten)]
    pub on: On,
}

/// `talk=enter`, `talk=signal:NAME`, `hold=none`: `None` takes the button away.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish(pub Does, pub Option<On>);

impl FromStr for Wish {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let said = "a button is talk, hold or disregard, and where it is: talk=enter, talk=signal:NAME or talk=none; \
                    for one on a controller run antiphon doctor --button talk and press it";
        let (does, on) = text.split_once('=').ok_or(said)?;
        let all = [Does::Talk, Does::Hold, Does::Disregard];
        let does = all.into_iter().find(|d| d.word() == does.trim()).ok_or(said)?;
        match on.trim().split_once(':') {
            None if on.trim() == "enter" && does == Does::Talk => Ok(Wish(does, Some(On::Key { key: Key::Enter }))),
            None if on.trim() == "none" => Ok(Wish(does, None)),
            Some(("signal", name)) if !name.trim().is_empty() => {
                Ok(Wish(does, Some(On::Signal { signal: name.trim().into() })))
            }
            _ => Err(said.into()),
        }
    }
}

impl Wish {
    /// Puts it among the others: one button a purpose.
    pub fn carry_out(&self, buttons: &mut Vec<Button>) {
        buttons.retain(|b| b.does != self.0);
        buttons.extend(self.1.clone().map(|on| Button { does: self.0, on }));
    }
}

impl std::fmt::Display for On {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            On::Controller { controller, button } => write!(f, "button {button} of {controller}"),
            On::Signal { signal } => write!(f, "the signal {signal}"),
            On::Key { key: Key::Enter } => f.write_str("Enter (once to talk, once more when you have spoken)"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, PartialEq, Serialize, Deserialize)]
    struct File {
        buttons: Vec<Button>,
    }

    #[test]
    fn buttons_are_written_as_a_person_would() {
        let text = "[[buttons]]\ndoes = \"talk\"\ncontroller = \"Yoke\"\nbutton = 65824\n\n\
                    [[buttons]]\ndoes = \"hold\"\nsignal = \"hold_button\"\n\n\
                    [[buttons]]\ndoes = \"talk\"\nkey = \"enter\"\n";
        let file: File = toml::from_str(text).unwrap();
        assert_eq!(file.buttons[2], Button { does: Does::Talk, on: On::Key { key: Key::Enter } });
        assert_eq!(toml::to_string(&file).unwrap(), text);
        assert!(toml::from_str::<File>("[[buttons]]\ndoes = \"talk\"\nkey = \"space\"\n").is_err());
        assert!(toml::from_str::<File>("[[buttons]]\ndoes = \"sing\"\nkey = \"enter\"\n").is_err());
    }

    #[test]
    fn a_wish_takes_the_place_of_the_old_button() {
        let mut buttons = Vec::new();
        let mut check = |wish: &str, left: &[&str]| {
            wish.parse::<Wish>().unwrap().carry_out(&mut buttons);
            assert_eq!(buttons.iter().map(|b| b.on.to_string()).collect::<Vec<_>>(), left, "{wish}");
        };
        check("talk=signal:ptt", &["the signal ptt"]);
        check("hold = signal:h", &["the signal ptt", "the signal h"]);
        check("talk=enter", &["the signal h", "Enter (once to talk, once more when you have spoken)"]);
        check("hold=none", &["Enter (once to talk, once more when you have spoken)"]);
        for wrong in ["talk", "sing=enter", "hold=enter", "talk=signal:", "talk=space"] {
            assert!(wrong.parse::<Wish>().unwrap_err().contains("antiphon doctor --button talk"), "{wrong}");
        }
    }
}
