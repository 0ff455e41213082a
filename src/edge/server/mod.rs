//! The page: served by the program itself, in a thread of its own with a runtime of its own.
//!
//! [`open`] binds, starts the thread and gives back the [`Onlooker`] that the loop tells of every step. Touches come back as
//! [`News`], as typed words do.

mod door;
mod feed;
mod routes;
mod serve;

pub use feed::{Onlooker, Sheaf};

use crate::core::book::Book;
use crate::core::page::{Model, Rooms};
use crate::edge::app::News;
use door::Door;
use std::net::{IpAddr, SocketAddr, UdpSocket};
use std::sync::Arc;
use tokio::sync::watch;

/// Gives a touch to the loop; false when the session is over.
pub type Send = Box<dyn Fn(News) -> bool + core::marker::Send + Sync>;
/// Tells a line on the terminal.
pub type Tell = Box<dyn Fn(&str) + core::marker::Send + Sync>;

/// A page that is being served; when dropped, it lets its clients know and ends.
pub struct Page {
    /// Where it listens.
    pub at: SocketAddr,
    /// What to open, and with a code how to come in: for the terminal.
    pub invitation: String,
    end: Option<tokio::sync::oneshot::Sender<()>>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Drop for Page {
    fn drop(&mut self) {
        drop(self.end.take());
        if let Some(t) = self.thread.take() {
            // A thread that has panicked has nothing more to say.
            let _ = t.join();
        }
    }
}

/// Serves the page at an address.
///
/// # Errors
/// One sentence when the address cannot be used.
pub fn open(at: SocketAddr, book: Arc<Book>, rooms: Rooms, send: Send, tell: Tell) -> Result<(Page, Onlooker), String> {
    let listener = std::net::TcpListener::bind(at)
        .map_err(|e| format!("the page cannot be served at {at} ({e}); give another address with --page"))?;
    let broken = |e| format!("the page cannot be served ({e}); use --page off");
    listener.set_nonblocking(true).map_err(broken)?;
    let at = listener.local_addr().map_err(broken)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(broken)?;
    let door = Door::new(at)?;
    let invitation = invitation(at, door.code().as_deref());
    let (out, _) = watch::channel(Sheaf::default());
    let onlooker = Onlooker::new(Model::new(book.clone(), rooms), out.clone());
    let state = Arc::new(routes::State::new(door, book, out, send, tell)?);
    let (end, ended) = tokio::sync::oneshot::channel();
    let work = move || runtime.block_on(serve::serve(listener, state, ended));
    let thread = std::thread::Builder::new().name("page".into()).spawn(work).map_err(broken)?;
    Ok((Page { at, invitation, end: Some(end), thread: Some(thread) }, onlooker))
}

/// What stands on the terminal.
fn invitation(at: SocketAddr, code: Option<&str>) -> String {
    let Some(code) = code else { return format!("page: http://{at}/") };
    let from_outside = if at.ip().is_unspecified() { own_address().unwrap_or(at.ip()) } else { at.ip() };
    let link = link(SocketAddr::new(from_outside, at.port()), code);
    let drawn = qrcode::QrCode::new(link.as_bytes()).map(|c| {
        // Light on dark terminals must stay dark on light: the colours are given, and the quiet zone belongs to it.
        let text = c.render::<qrcode::render::unicode::Dense1x2>().quiet_zone(true).build();
        text.lines().map(|l| format!("\u{1b}[30;107m{l}\u{1b}[0m\n")).collect::<String>()
    });
    format!(
        "{}page: {link}\nThe code {code} lets one device in. Only on a network that you trust: nothing is encrypted.",
        drawn.unwrap_or_default()
    )
}

fn link(at: SocketAddr, code: &str) -> String {
    format!("http://{at}/?code={code}")
}

/// The address by which this machine would be reached; nothing is sent.
fn own_address() -> Option<IpAddr> {
    let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
    // A documentation address (RFC 5737): only the route to it is looked up.
    socket.connect("192.0.2.1:9").ok()?;
    Some(socket.local_addr().ok()?.ip())
}
