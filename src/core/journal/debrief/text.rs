//! The debrief in the terminal.

use super::trend::{FIGURES, Flight, against};
use super::{Debrief, plain, quantile, sorted};
use crate::core::journal::why::clock;
use std::fmt::Write;

/// A few screens at most; `recording` says whether the offsets lead anywhere.
pub fn summary(d: &Debrief, before: &[Flight], recording: bool) -> String {
    let mut o = String::new();
    for n in &d.notices {
        let _ = writeln!(o, "{n}");
    }
    let _ = writeln!(o, "{}, {}, {} of session", d.book, d.started, clock(d.end));
    let _ = writeln!(o, "\nto work on");
    if d.work_on.is_empty() {
        let _ = writeln!(o, "  nothing stood out: too little was said or done");
    }
    for (n, p) in (1..).zip(&d.work_on) {
        let cases = if p.cases > 1 { format!(" ({} cases, this the worst)", p.cases) } else { String::new() };
        let _ = writeln!(o, "  {n}. {}: {}{cases}", p.title, p.what);
        let listen = if recording { "listen at" } else { "at" };
        let _ = writeln!(o, "     {listen} {}. {}", clock(p.at), p.advice);
        let _ = writeln!(o, "     by: {}", p.source);
    }
    let _ = writeln!(o, "\nmeasured by");
    for s in d.scores.iter().filter(|s| s.of > 0) {
        let _ = writeln!(o, "  {:>3} of {:>3}  {}", s.met, s.of, s.title);
        let doubt = s.doubt.as_ref().map_or_else(String::new, |d| format!(" ({d})"));
        let _ = writeln!(o, "              {}{doubt}", s.source);
    }
    let none: Vec<&str> = d.scores.iter().filter(|s| s.of == 0).map(|s| s.title.as_str()).collect();
    if !none.is_empty() {
        let _ = writeln!(o, "  no case of: {}", none.join(", "));
    }
    times(&mut o, "your answers", &sorted(&d.answers), "s");
    times(&mut o, "replies to you", &sorted(&d.replies), "s");
    let mut ms = d.decision_ms.clone();
    ms.sort_by(f64::total_cmp);
    if let Some(m) = quantile(&ms, 0.5) {
        let _ = writeln!(o, "calls chosen: median {m:.0} ms of real time after the end of an utterance");
    }
    items(&mut o, d);
    callouts(&mut o, d);
    for v in &d.deviations {
        let lasted = v.to.map_or("to the end".to_string(), |t| format!("{:.1} s", t.since(v.from)));
        let who = if v.said.is_some() { "the second pilot called it" } else { "nobody called it" };
        let _ = writeln!(o, "deviation {:>8}  {}: {lasted}; {who}", clock(v.from), plain(&v.limit));
    }
    for r in &d.refusals {
        let _ = writeln!(o, "{:<9} {:>8}  {}: {}", r.kind, clock(r.at), r.what, r.why);
    }
    for p in &d.promises {
        let _ = writeln!(o, "{:<9} {:>8}  {}: {}", p.kind, clock(p.at), p.what, p.state);
    }
    for r in &d.remarks {
        let _ = writeln!(o, "remark    {:>8}  \u{201c}{}\u{201d}: {}", clock(r.at), r.words, r.text);
    }
    if let Some(now) = (!before.is_empty()).then(|| Flight::of("", d)) {
        let _ = writeln!(o, "\nbeside {} earlier flights", before.len());
        for line in (0..FIGURES.len()).filter_map(|i| against(before, &now, i)) {
            let _ = writeln!(o, "  {line}");
        }
    }
    o
}

fn times(o: &mut String, title: &str, sorted: &[f64], unit: &str) {
    let q = |q| quantile(sorted, q).unwrap_or_default();
    if !sorted.is_empty() {
        let n = sorted.len();
        let _ = writeln!(
            o,
            "{title}: {n}, median {:.1} {unit}, nine in ten within {:.1}, slowest {:.1}",
            q(0.5),
            q(0.9),
            q(1.0)
        );
    }
}

fn items(o: &mut String, d: &Debrief) {
    let count = |is: &dyn Fn(&super::Item) -> bool| d.items.iter().filter(|i| is(i)).count();
    if d.items.is_empty() {
        return;
    }
    let _ = writeln!(
        o,
        "items: {}, agreed {}, not seen {}, skipped {}, contradicted at first {}; seen {}, heard only {}, simulated {}",
        d.items.len(),
        count(&|i| i.state == "agreed"),
        count(&|i| i.state == "cannot_see"),
        count(&|i| i.state == "skipped"),
        count(&|i| i.contradicted || i.state == "contradicted"),
        count(&|i| i.known == "seen"),
        count(&|i| i.known == "heard_only"),
        count(&|i| i.known == "simulated"),
    );
}

fn callouts(o: &mut String, d: &Debrief) {
    for c in &d.callouts {
        let told = match c.mark.as_ref().map(|m| (m, m.actual)) {
            Some((m, Some(actual))) => {
                let end = if m.end_due { "over" } else { "begun" };
                format!("{end} at {actual:.2}, due at {:.2}: {:+.2}", m.wanted, actual - m.wanted)
            }
            Some((m, None)) => format!("due at {:.1}; not heard whole", m.wanted),
            None => "made".to_string(),
        };
        let _ = writeln!(o, "callout   {:>8}  {}: {told}", clock(c.at), plain(&c.callout));
    }
}
