//! The page of a session, on the command line.

use super::Failure;
use crate::core::book::Book;
use crate::core::page::Rooms;
use crate::edge::app::{News, Watcher};
use crate::edge::server::{self, Page};
use std::net::SocketAddr;
use std::str::FromStr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::mpsc::Sender;

/// `--page ADDR|off`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// No page.
    Off,
    /// On this machine, at a free port if the usual one is taken.
    Usual,
    /// Here and nowhere else.
    At(SocketAddr),
}

/// Where the page is served unless told otherwise.
pub const USUAL: SocketAddr = SocketAddr::new(std::net::IpAddr::V4(std::net::Ipv4Addr::LOCALHOST), 7319);

impl FromStr for Choice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        if text == "off" {
            return Ok(Choice::Off);
        }
        if text == "usual" {
            return Ok(Choice::Usual);
        }
        text.parse().map(Choice::At).map_err(|_| {
            format!("\u{201c}{text}\u{201d} is no address; write one like 127.0.0.1:7319, 0.0.0.0:7319 for your network, or off")
        })
    }
}

/// A page that is served, and who looks on for it.
pub type Served = (Option<Page>, Option<Box<dyn Watcher>>);

/// Serves the page if it is wanted. Its touches go to `send`.
pub fn serve(choice: Choice, book: &Arc<Book>, rooms: Rooms, send: &Sender<News>) -> Result<Served, Failure> {
    let open = |at: SocketAddr| {
        let send = Mutex::new(send.clone());
        let send = move |news| send.lock().is_ok_and(|s| s.send(news).is_ok());
        server::open(at, book.clone(), rooms.clone(), Box::new(send), Box::new(|line| eprintln!("{line}")))
    };
    let opened = match choice {
        Choice::Off => return Ok((None, None)),
        Choice::At(at) => open(at),
        Choice::Usual => open(USUAL).or_else(|_| open(SocketAddr::new(USUAL.ip(), 0))),
    };
    let (page, onlooker) = opened.map_err(Failure)?;
    eprintln!("{}", page.invitation);
    Ok((Some(page), Some(Box::new(onlooker))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses() {
        let check = |text: &str, want: Option<Choice>| assert_eq!(text.parse::<Choice>().ok(), want, "{text}");
        check("off", Some(Choice::Off));
        check("127.0.0.1:7319", Some(Choice::At(USUAL)));
        check("[::1]:80", Some(Choice::At("[::1]:80".parse().unwrap())));
        check("7319", None);
        check("localhost", None);
    }
}
