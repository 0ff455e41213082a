//! The radio drill by microphone and loudspeaker: a pilot who listens to the loudspeaker and answers when it is quiet.

use crate::flight::{Captain, Flight};
use crate::models::models;
use crate::server::Server;
use crate::{root, turn};
use std::io::Read;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Louder than this is a transmission.
const LOUD: i16 = 300;
/// So long without it, and the transmission is over.
const QUIET: Duration = Duration::from_millis(500);

/// Listens to what a sink plays.
struct Monitor {
    recorder: Child,
    loud: Arc<Mutex<Option<Instant>>>,
}

impl Monitor {
    fn of(server: &Server, sink: &str) -> Monitor {
        let mut recorder = server.command("parec");
        recorder.args(["-d", &format!("{sink}.monitor"), "--raw", "--format=s16le", "--rate=16000", "--channels=1"]);
        recorder.arg("--latency-msec=30").stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut recorder = recorder.spawn().unwrap();
        let mut sound = recorder.stdout.take().unwrap();
        let loud = Arc::new(Mutex::new(None));
        let own = loud.clone();
        std::thread::spawn(move || {
            let mut block = [0u8; 640];
            while sound.read_exact(&mut block).is_ok() {
                let samples = block.chunks_exact(2).map(|b| i16::from_le_bytes([b[0], b[1]]).saturating_abs());
                if samples.max() > Some(LOUD) {
                    *own.lock().unwrap() = Some(Instant::now());
                }
            }
        });
        Monitor { recorder, loud }
    }

    /// Waits until something was heard and it is quiet again, or until `enough` while it still sounds.
    fn heard(&self, enough: Option<Duration>) {
        *self.loud.lock().unwrap() = None;
        let (begun, mut first) = (Instant::now(), None);
        loop {
            assert!(begun.elapsed() < Duration::from_secs(60), "nothing is heard from the loudspeaker");
            std::thread::sleep(Duration::from_millis(20));
            let Some(last) = *self.loud.lock().unwrap() else { continue };
            let first = *first.get_or_insert(last);
            if last.elapsed() > QUIET || enough.is_some_and(|e| first.elapsed() > e) {
                return;
            }
        }
    }
}

impl Drop for Monitor {
    fn drop(&mut self) {
        let _ = self.recorder.kill();
        let _ = self.recorder.wait();
    }
}

fn drill(server: &Server, args: &[&str]) -> Command {
    let mut command = server.command(env!("CARGO_BIN_EXE_antiphon"));
    command.current_dir(root()).args(["drill", "--speaker", "crew"]).args(args);
    command
}

#[test]
fn a_drill_by_microphone_hears_right_and_wrong_and_waits_for_devices() {
    let _turn = turn();
    let (Some(_), Some(server)) = (models(), Server::start()) else { return };
    let mut pilot = Captain::at(&server, "captain", 2, 18.0);
    let crew = Monitor::of(&server, "crew");
    let plan = ["--seed", "11", "--difficulty", "3", "--count", "3"];
    let mut drill = Flight::start(drill(&server, &[&["--mic", "captain.monitor", "--headset"], &plan[..]].concat()));
    // The first call is for another.
    drill.expect("right      not your callsign: you left it alone", 60, None);
    crew.heard(None);
    pilot.say(
        "holding point charlie runway zero nine, via kilo mike, holding short of runway zero nine, saltmarsh four one seven",
    );
    drill.expect("right      hold short 09", 90, None);
    drill.expect(" 3  line up", 90, None);
    crew.heard(None);
    pilot.say(
        "behind the landing tarn on short final, line up and wait runway two seven behind, saltmarsh four one seven",
    );
    drill.expect("WRONG      line up: you said 27, it was 09", 90, None);

    // The loudspeaker goes in the middle of what the controller says to that: he says it again, from the beginning.
    crew.heard(Some(Duration::from_secs(1)));
    drop(crew);
    server.unplug("crew");
    drill.expect("the loudspeaker is gone: the controller waits and says it again when it is back", 10, None);
    server.plug("crew", 44_100, 1);
    let crew = Monitor::of(&server, "crew");
    drill.expect("the loudspeaker plays again", 10, None);
    crew.heard(None);

    // The microphone goes in the middle of the answer: what was said so far is nothing, and time does not run.
    pilot.say("behind the landing tarn on short final, line up and wait runway two");
    std::thread::sleep(Duration::from_millis(1_500));
    drop(pilot);
    server.unplug("captain");
    drill.expect("the microphone is gone", 10, None);
    std::thread::sleep(Duration::from_secs(9));
    server.plug("captain", 48_000, 2);
    let mut pilot = Captain::at(&server, "captain", 2, 18.0);
    drill.expect("the microphone is there again", 10, None);
    std::thread::sleep(Duration::from_secs(2));
    pilot.say(
        "behind the landing tarn on short final, line up and wait runway zero nine behind, saltmarsh four one seven",
    );
    drill.expect("right      line up 09", 90, None);
    drill.expect("3 exercises", 90, None);
    let (told, status) = drill.end();
    assert_eq!(status, Some(0), "{told}");
    for once in [
        "the microphone is gone",
        "the microphone is there again",
        "the loudspeaker is gone",
        "the loudspeaker plays again",
        "YOU: (silence)",
    ] {
        assert_eq!(drill.times(once), 1, "{once}\n{told}");
    }
    assert!(!told.contains("not understood"), "{told}");
    assert!(told.contains("answered after"), "{told}");
}

#[test]
fn without_a_headset_the_controller_is_not_taken_for_the_pilot() {
    let _turn = turn();
    let (Some(_), Some(server)) = (models(), Server::start()) else { return };
    // This microphone hears nothing but the loudspeaker: the controller's own words would be a perfect readback.
    let plan = ["--mic", "crew.monitor", "--seed", "1", "--difficulty", "1"];
    let first = |args: &[&str]| {
        let mut drill = Flight::start(drill(&server, &[&plan[..], args].concat()));
        let heard = drill.expect("YOU: ", 60, None);
        let told = drill.stop();
        assert!(told.contains(" right at once"), "who leaves is told how it went: {told}");
        heard
    };
    let heard = first(&["--headset"]);
    assert!(!heard.contains("(silence)"), "a headset is listened to at any time: {heard}");
    let heard = first(&["--unseen"]);
    assert!(heard.contains("YOU: (silence)"), "{heard}");
}
