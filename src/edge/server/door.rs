//! Who may come in: Host and Origin, and on a network a code that counts once.

use std::net::{IpAddr, SocketAddr};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Letters of a code: none that can be taken for another.
const LETTERS: &[u8] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
/// Letters in a code: 40 bits, at one try a second.
const CODE: usize = 8;
/// After so many wrong codes a new one is drawn.
const TRIES: u32 = 5;
/// After a wrong code no other is looked at for so long.
const WAIT: Duration = Duration::from_secs(1);
/// At most so many devices are let in; a further one puts the first out.
const DEVICES: usize = 8;

/// The door of a page that listens at one address.
pub struct Door {
    port: u16,
    /// Codes are asked for: the address can be reached from other machines.
    open: Option<Mutex<Codes>>,
}

struct Codes {
    code: String,
    wrong: u32,
    wrong_at: Option<Instant>,
    devices: Vec<String>,
}

/// What becomes of a code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Entry {
    /// Let in with this secret; the code has been used up, and this is the next.
    In {
        /// What the device shows from now on.
        secret: String,
        /// For the terminal.
        next: String,
    },
    /// Wrong. If a new code was drawn over it, here it is.
    Wrong(Option<String>),
    /// Too soon after a wrong one.
    Wait,
}

fn random(n: usize) -> Result<Vec<u8>, String> {
    let mut bytes = vec![0; n];
    getrandom::fill(&mut bytes).map_err(|e| {
        format!("this machine gives no random numbers ({e}), so the page cannot be guarded; use --page off")
    })?;
    Ok(bytes)
}

fn code() -> Result<String, String> {
    // 32 letters divide 256: none is likelier than another.
    Ok(random(CODE)?.iter().map(|b| char::from(LETTERS[*b as usize % LETTERS.len()])).collect())
}

/// A number that nobody guesses, as hex.
pub fn secret() -> Result<String, String> {
    Ok(random(16)?.iter().map(|b| format!("{b:02x}")).collect())
}

/// Takes as long whatever differs.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |d, (x, y)| d | (x ^ y)) == 0
}

impl Door {
    /// The door of an address.
    ///
    /// # Errors
    /// When the machine has no random numbers.
    pub fn new(at: SocketAddr) -> Result<Door, String> {
        let open = if at.ip().is_loopback() {
            None
        } else {
            Some(Mutex::new(Codes { code: code()?, wrong: 0, wrong_at: None, devices: Vec::new() }))
        };
        Ok(Door { port: at.port(), open })
    }

    /// The code that lets the next device in; none is needed from this machine only.
    pub fn code(&self) -> Option<String> {
        let codes = self.open.as_ref()?.lock().unwrap_or_else(PoisonError::into_inner);
        Some(codes.code.clone())
    }

    /// Whether a request was addressed to this page by number or as this machine: a name of somebody else's that points
    /// here (DNS rebinding) is not.
    pub fn host(&self, host: Option<&str>) -> bool {
        let Some(host) = host else { return false };
        if let Ok(at) = host.parse::<SocketAddr>() {
            return at.port() == self.port && (self.open.is_some() || at.ip().is_loopback());
        }
        let (name, port) = host.rsplit_once(':').map_or((host, "80"), |(n, p)| (n, p));
        let here = name.eq_ignore_ascii_case("localhost")
            || name.trim_matches(['[', ']']).parse::<IpAddr>().is_ok_and(|ip| self.open.is_some() || ip.is_loopback());
        here && port.parse() == Ok(self.port)
    }

    /// Whether what asks for a change comes from the page itself.
    pub fn origin(&self, origin: Option<&str>, host: Option<&str>) -> bool {
        match (origin.and_then(|o| o.strip_prefix("http://")), host) {
            (Some(origin), Some(host)) => origin.eq_ignore_ascii_case(host) && self.host(Some(host)),
            _ => false,
        }
    }

    /// Whether a device has been let in, by its `Cookie` header.
    pub fn known(&self, cookies: Option<&str>) -> bool {
        let Some(open) = &self.open else { return true };
        let codes = open.lock().unwrap_or_else(PoisonError::into_inner);
        let shown = cookies.unwrap_or_default().split(';').filter_map(|c| c.trim().strip_prefix("antiphon="));
        shown.into_iter().any(|s| codes.devices.iter().any(|d| same(d, s)))
    }

    /// Tries a code at `now`.
    ///
    /// # Errors
    /// When the machine has no random numbers.
    pub fn enter(&self, tried: &str, now: Instant) -> Result<Entry, String> {
        let Some(open) = &self.open else { return Ok(Entry::Wrong(None)) };
        let mut codes = open.lock().unwrap_or_else(PoisonError::into_inner);
        if codes.wrong_at.is_some_and(|t| now.saturating_duration_since(t) < WAIT) {
            return Ok(Entry::Wait);
        }
        let tried: String = tried.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_uppercase();
        if same(&tried, &codes.code) {
            let secret = secret()?;
            codes.code = code()?;
            codes.wrong = 0;
            codes.devices.push(secret.clone());
            if codes.devices.len() > DEVICES {
                codes.devices.remove(0);
            }
            return Ok(Entry::In { secret, next: codes.code.clone() });
        }
        codes.wrong += 1;
        codes.wrong_at = Some(now);
        if codes.wrong < TRIES {
            return Ok(Entry::Wrong(None));
        }
        codes.wrong = 0;
        codes.code = code()?;
        Ok(Entry::Wrong(Some(codes.code.clone())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn door(at: &str) -> Door {
        Door::new(at.parse().unwrap()).unwrap()
    }

    #[test]
    fn hosts() {
        let check = |at: &str, host: &str, want: bool| assert_eq!(door(at).host(Some(host)), want, "{at} {host}");
        for at in ["127.0.0.1:7319", "0.0.0.0:7319"] {
            check(at, "127.0.0.1:7319", true);
            check(at, "localhost:7319", true);
            check(at, "[::1]:7319", true);
            check(at, "127.0.0.1:80", false);
            check(at, "localhost", false);
            check(at, "evil.example:7319", false);
            check(at, "127.0.0.1.evil.example:7319", false);
            check(at, "", false);
        }
        check("127.0.0.1:7319", "192.168.1.5:7319", false);
        check("0.0.0.0:7319", "192.168.1.5:7319", true);
        assert!(!door("127.0.0.1:1").host(None));
    }

    #[test]
    fn origins() {
        let d = door("127.0.0.1:7319");
        let check = |o: Option<&str>, h: Option<&str>, want| assert_eq!(d.origin(o, h), want, "{o:?} {h:?}");
        check(Some("http://localhost:7319"), Some("localhost:7319"), true);
        check(Some("http://127.0.0.1:7319"), Some("localhost:7319"), false);
        check(Some("http://evil.example:7319"), Some("evil.example:7319"), false);
        check(Some("https://localhost:7319"), Some("localhost:7319"), false);
        check(Some("null"), Some("localhost:7319"), false);
        check(None, Some("localhost:7319"), false);
    }

    #[test]
    fn a_code_counts_once() {
        let d = door("0.0.0.0:7319");
        let now = Instant::now();
        let first = d.code().unwrap();
        assert!(!d.known(None));
        let Entry::In { secret, next } = d.enter(&first.to_lowercase(), now).unwrap() else { panic!("not let in") };
        assert!(d.known(Some(&format!("a=b; antiphon={secret}"))));
        assert!(!d.known(Some("antiphon=")));
        assert_eq!(d.code(), Some(next));
        assert_eq!(d.enter(&first, now).unwrap(), Entry::Wrong(None));
        assert!(door("127.0.0.1:1").code().is_none() && door("127.0.0.1:1").known(None));
    }

    #[test]
    fn guessing_is_slow_and_changes_the_code() {
        let d = door("0.0.0.0:7319");
        let first = d.code().unwrap();
        let mut now = Instant::now();
        for i in 1..=TRIES {
            assert_eq!(d.enter("WRONG", now).unwrap() != Entry::Wrong(None), i == TRIES);
            assert_eq!(d.enter(&first, now).unwrap(), Entry::Wait);
            now += WAIT;
        }
        assert_ne!(d.code().unwrap(), first);
        assert_ne!(d.enter(&first, now).unwrap(), Entry::Wait);
        assert!(!d.known(None));
    }
}
