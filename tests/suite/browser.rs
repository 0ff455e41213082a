//! A real browser without a window, spoken to by WebDriver (W3C), one short HTTP request a command.

use serde_json::{Value, json};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// An open browser; it closes when dropped.
pub struct Browser {
    driver: Child,
    port: u16,
    session: String,
}

impl Browser {
    /// A browser, or `None` (said aloud) where there is none; with `REQUIRE` set that is a failure.
    pub fn open() -> Option<Browser> {
        let driver = Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
        let mut driver = match driver {
            Ok(d) => d,
            Err(e) => {
                assert!(std::env::var_os("REQUIRE").is_none(), "chromedriver cannot be run ({e}): run `make setup`");
                eprintln!("skipped: there is no chromedriver ({e})");
                return None;
            }
        };
        let told = BufReader::new(driver.stdout.take().expect("piped"));
        let port = told.lines().map_while(Result::ok).find_map(|l| {
            let rest = l.split("successfully on port ").nth(1)?;
            rest.trim_end_matches('.').parse().ok()
        });
        let port = port.expect("chromedriver tells its port");
        let mut browser = Browser { driver, port, session: String::new() };
        let args = ["--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--mute-audio"];
        let wanted = json!({"capabilities": {"alwaysMatch": {"goog:chromeOptions": {"args": args}}}});
        let made = browser.request("POST", "/session", &wanted);
        browser.session = made["sessionId"].as_str().expect("a session").to_string();
        Some(browser)
    }

    /// Opens a file.
    pub fn show(&self, page: &Path) {
        self.command("url", &json!({"url": format!("file://{}", page.display())}));
    }

    /// Opens an address.
    pub fn visit(&self, address: &str) {
        self.command("url", &json!({"url": address}));
    }

    /// Waits until a script returns true.
    pub fn until(&self, what: &str, seconds: u64) {
        let begun = std::time::Instant::now();
        while self.run(&format!("return Boolean({what})")) != Value::Bool(true) {
            assert!(
                begun.elapsed().as_secs() < seconds,
                "after {seconds} s still not: {what}\n{}",
                self.run("return document.body.innerText")
            );
            std::thread::sleep(std::time::Duration::from_millis(50));
        }
    }

    /// As wide and high as asked for, by day or by night.
    pub fn look(&self, width: u32, height: u32, night: bool) {
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
        self.developer("Emulation.setDeviceMetricsOverride", size);
        let scheme = if night { "dark" } else { "light" };
        let feature = json!({"name": "prefers-color-scheme", "value": scheme});
        let calm = json!({"name": "prefers-reduced-motion", "value": "reduce"});
        self.developer("Emulation.setEmulatedMedia", json!({"features": [feature, calm]}));
    }

    /// What a script returns.
    pub fn run(&self, script: &str) -> Value {
        self.command("execute/sync", &json!({"script": script, "args": []}))
    }

    /// Saves what is seen.
    pub fn picture(&self, to: &Path) {
        let made = self.developer("Page.captureScreenshot", json!({"format": "png"}));
        std::fs::write(to, base64(made["data"].as_str().expect("a picture"))).expect("the picture is written");
    }

    fn developer(&self, name: &str, params: Value) -> Value {
        self.command("goog/cdp/execute", &json!({"cmd": name, "params": params}))
    }

    fn command(&self, name: &str, body: &Value) -> Value {
        self.request("POST", &format!("/session/{}/{name}", self.session), body)
    }

    fn request(&self, method: &str, path: &str, body: &Value) -> Value {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("chromedriver listens");
        let body = body.to_string();
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nContent-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
            self.port,
            body.len()
        );
        stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body.as_bytes())).expect("sent");
        let mut reader = BufReader::new(stream);
        let mut length = 0;
        loop {
            let mut line = String::new();
            reader.read_line(&mut line).expect("a header");
            if line.trim().is_empty() {
                break;
            }
            if let Some(n) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = n.trim().parse().expect("a length");
            }
        }
        let mut answer = vec![0; length];
        reader.read_exact(&mut answer).expect("an answer");
        let answer: Value = serde_json::from_slice(&answer).expect("JSON");
        let value = answer["value"].clone();
        assert!(value.get("error").is_none(), "{path}: {value}");
        value
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() && !std::thread::panicking() {
            self.request("DELETE", &format!("/session/{}", self.session), &json!({}));
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

/// RFC 4648, 4.
fn base64(text: &str) -> Vec<u8> {
    let mut out = Vec::new();
    let (mut bits, mut n) = (0u32, 0);
    for b in text.bytes() {
        let six = match b {
            b'A'..=b'Z' => b - b'A',
            b'a'..=b'z' => b - b'a' + 26,
            b'0'..=b'9' => b - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            _ => continue,
        };
        bits = bits << 6 | u32::from(six);
        n += 6;
        if n >= 8 {
            n -= 8;
            out.push((bits >> n) as u8);
        }
    }
    out
}

/// Text that is not well seen (WCAG 2.2, 1.4.3: 4.5 to 1, or 3 to 1 when large), as "ratio: text".
pub const FAINT: &str = r#"
function parts(c) { const m = c.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m.slice(0, 3), 1] : m; }
function light(c) {
  const [r, g, b] = c.slice(0, 3).map(v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
}
function ground(e) {
  for (; e; e = e.parentElement) { const c = parts(getComputedStyle(e).backgroundColor); if (c[3] > 0.99) return c; }
  return [255, 255, 255, 1];
}
let seen = 0;
const bad = [];
for (const e of document.body.querySelectorAll("*")) {
  const text = [...e.childNodes].filter(n => n.nodeType === 3).map(n => n.data.trim()).join("");
  if (!text || ["SCRIPT", "STYLE", "title"].includes(e.tagName) || !e.getClientRects().length) continue;
  const s = getComputedStyle(e), svg = e instanceof SVGElement;
  const a = light(parts(svg ? s.fill : s.color)), b = light(ground(e));
  const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
  const size = parseFloat(s.fontSize), large = size >= 24 || (size >= 18.66 && s.fontWeight >= 700);
  seen += 1;
  if (ratio < (large ? 3 : 4.5)) bad.push(ratio.toFixed(2) + ": " + text);
}
return { seen, bad };
"#;

/// What can be touched and is smaller than `px` by `px`, as "width x height: text"; how many there are. WCAG 2.2 wants 24
/// (2.5.8, level AA); the page, which is touched in flight, keeps to 44 (2.5.5, level AAA).
pub fn small(px: u32) -> String {
    SMALL.replace("LEAST", &px.to_string())
}

const SMALL: &str = r#"
const all = [...document.querySelectorAll("a, button, input, select, summary")].filter(e => e.getClientRects().length);
const bad = all.filter(e => { const r = e.getBoundingClientRect(); return r.width < LEAST || r.height < LEAST; });
return { seen: all.length, bad: bad.map(e => { const r = e.getBoundingClientRect(); return r.width + " x " + r.height + ": " + e.textContent; }) };
"#;

/// How far the page is wider than the window, px, and what sticks out of it.
pub const OVERFLOW: &str = r#"
const w = document.documentElement.clientWidth;
const inside = e => { for (let p = e.parentElement; p; p = p.parentElement) if (getComputedStyle(p).overflowX === "auto") return true; return false; };
const bad = [...document.body.querySelectorAll("*")].filter(e => e.getBoundingClientRect().right > w + 1 && !inside(e));
return { wider: document.documentElement.scrollWidth - w, bad: bad.map(e => e.tagName + " " + e.className + ": " + e.textContent.slice(0, 40)) };
"#;
