//! Calls that act on the conversation itself.

use super::{Crew, flows::Run};
use crate::core::book::schema::{Intrinsic, Station};
use crate::core::crew::io::Note;

impl Crew {
    pub(super) fn intrinsic(&mut self, what: Intrinsic) {
        match what {
            Intrinsic::Hold => self.hold(),
            Intrinsic::Resume => self.resume(),
            Intrinsic::Disregard => self.take_back("disregarded", "the pilot said to disregard it"),
            Intrinsic::Negative | Intrinsic::Correction if self.slip_caught() => {}
            Intrinsic::Negative => self.take_back("cancelled", "the pilot said no"),
            Intrinsic::Correction => self.take_back("correction", "the pilot corrected it"),
            Intrinsic::SayAgain => self.repeat_last(),
            Intrinsic::Halt => {
                self.hush();
                self.hold_quietly();
            }
            Intrinsic::Skip => {
                if !self.skip_item() && !self.skip_in_flow() {
                    self.tell("nothing_to_cancel", "");
                }
            }
            Intrinsic::Reject | Intrinsic::GoAround => {
                self.leave_air();
                self.drop_everything();
            }
            Intrinsic::PutBack => self.put_back(),
            Intrinsic::LeaveToMe => self.leave_to_pilot(),
            Intrinsic::BriefingComplete => self.briefing_complete(),
            Intrinsic::Suspend => {
                self.suspended = true;
                self.tell("suspended", "");
            }
            Intrinsic::Attend => {
                self.suspended = false;
                self.tell("listening", "");
            }
            Intrinsic::WhatIsLeft
            | Intrinsic::WhatWaits
            | Intrinsic::WhyNot
            | Intrinsic::WhatIsPutOff
            | Intrinsic::DropPutOff
            | Intrinsic::TalkQuiet
            | Intrinsic::TalkLine
            | Intrinsic::TalkTraining
            | Intrinsic::Mute
            | Intrinsic::Unmute
            | Intrinsic::Faster
            | Intrinsic::Slower => self.converse(what),
            Intrinsic::IHaveControl => self.arrangement.flying = true,
            Intrinsic::YouHaveControl => self.arrangement.flying = false,
        }
    }

    pub(super) fn flight_deck(&self, r: &Run) -> bool {
        self.book.flows[r.flow.0 as usize].station == Station::FlightDeck
    }

    fn hold_runs(&mut self) -> Option<String> {
        let ids: Vec<u32> = self.runs.iter().filter(|r| !r.held && self.flight_deck(r)).map(|r| r.id).collect();
        let mut title = None;
        for r in self.runs.iter_mut().filter(|r| ids.contains(&r.id)) {
            r.held = true;
            title = Some(r.flow);
        }
        let flow = &self.book.flows[title?.0 as usize];
        let (id, title) = (flow.id.clone(), flow.title.clone());
        self.note(Note::Flow { flow: id, state: "held".into() });
        Some(title)
    }

    fn hold(&mut self) {
        let item = self.hold_list();
        let flow = self.hold_runs();
        match (item, flow) {
            (Some(item), _) => self.tell("checklist_hold", &item),
            (None, Some(flow)) => self.tell("flow_hold", &flow),
            (None, None) => self.tell("no_flow_now", ""),
        }
    }

    fn hold_quietly(&mut self) {
        self.hold_list();
        self.hold_runs();
    }

    fn resume(&mut self) {
        let item = self.resume_list();
        let mut flow = None;
        for r in self.runs.iter_mut().filter(|r| r.held) {
            r.held = false;
            flow = Some(r.flow);
        }
        if let Some(f) = flow {
            let id = self.book.flows[f.0 as usize].id.clone();
            self.note(Note::Flow { flow: id, state: "resumed".into() });
        }
        match (item, flow) {
            (Some(item), _) => self.tell("checklist_resume", &item),
            (None, Some(f)) => {
                let title = self.book.flows[f.0 as usize].title.clone();
                self.tell("flow_resume", &title);
            }
            (None, None) => self.tell("nothing_to_resume", ""),
        }
    }

    /// Everything stops, and nothing is owed any more: another moment of the flight begins.
    pub(super) fn drop_all(&mut self, why: &str) {
        self.hush();
        while let Some(r) = self.runs.last() {
            let id = r.id;
            self.end_flow(id, false, Some(why.into()));
        }
        while let Some(l) = self.lists.last() {
            let list = l.list;
            self.cancel_list(list, why);
        }
        let commands: Vec<u64> = self.commands.iter().map(|c| c.request).collect();
        for request in commands {
            if let Some(what) = self.cancel_command(request) {
                self.not_done(what, why.into());
            }
        }
        self.motions.clear();
        self.last_call = None;
    }

    /// Reject, go around: our own flows and lists give way at once.
    fn drop_everything(&mut self) {
        self.hush();
        self.end_briefing(false);
        self.suspended = false;
        self.style.muted = false;
        self.drop_put_off(|_| true, "something more urgent came");
        let runs: Vec<u32> = self.runs.iter().filter(|r| self.flight_deck(r)).map(|r| r.id).collect();
        for run in runs {
            self.end_flow(run, false, Some("something more urgent came".into()));
        }
        while let Some(l) = self.lists.last() {
            let list = l.list;
            self.cancel_list(list, "something more urgent came");
        }
    }
}
