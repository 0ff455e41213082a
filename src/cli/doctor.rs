//! `antiphon doctor`.

use super::wiring::LIBVOSK;
use super::{CliResult, Failure, Outcome, buttons, listen};
use crate::edge::audio::device::{self, Way};
use crate::edge::buttons::pads::Controllers;
use crate::edge::buttons::{Does, On, Pads};
use crate::edge::ear::{Launch, PROGRAM, Worker};
use crate::edge::native::Runtime;
use crate::edge::native::manifest::{self, DebianPackage, Manifest, Stage};
use crate::edge::store::{Choices, Places};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

/// Look at the machine and say what is missing.
///
/// Hashes every model file and library, starts every program that speaks for us to learn its version, lists the
/// phrasebooks found, the sound devices by the names that fly takes, controllers and your buttons, and the free disk. Exit status 2 when something that a flight needs is missing or wrong.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  antiphon doctor\n  antiphon doctor --listen\n  antiphon doctor --button talk")]
pub struct Args {
    /// Listen to the microphone for five seconds: level, noise, clipping, speech, what each buffer delays, and which buttons
    /// arrive.
    #[arg(long)]
    listen: bool,
    /// Learn a button: press it on your controller or yoke, and it is remembered for fly.
    #[arg(long, value_enum, value_name = "talk|hold|disregard", conflicts_with = "listen")]
    button: Option<Does>,
}

/// A button that is to be learnt is waited for so long.
const PRESS_LIMIT: Duration = Duration::from_secs(20);

/// A program that has not told its version by then is not usable.
const ANSWER_LIMIT: Duration = Duration::from_secs(5);
/// Free disk below which a session's sound and journal may not fit: an hour of 48 kHz 16-bit stereo is 700 MB.
const DISK_BYTES: u64 = 1_000_000_000;

/// One thing looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) part: &'static str,
    pub(super) item: String,
    pub(super) found: String,
    /// What to do, if it is not all right.
    pub(super) remedy: Option<String>,
}

impl Row {
    pub(super) fn fine(part: &'static str, item: impl Into<String>, found: impl Into<String>) -> Row {
        Row { part, item: item.into(), found: found.into(), remedy: None }
    }
    pub(super) fn lacks(
        part: &'static str,
        item: impl Into<String>,
        found: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Row {
        Row { part, item: item.into(), found: found.into(), remedy: Some(remedy.into()) }
    }
}

/// Runs it.
pub fn run(args: Args, models: Option<&Path>) -> CliResult {
    if let Some(does) = args.button {
        let mut pads = Controllers::open().map_err(Failure)?;
        outln!("{}", buttons::learn(does, &mut pads, PRESS_LIMIT)?);
        return Ok(Outcome::Done);
    }
    let last = Choices::file().map(|f| Choices::read(&f)).unwrap_or_default();
    if args.listen {
        return verdict(&listen::rows(&Places::here(models), &last)?);
    }
    let cores = std::thread::available_parallelism().map_or(1, |n| n.get());
    let (system, kind) = (std::env::consts::OS, std::env::consts::ARCH);
    outln!("antiphon {} on {system} {kind}, {cores} cores\n", env!("CARGO_PKG_VERSION"));
    let places = Places::here(models);
    let mut rows = model_rows(&places);
    rows.extend(vosk_rows(&places));
    rows.extend(Manifest::embedded().debian.iter().filter(|d| d.stage == Stage::Run).map(program_row));
    rows.extend(book_rows(&places));
    rows.push(sound_row(Way::In));
    rows.push(sound_row(Way::Out));
    rows.extend(button_rows(&last));
    rows.push(disk_row());
    verdict(&rows)
}

/// The table, and how it ends.
fn verdict(rows: &[Row]) -> CliResult {
    outp!("{}", table(rows));
    match rows.iter().filter(|r| r.remedy.is_some()).count() {
        0 => {
            outln!("\neverything that was looked at is all right");
            Ok(Outcome::Done)
        }
        n => Err(Failure::new(format!("{n} of {} things are not all right: do what stands below each", rows.len()))),
    }
}

/// The models folder and every file that the manifest lists.
fn model_rows(places: &Places) -> Vec<Row> {
    let folder = match places.models() {
        Ok(folder) => folder,
        Err(problem) => return vec![Row::lacks("models", "folder", "not found", problem.to_string())],
    };
    let mut rows = vec![Row::fine("models", "folder", folder.display().to_string())];
    for package in Manifest::embedded().packages.iter().filter(|p| p.stage == Stage::Run) {
        let part = if package.name == "onnxruntime" { "library" } else { "models" };
        for file in package.files.iter().filter(|f| !f.notice) {
            rows.push(match manifest::verify_fully(&folder, &file.to) {
                Ok(_) => Row::fine(part, &file.to, format!("{}, SHA-256 as listed", bytes(file.size))),
                Err(problem) => Row::lacks(part, &file.to, "not usable", problem.to_string()),
            });
        }
    }
    rows.push(match Runtime::open(&folder) {
        Ok(_) => Row::fine("library", "ONNX Runtime", "loads"),
        Err(problem) => Row::lacks("library", "ONNX Runtime", "does not load", problem.to_string()),
    });
    rows
}

/// The Vosk ear, which no flight needs: all right where none of it is there, wrong where a part is.
fn vosk_rows(places: &Places) -> Vec<Row> {
    let folder = places.models().ok();
    let library = folder.as_ref().filter(|f| f.join(LIBVOSK).exists());
    let worker =
        places.program.iter().flat_map(|p| p.ancestors().take(2)).map(|p| p.join(PROGRAM)).find(|p| p.is_file());
    let (Some(folder), Some(worker)) = (library, &worker) else {
        return match (library, worker) {
            (None, None) => vec![Row::fine("ear", "Vosk", "not set up; only --engine vosk needs it (`make vosk`)")],
            (Some(_), _) => {
                vec![Row::fine("ear", "Vosk", "its library is there, the worker is not built (`make vosk`)")]
            }
            (None, Some(w)) => vec![Row::fine("ear", "Vosk", format!("{}, with the system's libvosk", w.display()))],
        };
    };
    vec![
        match manifest::verify_fully(folder, LIBVOSK) {
            Ok(_) => Row::fine("ear", LIBVOSK, "SHA-256 as listed"),
            Err(problem) => Row::lacks("ear", LIBVOSK, "not usable", problem.to_string()),
        },
        match Worker::start(&Launch {
            program: worker.clone(),
            library: Some(folder.join(LIBVOSK).parent().unwrap_or(folder).to_path_buf()),
            model: PathBuf::new(),
        })
        .and_then(|mut w| w.greet(ANSWER_LIMIT))
        {
            Ok(()) => Row::fine("ear", "Vosk worker", format!("{} answers", worker.display())),
            Err(problem) => Row::lacks("ear", "Vosk worker", "does not answer", problem.to_string()),
        },
    ]
}

/// The sound devices; nothing when the sound server does not answer, which must not hang us.
pub fn sound_devices(way: Way) -> Option<Vec<device::Listed>> {
    let (tell, told) = std::sync::mpsc::channel();
    std::thread::spawn(move || tell.send(device::list(way)));
    told.recv_timeout(ANSWER_LIMIT).ok()
}

/// The sound devices by name. None is no fault: a flight can be typed, or heard from a file.
fn sound_row(way: Way) -> Row {
    let part = if way == Way::In { "microphones" } else { "loudspeakers" };
    let Some(all) = sound_devices(way) else {
        return Row::lacks("sound", part, "no answer", "the sound server does not answer: start it again");
    };
    let name = |d: &device::Listed| {
        let chosen = if d.default { ", the system's own choice" } else { "" };
        match d.busy {
            true => format!("\u{201c}{}\u{201d} (in use by another program{chosen})", d.name),
            false => format!("\u{201c}{}\u{201d} ({} Hz, {} ch{chosen})", d.name, d.rate, d.channels),
        }
    };
    let names: Vec<String> = all.iter().map(name).collect();
    Row::fine("sound", part, if names.is_empty() { "none".into() } else { names.join("; ") })
}

/// The controllers that are there, and the buttons that were chosen.
fn button_rows(last: &Choices) -> Vec<Row> {
    let there = match Controllers::open() {
        Ok(pads) => pads.names(),
        Err(why) => return vec![Row::fine("button", "controllers", why)],
    };
    let found = if there.is_empty() { "none".into() } else { there.join("; ") };
    let mut rows = vec![Row::fine("button", "controllers", found)];
    rows.extend(last.buttons.iter().map(|b| match &b.on {
        On::Controller { controller, .. } if !there.contains(controller) => Row::lacks(
            "button",
            b.does.word(),
            format!("{}, which is not there", b.on),
            format!("plug it in, or choose another with antiphon doctor --button {}", b.does.word()),
        ),
        on => Row::fine("button", b.does.word(), on.to_string()),
    }));
    rows
}

/// A Debian package that is used as a program.
fn program_row(package: &DebianPackage) -> Row {
    let remedy = format!("install the Debian package {} ({}), or run `make setup`", package.name, package.what);
    if let Some(file) = &package.file {
        return match file.exists() {
            true => Row::fine("program", &package.name, file.display().to_string()),
            false => Row::lacks("program", &package.name, "not found", remedy),
        };
    }
    let program = package.program.as_deref().unwrap_or(&package.name);
    match version(program, ANSWER_LIMIT) {
        Ok(text) => Row::fine("program", program, text),
        Err(why) => Row::lacks("program", program, why, remedy),
    }
}

/// What `PROGRAM --version` says, as one line; or why there is no answer.
fn version(program: &str, limit: Duration) -> Result<String, String> {
    let mut command = Command::new(program);
    command.arg("--version").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = command.spawn().map_err(|e| why_not(&e))?;
    let end = Instant::now() + limit;
    // The answer is far shorter than a pipe holds, so that waiting before reading cannot block the program.
    while child.try_wait().map_err(|e| e.to_string())?.is_none() {
        if Instant::now() > end {
            let _ = child.kill();
            let _ = child.wait();
            return Err("does not answer".into());
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    let mut text = String::new();
    if let Some(out) = child.stdout.as_mut() {
        // A program that is there but says something unreadable is still there.
        let _ = out.take(4096).read_to_string(&mut text);
    }
    Ok(version_line(&text).unwrap_or("there, version unknown").to_string())
}

/// Why a program did not start.
fn why_not(error: &std::io::Error) -> String {
    match error.kind() {
        std::io::ErrorKind::NotFound => "not found".into(),
        _ => format!("does not start: {error}"),
    }
}

/// The line of a program's answer that tells the version: the one that says so, else the first with a digit.
fn version_line(text: &str) -> Option<&str> {
    let lines = || text.lines().map(str::trim);
    let said = lines().find_map(|l| l.strip_prefix("version:")).map(str::trim);
    let line = said.or_else(|| lines().find(|l| l.bytes().any(|b| b.is_ascii_digit())))?;
    // What follows two spaces is about other things: where data lie, who made it.
    Some(line.split("  ").next().unwrap_or(line))
}

/// Every phrasebook on every shelf. A book that an earlier shelf has too is told as hidden, since a name finds the first.
fn book_rows(places: &Places) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for shelf in places.shelves() {
        let mut folders: Vec<PathBuf> = std::fs::read_dir(&shelf)
            .into_iter()
            .flatten()
            .flatten()
            .map(|e| e.path())
            .filter(|p| p.is_dir())
            .collect();
        folders.sort();
        for folder in folders {
            let name = folder.file_name().unwrap_or_default().to_string_lossy().into_owned();
            let hidden = if rows.iter().any(|r| r.item == name) { " (hidden by the one above)" } else { "" };
            rows.push(Row::fine("phrasebook", name, format!("{}{hidden}", folder.display())));
        }
    }
    if rows.is_empty() {
        let remedy = "put a folder `phrasebooks` next to the program or into the folder that ANTIPHON_HOME names";
        rows.push(Row::lacks("phrasebook", "any", "not found", remedy));
    }
    rows
}

/// Free disk where the session would be recorded: here.
fn disk_row() -> Row {
    let here = std::env::current_dir().unwrap_or_else(|_| PathBuf::from("."));
    let item = "here";
    // POSIX fixes the columns of `df -P`; the standard library cannot tell.
    let answer = Command::new("df").args(["-P", "-k"]).arg(&here).stdin(Stdio::null()).output();
    let free = answer.ok().and_then(|o| free_bytes(&String::from_utf8_lossy(&o.stdout)));
    match free {
        None => Row::fine("disk", item, "free space unknown"),
        Some(n) if n < DISK_BYTES => {
            Row::lacks("disk", item, format!("{} free", bytes(n)), format!("make room: {} or more", bytes(DISK_BYTES)))
        }
        Some(n) => Row::fine("disk", item, format!("{} free", bytes(n))),
    }
}

/// Free bytes from what `df -P -k` prints: the column before the percentage in the second line, in KiB.
fn free_bytes(df: &str) -> Option<u64> {
    // Not counted from the left, since the first column may hold spaces.
    let columns: Vec<&str> = df.lines().nth(1)?.split_whitespace().collect();
    let percent = columns.iter().position(|c| c.ends_with('%'))?;
    columns.get(percent.checked_sub(1)?)?.parse::<u64>().ok().map(|k| k * 1024)
}

fn bytes(n: u64) -> String {
    match n {
        0..1_000 => format!("{n} B"),
        1_000..1_000_000 => format!("{:.1} kB", n as f64 / 1e3),
        1_000_000..1_000_000_000 => format!("{:.1} MB", n as f64 / 1e6),
        _ => format!("{:.1} GB", n as f64 / 1e9),
    }
}

/// The rows in columns; below each that is not all right, what to do.
fn table(rows: &[Row]) -> String {
    let wide = |of: fn(&Row) -> &str| rows.iter().map(|r| of(r).chars().count()).max().unwrap_or(0);
    let (part, item) = (wide(|r| r.part), wide(|r| &r.item));
    let mut out = String::new();
    for row in rows {
        let state = if row.remedy.is_some() { "WRONG" } else { "ok" };
        out += &format!("{state:5}  {:part$}  {:item$}  {}\n", row.part, row.item, row.found);
        if let Some(remedy) = &row.remedy {
            out += &format!("       -> {remedy}\n");
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_aligned_and_says_what_to_do() {
        let rows = [
            Row::fine("models", "folder", "/m"),
            Row::lacks("program", "flite", "not found", "install it"),
            Row::fine("phrasebook", "saltmarsh-t2", "/p/saltmarsh-t2"),
        ];
        let wanted = "ok     models      folder        /m\n\
                      WRONG  program     flite         not found\n       -> install it\n\
                      ok     phrasebook  saltmarsh-t2  /p/saltmarsh-t2\n";
        assert_eq!(table(&rows), wanted);
    }

    #[test]
    fn version_lines() {
        let check = |text, wanted| assert_eq!(version_line(text), wanted, "{text}");
        check(
            "  Copyright 1999-2016, all rights reserved\n  version: two-2.2 Sep 2018 (x)\n",
            Some("two-2.2 Sep 2018 (x)"),
        );
        check("Speaker: 1.51  Data at: /usr/lib/x\n", Some("Speaker: 1.51"));
        check("no digits\n", None);
        check("", None);
    }

    #[test]
    fn free_space() {
        let check = |text: &str, wanted| assert_eq!(free_bytes(text), wanted, "{text}");
        let head = "Filesystem 1024-blocks Used Available Capacity Mounted on\n";
        check(&format!("{head}/dev/sda1 1000 400 600 40% /\n"), Some(614_400));
        check(&format!("{head}my share 1000 400 600 40% /mnt/my share\n"), Some(614_400));
        check(head, None);
        check("", None);
    }

    #[test]
    fn why_a_program_does_not_start() {
        assert_eq!(why_not(&std::io::ErrorKind::NotFound.into()), "not found");
        assert_eq!(why_not(&std::io::ErrorKind::PermissionDenied.into()), "does not start: permission denied");
    }

    #[test]
    fn sizes() {
        for (n, wanted) in [(280, "280 B"), (4_794, "4.8 kB"), (63_201_294, "63.2 MB"), (53_000_000_000, "53.0 GB")] {
            assert_eq!(bytes(n), wanted);
        }
    }

    #[test]
    fn a_missing_models_folder_is_one_row() {
        let rows = model_rows(&Places::default());
        assert_eq!(rows.len(), 1);
        assert!(rows[0].remedy.as_ref().is_some_and(|r| r.contains("make setup")), "{rows:?}");
    }
}
