//! The page of `fly`, in a real browser and by plain requests.

use crate::browser::{Browser, OVERFLOW, small};
use crate::link::Sim;
use crate::sessions::root;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::time::{Duration, Instant};

/// `MEASURE=all` (`make bench-page`): measured long enough for a figure, and held to its target; a quiet machine.
pub fn at_length() -> bool {
    std::env::var("MEASURE").is_ok_and(|m| m == "all")
}

/// Median, the one that nine of ten do not exceed, and the greatest.
fn spread(mut all: Vec<f64>) -> (f64, f64, f64) {
    all.sort_by(f64::total_cmp);
    let at = |q: f64| all[((all.len() - 1) as f64 * q).round() as usize];
    (at(0.5), at(0.9), at(1.0))
}

/// A flight under way with its page.
struct Flown {
    child: Child,
    stdin: ChildStdin,
    port: u16,
    code: Option<String>,
    journal: std::path::PathBuf,
    _folder: tempfile::TempDir,
}

impl Flown {
    fn at(address: &str, phase: &str) -> Flown {
        Flown::linked(address, phase, "built-in")
    }

    fn linked(address: &str, phase: &str, link: &str) -> Flown {
        let folder = tempfile::tempdir().expect("a folder");
        let journal = folder.path().join("j.jsonl");
        let mut child = Command::new(env!("CARGO_BIN_EXE_antiphon"))
            .args(["fly", "--typed", "--page", address, "--phase", phase, "--link", link, "--book"])
            .arg(root().join("phrasebooks/saltmarsh-t2"))
            .arg("--journal")
            .arg(&journal)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("runs");
        let mut told = BufReader::new(child.stderr.take().expect("piped")).lines();
        let link = told.find_map(|l| Some(l.ok()?.split("page: ").nth(1)?.to_string())).expect("the page is told");
        // The rest is read away, so that the program never waits.
        std::thread::spawn(move || told.for_each(drop));
        let rest = link.rsplit_once(':').expect("a port").1;
        let port = rest.split('/').next().and_then(|p| p.parse().ok()).expect("a number");
        let code = link.split("?code=").nth(1).map(str::to_string);
        let stdin = child.stdin.take().expect("piped");
        Flown { child, stdin, port, code, journal, _folder: folder }
    }

    fn type_in(&mut self, line: &str) {
        writeln!(self.stdin, "{line}").expect("typed");
    }

    fn url(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }

    /// Sends a request and gives the status and the whole answer.
    fn request(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &str) -> (u16, String) {
        let own = format!("127.0.0.1:{}", self.port);
        let host = headers.iter().find(|(n, _)| *n == "Host").map_or(own.as_str(), |(_, v)| v);
        let mut head = format!("{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n");
        for (name, value) in headers.iter().filter(|(n, _)| *n != "Host") {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        head.push_str(&format!("Content-Length: {}\r\n\r\n{body}", body.len()));
        let mut stream = TcpStream::connect(&own).expect("listens");
        stream.set_read_timeout(Some(Duration::from_secs(10))).expect("a limit");
        // A server that has seen enough may close before everything is sent.
        let _ = stream.write_all(head.as_bytes());
        let mut answer = Vec::new();
        let _ = stream.read_to_end(&mut answer);
        let answer = String::from_utf8_lossy(&answer).into_owned();
        (answer.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0), answer)
    }

    fn touch(&self, json: &str) -> (u16, String) {
        let origin = format!("http://127.0.0.1:{}", self.port);
        self.request("POST", "/touch", &[("Origin", &origin), ("Content-Type", "application/json")], json)
    }

    /// The news as they come.
    fn news(&self) -> BufReader<TcpStream> {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("listens");
        write!(stream, "GET /events HTTP/1.1\r\nHost: 127.0.0.1:{}\r\n\r\n", self.port).expect("asked");
        stream.set_read_timeout(Some(Duration::from_secs(10))).expect("a limit");
        BufReader::new(stream)
    }
}

impl Drop for Flown {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn wait_for(news: &mut BufReader<TcpStream>, what: &str) {
    let mut line = String::new();
    while !line.contains(what) {
        line.clear();
        assert!(news.read_line(&mut line).expect("news within ten seconds") > 0, "the news ended before {what}");
    }
}

/// What axe-core finds against WCAG 2.2 A and AA.
fn axe(browser: &Browser) -> Option<Value> {
    let file = root().join("models/files/axe/axe.min.js");
    let Ok(source) = std::fs::read_to_string(&file) else {
        assert!(
            std::env::var_os("REQUIRE").is_none(),
            "{} is missing: run `make test`, which fetches it",
            file.display()
        );
        eprintln!("skipped: axe-core is not there");
        return None;
    };
    let tags = "['wcag2a','wcag2aa','wcag21a','wcag21aa','wcag22aa']";
    let found = browser.run(&format!(
        "{source}; return axe.run(document, {{runOnly: {tags}, rules: {{'target-size': {{enabled: true}}}}}}).then(r => ({{ passes: r.passes.map(p => p.id), \
         bad: r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 120)).join(' | ')) }}))"
    ));
    Some(found)
}

fn look_over(browser: &Browser, name: &str) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("page");
    std::fs::create_dir_all(&folder).expect("a folder");
    for (view, width, height, night) in [
        ("day", 1180, 820, false),
        ("night", 1180, 820, true),
        ("small-day", 1024, 768, false),
        ("phone-day", 390, 844, false),
        ("phone-night", 390, 844, true),
    ] {
        browser.look(width, height, night);
        std::thread::sleep(Duration::from_millis(300));
        browser.picture(&folder.join(format!("{name}-{view}.png")));
        let over = browser.run(OVERFLOW);
        assert!(over["wider"].as_i64() <= Some(0) && over["bad"] == Value::Array(vec![]), "{name} {view}: {over}");
        let small = browser.run(&small(44));
        assert!(small["seen"].as_u64() > Some(5) && small["bad"] == Value::Array(vec![]), "{name} {view}: {small}");
        if let Some(found) = axe(browser) {
            assert_eq!(found["bad"], Value::Array(vec![]), "{name} {view}");
            let passed = found["passes"].as_array().expect("a list");
            assert!(passed.iter().any(|p| p == "color-contrast"), "contrast was not looked at: {found}");
        }
    }
    browser.look(1180, 820, false);
}

const PRESS: &str = "const all = [...document.querySelectorAll('button')].filter(b => b.textContent === WORDS && b.getClientRects().length && !b.disabled);";

fn press(browser: &Browser, words: &str) {
    let script = PRESS.replace("WORDS", &serde_json::to_string(words).expect("JSON"));
    browser.until(&format!("(() => {{ {script} return all.length; }})()"), 15);
    browser.run(&format!("{script} all[0].click();"));
}

#[test]
fn an_item_is_answered_by_touch() {
    let Some(browser) = Browser::open() else { return };
    let mut flown = Flown::at("127.0.0.1:0", "before_start");
    browser.look(1180, 820, false);
    browser.visit(&flown.url());
    browser.until("document.getElementById('phase').textContent === 'before start'", 15);
    let bytes = browser.run("return performance.getEntriesByType('navigation')[0].encodedBodySize").as_u64();
    assert!(bytes.is_some_and(|b| b > 10_000 && b <= 150_000), "{bytes:?}");
    let mut paints = Vec::new();
    for _ in 0..if at_length() { 30 } else { 3 } {
        browser.visit(&flown.url());
        browser.until("document.documentElement.dataset.drawn && performance.getEntriesByType('paint').length", 15);
        let paint = "return performance.getEntriesByName('first-contentful-paint')[0].startTime";
        paints.push(browser.run(paint).as_f64().expect("a time"));
    }
    let (n, (median, ninth, slowest)) = (paints.len(), spread(paints));
    eprintln!(
        "measured: page {} bytes; first paint of {n} loads: median {median:.0} ms, nine in ten within {ninth:.0}, \
         slowest {slowest:.0}",
        bytes.unwrap_or(0)
    );
    assert!(!at_length() || median <= 300.0, "first paint after {median:.0} ms");

    press(&browser, "before start checklist");
    browser.until("document.getElementById('foryou').textContent.includes('Parking brake')", 20);
    look_over(&browser, "list");
    press(&browser, "parking brake set");
    browser.until("document.getElementById('items').textContent.includes('✓ agreed')", 10);
    let row =
        browser.run("return [...document.querySelectorAll('#items > .items > div')].slice(3, 6).map(d => d.innerText)");
    let row = row.to_string();
    assert!(row.contains("parking brake set") && row.contains("Parking brake") && row.contains("seen"), "{row}");

    // Hold, resume; skip asks first.
    press(&browser, "Hold");
    browser.until("document.getElementById('list-waits').textContent.includes('held')", 10);
    press(&browser, "Resume");
    browser.until("!document.getElementById('list-waits').textContent.includes('held')", 10);
    press(&browser, "Skip …");
    browser.until("document.getElementById('ask').open", 5);
    press(&browser, "No");
    browser.until("!document.getElementById('ask').open", 5);
    let journal = std::fs::read_to_string(&flown.journal).expect("the journal");
    assert!(!journal.contains("\"state\":\"skipped\""));

    // The sheet.
    browser.run("const e = document.querySelector('[data-key=\"s:v1\"]'); e.value = '127'; e.form.requestSubmit();");
    browser.until("document.getElementById('speeds').textContent.includes('127')", 5);
    browser.until("document.getElementById('sheet').textContent.includes('you, on the page')", 5);

    // What is refused stands there with its reason.
    flown.type_in("purple elephants everywhere");
    browser.until("document.getElementById('refused').textContent.includes('no such call')", 10);

    // Something else on the page's own terms: nothing came from elsewhere, and nothing was against its policy.
    let names = browser.run("return performance.getEntriesByType('resource').map(r => new URL(r.name).origin)");
    assert!(names.as_array().expect("a list").iter().all(|o| format!("{}/", o.as_str().expect("text")) == flown.url()));

    // The program goes and comes back at the same address.
    let at = format!("127.0.0.1:{}", flown.port);
    drop(flown);
    browser.until("document.getElementById('state').textContent.includes('does not answer')", 10);
    let again = Flown::at(&at, "before_start");
    browser.until("document.getElementById('state').textContent === ''", 15);
    // A new flight: the speed that was written into the old one is gone, and the computed one stands there.
    browser.until("/^V1\\d{3}/.test(document.getElementById('speeds').textContent) && !document.getElementById('speeds').textContent.includes('127')", 10);
    drop(again);
}

#[test]
fn a_takeoff_is_followed() {
    let Some(browser) = Browser::open() else { return };
    let mut flown = Flown::at("127.0.0.1:0", "line_up");
    browser.look(1180, 820, true);
    browser.visit(&flown.url());
    browser.until("document.getElementById('phase').textContent === 'line-up'", 15);
    for line in ["flap_lever = 12", "parking_brake = false", "cleared for takeoff runway two seven"] {
        flown.type_in(line);
    }
    browser.until("document.getElementById('score').textContent.includes('Cleared for takeoff')", 20);
    for line in ["takeoff", "thrust_lever_1_pct = 92", "thrust_lever_2_pct = 92"] {
        flown.type_in(line);
    }
    for (words, seconds) in [("Eighty knots", 60), ("V one", 30), ("Rotate", 20)] {
        browser.until(&format!("document.getElementById('score').textContent.includes('{words}')"), seconds);
    }
    look_over(&browser, "takeoff");
    // What the page showed is what the journal holds.
    let said = browser.run("return document.getElementById('score-b').innerText.includes('V one')");
    assert_eq!(said, Value::Bool(true));
    let journal = std::fs::read_to_string(&flown.journal).expect("the journal");
    assert!(journal.contains("\"callout\":\"v1\""));
}

#[test]
fn strangers_stay_outside() {
    let flown = Flown::at("127.0.0.1:0", "before_start");
    let say = "{\"do\":\"say\",\"words\":\"hold\"}";
    assert_eq!(flown.touch(say).0, 204);
    let json = ("Content-Type", "application/json");
    let own = format!("http://127.0.0.1:{}", flown.port);
    let check = |headers: &[(&str, &str)], body: &str, want: u16| {
        let (status, answer) = flown.request("POST", "/touch", headers, body);
        assert_eq!(status, want, "{headers:?}: {answer}");
        assert!(answer.contains("content-security-policy: default-src 'none'"), "{answer}");
    };
    check(&[json], say, 403);
    check(&[json, ("Origin", "http://evil.example")], say, 403);
    check(&[json, ("Origin", "null")], say, 403);
    check(&[json, ("Origin", &own), ("Host", "evil.example")], say, 421);
    check(&[("Origin", &own), ("Content-Type", "text/plain")], say, 415);
    check(&[json, ("Origin", &own)], "{\"do\":\"fly\"}", 400);
    check(&[json, ("Origin", &own)], "{\"do\":\"say\",\"words\":\"thrust_lever_1_pct = 90\"}", 400);
    check(&[json, ("Origin", &own)], "{\"do\":\"sheet\",\"entry\":\"v1\",\"value\":\"fast\"}", 400);
    check(&[json, ("Origin", &own)], &format!("{{\"do\":\"say\",\"words\":\"{}\"}}", "x".repeat(4000)), 413);
    assert_eq!(flown.request("GET", "/", &[("Host", "evil.example")], "").0, 421);
    // Touches are counted.
    assert!((0..40).any(|_| flown.touch(say).0 == 429));
    // Connections are, too: with all places taken, a further one is closed, and places come free again.
    let held: Vec<TcpStream> = (0..60).filter_map(|_| TcpStream::connect(("127.0.0.1", flown.port)).ok()).collect();
    std::thread::sleep(Duration::from_millis(200));
    assert_eq!(flown.request("GET", "/", &[], "").0, 0);
    drop(held);
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(flown.request("GET", "/", &[], "").0, 200);
}

#[test]
fn on_a_network_a_code_is_asked_for() {
    let flown = Flown::at("0.0.0.0:0", "before_start");
    let code = flown.code.clone().expect("a code is told");
    let (status, answer) = flown.request("GET", "/", &[], "");
    assert!(status == 200 && answer.contains("Enter the code") && !answer.contains(&code), "{answer}");
    assert_eq!(flown.request("GET", "/events", &[], "").0, 401);
    assert_eq!(flown.touch("{\"do\":\"say\",\"words\":\"hold\"}").0, 401);
    let (status, answer) = flown.request("GET", &format!("/?code={code}"), &[], "");
    assert_eq!(status, 303, "{answer}");
    let cookie = answer.lines().find_map(|l| l.strip_prefix("set-cookie: ")).expect("a cookie");
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let secret = cookie.split(';').next().expect("a value");
    assert!(flown.request("GET", "/", &[("Cookie", secret)], "").1.contains("You can say"));
    // It counts once.
    let (status, _) = flown.request("GET", &format!("/?code={code}"), &[], "");
    assert_eq!(status, 403);
}

/// Writes V1 so often and waits for it to be shown each time; milliseconds from the touch to the next picture.
const SHOWN: &str = r"
return (async () => {
  const out = [], speeds = document.getElementById('speeds'), cell = () => speeds.querySelector('dd').textContent;
  for (let i = 0; i < TIMES; i++) {
    const want = String(110 + i % 20), begun = performance.now();
    const shown = new Promise(done => {
      const look = new MutationObserver(() => { if (cell() === want) { look.disconnect(); requestAnimationFrame(done); } });
      look.observe(speeds, { subtree: true, childList: true, characterData: true });
    });
    const body = JSON.stringify({ do: 'sheet', entry: 'v1', value: want });
    await fetch('/touch', { method: 'POST', headers: { 'Content-Type': 'application/json' }, body });
    await shown;
    out.push(performance.now() - begun);
    await new Promise(r => setTimeout(r, 60 + 7 * (i % 10)));
  }
  return out;
})();";

#[test]
fn news_come_quickly() {
    let flown = Flown::at("127.0.0.1:0", "before_start");
    let mut news = flown.news();
    wait_for(&mut news, "\"speeds\"");
    let mut times = Vec::new();
    for i in 0..if at_length() { 200 } else { 12 } {
        let (v1, begun) = (110 + i % 12, Instant::now());
        assert_eq!(flown.touch(&format!("{{\"do\":\"sheet\",\"entry\":\"v1\",\"value\":\"{v1}\"}}")).0, 204);
        wait_for(&mut news, &format!("[\"V1\",\"{v1}\"]"));
        times.push(begun.elapsed().as_secs_f64() * 1e3);
        std::thread::sleep(Duration::from_millis(90 + 7 * (i % 10)));
    }
    let (n, (median, ninth, slowest)) = (times.len(), spread(times));
    eprintln!(
        "measured: from a change to a client on loopback, {n} changes: median {median:.0} ms, nine in ten within {ninth:.0}, \
         slowest {slowest:.0}"
    );
    assert!(median <= 100.0 && (!at_length() || ninth <= 100.0), "{median:.0} {ninth:.0}");

    let Some(browser) = Browser::open() else { return };
    browser.look(1024, 768, false);
    browser.visit(&flown.url());
    browser.until("document.querySelector('#speeds dd')", 15);
    let times = browser.run(&SHOWN.replace("TIMES", if at_length() { "100" } else { "10" }));
    let times: Vec<f64> = times.as_array().expect("a list").iter().filter_map(Value::as_f64).collect();
    let (n, (median, ninth, slowest)) = (times.len(), spread(times));
    eprintln!(
        "measured: from a touch to its picture in the browser, {n} touches: median {median:.0} ms, nine in ten within \
         {ninth:.0}, slowest {slowest:.0}"
    );
    assert!(!at_length() || ninth <= 100.0, "{ninth:.0}");
}

/// What ten pages cost the program beside none, with the aircraft at the stand and in flight.
#[test]
fn ten_pages_cost_little() {
    let (rounds, seconds) = if at_length() { (3, 20) } else { (1, 3) };
    for phase in ["before_start", "approach"] {
        let flown = Flown::at("127.0.0.1:0", phase);
        std::thread::sleep(Duration::from_secs(3));
        let used = || {
            let ticks = || {
                let stat = std::fs::read_to_string(format!("/proc/{}/stat", flown.child.id())).expect("Linux");
                let rest: Vec<&str> = stat.rsplit(") ").next().expect("fields").split(' ').collect();
                rest[11].parse::<u64>().expect("ticks") + rest[12].parse::<u64>().expect("ticks")
            };
            let before = ticks();
            std::thread::sleep(Duration::from_secs(seconds));
            // A tick is a hundredth of a second.
            (ticks() - before) as f64 / seconds as f64
        };
        let (mut alone, mut with_ten) = (0.0, 0.0);
        for _ in 0..rounds {
            alone += used() / f64::from(rounds);
            let follow = || {
                let mut news = flown.news();
                let way_out = news.get_ref().try_clone().expect("a socket");
                let reader = std::thread::spawn(move || {
                    let (mut line, mut bytes) = (String::new(), 0);
                    while news.read_line(&mut line).is_ok_and(|n| n > 0) {
                        bytes += line.len();
                        line.clear();
                    }
                    bytes
                });
                (way_out, reader)
            };
            let readers: Vec<_> = (0..10).map(|_| follow()).collect();
            std::thread::sleep(Duration::from_secs(1));
            with_ten += used() / f64::from(rounds);
            for (way_out, reader) in readers {
                // A reader that has come to its end by itself is as well.
                let _ = way_out.shutdown(std::net::Shutdown::Both);
                assert!(reader.join().expect("read") > 1000, "a page that got nothing");
            }
            std::thread::sleep(Duration::from_secs(1));
        }
        eprintln!(
            "measured: {phase}, percent of a core, {rounds} times {seconds} s each: no page {alone:.2}, ten pages {with_ten:.2}"
        );
        assert!(!at_length() || with_ten - alone <= 2.0, "{alone:.2} {with_ten:.2}");
    }
}

/// A client that reads the news by HTTP, and a page in a browser, while the simulator sends as many states as it can, ten
/// thousand a second if the machine lets it.
#[test]
fn a_flooded_link_does_not_freeze_the_page() {
    let long = Duration::from_secs(if at_length() { 15 } else { 4 });
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let link = format!("tcp:{}", listener.local_addr().expect("bound"));
    let flown = Flown::linked("127.0.0.1:0", "before_start", &link);
    let mut sim = Sim::accept(&listener);
    sim.send(r#"{"type":"hello","protocol":1,"program":"toy"}"#);
    sim.send(r#"{"type":"describe","signals":{"ias_kt":{}}}"#);
    let browser = Browser::open();
    if let Some(browser) = &browser {
        browser.look(1024, 768, false);
        browser.visit(&flown.url());
        browser.until("document.querySelector('#figures dd')", 15);
        // The longest that the page was without a picture, and what it drew.
        browser.run(
            "window.longest = 0; let last = performance.now(); const frame = now => { window.longest = Math.max(window.longest, \
             now - last); last = now; requestAnimationFrame(frame); }; requestAnimationFrame(frame); \
             window.before = Number(document.documentElement.dataset.drawn);",
        );
    }
    let mut news = flown.news();
    wait_for(&mut news, "\"speeds\"");
    let flood = std::thread::spawn(move || {
        let (begun, mut i) = (Instant::now(), 0u32);
        while begun.elapsed() < long {
            let (at, kt) = (f64::from(i) * 1e-4, 60.0 + f64::from(i % 700) * 0.1);
            sim.send(&format!(r#"{{"type":"state","time_s":{at},"values":{{"ias_kt":{kt}}}}}"#));
            std::thread::sleep(Duration::from_secs_f64(at).saturating_sub(begun.elapsed()));
            i += 1;
        }
        let rate = f64::from(i) / begun.elapsed().as_secs_f64();
        sim.send(&format!(r#"{{"type":"state","time_s":{},"values":{{"ias_kt":99}}}}"#, f64::from(i) * 1e-4));
        (sim, rate)
    });
    let (begun, mut slowest, mut v1) = (Instant::now(), 0.0f64, 110);
    while !flood.is_finished() {
        let asked = Instant::now();
        assert_eq!(flown.touch(&format!("{{\"do\":\"sheet\",\"entry\":\"v1\",\"value\":\"{v1}\"}}")).0, 204);
        wait_for(&mut news, &format!("[\"V1\",\"{v1}\"]"));
        slowest = slowest.max(asked.elapsed().as_secs_f64());
        v1 += 1;
    }
    let seconds = begun.elapsed().as_secs_f64();
    let (_sim, rate) = flood.join().expect("sent");
    let touched = v1 - 110;
    eprintln!(
        "measured: {rate:.0} states a second for {seconds:.1} s; {touched} touches shown, the slowest after {slowest:.2} s"
    );
    assert!(rate > 1000.0 && touched >= 2, "that was no flood: {rate:.0} a second, {touched} touches");
    assert!(slowest < if at_length() { 1.0 } else { 5.0 }, "frozen for {slowest:.1} s");
    let Some(browser) = browser else { return };
    let (longest, drawn) = (
        browser.run("return window.longest"),
        browser.run("return document.documentElement.dataset.drawn - window.before"),
    );
    let (longest, drawn) = (longest.as_f64().expect("a time"), drawn.as_f64().expect("a number"));
    eprintln!(
        "measured: in the browser {drawn:.0} drawings meanwhile, the longest time without a picture {longest:.0} ms"
    );
    assert!(drawn > 2.0 && longest < 2000.0, "{drawn} drawings, {longest:.0} ms without a picture");
    browser.until("document.getElementById('figures').textContent.includes('99 kt')", 10);
}
