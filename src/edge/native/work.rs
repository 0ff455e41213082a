//! Who is at work in the library, so that the process does not end under it: its destructors run at the end of the process, and a
//! thread that still loads or runs a model then calls into what is gone.

use ort::session::Session;
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// What is at work, and whether anything new may begin.
struct Work {
    state: Mutex<(usize, bool)>,
    changed: Condvar,
}

/// A process has one library.
static WORK: Work = Work::new();

/// Who comes when all is closed waits for the end of the process; it is there long before.
const PATIENCE: Duration = Duration::from_secs(10);

impl Work {
    const fn new() -> Work {
        Work { state: Mutex::new((0, false)), changed: Condvar::new() }
    }

    fn state(&self) -> MutexGuard<'_, (usize, bool)> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn begin(&'static self) -> Busy {
        let (mut state, _) =
            self.changed.wait_timeout_while(self.state(), PATIENCE, |s| s.1).unwrap_or_else(PoisonError::into_inner);
        state.0 += 1;
        Busy(self)
    }

    fn close(&self, limit: Duration) -> bool {
        let mut state = self.state();
        state.1 = true;
        let (state, _) =
            self.changed.wait_timeout_while(state, limit, |s| s.0 > 0).unwrap_or_else(PoisonError::into_inner);
        state.0 == 0
    }
}

/// While it lives, the library is at work.
pub(super) struct Busy(&'static Work);

impl Drop for Busy {
    fn drop(&mut self) {
        self.0.state().0 -= 1;
        self.0.changed.notify_all();
    }
}

impl std::fmt::Debug for Busy {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Busy")
    }
}

/// Begins work in the library. Keep it before everything that the library owns, so that it is dropped after it.
pub(super) fn begin() -> Busy {
    WORK.begin()
}

/// Lets nothing begin in the library any more and waits, at most `limit`, for what is at work. The last a process does
/// before it ends; false if something is at work still.
pub fn close(limit: Duration) -> bool {
    WORK.close(limit)
}

/// A loaded model: it is run, and given back, only as work that is counted.
#[derive(Debug)]
pub(super) struct Model {
    session: Session,
    /// After the session, so that it is dropped after it.
    leaving: Option<Busy>,
}

impl Model {
    pub fn new(session: Session) -> Model {
        Model { session, leaving: None }
    }

    /// The session, and the sign that it is at work.
    pub fn enter(&mut self) -> (Busy, &mut Session) {
        (begin(), &mut self.session)
    }
}

impl Drop for Model {
    fn drop(&mut self) {
        self.leaving = Some(begin());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    #[test]
    fn the_end_waits_for_what_is_at_work_and_lets_nothing_begin() {
        static OURS: Work = Work::new();
        let busy = OURS.begin();
        assert!(
            !OURS.close(Duration::from_millis(20)),
            "work that does not end is waited for no longer than the limit"
        );
        let (tell, told) = mpsc::channel();
        std::thread::spawn(move || {
            let _late = OURS.begin();
            tell.send(())
        });
        let ended = std::thread::spawn(|| OURS.close(Duration::from_secs(60)));
        assert!(told.recv_timeout(Duration::from_millis(50)).is_err(), "nothing begins when all is closed");
        assert!(!ended.is_finished());
        drop(busy);
        assert!(ended.join().unwrap());
        assert!(told.try_recv().is_err());
    }
}
