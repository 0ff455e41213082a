//! `[briefings]`, `[surprises]`, `[manners]`: how the crew behaves towards the pilot.

use super::All;
use super::aircraft::reader;
use super::calls::{BY, refer};
use super::condition::Env;
use super::lists::item_id;
use super::reader::Reader;
use super::tree::Node;
use crate::core::book::rules;
use crate::core::book::schema::{Book, Briefing, By, FlowId, Manners, Surprise, Topic};
use crate::core::grammar::CallId;

/// Reads `[briefings]`.
pub fn briefings(all: &All, book: &mut Book) {
    for item in all.sections.items("briefings") {
        let what = format!("briefing `{}`", item.id);
        let r = reader(all.cx, &what, item);
        r.only(&["title", "by", "phases", "topics", "complete", "replaces"]);
        r.need("topics", "[{ id = \"runway\", mention = \"…\", say = \"…\" }]");
        r.need("complete", "\"…\"");
        let topics = r.node("topics").map_or(&[][..], |n| n.each());
        let topics: Vec<Topic> = topics.iter().enumerate().map(|(i, n)| topic(all, &item.id, i, n)).collect();
        for (i, t) in topics.iter().enumerate() {
            if topics[..i].iter().any(|o| o.id == t.id) {
                let text = format!("The topic `{}` is written twice in the briefing `{}`.", t.id, item.id);
                all.cx.raise(rules::DUPLICATE_ID, item.at, text, Some("rename one".into()));
            }
        }
        book.briefings.push(Briefing {
            id: item.id.clone(),
            title: r.title(&item.id),
            by: r.choice("by", BY).unwrap_or(By::Pf),
            phases: r.phases("phases", all.names),
            topics,
            complete: r.sentence("complete", &all.env()).unwrap_or_default(),
        });
    }
}

fn topic(all: &All, briefing: &str, index: usize, node: &Node) -> Topic {
    let id = item_id(node, index);
    let what = format!("topic `{id}`");
    let r = Reader::new(all.cx, &what, node.at, node);
    r.only(&["id", "title", "mention", "ranges", "verify", "shown", "say"]);
    r.need("id", "\"…\"");
    r.need("mention", "\"…\"");
    r.need("say", "\"…\"");
    let call = all.names.calls.find(&format!("{briefing}/{id}"));
    let slots = call.and_then(|c| all.names.call_slots.get(c as usize)).map_or(&[][..], Vec::as_slice);
    let env = Env { slots: Some(slots), ..all.env() };
    Topic {
        title: r.title(&id),
        mention: call.map(CallId),
        verify: r.condition("verify", &env),
        shown: r.sentence("shown", &env),
        say: r.sentence("say", &all.env()).unwrap_or_default(),
        id,
    }
}

/// Reads `[surprises]`.
pub fn surprises(all: &All, book: &mut Book) {
    for item in all.sections.items("surprises") {
        let what = format!("surprise `{}`", item.id);
        let r = reader(all.cx, &what, item);
        r.only(&["flow", "when", "chance", "within_s", "replaces"]);
        r.need("flow", "\"…\"");
        r.need("when", "\"…\"");
        let (Some(flow), Some(when)) = (refer(all, &r, "flow"), r.condition("when", &all.env())) else { continue };
        book.surprises.push(Surprise {
            id: item.id.clone(),
            flow: FlowId(flow),
            when,
            chance: r.number("chance", 0.0, 1.0).unwrap_or(0.5),
            within_s: r.seconds("within_s").unwrap_or(20.0),
        });
    }
}

/// Reads `[manners]`.
pub fn manners(all: &All, book: &mut Book) {
    let Some(item) = all.sections.single("manners") else { return };
    let r = reader(all.cx, "the manners", item);
    r.only(&["silent_when", "to_radio_when", "to_ground_when", "to_cabin_when", "replaces"]);
    let env = all.env();
    book.manners = Manners {
        silent_when: r.condition("silent_when", &env),
        to_radio_when: r.condition("to_radio_when", &env),
        to_ground_when: r.condition("to_ground_when", &env),
        to_cabin_when: r.condition("to_cabin_when", &env),
    };
}
