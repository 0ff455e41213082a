//! A captain who speaks into a pretended microphone what the program's script of his hands says, and listens.

use crate::server::Server;
use antiphon::edge::audio::EAR_RATE;
use antiphon::edge::captain::{Captains, Microphone};
use antiphon::edge::speaker::Pcm;
use antiphon::edge::speaker::cache::Cache;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{self, Receiver, Sender};
use std::time::{Duration, Instant};

/// The captain's voice over the noise of the cabin, played into a sink in real time.
pub struct Captain {
    say: Option<Sender<Pcm>>,
    thread: Option<std::thread::JoinHandle<()>>,
    voices: Captains,
    voice: String,
}

impl Captain {
    pub fn at(server: &Server, sink: &str, seed: u64, snr_db: f64) -> Captain {
        let mut player = server.command("pacat");
        player.args(["--playback", "--raw", "--format=s16le", "--channels=1", "--latency-msec=30", "-d", sink]);
        player.arg(format!("--rate={EAR_RATE}")).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::null());
        let mut player = player.spawn().unwrap();
        let (say, words) = mpsc::channel::<Pcm>();
        let thread = std::thread::spawn(move || {
            let mut mic = Microphone::new(seed, Some(snr_db));
            let mut pipe = player.stdin.take().unwrap();
            let begun = Instant::now();
            let mut block = [0.0f32; 160];
            for n in 0u64.. {
                match words.try_recv() {
                    Ok(pcm) => mic.say(n, &pcm, 0),
                    Err(mpsc::TryRecvError::Empty) => {}
                    Err(mpsc::TryRecvError::Disconnected) => break,
                }
                mic.fill(&mut block);
                let bytes: Vec<u8> = block.iter().flat_map(|s| ((s * 32767.0) as i16).to_le_bytes()).collect();
                if pipe.write_all(&bytes).is_err() {
                    break;
                }
                // The pipe holds seconds of sound: words would come late if it were kept full.
                let due = begun + Duration::from_millis(10 * n);
                std::thread::sleep(due.saturating_duration_since(Instant::now()));
            }
            let _ = player.kill();
            let _ = player.wait();
        });
        let voices = Captains::new(Cache::in_memory());
        let voice = voices.pick(seed).to_string();
        Captain { say: Some(say), thread: Some(thread), voices, voice }
    }

    /// Speaks, and goes on with other things meanwhile.
    pub fn say(&mut self, text: &str) {
        let pcm = self.voices.render(&self.voice, text).unwrap();
        let _ = self.say.as_ref().unwrap().send(pcm);
    }
}

impl Drop for Captain {
    fn drop(&mut self) {
        self.say.take();
        if let Some(t) = self.thread.take() {
            let _ = t.join();
        }
    }
}

/// The program, flying.
pub struct Flight {
    child: Child,
    lines: Receiver<String>,
    pub told: Vec<String>,
}

impl Flight {
    pub fn start(mut command: Command) -> Flight {
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::inherit()).spawn().unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let (send, lines) = mpsc::channel();
        std::thread::spawn(move || out.lines().map_while(Result::ok).for_each(|l| drop(send.send(l))));
        Flight { child, lines, told: Vec::new() }
    }

    /// Reads on until a line holds `what`; whatever the script lets the captain say, he says. `None` when `limit` passes
    /// or the program has ended.
    pub fn until(&mut self, what: &str, limit: Duration, mut captain: Option<&mut Captain>) -> Option<String> {
        let end = Instant::now() + limit;
        loop {
            let line = self.lines.recv_timeout(end.saturating_duration_since(Instant::now())).ok()?;
            if let (Some(words), Some(captain)) = (pilot_says(&line), &mut captain) {
                captain.say(words);
            }
            self.told.push(line.clone());
            if line.contains(what) {
                return Some(line);
            }
        }
    }

    pub fn expect(&mut self, what: &str, seconds: u64, captain: Option<&mut Captain>) -> String {
        let found = self.until(what, Duration::from_secs(seconds), captain);
        found.unwrap_or_else(|| panic!("no \u{201c}{what}\u{201d} within {seconds} s:\n{}", self.told.join("\n")))
    }

    /// After a moment in which nobody speaks the captain says `words`, and again when no answer comes, as he would: the
    /// noise differs from run to run, and how well it is heard through is not what the devices are tried for.
    pub fn answers(&mut self, captain: &mut Captain, words: &str, answer: &str) {
        for _ in 0..3 {
            std::thread::sleep(Duration::from_secs(2));
            captain.say(words);
            if self.until(answer, Duration::from_secs(6), None).is_some() {
                return;
            }
        }
        panic!("no \u{201c}{answer}\u{201d} to \u{201c}{words}\u{201d}, said three times:\n{}", self.told.join("\n"));
    }

    /// How often a line with `what` was told so far.
    pub fn times(&self, what: &str) -> usize {
        self.told.iter().filter(|l| l.contains(what)).count()
    }

    /// Ends it as Ctrl-C would and reads what remains.
    pub fn stop(&mut self) -> String {
        let pid = self.child.id().to_string();
        let _ = Command::new("kill").args(["-INT", &pid]).status();
        self.end().0
    }

    /// Reads what remains of one that ends by itself; all that was told, and the exit status.
    pub fn end(&mut self) -> (String, Option<i32>) {
        let _ = self.until("\u{0}", Duration::from_secs(10), None);
        let status = self.child.wait().ok().and_then(|s| s.code());
        (self.told.join("\n"), status)
    }
}

impl Drop for Flight {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The pilot's words stand left of the time, the crew's right of it.
fn pilot_says(line: &str) -> Option<&str> {
    let (words, time) = line.trim().rsplit_once("  ")?;
    let clock = time.len() == 7 && time.as_bytes()[2] == b':' && time.as_bytes()[5] == b'.';
    (clock && !words.is_empty()).then_some(words.trim())
}
