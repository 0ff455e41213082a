//! Sets on their way: taken only when the value has been read back or is moving towards it.

use crate::core::aircraft::Value;
use crate::core::time::SessionTime;

/// A set that was taken must show within this, s; one that was not answered counts as failed then.
pub const SHOWS_WITHIN_S: f64 = 2.0;

/// A set under way.
#[derive(Debug, Clone)]
struct Sent {
    request: u64,
    control: String,
    to: Value,
    /// What it showed when it was sent.
    before: Option<Value>,
    at: SessionTime,
    answered: bool,
}

/// How a set ended.
#[derive(Debug, Clone, PartialEq)]
pub struct Settled {
    /// Its request.
    pub request: u64,
    /// Why it failed; absent if it was taken and shows.
    pub failed: Option<String>,
}

/// All sets under way.
#[derive(Debug, Clone, Default)]
pub struct Pending {
    sent: Vec<Sent>,
}

/// Whether `now` is `to`, or on its way there from `before`.
pub fn reached_or_moving(before: Option<&Value>, now: &Value, to: &Value) -> bool {
    if now.same(to) {
        return true;
    }
    match (before, now, to) {
        (Some(Value::Number(b)), Value::Number(n), Value::Number(t)) => {
            (n - t).abs() < (b - t).abs() - 1e-6 * t.abs().max(1.0)
        }
        // From one word by another to a third, as a gear in transit.
        (Some(b), n, _) => b != n,
        (None, ..) => false,
    }
}

impl Pending {
    /// A set has been sent. A newer one for the same control replaces an older one, which then counts as failed.
    pub fn sent(
        &mut self,
        request: u64,
        control: &str,
        to: &Value,
        before: Option<Value>,
        at: SessionTime,
    ) -> Option<Settled> {
        let i = self.sent.iter().position(|s| s.control == control);
        let old = i.map(|i| self.sent.remove(i));
        self.sent.push(Sent { request, control: control.into(), to: to.clone(), before, at, answered: false });
        old.map(|o| Settled { request: o.request, failed: Some("a newer set took its place".into()) })
    }

    /// The other side has answered; `reads` is what it says that the control shows.
    pub fn answered(&mut self, request: u64, reads: Option<&Value>, failed: Option<String>) -> Option<Settled> {
        let i = self.sent.iter().position(|s| s.request == request)?;
        if failed.is_some() {
            self.sent.remove(i);
            return Some(Settled { request, failed });
        }
        let s = &mut self.sent[i];
        s.answered = true;
        // What it showed all along may be what is wanted.
        let now = reads.or(s.before.as_ref())?.clone();
        if reached_or_moving(s.before.as_ref(), &now, &s.to) {
            self.sent.remove(i);
            return Some(Settled { request, failed: None });
        }
        None
    }

    /// A control shows a value. It counts even before the answer: what has happened has happened.
    pub fn shows(&mut self, control: &str, now: &Value) -> Option<Settled> {
        let i = self.sent.iter().position(|s| s.control == control)?;
        let s = &self.sent[i];
        reached_or_moving(s.before.as_ref(), now, &s.to).then(|| {
            let s = self.sent.remove(i);
            Settled { request: s.request, failed: None }
        })
    }

    /// What has waited too long by now.
    pub fn expired(&mut self, now: SessionTime) -> Vec<Settled> {
        let (old, rest) = self.sent.drain(..).partition(|s| now.since(s.at) > SHOWS_WITHIN_S);
        self.sent = rest;
        let why =
            |s: &Sent| if s.answered { "it was taken, and nothing changed" } else { "the simulator did not answer" };
        old.iter().map(|s: &Sent| Settled { request: s.request, failed: Some(why(s).into()) }).collect()
    }

    /// Everything under way is lost with the connection.
    pub fn lost(&mut self) -> Vec<Settled> {
        let gone = std::mem::take(&mut self.sent);
        gone.into_iter().map(|s| Settled { request: s.request, failed: Some("the link was lost".into()) }).collect()
    }

    /// Whether any is under way.
    pub fn is_empty(&self) -> bool {
        self.sent.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(s: f64) -> SessionTime {
        SessionTime::from_secs(s)
    }

    fn pending(before: Option<Value>, to: Value) -> Pending {
        let mut p = Pending::default();
        assert_eq!(p.sent(7, "c", &to, before, at(0.0)), None);
        p
    }

    const DONE: Option<Settled> = Some(Settled { request: 7, failed: None });

    #[test]
    fn taken_means_read_back_or_moving() {
        let number = Value::Number;
        let word = |w: &str| Value::Word(w.into());
        assert_eq!(pending(Some(number(0.0)), number(5.0)).answered(7, Some(&number(5.0)), None), DONE);
        assert_eq!(pending(Some(number(5.0)), number(5.0)).answered(7, None, None), DONE, "it was so already");
        let mut p = pending(Some(number(0.0)), number(5.0));
        assert_eq!(p.answered(7, Some(&number(0.0)), None), None);
        assert_eq!(p.shows("d", &number(5.0)), None);
        assert_eq!(p.shows("c", &number(-1.0)), None, "away from it");
        assert_eq!(p.shows("c", &number(0.4)), DONE, "on its way");
        let mut p = pending(Some(word("down")), word("up"));
        assert_eq!(p.shows("c", &word("down")), None);
        assert_eq!(p.shows("c", &word("transit")), DONE);
    }

    #[test]
    fn a_set_that_changes_nothing_fails() {
        let mut p = pending(Some(Value::Number(0.0)), Value::Number(5.0));
        assert_eq!(p.answered(7, None, None), None);
        assert!(p.expired(at(1.9)).is_empty());
        let gone = p.expired(at(2.1));
        assert_eq!(gone[0].failed.as_deref(), Some("it was taken, and nothing changed"));
        let mut p = pending(None, Value::Bool(true));
        assert_eq!(p.expired(at(3.0))[0].failed.as_deref(), Some("the simulator did not answer"));
        let mut p = pending(None, Value::Bool(true));
        assert_eq!(p.answered(7, None, Some("jammed".into())).and_then(|s| s.failed).as_deref(), Some("jammed"));
        assert!(p.is_empty());
    }

    #[test]
    fn a_newer_set_replaces_an_older_one() {
        let mut p = pending(None, Value::Bool(true));
        let old = p.sent(8, "c", &Value::Bool(false), None, at(0.1)).expect("replaced");
        assert_eq!((old.request, old.failed.is_some()), (7, true));
        assert_eq!(p.lost().len(), 1);
    }
}
