#![allow(clippy::disallowed_methods, clippy::disallowed_types, clippy::disallowed_macros, reason = "a test of files")]
//! The tree keeps the rules of the house, and each rule is proven by a violation planted for it.

#[path = "tidy/rules.rs"]
mod rules;
#[path = "tidy/source.rs"]
mod source;

use rules::{Finding, MAY_NAME, RULES};
use source::{File, code_only, named};
use std::path::Path;
use std::process::Command;

#[test]
fn the_tree_is_tidy() {
    let files = tree(Path::new(env!("CARGO_MANIFEST_DIR")));
    assert!(files.iter().any(|f| f.path == "src/core/mod.rs"), "the walk did not find the sources");
    let told: Vec<String> = files
        .iter()
        .flat_map(|file| RULES.iter().map(move |(name, rule)| (file, name, rule)))
        .flat_map(|(file, name, rule)| {
            rule(file).into_iter().map(move |f| format!("{}:{}: {name}: {}", file.path, f.line, f.says))
        })
        .collect();
    assert!(told.is_empty(), "\n{}\n", told.join("\n"));
}

/// Every file that is not ignored. Git is not asked, so that a source archive can be tested too.
fn tree(top: &Path) -> Vec<File> {
    let ignored = std::fs::read_to_string(top.join(".gitignore")).expect(".gitignore is read");
    let ignored: Vec<&str> = ignored.lines().filter_map(|l| l.strip_prefix('/')).collect();
    let mut files = Vec::new();
    let mut folders = vec![top.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(&folder).expect("a folder is read").map(|e| e.expect("an entry is read")) {
            let path = entry.path();
            let name = path.strip_prefix(top).expect("below the top").to_string_lossy().replace('\\', "/");
            let kind = entry.file_type().expect("a kind is read");
            // Folders with a dot are the tools' own, but for those that we write.
            let foreign =
                name.starts_with('.') && kind.is_dir() && !matches!(name.as_str(), ".ci" | ".github" | ".cargo");
            if ignored.contains(&name.as_str()) || foreign || name == ".git" || kind.is_symlink() {
                continue;
            }
            if kind.is_dir() {
                folders.push(path);
            } else {
                let content = std::fs::read(&path).expect("a file is read");
                let text = String::from_utf8_lossy(&content).into_owned();
                files.push(File { path: name, text, bytes: content.len() as u64 });
            }
        }
    }
    files.sort_by(|a, b| a.path.cmp(&b.path));
    files
}

/// The rule of that name finds exactly these lines in the planted file.
#[track_caller]
fn check(rule: &str, path: &str, text: &str, lines: &[usize]) {
    let (_, rule) = RULES.iter().find(|(name, _)| *name == rule).expect("a rule of that name");
    let found: Vec<Finding> = rule(&File::new(path, text));
    assert_eq!(found.iter().map(|f| f.line).collect::<Vec<_>>(), lines, "{path}: {text}\n{found:?}");
}

#[test]
fn floors_planted() {
    let bad = [
        "use crate::edge::store;",
        "use crate::{core::time::Wake, edge};",
        "use super::super::edge::app;",
        "use super::super::super::edge::app;",
        "fn f() { antiphon::edge::app::run() }",
        "fn f() { crate :: edge :: run() }",
        "fn f() -> Result<(), crate::cli::Failure> { g() }",
        "mod inner { use super::super::super::cli::run; }",
        "#[cfg(test)] mod tests { use crate::edge::store; }",
        "use crate as root;",
        "use crate::*;",
        "macro_rules! m { () => { $crate::edge::run() } }",
        "#[path = \"../../edge/mod.rs\"] mod world;",
        "extern crate antiphon as other;",
    ];
    for text in bad {
        let path =
            if text.starts_with("use super::super::super") { "src/core/book/expr.rs" } else { "src/core/book/mod.rs" };
        check("floors", path, text, &[1]);
    }
    let good = [
        "//! Never names crate::edge.\n/* crate::edge /* crate::cli */ */ fn f() {}",
        "fn f() -> &'static str { \"crate::edge\" }",
        "fn f() -> &'static str { r#\"use \"crate::edge\";\"# }",
        "fn f(edge: &Edge) { edge.rises(); Edge::Rising }",
        "use crate::core::book::edge;",
        "use super::expr::{self, Expr};",
        "#[cfg(test)]\n#[path = \"expr_tests.rs\"]\nmod tests;",
        "fn f(c: char) -> bool { c == '\"' || c == '\\'' } // crate::edge",
    ];
    for text in good {
        check("floors", "src/core/book/mod.rs", text, &[]);
    }
    check("floors", "src/edge/app/mod.rs", "use crate::edge::store;", &[]);
}

#[test]
fn rooms_planted() {
    check("rooms", "src/core/time.rs", "use crate::core::book::Book;", &[1]);
    check("rooms", "src/core/time.rs", "use super::book::Book;", &[1]);
    check("rooms", "src/core/physics/air.rs", "use serde::Serialize;\nuse crate::core::{\n    sim,\n};", &[3]);
    check("rooms", "src/core/physics/mod.rs", "fn f() { super::sim::run() }", &[1]);
    check("rooms", "src/core/journal/mod.rs", "use crate::core::sim::Sim;", &[1]);
    check("rooms", "src/core/gate/mod.rs", "use crate::core;", &[1]);
    check("rooms", "src/core/gate/mod.rs", "use super::*;", &[1]);
    check("rooms", "src/core/kitchen/mod.rs", "", &[0]);

    check("rooms", "src/core/sim/mod.rs", "use crate::core::physics::isa;\nuse super::time::SimTime;", &[]);
    check("rooms", "src/core/book/rules/mod.rs", "use super::schema;\nuse super::*;", &[]);
    check("rooms", "src/core/gate/mod.rs", "mod inner { use super::*; }", &[]);
    check("rooms", "src/core/gate/mod.rs", "#[cfg(test)]\nmod tests { use crate::core::sim::Sim; }", &[]);
    check("rooms", "src/core/gate/tests.rs", "use crate::core::sim::Sim;", &[]);
    check("rooms", "src/core/mod.rs", "pub mod time;\npub use time::Wake;", &[]);
}

/// The table itself has no circle: its rows stand so that each names only rows above it.
#[test]
fn rooms_stand_above_what_they_name() {
    for (i, (room, allowed)) in MAY_NAME.iter().enumerate() {
        for other in *allowed {
            assert!(
                MAY_NAME[..i].iter().any(|(r, _)| r == other),
                "{room} names {other}, which does not stand above it"
            );
        }
    }
}

#[test]
fn world_planted() {
    let bad = [
        "use std::time::Instant;",
        "fn f() { let t = std::time::SystemTime::now(); }",
        "use std::{fs, fmt};",
        "use std::fs::File as F;",
        "use std::net::TcpStream;",
        "fn f() { std::thread::spawn(g) }",
        "fn f() { std::process::exit(1) }",
        "fn f() { std::env::var(\"X\") }",
        "use std::sync::{Arc, Mutex};",
        "use std::sync::atomic::AtomicU32;",
        "use std::io::{Read, stdin};",
        "use std as s;",
        "use std::*;",
        "use std::sync::*;",
        "fn f() { tracing::info!(\"x\") }",
        "use log::warn;",
        "fn f() { println!(\"x\") }",
        "fn f() { eprintln!(\"x\") }",
        "use std::collections::HashSet;",
        "type M = std::collections::HashMap<u8, u8>;",
        "static mut N: u8 = 0;",
        "static N: OnceLock<u8> = OnceLock::new();",
        "fn f() { rand::random::<u8>() }",
        "fn f() { rand::thread_rng() }",
        "thread_local! { static N: u8 = 0; }",
        "include!(\"x.rs\");",
        "fn f() { jiff::Timestamp::now() }",
    ];
    for text in bad {
        let file = File::new("src/core/sim/mod.rs", text);
        assert!(!rules::world(&file).is_empty(), "not found: {text}");
        assert!(rules::world(&File::new("src/edge/app/mod.rs", text)).is_empty(), "edge may: {text}");
    }
    let good = [
        "use std::collections::BTreeMap;",
        "use std::time::Duration;",
        "use std::sync::Arc;",
        "use std::io::Read;",
        "// std::fs is banned\nfn f() { log(\"std::fs::read\") }",
        "fn f(log: f64) -> f64 { libm::log(log) }",
        "static NAMES: &[&str] = &[\"HashMap\"];",
        "fn process(fs: f64, env: f64) -> f64 { fs + env }",
        "const TEXT: &str = include_str!(\"x.toml\");",
        "#[cfg(test)]\nmod tests {\n    use std::fs;\n    fn f() { println!(\"{}\", '}') }\n}",
        "#[cfg(test)]\nuse std::fs;\nfn f() {}",
    ];
    for text in good {
        check("world", "src/core/sim/mod.rs", text, &[]);
    }
    check("world", "src/core/sim/mod.rs", "#[cfg(test)]\nmod tests { fn f() {} }\nuse std::fs;", &[3]);
}

#[test]
fn native_planted() {
    check("native", "src/edge/ear/mod.rs", "use ort::session::Session;", &[1]);
    check("native", "src/edge/app/mod.rs", "fn f() { cpal::default_host(); }", &[1]);
    check("native", "tests/sound.rs", "use cpal;", &[1]);
    check("native", "src/cli/hear.rs", "use vosk::Model;", &[1]);
    check("native", "src/edge/speaker/aloud.rs", "use tts::Tts;", &[1]);
    check("native", "src/bin/antiphon-voice.rs", "use tts::Tts;", &[]);
    check("native", "src/edge/native/runtime.rs", "use ort::session::Session;", &[]);
    check("native", "src/edge/audio/devices.rs", "use cpal::traits::HostTrait;", &[]);
    check(
        "native",
        "src/edge/ear/mod.rs",
        "// ort:: lives elsewhere\nfn f(ort: u8) { port::open(); \"ort::x\"; }",
        &[],
    );
}

#[test]
fn length_planted() {
    check("length", "src/core/sim/mod.rs", &"\n".repeat(601), &[0]);
    check("length", "src/core/sim/mod.rs", &"\n".repeat(600), &[]);
    check("length", "docs/long.md", &"\n".repeat(601), &[]);
}

#[test]
fn unfinished_planted() {
    let bad = [
        "fn f() { todo!() }",
        "fn f() { unimplemented !(\"later\") }",
        "fn f() { dbg!(1); }",
        "#[ignore]\nfn f() {}",
        "#[test]\n#[ignore = \"slow\"]\nfn f() {}",
        "#[cfg_attr(all(), ignore)] fn f() {}",
        "#[allow(dead_code)] fn f() {}",
        "#![allow(clippy::all, unused_variables)]",
        "#[expect(unused)] fn f() {}",
        "#[cfg_attr(test, allow(dead_code))] fn f() {}",
    ];
    for text in bad {
        assert_eq!(rules::unfinished(&File::new("src/edge/app/mod.rs", text)).len(), 1, "{text}");
    }
    let good = [
        "// todo!() later\nfn f() { let todo = \"todo!()\"; }",
        "fn ignore(x: [u8; 1]) { ignore([1]) }",
        "#![deny(unused_must_use)]",
        "#[allow(clippy::too_many_arguments)] fn f() {}",
        "fn unused(allow: fn(u8)) { allow(unused_one) }",
    ];
    for text in good {
        check("unfinished", "src/edge/app/mod.rs", text, &[]);
    }
}

#[test]
fn machine_planted() {
    let path = ["see /wo", "rk/main/x"].concat();
    let quoted = ["x = \"/t", "mp/x\""].concat();
    let host = ["from files.pythonho", "sted.org"].concat();
    let lock = ["registry+https://github.com/rust-lang/crat", "es.io-index"].concat();
    for text in [&path, &quoted, &host, &lock] {
        check("machine", "docs/audio.md", &format!("first line\n{text}"), &[2]);
    }
    check("machine", "Cargo.lock", &lock, &[]);
    check("machine", "tests/fuzz/Cargo.lock", &lock, &[]);
    check("machine", "docs/audio.md", &["docs/wo", "rk/x and target/t", "mp/y and /usr/include/z"].concat(), &[]);
    check("machine", "docs/audio.md", "homework, root, tmp and npm", &[]);
}

#[test]
fn names_planted() {
    check("names", "src/edge/utils.rs", "", &[0]);
    check("names", "src/core/helpers/mod.rs", "", &[0]);
    check("names", "src/core/common.rs", "", &[0]);
    check("names", "src/core/commons.rs", "", &[]);
    check("names", "phrasebooks/common/signals.toml", "", &[]);
}

#[test]
fn top_planted() {
    check("top", "notes.txt", "", &[0]);
    check("top", "scripts/x.sh", "", &[0]);
    check("top", ".clippy.toml", "", &[]);
    check("top", "docs/architecture.md", "", &[]);
}

#[test]
fn weight_planted() {
    let of = |bytes| rules::weight(&File { path: "tests/sounds/x.wav".into(), text: String::new(), bytes }).len();
    assert_eq!((of(2 << 20), of((2 << 20) + 1)), (0, 1));
}

/// What the rules stand on: blanking keeps lines and code, and paths are resolved.
#[test]
fn sources_are_read() {
    let blank = |text: &str, wanted: &str| assert_eq!(code_only(text), wanted);
    blank("a /* b\n c */ d // e", "a     \n      d     ");
    blank("f(\"x\\\"y\", 'z', '\\n', b\"q\")", "f(      ,    ,     , b   )");
    blank("fn f<'a>(x: &'a str) { r\"\\\"; 'b' }", "fn f<'a>(x: &'a str) {     ;     }");
    blank("r#\"a\"b\"# + br\"c\" + r#fn", "         + b     + r#fn");

    let whole = |text: &str| -> Vec<String> {
        let file = File::new("src/core/book/expr.rs", text);
        named(&file.tokens(), &file.module())
            .iter()
            .map(|n| n.whole.as_ref().map_or("-".into(), |w| w.join("::")))
            .collect()
    };
    assert_eq!(
        whole("use super::{schema::{self, Book as B}, super::time::*}; use std::fmt;"),
        ["core::book::schema", "core::book::schema::Book", "core::time::*", "-"]
    );
    assert_eq!(whole("use crate::core::time::Wake; use self::x;"), ["core::time::Wake", "core::book::expr::x"]);
    assert_eq!(
        whole("mod a { mod b { fn f() { super::super::c::d() } } } fn g() { super::e() }"),
        ["core::book::expr::c::d", "core::book::e"]
    );
}

/// Clippy's bans bite: `.clippy.toml` is real, and what it leaves alone passes.
#[test]
fn clippy_planted() {
    let bad: &[(&str, &str)] = &[
        ("std::time::Instant::now", "pub fn f() -> bool { std::time::Instant::now().elapsed().is_zero() }"),
        ("std::fs::read", "pub fn f() -> bool { std::fs::read(\"x\").is_ok() }"),
        ("std::path::Path::exists", "pub fn f(p: &std::path::Path) -> bool { p.exists() }"),
        ("std::net::TcpStream", "pub fn f(s: std::net::TcpStream) { drop(s) }"),
        ("std::thread::spawn", "pub fn f() { std::thread::spawn(|| ()); }"),
        ("std::process::Command::new", "pub fn f() { let _ = std::process::Command::new(\"x\").spawn(); }"),
        ("std::env::var", "pub fn f() -> bool { std::env::var(\"X\").is_ok() }"),
        ("f64::sin", "pub fn f(x: f64) -> f64 { x.sin() }"),
        ("f64::powi", "pub fn f(x: f64) -> f64 { x.powi(3) }"),
        ("f32::exp", "pub fn f(x: f32) -> f32 { x.exp() }"),
        ("std::collections::HashMap", "pub fn f(m: std::collections::HashMap<u8, u8>) { drop(m) }"),
        ("std::sync::OnceLock", "pub static N: std::sync::OnceLock<u8> = std::sync::OnceLock::new();"),
        ("std::println", "pub fn f() { println!(\"x\") }"),
    ];
    let good = "pub fn f(x: f64) -> f64 { x.sqrt().mul_add(x.abs(), x.floor()) }\n\
                pub fn g(m: std::collections::BTreeMap<u8, u8>) -> usize { m.len() }";
    let dir = tempfile::tempdir().expect("a folder");
    let ask = |text: &str| -> Option<String> {
        let source = dir.path().join("planted.rs");
        std::fs::write(&source, text).expect("the planted file is written");
        let output = Command::new("clippy-driver")
            .args(["--edition", "2024", "--crate-type", "lib", "--crate-name", "planted", "--emit", "metadata"])
            .args(["-D", "warnings", "--out-dir"])
            .args([dir.path(), &source])
            .env("CLIPPY_CONF_DIR", env!("CARGO_MANIFEST_DIR"))
            .output()
            .ok()?;
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.success(), told.is_empty(), "{told}");
        Some(told)
    };
    let Some(told) = ask(good) else {
        assert!(std::env::var_os("REQUIRE").is_none(), "clippy-driver is not installed: `rustup component add clippy`");
        eprintln!("skipped: clippy-driver is not installed");
        return;
    };
    assert_eq!(told, "", "the clean file is refused");
    // All in one file, each in its own module: one run, and each ban must be named.
    let all: String = bad.iter().enumerate().map(|(i, (_, text))| format!("pub mod m{i} {{ {text} }}\n")).collect();
    let told = ask(&all).unwrap_or_default();
    for (i, (ban, _)) in bad.iter().enumerate() {
        assert!(
            told.contains(&format!("`{ban}`")) && told.contains(&format!("planted.rs:{}:", i + 1)),
            "{ban} is not refused:\n{told}"
        );
    }
}

#[test]
fn trade_planted() {
    for bad in [
        "fn f(c: &mut Crew) { c.speak(\"Positive climb\".into()) }",
        "fn f() -> &'static str { \"Set flaps\" }",
        "fn f(ias_kt: f64) -> bool { ias_kt > 80.0 }",
        "fn f(s: &S) -> bool { s.radio_height_ft <= 500.0 }",
        "const GATE_FT: f64 = 1000.0;",
    ] {
        check("trade", "src/core/crew/callouts.rs", bad, &[1]);
        check("trade", "src/edge/app/mod.rs", bad, &[1]);
        check("trade", "src/core/sim/flight.rs", bad, &[]);
    }
    for good in [
        "fn f(c: &mut Crew) { c.tell(\"not_now\", &title) }",
        "// Positive climb\nfn f(ias_kt: f64, v1_kt: f64) -> bool { ias_kt > v1_kt }",
        "#[cfg(test)]\nmod tests { fn f() { g(\"Flaps five\") } }",
        "const LOST_AFTER_S: f64 = 30.0;",
    ] {
        check("trade", "src/core/crew/talk.rs", good, &[]);
    }
}
