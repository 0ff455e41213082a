//! What the terminal says to the session of the moment: typed lines, and the wish to stop.

use crate::edge::app::News;
use std::io::BufRead;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Arc, Condvar, Mutex, Once};

/// Leads to the session of the moment; sessions may follow one another.
#[derive(Clone)]
pub struct Outlet(Arc<Inner>);

struct Inner {
    to: Mutex<Option<Sender<News>>>,
    there: Condvar,
    stopped: AtomicBool,
    reads: Once,
}

impl Outlet {
    /// Takes Ctrl-C.
    pub fn open() -> Outlet {
        let outlet = Outlet(Arc::new(Inner {
            to: Mutex::new(None),
            there: Condvar::new(),
            stopped: AtomicBool::new(false),
            reads: Once::new(),
        }));
        let own = outlet.clone();
        // A second handler cannot be set in one process; then Ctrl-C ends it as usual.
        let _ = ctrlc::set_handler(move || own.stop());
        outlet
    }

    /// From now on everything goes there; with `typed` the lines of the terminal, too.
    pub fn lead(&self, to: Sender<News>, typed: bool) {
        if self.stopped() {
            let _ = to.send(News::Stop);
        }
        if let Ok(mut place) = self.0.to.lock() {
            *place = Some(to);
        }
        self.0.there.notify_all();
        if typed {
            let own = self.clone();
            self.0.reads.call_once(|| {
                std::thread::spawn(move || own.read());
            });
        }
    }

    /// Whether the pilot wants no further session.
    pub fn stopped(&self) -> bool {
        self.0.stopped.load(Ordering::SeqCst)
    }

    fn stop(&self) {
        self.0.stopped.store(true, Ordering::SeqCst);
        if let Ok(place) = self.0.to.lock()
            && let Some(to) = &*place
        {
            let _ = to.send(News::Stop);
        }
    }

    /// Lines from the terminal; its end ends the session.
    fn read(&self) {
        for line in std::io::stdin().lock().lines() {
            let Ok(line) = line else { break };
            let line = line.trim().to_string();
            if !line.is_empty() && !self.pass(line) {
                return;
            }
        }
        self.stop();
    }

    /// Passes a line on; between two sessions it waits for the next one.
    fn pass(&self, line: String) -> bool {
        let Ok(mut place) = self.0.to.lock() else { return false };
        loop {
            if self.stopped() {
                return false;
            }
            match &*place {
                Some(to) if to.send(News::Typed(line.clone())).is_ok() => return true,
                // That session is over.
                Some(_) => *place = None,
                None => {
                    let Ok(next) = self.0.there.wait(place) else { return false };
                    place = next;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    #[test]
    fn a_line_between_two_sessions_is_the_next_ones() {
        let inner = Inner { to: Mutex::new(None), there: Condvar::new(), stopped: false.into(), reads: Once::new() };
        let outlet = Outlet(Arc::new(inner));
        let (first, over) = mpsc::channel();
        outlet.lead(first, false);
        assert!(outlet.pass("one".into()));
        assert!(matches!(over.recv(), Ok(News::Typed(line)) if line == "one"));
        drop(over);
        let own = outlet.clone();
        let waits = std::thread::spawn(move || own.pass("two".into()));
        let (second, news) = mpsc::channel();
        outlet.lead(second, false);
        assert!(waits.join().expect("passes"));
        assert!(matches!(news.recv(), Ok(News::Typed(line)) if line == "two"));
        outlet.stop();
        assert!(outlet.stopped() && matches!(news.recv(), Ok(News::Stop)));
        let (third, news) = mpsc::channel();
        outlet.lead(third, false);
        assert!(matches!(news.recv(), Ok(News::Stop)), "who has stopped is asked no more");
    }
}
