//! A sound server of the test's own, with pretended devices.

use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The microphone is the monitor of the sink `captain`, the loudspeaker the sink `crew`. The sink `desk` is there for what
/// loses its device: the server moves it to another, and on `captain` the crew would be heard by the microphone.
pub struct Server {
    pub dir: tempfile::TempDir,
    daemon: Child,
}

impl Server {
    /// `None` (said aloud) where there is no PulseAudio; with `REQUIRE` set that is a failure.
    pub fn start() -> Option<Server> {
        let there = |p: &str| Command::new(p).arg("--version").output().is_ok_and(|o| o.status.success());
        if !["pulseaudio", "pactl", "pacat"].into_iter().all(there) {
            assert!(std::env::var_os("REQUIRE").is_none(), "PulseAudio is not set up: run `make setup`");
            eprintln!("skipped: PulseAudio is not set up");
            return None;
        }
        let dir = tempfile::tempdir().unwrap();
        let script = format!(
            "load-module module-native-protocol-unix auth-anonymous=1 socket={0}\n\
             load-module module-null-sink sink_name=captain rate=44100 channels=1\n\
             load-module module-null-sink sink_name=crew rate=48000 channels=2\n\
             load-module module-null-sink sink_name=desk\n\
             set-default-sink desk\n\
             set-default-source desk.monitor\n",
            dir.path().join("native").display()
        );
        let file = dir.path().join("server.pa");
        std::fs::write(&file, script).unwrap();
        let mut daemon = Command::new("pulseaudio");
        daemon.args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes", "-F"]);
        daemon.arg(&file).env("XDG_RUNTIME_DIR", dir.path()).env("HOME", dir.path());
        let daemon = daemon.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        let server = Server { dir, daemon };
        server.wait_for("sinks", "desk");
        Some(server)
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    /// A program that speaks with this server and keeps its files here.
    pub fn command(&self, program: impl AsRef<Path>) -> Command {
        let mut command = Command::new(program.as_ref());
        command.env("PULSE_SERVER", format!("unix:{}", self.path("native").display()));
        command.env("XDG_RUNTIME_DIR", self.dir.path()).env("HOME", self.dir.path());
        command.env_remove("XDG_CONFIG_HOME").env_remove("XDG_DATA_HOME");
        command
    }

    pub fn pactl(&self, args: &[&str]) -> String {
        let out = self.command("pactl").args(args).output().unwrap();
        String::from_utf8_lossy(&out.stdout).into_owned()
    }

    /// Lets the server hang, or go on.
    pub fn halt(&self, hang: bool) {
        let signal = if hang { "-STOP" } else { "-CONT" };
        let _ = Command::new("kill").args([signal, &self.daemon.id().to_string()]).status();
    }

    /// Takes a sink away, as if its plug were pulled.
    pub fn unplug(&self, sink: &str) {
        let all = self.pactl(&["list", "short", "modules"]);
        let line = all.lines().find(|l| l.contains(&format!("sink_name={sink} "))).expect("a module");
        self.pactl(&["unload-module", line.split('\t').next().unwrap()]);
    }

    /// Brings it back, at another rate.
    pub fn plug(&self, sink: &str, rate: u32, channels: u32) {
        let (name, rate, channels) =
            (format!("sink_name={sink}"), format!("rate={rate}"), format!("channels={channels}"));
        self.pactl(&["load-module", "module-null-sink", &name, &rate, &channels]);
        self.wait_for("sinks", sink);
    }

    fn wait_for(&self, what: &str, name: &str) {
        let end = Instant::now() + Duration::from_secs(10);
        while !self.pactl(&["list", "short", what]).contains(name) {
            assert!(Instant::now() < end, "the sound server does not answer");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.daemon.kill();
        let _ = self.daemon.wait();
    }
}
