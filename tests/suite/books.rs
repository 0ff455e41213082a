//! Books as data: every problem of a faulty book is written on its line (`tests/books/README.md`).

use antiphon::core::aircraft::Value;
use antiphon::core::book::{Folder, Loaded, Severity, SourceFile, load};
use antiphon::core::grammar::{self, CallSet};
use antiphon::edge::store::{Places, common, load_book, read_book, read_folder};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

fn top() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn books() -> Vec<PathBuf> {
    let all = std::fs::read_dir(top().join("tests/books")).unwrap().map(|e| e.unwrap().path());
    let mut all: Vec<PathBuf> = all.filter(|p| p.is_dir()).collect();
    all.sort();
    assert!(all.len() >= 10, "the books are not found");
    all
}

/// What is expected: the file's name and line, or none for the book as a whole; id and text.
type Expected = (Option<(String, usize)>, String, String);

fn expectations(loaded: &Loaded) -> Vec<Expected> {
    let mut all = Vec::new();
    for source in &loaded.sources {
        for (i, line) in source.text.lines().enumerate() {
            let (marks, place) = match line.trim().strip_prefix("#!! ") {
                Some(rest) => (vec![rest], None),
                None => (line.split("#! ").skip(1).collect(), Some((source.name.clone(), i + 1))),
            };
            for mark in marks {
                let (id, text) = mark.split_once(": ").unwrap_or_else(|| panic!("`{mark}` is not `id: text`"));
                all.push((place.clone(), id.trim().to_string(), text.trim().to_string()));
            }
        }
    }
    all
}

/// Compares, and tells every difference at once.
fn check(path: &Path) -> Vec<String> {
    let loaded = read_book(&Places::default(), path).unwrap();
    let mut expected = expectations(&loaded);
    let mut told = Vec::new();
    for p in &loaded.problems {
        let place = p.place.as_ref().map(|p| (p.file.clone(), p.line as usize));
        let said = format!("{} {}", p.text, p.hint.as_deref().unwrap_or_default());
        let matches = |e: &Expected| e.0 == place && e.1 == p.id && said.contains(&e.2);
        match expected.iter().position(matches) {
            Some(i) => drop(expected.remove(i)),
            None => told.push(format!("not expected: {p}")),
        }
    }
    told.extend(expected.iter().map(|(place, id, text)| match place {
        Some((file, line)) => format!("not found: {file}:{line}: [{id}] {text}"),
        None => format!("not found: [{id}] {text}"),
    }));
    told
}

#[test]
fn every_problem_is_on_its_line_and_nothing_else_is_found() {
    let told: Vec<String> = books().iter().flat_map(|b| check(b)).collect();
    assert!(told.is_empty(), "\n{}\n", told.join("\n"));
}

#[test]
fn nearly_every_kind_of_problem_has_a_faulty_line() {
    use antiphon::core::book::rules::RULES;
    let seen: Vec<String> = books()
        .iter()
        .flat_map(|b| expectations(&read_book(&Places::default(), b).unwrap()))
        .map(|(_, id, _)| id)
        .collect();
    // A missing folder and too many entries need no file to show them: `what_is_missing_or_too_much_is_told` has them;
    // `intrinsic-not-always` cannot happen to a book that takes in `common`.
    let elsewhere = ["missing-file", "too-many", "intrinsic-not-always"];
    let missing: Vec<&str> =
        RULES.iter().map(|r| r.id).filter(|id| !seen.iter().any(|s| s == id) && !elsewhere.contains(id)).collect();
    assert!(missing.is_empty(), "no book shows {missing:?}");
}

fn folder(files: &[(&str, &str)]) -> Folder {
    let file = |(name, text): &(&str, &str)| SourceFile { name: (*name).into(), text: (*text).into() };
    Folder { id: "x".into(), files: files.iter().map(file).collect() }
}

fn fetch(name: &str) -> Option<Folder> {
    (name == "common").then(common)
}

fn ids(loaded: &Loaded) -> Vec<&str> {
    loaded.problems.iter().map(|p| p.id).collect()
}

#[test]
fn what_is_missing_or_too_much_is_told() {
    let extends = load(&folder(&[("a.toml", "[book]\ntitle = \"x\"\nextends = \"nowhere\"\n")]), &fetch);
    assert!(ids(&extends).contains(&"missing-file"));
    assert!(ids(&load(&folder(&[]), &fetch)).contains(&"missing-file"));
    let big = format!(
        "[book]\ntitle = \"x\"\nuse = [\"common\"]\n[phases.a]\nnext = []\n[calls.a]\nsay = \"{}\"\ndoes = {{ engine = \"skip\" }}\n",
        "(a | b) ".repeat(60) + &"word<0-50>".repeat(3000)
    );
    let big = load(&folder(&[("a.toml", &big)]), &fetch);
    assert!(ids(&big).contains(&"too-many"), "{:?}", big.problems);
    let quiet =
        "[book]\ntitle = \"x\"\n[phases.a]\nnext = []\n[calls.hold]\nsay = \"hold\"\ndoes = { engine = \"hold\" }\n";
    assert!(ids(&load(&folder(&[("a.toml", quiet)]), &fetch)).contains(&"intrinsic-not-always"));
}

#[test]
fn the_shipped_books_have_no_problem() {
    let shelf = std::fs::read_dir(top().join("phrasebooks")).unwrap().map(|e| e.unwrap().path());
    let book = |p: &PathBuf| p.is_dir() && p.join("book.toml").exists();
    let books: Vec<PathBuf> = shelf.filter(book).collect();
    assert!(books.len() >= 3, "{books:?}");
    for book in books {
        let (_, problems) = load_book(&Places::default(), &book).unwrap();
        let told: Vec<String> = problems.iter().map(ToString::to_string).collect();
        assert!(told.is_empty(), "{}", told.join("\n"));
    }
}

#[test]
fn the_examples_of_the_guide_are_one_book_without_a_problem() {
    let page = std::fs::read_to_string(top().join("docs/phrasebook.md")).unwrap();
    let mut text = String::new();
    for block in page.split("```toml\n").skip(1) {
        text.push_str(block.split("```").next().unwrap());
        text.push('\n');
    }
    let loaded = load(&folder(&[("phrasebook.md", &text)]), &fetch);
    let told: Vec<String> = loaded.problems.iter().map(ToString::to_string).collect();
    assert!(told.is_empty(), "{}", told.join("\n"));
    assert!(loaded.book.counts().conditions > 30);
}

#[test]
fn a_book_of_another_trade_works_and_can_be_extended() {
    let places = Places::default();
    let (book, _) = load_book(&places, &top().join("tests/books/kitchen")).unwrap();
    let (other, _) = load_book(&places, &top().join("tests/books/replaced")).unwrap();
    let hear = |book: &antiphon::core::book::Book, said: &str| {
        let words: Vec<&str> = said.split(' ').collect();
        let calls = CallSet::all(book.calls.len());
        let heard: Vec<_> = calls.iter().flat_map(|c| grammar::accepts(&book.graph, c, &words)).collect();
        if let [one] = heard.as_slice() { Some(one.clone()) } else { None }
    };
    let moved = hear(&book, "move the corner table to the terrace please").unwrap();
    assert_eq!(moved.call, "move_guests");
    assert_eq!(moved.slots["from"], Value::Word("corner".into()));
    assert_eq!(moved.slots["to"], Value::Word("terrace".into()));
    assert_eq!(hear(&book, "heat the oven to two hundred"), None);
    let heat = hear(&other, "heat the oven to two hundred").unwrap();
    assert_eq!((heat.call.as_str(), &heat.slots["degrees"]), ("oven", &Value::Number(200.0)));
    for out_of_range in ["nine hundred", "forty", "two hundred five"] {
        assert_eq!(hear(&other, &format!("heat the oven to {out_of_range}")), None, "{out_of_range}");
    }
    assert_eq!(hear(&other, "next dish for the corner"), None);
    assert!(hear(&other, "next plate for the corner").is_some());
    assert_eq!(
        book.calls.iter().map(|c| &c.id).collect::<Vec<_>>(),
        other.calls.iter().map(|c| &c.id).collect::<Vec<_>>()
    );
    assert_ne!(book.hash, other.hash);
}

#[test]
fn loading_twice_gives_the_same() {
    let path = top().join("phrasebooks/saltmarsh-t2");
    let load = || format!("{:?}", load_book(&Places::default(), &path).unwrap().0);
    assert_eq!(load(), load());
}

/// All texts of the small books, as material to spoil.
fn material() -> Vec<String> {
    let mut all = Vec::new();
    for b in books() {
        all.extend(read_folder(&b).unwrap().files.into_iter().map(|f| f.text));
    }
    all
}

/// Cuts, doubles, swaps and overwrites by position, so that a failing case can be read.
fn spoil(text: &str, deeds: &[(u8, usize, usize, char)]) -> String {
    let mut letters: Vec<char> = text.chars().collect();
    for (deed, a, b, c) in deeds {
        if letters.is_empty() {
            break;
        }
        let (a, b) = (a % letters.len(), b % letters.len());
        let (from, to) = (a.min(b), a.max(b).min(a.min(b) + 40));
        match deed % 4 {
            0 => drop(letters.drain(from..to)),
            1 => {
                let copy: Vec<char> = letters[from..to].to_vec();
                letters.splice(from..from, copy);
            }
            2 => letters[a] = *c,
            _ => letters.swap(a, b),
        }
    }
    letters.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_loader_never_panics_on_a_spoilt_book(
        which in 0usize..100,
        deeds in prop::collection::vec((any::<u8>(), any::<usize>(), any::<usize>(), prop::sample::select("\"'[]{}=.,#\n\\$|<>()é0a_ ".chars().collect::<Vec<_>>())), 1..8),
    ) {
        let all = material();
        let text = spoil(&all[which % all.len()], &deeds);
        let loaded = load(&folder(&[("a.toml", &text)]), &fetch);
        for p in loaded.problems.iter().filter_map(|p| p.place.as_ref()) {
            let source = loaded.sources.iter().find(|s| s.name == p.file).unwrap();
            prop_assert!(source.text.get(p.start..p.end).is_some(), "a place outside of the text: {p:?}");
        }
        // Whatever came out can be walked.
        loaded.book.counts();
        loaded.book.contexts();
        prop_assert!(loaded.failed() == loaded.problems.iter().any(|p| p.severity == Severity::Error));
    }
}
