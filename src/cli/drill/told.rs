//! A drill as it is told on the terminal.

use crate::core::radio::{
    Answer, CallsignScore, Exercise, FASTEST_WPM, Item, ItemScore, Need, Note, Phrases, Progress, Reply, Rules, Score,
    Summary, Verdict, mean, written,
};

/// Where a line of the score begins.
const INDENT: &str = "    ";

/// The score of an answer, a line each.
pub fn score(phrases: &Phrases, rules: &Rules, reply: &Reply) -> Vec<String> {
    let (score, against) = (&reply.score, &reply.against);
    let mut out: Vec<String> = Vec::new();
    match (&score.answer, score.not_mine) {
        (Answer::Silence, true) => out.push("right      not your callsign: you left it alone".into()),
        (_, true) => out.push(format!("WRONG      that was for {}, not for you", against.to)),
        (Answer::Silence, _) => out.push("no answer".into()),
        (Answer::Unreadable, _) => out.push("not understood".into()),
        (Answer::SayAgain(_), _) => out.push("you asked again: no fault".into()),
        (Answer::Standby, _) => out.push("you asked to wait: no fault".into()),
        (Answer::Unable, _) => out.push("you cannot comply: no fault".into()),
        (Answer::Readback, _) => readback(phrases, rules, score, against, &mut out),
    }
    for note in &score.faults {
        out.push(format!("FAULT      {}", cited(note)));
    }
    for note in &score.notes {
        out.push(format!("note       {}", cited(note)));
    }
    out.extend(pace(score));
    out.iter().map(|l| format!("{INDENT}{l}")).collect()
}

fn readback(phrases: &Phrases, rules: &Rules, score: &Score, against: &Exercise, out: &mut Vec<String>) {
    for s in &score.items {
        let Some(item) = against.items.get(s.item) else { continue };
        out.push(line(phrases, item, s));
        if s.is_fault() || matches!(s.verdict, Verdict::Missing) {
            out.extend(rule(s));
        }
        for note in &s.notes {
            out.push(format!("  form     {}", cited(note)));
        }
    }
    for item in &score.extra {
        out.push(format!("EXTRA      {}", item.told(phrases)));
    }
    let own = against.own.to_string();
    let callsign = &rules.callsign;
    let source = format!("           {} [{}]", callsign.paragraph, callsign.source);
    match &score.callsign {
        CallsignScore::NotAsked => {}
        CallsignScore::Right => out.push("right      callsign".into()),
        CallsignScore::Wrong(said) => {
            out.extend([format!("WRONG      callsign: you said {}, you are {own}", said.to_uppercase()), source]);
        }
        CallsignScore::Missing => out.extend(["MISSING    callsign".into(), source]),
        CallsignScore::Shortened => out.extend([
            format!("WRONG      callsign shortened: {own} is said whole"),
            format!("           [{}]", callsign.shorten_source),
        ]),
    }
}

fn line(phrases: &Phrases, item: &Item, s: &ItemScore) -> String {
    let told = item.told(phrases);
    let called = phrases.items.get(&item.kind).map_or(item.kind.as_str(), |k| k.called.as_str());
    match &s.verdict {
        Verdict::Correct => format!("right      {told}"),
        Verdict::Wrong(said) => {
            let values = |slots: &std::collections::BTreeMap<String, crate::core::aircraft::Value>| {
                slots.values().map(written).collect::<Vec<_>>().join(" ")
            };
            format!("WRONG      {called}: you said {}, it was {}", values(said), values(&item.slots))
        }
        Verdict::Incomplete(missing) => {
            let missing: Vec<&str> = missing.iter().map(String::as_str).collect();
            format!("INCOMPLETE {told}: without the {}", missing.join(" and the ").replace('_', " "))
        }
        Verdict::Unclear => format!("unclear    {called}: heard, but not for sure"),
        Verdict::Missing if s.is_fault() => format!("MISSING    {told}"),
        Verdict::Missing => format!("left out   {told}"),
        Verdict::Acknowledged => format!("accepted   {told}: acknowledged, which is enough"),
        Verdict::LeftOut => format!("right      {told}: needs no readback"),
    }
}

fn rule(s: &ItemScore) -> Vec<String> {
    let Some(rule) = &s.rule else { return Vec::new() };
    let need = match rule.need {
        Need::Must => "must be read back",
        Need::Should => "should be read back",
        Need::Acknowledge => "read back or acknowledged",
        Need::None => "needs no answer",
    };
    let mut out = vec![format!("           {need}: {} [{}]", rule.paragraph, rule.source)];
    out.extend(rule.doubt.iter().map(|d| format!("           doubtful: {d}")));
    out
}

fn pace(score: &Score) -> Option<String> {
    let latency = score.latency_s.map(|s| format!("answered after {s:.1} s"));
    let pace = score.wpm.map(|w| format!("{w:.0} words a minute"));
    let both: Vec<String> = latency.into_iter().chain(pace).collect();
    (!both.is_empty()).then(|| format!("           {}", both.join(", ")))
}

fn cited(note: &Note) -> String {
    if note.source.ends_with(']') {
        format!("{}: {}", note.text, note.source)
    } else {
        format!("{} [{}]", note.text, note.source)
    }
}

/// The session in a few lines.
pub fn summary(phrases: &Phrases, summary: &Summary) -> Vec<String> {
    let s = summary;
    let mut out = vec![format!("{} exercises, {} right at once", s.exercises + s.unanswered, s.right_at_once)];
    out.push(format!(
        "items: {} right, {} wrong, {} missing or incomplete, {} extra",
        s.right, s.wrong, s.missing, s.extra
    ));
    let counts = [
        (s.callsign, "callsign wrong, shortened or missing"),
        (s.unanswered, "exercises without a readback"),
        (s.silent, "calls without an answer"),
        (s.unreadable, "not understood"),
        (s.unable, "unable"),
    ];
    out.extend(counts.iter().filter(|c| c.0 > 0).map(|(n, what)| format!("{what}: {n}")));
    if let Some(latency) = mean(&s.latency_s) {
        out.push(format!("answered after {latency:.1} s in the mean"));
    }
    if let Some(wpm) = mean(&s.wpm) {
        out.push(format!("{wpm:.0} words a minute in the mean; {FASTEST_WPM:.0} are the limit"));
    }
    let called = |k: &str| phrases.items.get(k).map_or(k.to_string(), |i| i.called.clone());
    for (kind, tally) in s.weak() {
        let all = tally.right + tally.faulty;
        out.push(format!("weak: {} ({} of {all} right); it comes more often from now on", called(kind), tally.right));
    }
    let mut remarks: Vec<(&Note, &u32)> = s.remarks.iter().collect();
    remarks.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
    out.extend(remarks.iter().take(5).map(|(note, n)| format!("{n} × {}", cited(note))));
    out
}

/// How many of the last days are shown.
const DAYS: usize = 7;

/// The last days, a line each; nothing on the first day.
pub fn days(progress: &Progress) -> Vec<String> {
    if progress.days.len() < 2 {
        return Vec::new();
    }
    let line = |(day, d): (&i64, &crate::core::radio::Day)| {
        let share = f64::from(d.right_at_once) / f64::from(d.exercises.max(1));
        let bar = "#".repeat((share * 20.0).round() as usize);
        format!("{}  {:>3} of {:>3} right at once  {bar}", date(*day), d.right_at_once, d.exercises)
    };
    progress.days.iter().rev().take(DAYS).rev().map(line).collect()
}

/// A day as a date.
fn date(day: i64) -> String {
    let at = jiff::Timestamp::from_second(day.saturating_mul(86_400));
    at.map_or_else(|_| day.to_string(), |t| t.strftime("%Y-%m-%d").to_string())
}
