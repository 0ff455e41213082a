//! Acts a script out: events in, deeds out, and a verdict at the end. No clock: time is handed in.

use super::deed::{Deed, Event, Failure, Senses, Turn};
use super::form::{Never, Reaction, Script, Step};
use super::insist::Unheard;
use super::pattern::Pattern;
use super::pending::{Open, Quiet, Spoken, ToSay};
use super::ramp::Ramp;
use super::wanted::{Match, Wanted, any_of};
use crate::core::aircraft::Value;
use crate::core::book::schema::Station;
use crate::core::crew::io::{Action, Note};
use crate::core::time::SessionTime;
use std::collections::{BTreeMap, VecDeque};

/// A script being acted out.
#[derive(Debug, Clone)]
pub struct Performance {
    script: Script,
    stage: Stage,
    /// The step that is armed or acting.
    current: usize,
    /// The step that began last: its `never` is in force.
    begun: Option<usize>,
    ends: Vec<Spoken>,
    starts: Vec<Spoken>,
    /// Lines before these do not count for the current step's trigger.
    from_end: usize,
    from_start: usize,
    phase: Option<String>,
    /// When the step before was done.
    done_at: SessionTime,
    /// When the last expectation or silence was settled.
    settled_at: SessionTime,
    open: Vec<Open>,
    quiet: Vec<Quiet>,
    to_say: VecDeque<ToSay>,
    /// The id of his own words that now sound.
    speaking: Option<u64>,
    /// Lines of ours that sound now, and when the last one ended.
    sounding: Vec<(Station, String)>,
    quiet_since: Option<SessionTime>,
    tongue_held: bool,
    next_id: u64,
    last_said: Option<String>,
    /// The line that set the current step off.
    set_off: Option<(Station, String)>,
    unheard: Option<Unheard>,
    ramps: Vec<Ramp>,
    reacted: Vec<u32>,
    failures: Vec<Failure>,
    deeds: Vec<Deed>,
}

#[derive(Debug, Clone, PartialEq)]
enum Stage {
    /// Waits for the trigger since then.
    Armed(SessionTime),
    /// The trigger came; acts at.
    Delayed(SessionTime),
    /// Speaks and moves.
    Acting { say: Option<u64> },
    /// All steps are done.
    Lingering,
    /// Over.
    Over,
}

impl Performance {
    /// Takes a script on; the session begins at zero.
    pub fn new(script: Script) -> Performance {
        Performance {
            stage: Stage::Armed(SessionTime::ZERO),
            current: 0,
            begun: None,
            ends: Vec::new(),
            starts: Vec::new(),
            from_end: 0,
            from_start: 0,
            phase: script.phase.clone(),
            done_at: SessionTime::ZERO,
            settled_at: SessionTime::ZERO,
            open: Vec::new(),
            quiet: Vec::new(),
            to_say: VecDeque::new(),
            speaking: None,
            sounding: Vec::new(),
            quiet_since: None,
            tongue_held: false,
            next_id: 1,
            last_said: None,
            set_off: None,
            unheard: None,
            ramps: Vec::new(),
            reacted: vec![0; script.reactions.len()],
            failures: Vec::new(),
            deeds: Vec::new(),
            script,
        }
    }

    /// Takes the events since the last poll, in order, all stamped `at`, and gives the pilot's deeds. `at` may not go back.
    pub fn poll(&mut self, at: SessionTime, events: &[Event], senses: &dyn Senses) -> Turn {
        self.expire(at);
        // What the pilot sees now comes before what the program made of it: a step that `when` sets off expects that, too.
        // He does not speak yet: a line may have begun at this very moment.
        self.tongue_held = true;
        self.advance(at, senses);
        self.tongue_held = false;
        for event in events {
            self.take(at, event);
            self.advance(at, senses);
            if let Event::SpokenEnded { station, text, cut: false } = event {
                self.react(at, *station, text);
            }
        }
        self.advance(at, senses);
        Turn { deeds: std::mem::take(&mut self.deeds), wake: self.wake(at) }
    }

    /// Whether there is nothing more to come.
    pub fn finished(&self) -> bool {
        self.stage == Stage::Over
    }

    /// The script.
    pub fn script(&self) -> &Script {
        &self.script
    }

    /// Everything that went wrong, in order. Before the end it says so, and lists what is still open.
    pub fn verdict(&self) -> Vec<Failure> {
        let mut all = self.failures.clone();
        if self.finished() {
            return all;
        }
        for o in &self.open {
            all.push(self.of_step(o.step, &format!("the session ended before this was {}", o.wanted)));
        }
        if self.current < self.script.steps.len() {
            all.push(self.of_step(self.current, "the session ended before this step was done"));
        }
        all
    }

    fn take(&mut self, at: SessionTime, event: &Event) {
        match event {
            Event::SpokenStarted { station, text } => {
                self.sounding.push((*station, text.clone()));
                self.starts.push(Spoken { station: *station, text: text.clone(), used: false });
                let stern = self.quiet.iter().find(|q| at.since(q.from) < q.for_s).map(|q| (q.step, q.from, q.for_s));
                if let Some((step, from, for_s)) = stern {
                    let after = at.since(from);
                    self.fail(Some(step), &format!("spoken {after:.1} s into a silence of {for_s} s: \"{text}\""));
                    self.quiet.retain(|q| q.step != step);
                    self.settled_at = at;
                }
                let broken = |p: &[Pattern]| p.iter().any(|p| p.matches(text));
                self.forbid(&|n| broken(&n.spoken).then(|| format!("spoken although it must not be: \"{text}\"")));
                self.settle(at, |w| w.hears(*station, text));
            }
            Event::SpokenEnded { station, text, cut } => {
                if let Some(i) = self.sounding.iter().position(|(s, t)| s == station && t == text) {
                    self.sounding.remove(i);
                    self.quiet_since = Some(at);
                }
                if !cut {
                    self.ends.push(Spoken { station: *station, text: text.clone(), used: false });
                }
            }
            Event::SayEnded { id } => {
                if self.speaking == Some(*id) {
                    self.speaking = None;
                    self.was_said(at);
                }
            }
            Event::Action(action) => {
                if matches!(action, Action::Note(Note::Accepted { .. })) {
                    self.unheard = None;
                }
                match action {
                    Action::Note(Note::Phase { phase }) => self.phase = Some(phase.clone()),
                    Action::Set { control, to, .. } => self.forbid(&|n| {
                        n.set.contains(control).then(|| format!("set although it must not be: {control} to {to}"))
                    }),
                    Action::Note(Note::Accepted { meaning, .. }) => self.forbid(&|n| {
                        let call = &meaning.call;
                        n.called.contains(call).then(|| format!("accepted although it must not be: the call {call}"))
                    }),
                    _ => {}
                }
                self.settle(at, |w| w.compare(action));
            }
        }
    }

    /// Judges by what is forbidden now: in the whole session, and by the step that began last.
    fn forbid(&mut self, judge: &dyn Fn(&Never) -> Option<String>) {
        if let Some(what) = judge(&self.script.never) {
            self.fail(None, &what);
        }
        if let Some(step) = self.begun
            && let Some(what) = judge(&self.script.steps[step].never)
        {
            self.fail(Some(step), &what);
        }
    }

    /// Takes the expectations off that something meets: one thing may meet several.
    fn settle(&mut self, at: SessionTime, judge: impl Fn(&Wanted) -> Match) {
        let before = self.open.len();
        self.open.retain_mut(|o| match judge(&o.wanted) {
            Match::Yes => false,
            Match::Almost(how) => {
                o.almost = Some(how);
                true
            }
            Match::No => true,
        });
        if self.open.len() < before {
            self.settled_at = at;
        }
    }

    /// Goes as far as the moment allows.
    fn advance(&mut self, at: SessionTime, senses: &dyn Senses) {
        while self.progress(at, senses) {}
        self.speak(at);
    }

    fn progress(&mut self, at: SessionTime, senses: &dyn Senses) -> bool {
        self.look(at, senses);
        self.insist(at);
        self.expire(at);
        match self.stage {
            Stage::Over => false,
            Stage::Armed(_) if self.current >= self.script.steps.len() => {
                self.stage = Stage::Lingering;
                true
            }
            Stage::Armed(since) => self.arm(at, since, senses),
            Stage::Delayed(until) if at >= until => {
                self.begin_deeds(at, senses);
                true
            }
            Stage::Acting { say } => {
                self.ramp(at);
                let talking = say.is_some() && (self.speaking == say || self.to_say.iter().any(|t| Some(t.id) == say));
                if talking || !self.ramps.is_empty() {
                    self.speak(at);
                    return false;
                }
                self.done(at);
                true
            }
            Stage::Lingering if self.rest(at) => {
                self.stage = Stage::Over;
                false
            }
            Stage::Delayed(_) | Stage::Lingering => false,
        }
    }

    /// Whether everything has been settled and the time to linger is over.
    fn rest(&self, at: SessionTime) -> bool {
        let settled =
            self.open.is_empty() && self.quiet.is_empty() && self.to_say.is_empty() && self.speaking.is_none();
        settled && at >= self.done_at.plus(self.script.linger_s)
    }

    /// Expectations that are met by what is, not by what happens.
    fn look(&mut self, at: SessionTime, senses: &dyn Senses) {
        let phase = self.phase.clone();
        self.settle(at, |w| match w {
            Wanted::When(c) if senses.holds(c) == Some(true) => Match::Yes,
            Wanted::Phase(p) if phase.as_ref() == Some(p) => Match::Yes,
            _ => Match::No,
        });
    }

    /// What is late fails; a silence that was kept is settled.
    fn expire(&mut self, at: SessionTime) {
        if self.stage == Stage::Over {
            return;
        }
        let (late, open): (Vec<Open>, Vec<Open>) =
            std::mem::take(&mut self.open).into_iter().partition(|o| o.deadline.is_some_and(|d| at > d));
        self.open = open;
        for o in late {
            let almost = o.almost.map(|a| format!(" ({a})")).unwrap_or_default();
            let (verb, rest) = split(&o.wanted);
            self.fail(Some(o.step), &format!("not {verb} within {} s: {rest}{almost}", o.within_s));
            self.settled_at = self.settled_at.max(o.deadline.unwrap_or(at));
        }
        let kept = self.quiet.iter().filter(|q| at.since(q.from) >= q.for_s).map(|q| q.from.plus(q.for_s)).max();
        if let Some(until) = kept {
            self.settled_at = self.settled_at.max(until);
            self.quiet.retain(|q| at.since(q.from) < q.for_s);
        }
        if at >= SessionTime::from_secs(self.script.limit_s) {
            let (step, limit) = (self.current.min(self.script.steps.len().saturating_sub(1)), self.script.limit_s);
            self.fail(Some(step), &format!("the script was not over within {limit} s"));
            self.stage = Stage::Over;
        }
    }

    fn arm(&mut self, at: SessionTime, since: SessionTime, senses: &dyn Senses) -> bool {
        let step = &self.script.steps[self.current];
        let t = &step.trigger;
        let not_before = self.not_before(step);
        // Expectations still open: `after_met` cannot be told yet.
        let settled = t.after_met.is_none() || (self.open.is_empty() && self.quiet.is_empty());
        let ready = settled
            && not_before.is_none_or(|m| at >= m)
            && t.on_phase.as_ref().is_none_or(|p| self.phase.as_ref() == Some(p))
            && t.when.as_ref().is_none_or(|c| senses.holds(c) == Some(true));
        let line = self.line(step);
        if ready && (t.on_spoken.is_empty() || line.is_some()) {
            let (ends, starts) = (self.ends.len(), self.starts.len());
            let delay = step.delay_s;
            let as_it_begins = t.as_it_begins;
            (self.from_end, self.from_start) = (ends, starts);
            self.set_off = None;
            if let Some(i) = line {
                let set_off = if as_it_begins { &self.starts[i] } else { &self.ends[i] };
                self.set_off = Some((set_off.station, set_off.text.clone()));
                // What came after the line that set it off may set off the next step.
                if as_it_begins {
                    self.starts[i].used = true;
                    self.from_start = i + 1;
                } else {
                    self.ends[i].used = true;
                    self.from_end = i + 1;
                }
            }
            self.stage = Stage::Delayed(at.plus(delay));
            self.begin();
            return true;
        }
        let deadline = self.trigger_deadline(since, not_before);
        if settled && at > deadline {
            return self.no_trigger(at);
        }
        false
    }

    /// The trigger's own times: what it names must not come before.
    fn not_before(&self, step: &Step) -> Option<SessionTime> {
        let t = &step.trigger;
        let settled = self.settled_at.max(self.done_at);
        [t.at.map(SessionTime::from_secs), t.after.map(|s| self.done_at.plus(s)), t.after_met.map(|s| settled.plus(s))]
            .into_iter()
            .flatten()
            .max()
    }

    /// Waiting for a time is not waiting in vain: `within_s` counts from there.
    fn trigger_deadline(&self, since: SessionTime, not_before: Option<SessionTime>) -> SessionTime {
        since.max(not_before.unwrap_or(since)).plus(self.script.steps[self.current].trigger.within_s)
    }

    /// The first line that the current step's trigger waits for.
    fn line(&self, step: &Step) -> Option<usize> {
        let t = &step.trigger;
        let (all, from) = if t.as_it_begins { (&self.starts, self.from_start) } else { (&self.ends, self.from_end) };
        let fits = |l: &Spoken| {
            !l.used && t.from.is_none_or(|s| s == l.station) && t.on_spoken.iter().any(|p| p.matches(&l.text))
        };
        all.iter().skip(from).position(fits).map(|i| i + from)
    }

    fn no_trigger(&mut self, at: SessionTime) -> bool {
        let t = &self.script.steps[self.current].trigger;
        if t.optional {
            self.current += 1;
            self.done_at = at;
            self.stage = Stage::Armed(at);
            return true;
        }
        let mut parts = Vec::new();
        if !t.on_spoken.is_empty() {
            parts.push(format!("spoken: {}", any_of(&t.on_spoken, t.from)));
        }
        parts.extend(t.on_phase.as_ref().map(|p| format!("the phase {p}")));
        parts.extend(t.when.as_ref().map(|c| format!("true: {c}")));
        let what =
            format!("its trigger did not come within {} s ({}); the script stops here", t.within_s, parts.join("; "));
        self.fail(Some(self.current), &what);
        self.stage = Stage::Over;
        false
    }

    /// The step begins: from now on what happens counts for its expectations.
    fn begin(&mut self) {
        let step = self.current;
        self.begun = Some(step);
        let expect = self.script.steps[step].expect.clone();
        let open = |(wanted, within_s)| Open { step, wanted, within_s, deadline: None, almost: None };
        self.open.extend(expect.into_iter().map(open));
    }

    fn begin_deeds(&mut self, at: SessionTime, senses: &dyn Senses) {
        let step = self.script.steps[self.current].clone();
        let set = step.set.iter().map(|(name, to)| Deed::Set { name: name.clone(), to: to.clone() });
        self.deeds.extend(set);
        self.deeds.extend(step.inject.iter().map(|fault| Deed::Inject { fault: fault.clone() }));
        self.deeds.extend(step.touch.iter().map(|what| Deed::Touch { what: what.clone() }));
        self.move_all(at, &step.moves, step.ramp_s, senses);
        if let (Some(text), Some(_)) = (&step.say, self.script.patience_s) {
            self.unheard = Some(Unheard::new(self.current, text.clone(), self.set_off.take()));
        }
        let say = step.say.map(|text| self.queue(at, Some(text), step.cut_in));
        self.stage = Stage::Acting { say };
    }

    fn move_all(&mut self, at: SessionTime, moves: &BTreeMap<String, Value>, for_s: f64, senses: &dyn Senses) {
        for (control, to) in moves {
            let from = senses.value(control).and_then(|v| v.number());
            match (from, to.number()) {
                (Some(from), Some(to)) if for_s > 0.0 && from != to => {
                    let control = control.clone();
                    self.ramps.push(Ramp { control, from, to, began: at, for_s, moves: 0 });
                }
                _ => self.deeds.push(Deed::Move { control: control.clone(), to: to.clone() }),
            }
        }
    }

    /// One move a ramp, to where it should be by now; a finished ramp goes.
    fn ramp(&mut self, at: SessionTime) {
        let deeds = &mut self.deeds;
        self.ramps.retain_mut(|r| {
            if at < r.next() {
                return true;
            }
            let (to, over) = r.advance(at);
            deeds.push(Deed::Move { control: r.control.clone(), to: Value::Number(to) });
            !over
        });
    }

    fn done(&mut self, at: SessionTime) {
        let step = self.current;
        for o in self.open.iter_mut().filter(|o| o.step == step) {
            o.deadline = Some(at.plus(o.within_s));
        }
        if let Some(for_s) = self.script.steps[step].silent_for_s {
            self.quiet.push(Quiet { step, from: at, for_s });
        }
        self.done_at = at;
        self.current += 1;
        self.stage = Stage::Armed(at);
    }

    fn react(&mut self, at: SessionTime, station: Station, text: &str) {
        let set_off = self.ends.last().is_some_and(|l| l.used && l.text == text);
        if set_off || self.stage == Stage::Over {
            return;
        }
        if let Some(unheard) = self.unheard.as_mut().filter(|u| u.asked_again(station, text)) {
            let words = unheard.again();
            self.queue(at.plus(self.script.reaction_s), Some(words), false);
            return;
        }
        let counts = &self.reacted;
        let fits = |(i, r): &(usize, &Reaction)| {
            counts[*i] < r.at_most
                && r.from.is_none_or(|s| s == station)
                && r.on_spoken.iter().any(|p| p.matches(text))
                && (r.say.is_some() || self.last_said.is_some())
        };
        let Some((i, say)) = self.script.reactions.iter().enumerate().find(fits).map(|(i, r)| (i, r.say.clone()))
        else {
            return;
        };
        self.reacted[i] += 1;
        self.queue(at.plus(self.script.reaction_s), say, false);
    }

    /// His words are over: without a reaction he loses patience in a while, and what is expected of them is due later.
    fn was_said(&mut self, at: SessionTime) {
        let Some(unheard) = self.unheard.as_mut().filter(|u| self.last_said.as_ref() == Some(&u.text)) else { return };
        unheard.said(at);
        for o in self.open.iter_mut().filter(|o| o.step == unheard.step && o.deadline.is_some()) {
            o.deadline = Some(at.plus(o.within_s));
        }
    }

    /// Says again what nobody seems to have heard.
    fn insist(&mut self, at: SessionTime) {
        let Some(patience_s) = self.script.patience_s.filter(|_| self.stage != Stage::Over) else { return };
        if let Some(unheard) = self.unheard.as_mut().filter(|u| u.due(patience_s).is_some_and(|due| due <= at)) {
            let words = unheard.again();
            self.queue(at, Some(words), false);
        }
    }

    fn queue(&mut self, due: SessionTime, text: Option<String>, cut_in: bool) -> u64 {
        let id = self.next_id;
        self.next_id += 1;
        self.to_say.push_back(ToSay { id, due, text, cut_in });
        id
    }

    /// When words may begin: he does not talk into a line, nor sooner than `reaction_s` after one. `None` while one sounds.
    fn may_say(&self, words: &ToSay) -> Option<SessionTime> {
        match self.quiet_since {
            _ if words.cut_in => Some(words.due),
            _ if !self.sounding.is_empty() => None,
            Some(quiet) => Some(words.due.max(quiet.plus(self.script.reaction_s))),
            None => Some(words.due),
        }
    }

    /// He says one thing at a time, the earliest due first.
    fn speak(&mut self, at: SessionTime) {
        if self.tongue_held || self.speaking.is_some() || self.stage == Stage::Over {
            return;
        }
        let may = |t: &ToSay| self.may_say(t).is_some_and(|due| due <= at);
        let next = self.to_say.iter().enumerate().filter(|(_, t)| may(t)).min_by_key(|(_, t)| (t.due, t.id));
        let Some(next) = next.map(|(i, _)| i).and_then(|i| self.to_say.remove(i)) else { return };
        let Some(text) = next.text.or(self.last_said.clone()) else { return };
        self.last_said = Some(text.clone());
        self.speaking = Some(next.id);
        self.deeds.push(Deed::Say { id: next.id, text });
    }

    /// The next moment at which time alone changes something.
    fn wake(&self, at: SessionTime) -> Option<SessionTime> {
        if self.stage == Stage::Over {
            return None;
        }
        // Lateness shows only after the deadline: one microsecond past it.
        let past = |t: SessionTime| SessionTime(t.0 + 1);
        let mut all: Vec<SessionTime> = self.open.iter().filter_map(|o| o.deadline).map(past).collect();
        all.extend(self.quiet.iter().map(|q| q.from.plus(q.for_s)));
        all.extend(self.to_say.iter().filter_map(|t| self.may_say(t)));
        all.extend(self.ramps.iter().map(Ramp::next));
        all.extend(self.script.patience_s.and_then(|s| self.unheard.as_ref()?.due(s)));
        all.push(SessionTime::from_secs(self.script.limit_s));
        match self.stage {
            Stage::Delayed(until) => all.push(until),
            Stage::Lingering => all.push(self.done_at.plus(self.script.linger_s)),
            Stage::Armed(since) if self.current < self.script.steps.len() => {
                let not_before = self.not_before(&self.script.steps[self.current]);
                all.extend(not_before);
                all.push(past(self.trigger_deadline(since, not_before)));
            }
            _ => {}
        }
        all.into_iter().filter(|t| *t > at).min()
    }

    fn fail(&mut self, step: Option<usize>, what: &str) {
        let failure = match step {
            Some(i) => self.of_step(i, what),
            None => Failure { step: None, sentence: format!("the whole session: {what}.") },
        };
        self.failures.push(failure);
    }

    fn of_step(&self, i: usize, what: &str) -> Failure {
        let name =
            self.script.steps.get(i).and_then(|s| s.name.as_ref()).map(|n| format!(" \"{n}\"")).unwrap_or_default();
        Failure { step: Some(i + 1), sentence: format!("step {}{name}: {what}.", i + 1) }
    }
}

/// "spoken: X" in two parts.
fn split(wanted: &Wanted) -> (String, String) {
    let text = wanted.to_string();
    let (verb, rest) = text.split_once(": ").unwrap_or(("met", &text));
    (verb.into(), rest.into())
}
