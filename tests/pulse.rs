#![allow(
    clippy::disallowed_methods,
    clippy::disallowed_types,
    clippy::disallowed_macros,
    reason = "tests of the whole"
)]
//! Sound devices, in real time, on a sound server of the test's own. A target of its own, so that nothing else keeps the
//! machine busy meanwhile; one test after the other, for the same reason.

#[path = "pulse/drill.rs"]
mod drill;
#[path = "pulse/flight.rs"]
mod flight;
#[path = "suite/models.rs"]
mod models;
#[path = "pulse/server.rs"]
mod server;

use antiphon::core::gate;
use antiphon::core::grammar::{CallSet, build, parse};
use antiphon::edge::audio::EAR_RATE;
use antiphon::edge::audio::wav::{self, Channel};
use antiphon::edge::ear::{Listener, News};
use flight::{Captain, Flight};
use models::models;
use server::Server;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// One at a time.
static TURN: Mutex<()> = Mutex::new(());

fn turn() -> MutexGuard<'static, ()> {
    TURN.lock().unwrap_or_else(PoisonError::into_inner)
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn fly(server: &Server) -> Command {
    let mut command = server.command(env!("CARGO_BIN_EXE_antiphon"));
    command.current_dir(root()).arg("fly");
    command
}

/// The callouts that a recording of the crew holds, in order.
fn callouts(models: &Path, recording: &Path) -> Vec<String> {
    let calls = ["thrust set", "eighty knots", "v one", "rotate", "positive climb"];
    let wordings: Vec<_> = calls.iter().map(|c| ((*c).to_string(), vec![parse(c).0])).collect();
    let (graph, problems) = build(&wordings, &Default::default(), &Default::default());
    assert!(problems.is_empty(), "{problems:?}");
    let crew = wav::read(recording, Channel::Mix, Some(EAR_RATE)).expect("the recording");
    let mut ear = Listener::open(models, &graph, gate::Settings::default()).expect("an ear");
    ear.listen(1, &CallSet::all(calls.len()));
    let mut news = ear.feed(&crew.samples).expect("listens");
    news.extend(ear.finish().expect("ends"));
    let told = news.into_iter().filter_map(|n| match n {
        News::Heard { heard, .. } => heard.ranked.first().filter(|c| c.score > 2.0).map(|c| c.text.clone()),
        _ => None,
    });
    told.collect()
}

/// Records what a sink plays from now on.
fn recorder(server: &Server, sink: &str, to: &Path) -> Child {
    let mut recorder = server.command("parec");
    recorder.args(["-d", &format!("{sink}.monitor"), "--file-format=wav", "--rate=16000", "--channels=1"]).arg(to);
    recorder.stdin(Stdio::null()).spawn().unwrap()
}

fn completed(mut recorder: Child) {
    let _ = Command::new("kill").args(["-INT", &recorder.id().to_string()]).status();
    let _ = recorder.wait();
}

/// A takeoff by voice; the captain's words come from the script.
fn takeoff(server: &Server) -> Flight {
    let mut command = fly(server);
    command.args(["--mic", "captain.monitor", "--speaker", "crew", "--headset", "--hands"]);
    command.arg(root().join("tests/pulse/takeoff.toml")).args(["--phase", "line_up"]);
    Flight::start(command)
}

#[test]
fn a_takeoff_by_voice_through_devices() {
    let _turn = turn();
    let (Some(models), Some(server)) = (models(), Server::start()) else { return };
    let recording = server.path("crew.wav");
    let recorder = recorder(&server, "crew", &recording);
    let mut captain = Captain::at(&server, "captain", 1, 18.0);
    let mut flight = takeoff(&server);
    flight.expect("times real time", 120, Some(&mut captain));
    let told = flight.stop();
    completed(recorder);
    assert!(told.contains("wrong 0"), "{told}");
    assert!(!told.contains("problem:"), "{told}");
    let heard = callouts(&models, &recording);
    for call in ["eighty knots", "v one", "rotate", "positive climb"] {
        assert!(heard.iter().any(|h| h == call), "{call} in {heard:?}\n{told}");
    }
}

#[test]
fn a_loudspeaker_that_vanishes_under_a_callout_is_told_once_and_an_old_callout_is_not_said_again() {
    let _turn = turn();
    let (Some(models), Some(server)) = (models(), Server::start()) else { return };
    let mut captain = Captain::at(&server, "captain", 1, 18.0);
    let mut flight = takeoff(&server);
    flight.expect("V one", 120, Some(&mut captain));
    server.unplug("crew");
    flight.expect("the loudspeaker is gone", 10, Some(&mut captain));
    server.plug("crew", 48_000, 2);
    let recording = server.path("crew.wav");
    let recorder = recorder(&server, "crew", &recording);
    flight.expect("the loudspeaker plays again", 10, Some(&mut captain));
    flight.expect("times real time", 120, Some(&mut captain));
    let told = flight.stop();
    completed(recorder);
    // To the session the callout was made, at its moment; what is true later is called from the loudspeaker that is back.
    for once in ["  V one", "  Rotate", "  Positive climb", "the loudspeaker is gone", "the loudspeaker plays again"] {
        assert_eq!(flight.times(once), 1, "{once}\n{told}");
    }
    assert!(told.contains("wrong 0"), "{told}");
    let heard = callouts(&models, &recording);
    assert!(!heard.iter().any(|h| h == "v one"), "{heard:?}\n{told}");
    assert!(heard.iter().any(|h| h == "positive climb"), "{heard:?}\n{told}");
}

#[test]
fn a_microphone_and_a_loudspeaker_that_vanish_are_told_once_and_taken_up_again() {
    let _turn = turn();
    let (Some(_), Some(server)) = (models(), Server::start()) else { return };
    let mut captain = Captain::at(&server, "captain", 2, 18.0);
    let mut command = fly(&server);
    command.args(["--mic", "captain.monitor", "--speaker", "crew", "--headset", "--phase", "line_up"]);
    let mut flight = Flight::start(command);
    flight.expect("ready", 60, None);
    flight.answers(&mut captain, "takeoff", "we have no takeoff clearance");

    drop(captain);
    server.unplug("captain");
    flight.expect("the microphone is gone", 10, None);
    flight.expect("I have lost the microphone", 5, None);
    server.plug("captain", 48_000, 2);
    let mut captain = Captain::at(&server, "captain", 2, 18.0);
    flight.expect("the microphone is there again", 10, None);
    flight.expect("I hear you again", 5, None);
    flight.answers(&mut captain, "takeoff", "we have no takeoff clearance");

    // The loudspeaker goes in the middle of an answer; he is still heard, and answered.
    flight.answers(&mut captain, "takeoff", "we have no takeoff clearance");
    server.unplug("crew");
    flight.expect("the loudspeaker is gone", 10, None);
    flight.answers(&mut captain, "takeoff", "we have no takeoff clearance");
    server.plug("crew", 44_100, 1);
    flight.expect("the loudspeaker plays again", 10, None);
    let played = server.pactl(&["list", "short", "sink-inputs"]);
    let sinks = server.pactl(&["list", "short", "sinks"]);
    let crew = sinks.lines().find(|l| l.contains("\tcrew\t")).and_then(|l| l.split('\t').next()).expect("a sink");
    assert!(played.lines().any(|l| l.split('\t').nth(1) == Some(crew)), "{played}\n{sinks}");

    let told = flight.stop();
    for once in [
        "the microphone is gone",
        "I have lost the microphone",
        "the microphone is there again",
        "I hear you again",
        "the loudspeaker is gone",
        "the loudspeaker plays again",
    ] {
        assert_eq!(flight.times(once), 1, "{once}\n{told}");
    }
}

#[test]
fn half_a_minute_after_the_command_a_colleague_speaks_and_hears() {
    let _turn = turn();
    let (Some(_), Some(server)) = (models(), Server::start()) else { return };
    let mut captain = Captain::at(&server, "captain", 2, 18.0);
    let mut command = fly(&server);
    command.args(["--mic", "captain.monitor", "--speaker", "crew", "--headset"]);
    let begun = Instant::now();
    let mut flight = Flight::start(command);
    flight.expect("Flight deck, how do you read", 30, None);
    println!("the sound check {:.1} s after the command", begun.elapsed().as_secs_f64());
    flight.answers(&mut captain, "I read you five", "Thank you");
    flight.stop();
}

#[test]
fn devices_are_chosen_by_name_and_remembered() {
    let _turn = turn();
    let (Some(_), Some(server)) = (models(), Server::start()) else { return };
    let refused = |command: &mut Command| {
        let out = command.args(["--phase", "line_up"]).stdin(Stdio::null()).output().unwrap();
        assert_eq!(out.status.code(), Some(2), "{out:?}");
        String::from_utf8_lossy(&out.stderr).into_owned()
    };
    let unknown = refused(fly(&server).args(["--mic", "captian.monitor"]));
    assert!(unknown.contains("did you mean \u{201c}captain.monitor\u{201d}; antiphon doctor lists"), "{unknown}");
    let unknown = refused(fly(&server).args(["--mic", "captain.monitor", "--speaker", "headphones"]));
    assert!(unknown.contains("there is no loudspeaker \u{201c}headphones\u{201d}, did you mean"), "{unknown}");

    let fly_until_named = |args: &[&str]| {
        let mut command = fly(&server);
        command.args(args).args(["--phase", "line_up"]).stderr(Stdio::piped());
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).spawn().unwrap();
        let mut text = String::new();
        let lines = std::io::BufRead::lines(std::io::BufReader::new(child.stderr.take().unwrap()));
        for line in lines.map_while(Result::ok) {
            text += &line;
            if line.starts_with("loudspeaker") {
                break;
            }
        }
        let _ = child.kill();
        let _ = child.wait();
        text
    };
    // Three monitors hold "monitor", only one "crew.mon".
    let text = fly_until_named(&["--mic", "crew.mon", "--speaker", "captain"]);
    assert!(text.contains("(crew.monitor)") && text.contains("(captain)"), "{text}");
    let text = fly_until_named(&[]);
    assert!(text.contains("(crew.monitor)") && text.contains("(captain)"), "{text}");

    // What was remembered is gone: it is said, and not another taken.
    server.unplug("crew");
    let gone = refused(&mut fly(&server));
    assert!(gone.contains("there is no microphone \u{201c}crew.monitor\u{201d}"), "{gone}");

    // No server and no sound hardware at all.
    let mut nothing = fly(&server);
    nothing.env("PULSE_SERVER", "unix:/nonexistent").env("XDG_RUNTIME_DIR", "/nonexistent");
    nothing.env("ALSA_CONFIG_PATH", "/dev/null").args(["--mic", "default"]);
    let nothing = refused(&mut nothing);
    assert!(nothing.contains("this machine has no microphone: plug one in, or start the sound server"), "{nothing}");
}

#[test]
fn a_microphone_or_a_server_that_gives_nothing_does_not_hang_the_doctor() {
    let _turn = turn();
    let Some(server) = Server::start() else { return };
    let listen = || {
        let mut command = server.command(env!("CARGO_BIN_EXE_antiphon"));
        let begun = Instant::now();
        let out = command.current_dir(root()).args(["doctor", "--listen"]).stdin(Stdio::null()).output().unwrap();
        let told = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
        assert!(begun.elapsed() < Duration::from_secs(25), "{:?}\n{told}", begun.elapsed());
        assert_eq!(out.status.code(), Some(2), "{told}");
        told
    };
    let fifo = format!("file={}", server.path("dumb").display());
    server.pactl(&["load-module", "module-pipe-source", "source_name=dumb", &fifo]);
    server.pactl(&["set-default-source", "dumb"]);
    let dumb = listen();
    assert!(dumb.contains("the microphone cannot be opened (it does not answer)"), "{dumb}");

    server.halt(true);
    let hanging = listen();
    server.halt(false);
    assert!(hanging.contains("the sound server does not answer: start it again"), "{hanging}");
}
