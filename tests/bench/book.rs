//! Conditions and loading: `cargo bench --bench book`.

#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a bench reads files"
)]

use antiphon::core::aircraft::Value;
use antiphon::core::book::expr::{Expr, Name, Scope};
use antiphon::core::book::{Book, Folder, load};
use antiphon::edge::store::{Places, common, load_book, read_folder};
use divan::{Bencher, black_box};
use std::path::{Path, PathBuf};

fn main() {
    divan::main();
}

fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("phrasebooks/saltmarsh-t2")
}

fn book() -> Book {
    load_book(&Places::default(), &path()).expect("the shipped book loads").0
}

/// Every signal is 100, every truth true, every word "up".
struct Now(Vec<Value>);

impl Now {
    fn of(book: &Book) -> Now {
        use antiphon::core::aircraft::ValueKind;
        let value = |kind: &ValueKind| match kind {
            ValueKind::Bool => Value::Bool(true),
            ValueKind::Number => Value::Number(100.0),
            ValueKind::Word(_) => Value::Word("up".into()),
        };
        Now(book.signals.iter().map(|s| value(&s.kind)).collect())
    }
}

impl Scope for Now {
    fn value(&self, name: &Name) -> Option<Value> {
        if let Name::Signal(id) = name { self.0.get(id.0 as usize).cloned() } else { None }
    }
}

fn three_terms(book: &Book) -> Expr {
    book.condition("ias_kt > 80 && on_ground && abs(ias_kt - ias_standby_kt) < 5").expect("it is well-formed")
}

#[divan::bench]
fn three_terms_evaluated(bencher: Bencher) {
    let book = book();
    let (expr, now) = (three_terms(&book), Now::of(&book));
    bencher.bench(|| black_box(&expr).holds(black_box(&now)));
}

#[divan::bench]
fn every_condition_of_the_book(bencher: Bencher) {
    let book = book();
    let now = Now::of(&book);
    bencher.bench(|| book.exprs().into_iter().filter(|e| e.eval(black_box(&now)).is_some()).count());
}

#[divan::bench]
fn three_terms_compiled(bencher: Bencher) {
    let book = book();
    bencher.bench(|| three_terms(black_box(&book)));
}

#[divan::bench]
fn the_book_loaded_from_memory(bencher: Bencher) {
    let folder: Folder = read_folder(&path()).expect("the book is there");
    bencher.bench(|| load(black_box(&folder), &|name| (name == "common").then(common)));
}
