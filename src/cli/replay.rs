//! `antiphon replay`.

use super::telling::out;
use super::{CliResult, Failure, Outcome};
use crate::core::book::Book;
use crate::core::crew::Crew;
use crate::core::crew::io::{Engine, Input, Step};
use crate::core::journal::why::{parse_time, why};
use crate::core::journal::{Header, Journal, Line, Outcome as Replayed, replay};
use crate::core::time::{SessionTime, SimTime};
use crate::edge::store::{Places, load_book, load_journal};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Run a journal again and compare.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  antiphon replay journal.jsonl\n  antiphon replay journal.jsonl --why 1:23\n\nExit status: 0 no difference, 1 a difference or a damaged journal, 2 no such journal or book."
)]
pub struct Args {
    /// A journal that fly or demo wrote.
    #[arg(value_name = "JOURNAL")]
    journal: PathBuf,
    /// Tell what was going on around this time of the session (83.2 or 1:23.2), instead of comparing.
    #[arg(long, value_name = "TIME")]
    why: Option<String>,
    /// The book, if it is not where the journal says.
    #[arg(long, value_name = "DIR")]
    book: Option<PathBuf>,
}

/// Runs it.
pub fn run(args: Args) -> CliResult {
    let at = match &args.why {
        None => None,
        Some(text) => Some(parse_time(text).ok_or_else(|| {
            Failure::new(format!(
                "\u{201c}{text}\u{201d} is not a time: write seconds (83.2) or minutes and seconds (1:23.2)."
            ))
        })?),
    };
    let journal = load_journal(&args.journal).map_err(Failure::new)?;
    let book = find_book(&journal.header, args.book.as_deref());
    if let Some(at) = at {
        // Without the book only the names of the live calls are lacking.
        let book = book.map(Arc::new);
        let names: Vec<String> =
            book.as_ref().map(|b| b.calls.iter().map(|c| c.id.clone()).collect()).unwrap_or_default();
        out(why(&journal, at, &names));
        match book {
            Ok(book) if book.hash == journal.header.book.hash => {
                out("What the second pilot waited for, from the book:");
                standing(&journal, at, Crew::new(book)).iter().for_each(|l| out(format_args!("  {l}")));
            }
            Ok(book) => out(format_args!("The book {} has changed since: what was armed cannot be told.", book.id)),
            Err(e) => out(format_args!("What was armed cannot be told: {e}.")),
        }
        return Ok(Outcome::Done);
    }
    let book = Arc::new(book?);
    let (lines, outcome) = judge(&journal, &book.hash, &mut Crew::new(book.clone()));
    for line in lines {
        out(line);
    }
    Ok(outcome)
}

/// Where everything stood at a moment: the engine, brought there by the journal's inputs.
fn standing(journal: &Journal, at: SessionTime, mut crew: Crew) -> Vec<String> {
    let feed = || {
        for e in &journal.entries {
            if let Line::In { stamp, input } = &e.line {
                if stamp.at > at {
                    break;
                }
                crew.handle(stamp.at, stamp.sim, input);
            }
        }
        crew.standing()
    };
    // An altered input may be one that the engine cannot bear.
    catch_unwind(AssertUnwindSafe(feed)).unwrap_or_else(|_| vec!["the engine stopped over an input before it".into()])
}

fn find_book(header: &Header, asked: Option<&Path>) -> Result<Book, Failure> {
    let places = Places::here(None);
    let wanted = asked.map_or_else(|| PathBuf::from(&header.book.path), Path::to_path_buf);
    let by_id = || load_book(&places, Path::new(&header.book.id));
    let found = match load_book(&places, &wanted) {
        // The journal may have come from another machine: then the name leads to the book.
        Err(_) if asked.is_none() => by_id(),
        found => found,
    };
    let (book, _) = found.map_err(|e| Failure::new(format!("{e}; name the journal's book with --book DIR")))?;
    Ok(book)
}

/// What there is to say, line by line, and how it ends.
fn judge(journal: &Journal, book_hash: &str, engine: &mut dyn Engine) -> (Vec<String>, Outcome) {
    let mut lines = Vec::new();
    let header = &journal.header;
    if header.book.hash != book_hash {
        let id = &header.book.id;
        lines.push(format!(
            "The book {id} has changed since this journal was written: differences may come from that. For the book as it was, use --book DIR."
        ));
    }
    let ours = env!("CARGO_PKG_VERSION");
    if header.program != ours {
        let theirs = &header.program;
        lines.push(format!(
            "The journal was written by antiphon {theirs} and this is {ours}: differences may come from that."
        ));
    }
    lines.extend(journal.tail.sentence());
    // An altered input may be one that the engine cannot bear.
    let mut counted = Counted { engine, inputs: 0 };
    let outcome = match catch_unwind(AssertUnwindSafe(|| replay(journal, &mut counted))) {
        Ok(Replayed::Same { inputs, outputs }) => {
            lines.push(format!("no difference: {inputs} inputs, {outputs} outputs"));
            Outcome::Done
        }
        Ok(Replayed::Differs(d)) => {
            lines.push(format!("first difference: {d}"));
            Outcome::Problems
        }
        Err(_) => {
            let at = journal.entries.iter().filter(|e| matches!(e.line, Line::In { .. })).nth(counted.inputs - 1);
            let line = at.map_or(0, |e| e.number);
            let input = counted.inputs;
            lines.push(format!("first difference: line {line}, input {input}: the engine stopped over this input."));
            Outcome::Problems
        }
    };
    (lines, outcome)
}

/// Counts the inputs, so that the one that stops the engine can be named.
struct Counted<'a> {
    engine: &'a mut dyn Engine,
    inputs: usize,
}

impl Engine for Counted<'_> {
    fn handle(&mut self, at: SessionTime, sim: SimTime, input: &Input) -> Step {
        self.inputs += 1;
        self.engine.handle(at, sim, input)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::aircraft::Value;
    use crate::core::journal::{BookMark, VERSION, read};
    use crate::edge::store::JournalFile;
    use std::collections::BTreeMap;

    /// Wants to be called again as soon as it hears of `x`; stops over a negative one.
    struct Toy;

    impl Engine for Toy {
        fn handle(&mut self, _at: SessionTime, sim: SimTime, input: &Input) -> Step {
            let mut step = Step::default();
            if let Input::State { delta } = input {
                let x = delta["x"].as_ref().and_then(Value::number).unwrap_or(0.0);
                assert!(x >= 0.0, "not a length");
                step.wake.sim = Some(sim.plus(x));
            }
            step
        }
    }

    fn journal(end: bool) -> String {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("j.jsonl");
        let header = Header {
            antiphon_journal: VERSION,
            program: env!("CARGO_PKG_VERSION").into(),
            book: BookMark { id: "toy".into(), hash: "aa".into(), path: "toy".into() },
            models: vec![],
            settings: BTreeMap::new(),
            seed: 1,
            started: "2020-01-01T00:00:00Z".into(),
        };
        let mut file = JournalFile::create(&path, &header).unwrap();
        for x in [1.5, 2.5] {
            let (at, sim) = (SessionTime::from_secs(x), SimTime::from_secs(x));
            let input = Input::State { delta: [("x".to_string(), Some(Value::Number(x)))].into() };
            file.input(at, sim, &input).unwrap();
            file.step(at, sim, &Toy.handle(at, sim, &input)).unwrap();
        }
        if end {
            file.finish(SessionTime(3_000_000), SimTime(3_000_000)).unwrap();
        }
        drop(file);
        std::fs::read_to_string(path).unwrap()
    }

    fn told(text: &str, hash: &str) -> String {
        let (lines, outcome) = judge(&read(text.as_bytes()).unwrap(), hash, &mut Toy);
        format!("{}\n{outcome:?}", lines.join("\n"))
    }

    #[test]
    fn what_replay_tells() {
        insta::assert_snapshot!(told(&journal(true), "aa"), @"
        no difference: 2 inputs, 0 outputs
        Done
        ");
        insta::assert_snapshot!(told(&journal(false), "aa"), @"
        The journal has no end line: the session was broken off; all that is there was read.
        no difference: 2 inputs, 0 outputs
        Done
        ");
        insta::assert_snapshot!(told(&journal(true), "bb"), @"
        The book toy has changed since this journal was written: differences may come from that. For the book as it was, use --book DIR.
        no difference: 2 inputs, 0 outputs
        Done
        ");
        insta::assert_snapshot!(told(&journal(true).replace("\"x\":2.5", "\"x\":3.5"), "aa"), @r#"
        first difference: line 4, input 2: this line, or one just before it, was changed since it was written: {"delta":{"x":3.5},"in":"state"}. The first output that then differs: line 5, input 2: wake.sim differs: the engine gives 6000000, the journal has 5000000.
        Problems
        "#);
        insta::assert_snapshot!(told(&journal(true).replace("\"x\":2.5", "\"x\":-3.5"), "aa"), @"
        first difference: line 4, input 2: the engine stopped over this input.
        Problems
        ");
        let program = format!("\"program\":\"{}\"", env!("CARGO_PKG_VERSION"));
        insta::assert_snapshot!(told(&journal(true).replace(&program, "\"program\":\"0.0.1\""), "aa"), @"
        The journal was written by antiphon 0.0.1 and this is 0.1.0: differences may come from that.
        first difference: line 1, input 1: this line, or one just before it, was changed since it was written: the header.
        Problems
        ");
    }
}
