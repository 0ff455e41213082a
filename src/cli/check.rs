//! `antiphon check`.

use super::{CliResult, Failure, Outcome};
use crate::core::book::{Book, Confusion, Counts, Loaded, Problem, Severity, rules};
use crate::edge::store::{Places, read_book};
use miette::{Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource, SourceCode};
use std::fmt;
use std::io::IsTerminal;
use std::path::{Path, PathBuf};

/// Check phrasebooks and say what is wrong and how to mend it.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  antiphon check phrasebooks/saltmarsh-t2\n  antiphon check saltmarsh-t2 --contexts\n  antiphon check --explain unknown-signal\n  \
                  antiphon check saltmarsh-t2 --coverage out/demo/journal.jsonl tests/sessions"
)]
pub struct Args {
    /// Folders or names of phrasebooks; without any, all that are found.
    #[arg(value_name = "BOOK")]
    books: Vec<PathBuf>,
    /// One JSON object a book, one a line.
    #[arg(long)]
    json: bool,
    /// Explain one kind of problem by its id; `all` prints the whole page.
    #[arg(long, value_name = "ID", conflicts_with_all = ["json", "contexts"])]
    explain: Option<String>,
    /// Tell what of one book these journals and session scripts (acted out typed), or folders of them, never exercise.
    #[arg(long, value_name = "JOURNAL", num_args = 1.., conflicts_with_all = ["json", "contexts", "explain"])]
    coverage: Vec<PathBuf>,
    /// Show what can be said in each phase, how much that is, and what of it sounds alike.
    #[arg(long)]
    contexts: bool,
}

/// Runs it.
pub fn run(args: Args) -> CliResult {
    if let Some(id) = &args.explain {
        return explain(id);
    }
    let places = Places::here(None);
    if !args.coverage.is_empty() {
        let book = args.books.first().map_or(Path::new(super::wiring::BOOK), PathBuf::as_path);
        return match args.books.len() {
            0 | 1 => super::coverage::run(&places, book, &args.coverage),
            _ => Err(Failure::new("--coverage is about one book: name one")),
        };
    }
    let books = if args.books.is_empty() { all_books(&places)? } else { args.books };
    let mut outcome = Outcome::Done;
    for book in &books {
        let loaded = read_book(&places, book).map_err(|e| Failure::new(e.to_string()))?;
        if loaded.failed() {
            outcome = Outcome::Problems;
        }
        let text = if args.json { json(book, &loaded, args.contexts)? } else { report(book, &loaded, args.contexts)? };
        print!("{text}");
    }
    Ok(outcome)
}

fn explain(id: &str) -> CliResult {
    if id == "all" {
        print!("{}", rules::page());
        return Ok(Outcome::Done);
    }
    match rules::rule(id) {
        Some(rule) => {
            print!("{}", rules::entry(rule));
            Ok(Outcome::Done)
        }
        None => {
            let near = rules::RULES.iter().map(|r| (strsim::osa_distance(id, r.id), r.id)).min();
            let near = near.map_or("", |(_, n)| n);
            Err(Failure::new(format!("there is no problem `{id}`: did you mean `{near}`? `--explain all` lists them")))
        }
    }
}

/// Every book on the shelves, each name once; `common` is checked with the books that use it.
fn all_books(places: &Places) -> Result<Vec<PathBuf>, Failure> {
    let mut books: Vec<PathBuf> = Vec::new();
    for shelf in places.shelves() {
        let entries = std::fs::read_dir(&shelf)
            .map_err(|e| Failure::new(format!("{} cannot be read ({e}): name a book's folder", shelf.display())))?;
        let mut here: Vec<PathBuf> = entries.filter_map(|e| Some(e.ok()?.path())).filter(|p| p.is_dir()).collect();
        here.sort();
        let known = |p: &PathBuf| p.ends_with("common") || books.iter().any(|b| b.file_name() == p.file_name());
        here.retain(|p| !known(p));
        books.extend(here);
    }
    if books.is_empty() {
        return Err(Failure::new(
            "no phrasebook was found: name a book's folder, as in `antiphon check phrasebooks/mine`",
        ));
    }
    Ok(books)
}

fn plural(n: usize, one: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {one}s") }
}

fn summary(c: &Counts) -> String {
    [
        format!("{} with {}", plural(c.calls, "call"), plural(c.wordings, "wording")),
        format!("{} with {}", plural(c.flows, "flow"), plural(c.steps, "step")),
        format!("{} with {}", plural(c.checklists, "checklist"), plural(c.items, "item")),
        plural(c.callouts, "callout"),
        plural(c.limits, "limit"),
        plural(c.phases, "phase"),
        plural(c.signals, "signal"),
        plural(c.controls, "control"),
        plural(c.conditions, "condition"),
    ]
    .join(", ")
}

fn report(path: &Path, loaded: &Loaded, contexts: bool) -> Result<String, Failure> {
    let book = &loaded.book;
    let title = if book.title.is_empty() { &book.id } else { &book.title };
    let mut text = format!("{title} ({})\n  {}\n", path.display(), summary(&book.counts()));
    if contexts {
        text.push_str("  live grammar, answers left out:\n");
        let all = book.contexts();
        let width = all.iter().map(|c| c.phase.len()).max().unwrap_or(0);
        for c in all {
            text.push_str(&format!(
                "    {:width$}  {:>3} calls  {:>3} phrases  {:>9} sentences  {:>4} words  {:>6} nodes\n",
                c.phase,
                c.calls,
                c.phrases,
                many(c.sentences),
                c.words,
                c.nodes
            ));
        }
        text.push_str(&alike(book));
    }
    let theme =
        if std::io::stdout().is_terminal() { GraphicalTheme::unicode() } else { GraphicalTheme::unicode_nocolor() };
    let printer = GraphicalReportHandler::new_themed(theme).with_width(120).with_links(false);
    for problem in &loaded.problems {
        text.push('\n');
        let shown = Shown::new(problem, loaded);
        printer.render_report(&mut text, &shown).map_err(|_| Failure::new("a problem could not be printed"))?;
    }
    let count = |s: Severity| loaded.problems.iter().filter(|p| p.severity == s).count();
    let (errors, warnings) = (count(Severity::Error), count(Severity::Warning));
    let verdict = match (errors, warnings) {
        (0, 0) => "no problem".to_string(),
        (0, w) => format!("{}, no error", plural(w, "warning")),
        (e, w) => format!("{}, {}: not to be flown", plural(e, "error"), plural(w, "warning")),
    };
    text.push_str(&format!("  {verdict}\n"));
    Ok(text)
}

/// A count for the eye.
fn many(n: u64) -> String {
    match n {
        u64::MAX => "countless".into(),
        0..1_000_000 => n.to_string(),
        n => format!("{:.1e}", n as f64),
    }
}

/// Pairs shown; `--json` has all.
const SHOWN: usize = 15;

/// What sounds alike, worst first.
fn alike(book: &Book) -> String {
    let all = book.confusions();
    if all.is_empty() {
        return "  nothing that can be said at the same time sounds alike\n".into();
    }
    let mut text =
        "  what sounds alike while both can be said, worst first (0: no difference can be heard):\n".to_string();
    // One answer given to many questions is one line.
    let mut shown: Vec<(&Confusion, usize)> = Vec::new();
    for c in &all {
        let same = |(s, _): &&mut (&Confusion, usize)| {
            (&s.first_said, &s.second_said, &s.first) == (&c.first_said, &c.second_said, &c.first)
        };
        match shown.iter_mut().find(same) {
            Some((_, more)) => *more += 1,
            None => shown.push((c, 0)),
        }
    }
    for (c, more) in shown.iter().take(SHOWN) {
        let critical = if c.critical { ", critical" } else { "" };
        let answer = if c.answer { ", while the answer is due" } else { "" };
        let whole = c.phases.len() == book.phases.len();
        let phases = if whole || c.phases.is_empty() { "everywhere".into() } else { c.phases.join(", ") };
        let more = if *more > 0 { format!(" and {more} more") } else { String::new() };
        text.push_str(&format!(
            "    {:.2}  \"{}\" ({}) and \"{}\" ({}{more}){critical}{answer}\n          in {phases}: {}\n",
            c.apart, c.first_said, c.first, c.second_said, c.second, c.hint
        ));
    }
    if shown.len() > SHOWN {
        text.push_str(&format!("    and {} more: --json lists them all\n", shown.len() - SHOWN));
    }
    text
}

fn json(path: &Path, loaded: &Loaded, contexts: bool) -> Result<String, Failure> {
    let mut line = serde_json::json!({
        "book": loaded.book.id,
        "path": path.display().to_string(),
        "title": loaded.book.title,
        "hash": loaded.book.hash,
        "counts": loaded.book.counts(),
        "problems": loaded.problems,
    });
    if contexts {
        line["contexts"] = serde_json::json!(loaded.book.contexts());
        line["confusions"] = serde_json::json!(loaded.book.confusions());
    }
    Ok(format!("{line}\n"))
}

/// A problem with the text around it.
#[derive(Debug)]
struct Shown<'a> {
    problem: &'a Problem,
    source: Option<NamedSource<String>>,
}

impl<'a> Shown<'a> {
    fn new(problem: &'a Problem, loaded: &Loaded) -> Self {
        let file = problem.place.as_ref().and_then(|p| loaded.sources.iter().find(|s| s.name == p.file));
        Shown { problem, source: file.map(|f| NamedSource::new(&f.name, f.text.clone())) }
    }
}

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.problem.text)
    }
}

impl std::error::Error for Shown<'_> {}

impl Diagnostic for Shown<'_> {
    fn code<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.problem.id))
    }
    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.problem.severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
        })
    }
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        let hint = self.problem.hint.as_ref()?;
        Some(Box::new(hint))
    }
    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.source.as_ref().map(|s| s as &dyn SourceCode)
    }
    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let place = self.problem.place.as_ref()?;
        // Several lines underlined hide what is meant: the first is enough.
        let text = self.source.as_ref().map_or("", |s| s.inner());
        let first = text.get(place.start..place.end).and_then(|t| t.lines().next()).map_or(0, str::len);
        Some(Box::new(std::iter::once(LabeledSpan::new_with_span(
            Some("here".into()),
            place.start..place.start + first,
        ))))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::book::{Folder, SourceFile, load};

    fn faulty() -> Loaded {
        let text =
            "[book]\ntitle = \"x\"\n[signals.ias_kt]\nkind = \"number\"\n[phases.air]\nenter_when = \"ias_kts > 80\"\n";
        load(&Folder { id: "x".into(), files: vec![SourceFile { name: "x.toml".into(), text: text.into() }] }, &|_| {
            None
        })
    }

    #[test]
    fn a_problem_is_shown_with_its_line_and_the_correction() {
        let text = report(Path::new("x"), &faulty(), true).unwrap();
        for wanted in [
            "unknown-signal",
            "x.toml:6:15",
            "enter_when = \"ias_kts > 80\"",
            "did you mean \"ias_kt\"?",
            "not to be flown",
        ] {
            assert!(text.contains(wanted), "{wanted} is not in:\n{text}");
        }
    }

    #[test]
    fn what_sounds_alike_is_shown_with_what_to_do() {
        let text = "[calls.a]\nsay = \"brakes on\"\n[calls.b]\nsay = \"breaks on\"\n[calls.c]\nsay = \"gear up\"\n";
        let files = vec![SourceFile { name: "x.toml".into(), text: text.into() }];
        let book = load(&Folder { id: "x".into(), files }, &|_| None).book;
        let told = alike(&book);
        assert!(told.contains("\"brakes on\" (a) and \"breaks on\" (b)") && told.contains("in `b`"), "{told}");
        assert!(!told.contains("gear"), "{told}");
        assert_eq!((many(12), many(18_000_000), many(u64::MAX)), ("12".into(), "1.8e7".into(), "countless".into()));
    }

    #[test]
    fn json_is_one_object_a_line() {
        let line = json(Path::new("x"), &faulty(), true).unwrap();
        let value: serde_json::Value = serde_json::from_str(&line).unwrap();
        let problem = value["problems"].as_array().unwrap().iter().find(|p| p["id"] == "unknown-signal").unwrap();
        assert_eq!((&problem["severity"], &problem["place"]["line"]), (&"error".into(), &6.into()));
        assert_eq!(value["contexts"][0]["phase"], "air");
        assert_eq!(line.matches('\n').count(), 1);
    }
}
