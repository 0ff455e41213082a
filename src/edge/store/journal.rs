//! The journal on the disk: written as the session goes, whole at every second.

use crate::core::aircraft::Value;
use crate::core::crew::io::{Input, Step};
use crate::core::journal::{Header, Journal, Recorder, Resumed, read};
use crate::core::time::{SessionTime, SimTime};
use std::collections::BTreeMap;
use std::fs::{File, OpenOptions};
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::Path;

/// A line waits this long at most before it is handed to the system, session seconds.
const FLUSH_EVERY_S: f64 = 1.0;

/// A journal being written. Every method gives one sentence on failure.
///
/// Dropped without [`finish`](Self::finish), it is flushed and lacks its `end` line, as after a kill.
pub struct JournalFile {
    recorder: Recorder,
    out: BufWriter<Box<dyn Write + Send>>,
    name: String,
    flushed: SessionTime,
}

impl JournalFile {
    /// Creates the file (an older one of this name goes), and its folder if need be; writes the header.
    pub fn create(path: &Path, header: &Header) -> Result<Self, String> {
        let name = path.display().to_string();
        let make = || {
            if let Some(folder) = path.parent().filter(|p| !p.as_os_str().is_empty()) {
                std::fs::create_dir_all(folder)?;
            }
            File::create(path)
        };
        let file = make().map_err(|e| cannot(&name, "created", &e))?;
        Self::begin(Box::new(file), name, header)
    }

    /// Writes to anything; `name` stands in messages.
    pub fn to(out: impl Write + Send + 'static, name: &str, header: &Header) -> Result<Self, String> {
        Self::begin(Box::new(out), name.into(), header)
    }

    /// Writes nowhere: for a session that is not to be kept.
    pub fn nowhere(header: &Header) -> Result<Self, String> {
        Self::to(io::sink(), "nowhere", header)
    }

    /// Goes on with the file of a broken-off session: a half line at its end goes, and what the kill kept from being
    /// written is written first.
    pub fn resume(path: &Path, resumed: &Resumed) -> Result<Self, String> {
        let name = path.display().to_string();
        let open = || {
            let mut file = OpenOptions::new().read(true).write(true).open(path)?;
            file.set_len(resumed.keep_bytes)?;
            // The last whole line may lack its line end.
            let needs_end = resumed.keep_bytes > 0 && {
                file.seek(SeekFrom::Start(resumed.keep_bytes - 1))?;
                let mut last = [0];
                io::Read::read_exact(&mut file, &mut last)?;
                last != *b"\n"
            };
            file.seek(SeekFrom::End(0))?;
            if needs_end {
                file.write_all(b"\n")?;
            }
            Ok(file)
        };
        let file = open().map_err(|e| cannot(&name, "continued", &e))?;
        let out = BufWriter::new(Box::new(file) as Box<dyn Write + Send>);
        let mut journal = JournalFile { recorder: resumed.recorder.clone(), out, name, flushed: resumed.at };
        for line in &resumed.owed {
            journal.write(line)?;
        }
        journal.flush()?;
        Ok(journal)
    }

    fn begin(out: Box<dyn Write + Send>, name: String, header: &Header) -> Result<Self, String> {
        let (recorder, line) = Recorder::begin(header).map_err(|e| e.to_string())?;
        let mut journal = JournalFile { recorder, out: BufWriter::new(out), name, flushed: SessionTime::ZERO };
        journal.write(&line)?;
        journal.flush()?;
        Ok(journal)
    }

    /// Before the engine sees an input.
    pub fn input(&mut self, at: SessionTime, sim: SimTime, input: &Input) -> Result<(), String> {
        let line = self.recorder.input(at, sim, input).map_err(|e| e.to_string())?;
        self.write(&line)
    }

    /// After the engine has answered.
    pub fn step(&mut self, at: SessionTime, sim: SimTime, step: &Step) -> Result<(), String> {
        let lines = self.recorder.step(at, sim, step).map_err(|e| e.to_string())?;
        lines.iter().try_for_each(|l| self.write(l))
    }

    /// Something measured in the real world, by name with its unit; what is not finite is left out.
    pub fn measured(&mut self, at: SessionTime, sim: SimTime, values: &[(&str, f64)]) -> Result<(), String> {
        let values: BTreeMap<String, Value> = values
            .iter()
            .filter(|(_, v)| v.is_finite())
            .map(|(name, v)| (name.to_string(), Value::Number(*v)))
            .collect();
        if values.is_empty() {
            return Ok(());
        }
        let line = self.recorder.measured(at, sim, &values).map_err(|e| e.to_string())?;
        self.write(&line)
    }

    /// Time goes on: flushes if a second has passed.
    pub fn tick(&mut self, now: SessionTime) -> Result<(), String> {
        if now.since(self.flushed) < FLUSH_EVERY_S {
            return Ok(());
        }
        self.flushed = now;
        self.flush()
    }

    /// Writes the `end` line and everything that waits.
    pub fn finish(&mut self, at: SessionTime, sim: SimTime) -> Result<(), String> {
        let line = self.recorder.end(at, sim);
        self.write(&line)?;
        self.flush()
    }

    fn write(&mut self, line: &str) -> Result<(), String> {
        let out = &mut self.out;
        out.write_all(line.as_bytes())
            .and_then(|()| out.write_all(b"\n"))
            .map_err(|e| cannot(&self.name, "written", &e))
    }

    fn flush(&mut self) -> Result<(), String> {
        self.out.flush().map_err(|e| cannot(&self.name, "written", &e))
    }
}

/// Reads a journal from the disk; the error is one sentence.
pub fn load_journal(path: &Path) -> Result<Journal, String> {
    let name = path.display().to_string();
    let bytes = std::fs::read(path).map_err(|e| cannot(&name, "read", &e))?;
    read(&bytes).map_err(|e| format!("{name}: {e}"))
}

fn cannot(name: &str, what: &str, e: &io::Error) -> String {
    let remedy = match (what, e.kind()) {
        ("read", io::ErrorKind::NotFound) => "give the path of a journal that fly or demo wrote",
        (_, io::ErrorKind::StorageFull) => "make room on the disk",
        (_, io::ErrorKind::PermissionDenied) => "allow access to it, or choose another place with --journal",
        ("read" | "continued", _) => "check the path",
        _ => "choose another place with --journal",
    };
    // The system's own words, without its number.
    let said = e.to_string();
    let said = said.split(" (os error").next().unwrap_or_default();
    format!("The journal {name} cannot be {what} ({said}): {remedy}.")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::core::crew::io::{Action, Engine, Note};
    use crate::core::journal::{BookMark, Outcome, Tail, VERSION, replay, resume};
    use crate::core::time::Wake;

    /// Notes each state it is told of.
    #[derive(Default)]
    struct Echo;

    impl Engine for Echo {
        fn handle(&mut self, at: SessionTime, _sim: SimTime, input: &Input) -> Step {
            let what = serde_json::to_string(input).unwrap();
            let actions = vec![Action::Note(Note::NotDone { what, why: "only an echo".into() })];
            Step { actions, wake: Wake { session: Some(at.plus(1.0)), sim: None } }
        }
    }

    fn header() -> Header {
        Header {
            antiphon_journal: VERSION,
            program: "0.1.0".into(),
            book: BookMark { id: "toy".into(), hash: "00".into(), path: "toy".into() },
            models: vec![],
            settings: BTreeMap::new(),
            seed: 1,
            started: "2020-01-01T00:00:00Z".into(),
        }
    }

    fn feed(file: &mut JournalFile, engine: &mut Echo, ms: std::ops::Range<i64>) {
        for i in ms {
            let (at, sim) = (SessionTime(i * 100_000), SimTime(i * 100_000));
            let input = Input::State { delta: [("x".to_string(), Some(Value::Number(i as f64)))].into() };
            file.input(at, sim, &input).unwrap();
            file.step(at, sim, &engine.handle(at, sim, &input)).unwrap();
            file.tick(at).unwrap();
        }
    }

    #[test]
    fn a_kill_loses_at_most_a_second_and_the_session_goes_on() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("new/folder/j.jsonl");
        let mut file = JournalFile::create(&path, &header()).unwrap();
        feed(&mut file, &mut Echo, 0..47);
        // Killed: what is on the disk now is all there will be, with a half line.
        let mut bytes = std::fs::read(&path).unwrap();
        std::mem::forget(file);
        let on_disk = read(&bytes).unwrap();
        let last = on_disk.entries.last().unwrap().line.stamp().at;
        assert!(SessionTime(4_600_000).since(last) <= 1.0, "{last:?}");
        assert_eq!(on_disk.faults, []);
        bytes.extend_from_slice(b"{\"kind\":\"in\",\"se");
        std::fs::write(&path, &bytes).unwrap();

        let broken = load_journal(&path).unwrap();
        assert!(matches!(broken.tail, Tail::Cut { .. }));
        let mut engine = Echo;
        let back = resume(&broken, &mut engine);
        assert_eq!(back.differs, None);
        let mut file = JournalFile::resume(&path, &back).unwrap();
        let done = broken.entries.iter().rev().find(|e| !e.line.from_engine()).unwrap().line.stamp().seq as i64;
        feed(&mut file, &mut engine, done..60);
        file.measured(back.at, back.sim, &[("decision_ms", 2.0), ("lost_db", f64::NEG_INFINITY)]).unwrap();
        file.finish(SessionTime(6_000_000), SimTime(6_000_000)).unwrap();
        drop(file);

        let whole = load_journal(&path).unwrap();
        assert_eq!((whole.faults.len(), whole.tail), (0, Tail::Ended));
        assert_eq!(replay(&whole, &mut Echo), Outcome::Same { inputs: 60, outputs: 60 });
    }

    #[test]
    fn dropped_unfinished_it_is_flushed() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("j.jsonl");
        let mut file = JournalFile::create(&path, &header()).unwrap();
        feed(&mut file, &mut Echo, 0..3);
        drop(file);
        let journal = load_journal(&path).unwrap();
        assert_eq!(journal.entries.last().unwrap().line.stamp().seq, 3);
        assert_eq!(journal.tail, Tail::Open);
    }

    #[test]
    fn what_goes_wrong_is_one_sentence() {
        let dir = tempfile::tempdir().unwrap();
        let told = |r: Result<(), String>| r.unwrap_err().replace(&dir.path().display().to_string(), "DIR");
        let create = |p: &str| told(JournalFile::create(&dir.path().join(p), &header()).map(drop));
        std::fs::write(dir.path().join("file"), "x").unwrap();
        insta::assert_snapshot!(create(""), @"The journal DIR/ cannot be created (Is a directory): choose another place with --journal.");
        insta::assert_snapshot!(create("file/j.jsonl"), @"The journal DIR/file/j.jsonl cannot be created (File exists): choose another place with --journal.");
        insta::assert_snapshot!(told(load_journal(&dir.path().join("none")).map(drop)), @"The journal DIR/none cannot be read (No such file or directory): give the path of a journal that fly or demo wrote.");
        insta::assert_snapshot!(told(load_journal(&dir.path().join("file")).map(drop)), @r#"DIR/file: This file is not a journal of antiphon: its first line does not say "antiphon_journal"; give a file that fly or demo wrote."#);
        /// A disk without room.
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        insta::assert_snapshot!(told(JournalFile::to(Full, "DIR/j", &header()).map(drop)), @"The journal DIR/j cannot be written (no storage space): make room on the disk.");
    }
}
