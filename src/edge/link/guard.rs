//! A link's thread goes on after a panic.

use super::{LinkNews, Tell};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Duration;

/// After a panic the work rests this long.
const REST: Duration = Duration::from_millis(250);

/// Does `work` until it returns; when it panics, that is told, `mend` brings its state in order, and it begins anew.
/// Both return `false` when nobody listens any more.
pub fn keep<S>(tell: &Tell, state: &mut S, work: impl Fn(&mut S), mend: impl Fn(&mut S) -> bool) {
    loop {
        if catch_unwind(AssertUnwindSafe(|| work(state))).is_ok() {
            return;
        }
        let failed = LinkNews::Failed("the link stopped over something it heard; it connects anew".into());
        // What listens may itself be what panicked.
        let heard = catch_unwind(AssertUnwindSafe(|| tell(failed) && mend(state))).unwrap_or(true);
        if !heard {
            return;
        }
        std::thread::sleep(REST);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    #[test]
    fn a_panic_is_told_mended_and_left_behind() {
        let (send, news) = mpsc::channel();
        let tell: Tell = Box::new(move |n| send.send(n).is_ok());
        let mut tries = (0, 0);
        keep(
            &tell,
            &mut tries,
            |t| {
                t.0 += 1;
                assert!(t.0 > 2, "planted");
            },
            |t| {
                t.1 += 1;
                true
            },
        );
        assert_eq!(tries, (3, 2));
        drop(tell);
        assert_eq!(news.iter().filter(|n| matches!(n, LinkNews::Failed(_))).count(), 2);
    }
}
