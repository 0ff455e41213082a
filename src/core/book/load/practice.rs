//! `[practice]`: how phases are practised.

use super::All;
use super::aircraft::reader;
use super::calls::{one_of, refer};
use super::condition::describe;
use super::reader::{Reader, value};
use super::tree::Node;
use crate::core::aircraft::Value;
use crate::core::book::rules;
use crate::core::book::schema::{Among, Book, Circumstance, Draw, PhaseId, Practice, SheetId};

/// An attempt that never comes to its end is over after this, s.
const LIMIT_S: f64 = 1800.0;

/// Reads `[practice]`.
pub fn practices(all: &All, book: &mut Book) {
    for item in all.sections.items("practice") {
        let what = format!("practice `{}`", item.id);
        let r = reader(all.cx, &what, item);
        r.only(&["until", "limit_s", "draw", "replaces"]);
        r.need("until", "[\"…\"]");
        let Some(phase) = all.names.phases.find(&item.id) else {
            let hint = all.names.phases.nearest(&item.id).map(|n| format!("did you mean \"{n}\"?"));
            all.cx.raise(rules::UNKNOWN_PHASE, item.at, format!("There is no phase `{}`.", item.id), hint);
            continue;
        };
        let draws = r.node("draw").map_or(&[][..], |n| n.each());
        book.practices.push(Practice {
            phase: PhaseId(phase),
            until: r.phases("until", all.names),
            limit_s: r.seconds("limit_s").unwrap_or(LIMIT_S),
            draws: draws.iter().filter_map(|n| draw(all, n)).collect(),
        });
    }
}

fn draw(all: &All, node: &Node) -> Option<Draw> {
    let r = Reader::new(all.cx, "what is drawn", node.at, node);
    r.only(&["of", "from", "to", "step", "among", "sheet"]);
    r.need("of", "\"mass_kg\"");
    let of = r.choice("of", Circumstance::NAMES)?;
    let worded = matches!(of, Circumstance::Surface | Circumstance::Runway);
    let among = if one_of(&r, &["from", "among"])? == "from" {
        let (from, to) = (r.number("from", -1e6, 1e6)?, r.number("to", -1e6, 1e6).or_else(|| none(&r, "to"))?);
        Among::Range { from: from.min(to), to: from.max(to), step: r.number("step", 1e-3, 1e6).unwrap_or(1.0) }
    } else {
        let list: Vec<Value> = r.node("among")?.each().iter().filter_map(value).collect();
        Among::List(list)
    };
    let fits = match &among {
        Among::Range { .. } => !worded,
        Among::List(list) => {
            let word = |v: &Value| matches!(v, Value::Word(_)) == worded && !matches!(v, Value::Bool(_));
            !list.is_empty() && list.iter().all(word)
        }
    };
    if !fits {
        let wanted =
            if worded { "words: `among = [\"…\", \"…\"]`" } else { "numbers: `from` and `to`, or `among`" };
        all.cx.wrong_type(node, "what is drawn", wanted);
        return None;
    }
    let sheet = refer(all, &r, "sheet");
    if let (Some(entry), Some(node)) = (sheet, r.node("sheet"))
        && let Some(kind) = all.names.sheet_kinds.get(entry as usize)
    {
        let fits = match &among {
            Among::Range { .. } => Value::Number(0.0).fits(kind),
            Among::List(list) => list.iter().all(|v| v.fits(kind)),
        };
        if !fits {
            all.cx.wrong_type(
                node,
                "sheet",
                &format!("an entry that can hold what is drawn; this one holds {}", describe(kind)),
            );
        }
    }
    Some(Draw { of, among, sheet: sheet.map(SheetId) })
}

/// Asks for a key that is missing.
fn none(r: &Reader, key: &str) -> Option<f64> {
    r.need(key, "…").and(None)
}
