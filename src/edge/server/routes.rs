//! What is answered to whom.

use super::door::{Door, Entry, secret};
use super::feed::Sheaf;
use super::{Send, Tell};
use crate::core::aircraft::{Value, ValueKind};
use crate::core::book::Book;
use crate::edge::app::{News, Touch};
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{DefaultBodyLimit, Request, State as Extract};
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, COOKIE, HOST, LOCATION, ORIGIN, REFERRER_POLICY, SET_COOKIE,
    X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde::Deserialize;
use sha2::{Digest, Sha256};
use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::{oneshot, watch};

/// Bytes of a touch.
const TOUCH: usize = 2 << 10;
/// Characters of words that are touched.
const WORDS: usize = 200;
/// Touches in a second, all clients together.
const TOUCHES: usize = 20;
/// At most so many pages follow at once; a further one puts the first out.
const PAGES: usize = 16;
/// A page hears at least this often that it is still connected.
const BEAT: Duration = Duration::from_secs(2);

/// What all requests share.
pub(super) struct State {
    door: Door,
    book: Arc<Book>,
    out: watch::Sender<Sheaf>,
    send: Send,
    tell: Tell,
    /// A new one each time the program starts.
    boot: String,
    page: String,
    policy: HeaderValue,
    pages: Mutex<VecDeque<oneshot::Sender<()>>>,
    touched: Mutex<VecDeque<Instant>>,
}

const HTML: &str = include_str!("page/page.html");
const CODE: &str = include_str!("page/code.html");
const STYLE: &str = include_str!("page/style.css");
const SCRIPT: &str = include_str!("page/page.js");

/// RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::new();
    for three in bytes.chunks(3) {
        let n = three.iter().fold(0u32, |n, b| n << 8 | u32::from(*b)) << (8 * (3 - three.len()));
        for i in 0..4 {
            let letter = LETTERS[(n >> (18 - 6 * i)) as usize & 63];
            out.push(if i <= three.len() { char::from(letter) } else { '=' });
        }
    }
    out
}

impl State {
    pub fn new(
        door: Door,
        book: Arc<Book>,
        out: watch::Sender<Sheaf>,
        send: Send,
        tell: Tell,
    ) -> Result<State, String> {
        let hash = |text: &str| base64(&Sha256::digest(text.as_bytes()));
        let policy = format!(
            "default-src 'none'; script-src 'sha256-{}'; style-src 'sha256-{}'; connect-src 'self'; img-src data:; \
             form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
            hash(SCRIPT),
            hash(STYLE)
        );
        let policy = HeaderValue::from_str(&policy).map_err(|e| e.to_string())?;
        // The page asks for itself again when another version of it is served.
        let version = hash(&format!("{HTML}{STYLE}{SCRIPT}"));
        let page = HTML.replace("{style}", STYLE).replace("{script}", SCRIPT).replace("{title}", &escaped(&book.title));
        let boot = format!("{}.{}", &version[..8].replace(['+', '/'], "x"), secret()?);
        Ok(State {
            door,
            book,
            out,
            send,
            tell,
            page: page.replace("{boot}", &boot),
            boot,
            policy,
            pages: Mutex::default(),
            touched: Mutex::default(),
        })
    }

    /// Whether one more touch may be taken now.
    fn may_touch(&self, now: Instant) -> bool {
        let mut touched = self.touched.lock().unwrap_or_else(PoisonError::into_inner);
        while touched.front().is_some_and(|t| now.saturating_duration_since(*t) > Duration::from_secs(1)) {
            touched.pop_front();
        }
        if touched.len() >= TOUCHES {
            return false;
        }
        touched.push_back(now);
        true
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Every address that there is.
pub(super) fn router(state: Arc<State>) -> Router {
    Router::new()
        .route("/", get(page))
        .route("/enter", post(enter))
        .route("/events", get(events))
        .route("/touch", post(touch))
        .fallback(|| async { (StatusCode::NOT_FOUND, "There is nothing here; open /.\n") })
        .layer(DefaultBodyLimit::max(TOUCH))
        .layer(from_fn_with_state(state.clone(), guard))
        .with_state(state)
}

fn text(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    headers.get(name)?.to_str().ok()
}

/// Looks at every request before anything else does, and gives every answer its headers.
async fn guard(Extract(state): Extract<Arc<State>>, request: Request, next: Next) -> Response {
    let headers = request.headers();
    let host = text(headers, HOST);
    let path = request.uri().path();
    let mut response = if !state.door.host(host) {
        (StatusCode::MISDIRECTED_REQUEST, "Open the page by the address that the terminal shows.\n").into_response()
    } else if request.method() != "GET" && !state.door.origin(text(headers, ORIGIN), host) {
        (StatusCode::FORBIDDEN, "Only the page itself may do this.\n").into_response()
    } else if path != "/" && path != "/enter" && !state.door.known(text(headers, COOKIE)) {
        (StatusCode::UNAUTHORIZED, "Enter the code that the terminal shows.\n").into_response()
    } else {
        next.run(request).await
    };
    let out = response.headers_mut();
    out.insert(CONTENT_SECURITY_POLICY, state.policy.clone());
    let fixed = [
        (X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (X_FRAME_OPTIONS, "DENY"),
        (REFERRER_POLICY, "no-referrer"),
        (CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ];
    for (name, value) in fixed {
        out.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn html(status: StatusCode, page: String) -> Response {
    (status, [(CONTENT_TYPE, "text/html; charset=utf-8")], page).into_response()
}

fn code_page(status: StatusCode, message: &str) -> Response {
    html(status, CODE.replace("{style}", STYLE).replace("{message}", message))
}

async fn page(Extract(state): Extract<Arc<State>>, request: Request) -> Response {
    if state.door.known(text(request.headers(), COOKIE)) {
        return html(StatusCode::OK, state.page.clone());
    }
    let code = request.uri().query().unwrap_or_default().split('&').find_map(|p| p.strip_prefix("code="));
    match code {
        Some(code) => try_code(&state, code),
        None => code_page(StatusCode::OK, ""),
    }
}

async fn enter(Extract(state): Extract<Arc<State>>, form: Bytes) -> Response {
    let form = String::from_utf8_lossy(&form).into_owned();
    try_code(&state, form.strip_prefix("code=").unwrap_or_default())
}

fn try_code(state: &State, code: &str) -> Response {
    match state.door.enter(code, Instant::now()) {
        Err(why) => code_page(StatusCode::INTERNAL_SERVER_ERROR, &escaped(&why)),
        Ok(Entry::Wait) => code_page(StatusCode::TOO_MANY_REQUESTS, "Wait a second, then try again."),
        Ok(Entry::Wrong(next)) => {
            if let Some(next) = next {
                (state.tell)(&format!("page: somebody tried wrong codes; the code is now {next}"));
            }
            code_page(
                StatusCode::FORBIDDEN,
                "That is not the code. It counts once: look at the terminal for the newest.",
            )
        }
        Ok(Entry::In { secret, next }) => {
            (state.tell)(&format!("page: a device has come in; the code for a further one is {next}"));
            let cookie = format!("antiphon={secret}; HttpOnly; SameSite=Strict; Path=/");
            (StatusCode::SEE_OTHER, [(LOCATION, "/".to_string()), (SET_COOKIE, cookie)]).into_response()
        }
    }
}

async fn events(Extract(state): Extract<Arc<State>>) -> Response {
    let (stay, put_out) = oneshot::channel();
    {
        let mut pages = state.pages.lock().unwrap_or_else(PoisonError::into_inner);
        pages.retain(|p| !p.is_closed());
        pages.push_back(stay);
        if pages.len() > PAGES {
            pages.pop_front();
        }
    }
    struct Client {
        news: watch::Receiver<Sheaf>,
        seen: Option<u64>,
        over: bool,
        boot: String,
        put_out: oneshot::Receiver<()>,
    }
    let mut news = state.out.subscribe();
    news.mark_changed();
    let client = Client { news, seen: None, over: false, boot: state.boot.clone(), put_out };
    let stream = futures_util::stream::unfold(client, |mut c| async move {
        if c.over {
            return None;
        }
        let told = tokio::select! {
            _ = &mut c.put_out => return None,
            changed = tokio::time::timeout(BEAT, c.news.changed()) => match changed {
                Err(_) => ": still here\n\n".to_string(),
                Ok(Err(_)) => return None,
                Ok(Ok(())) => {
                    let sheaf = c.news.borrow_and_update();
                    let json = sheaf.since(c.seen.unwrap_or(0), &c.boot);
                    c.seen = Some(sheaf.revision);
                    c.over = sheaf.over;
                    format!("data: {json}\n\n")
                }
            },
        };
        Some((Ok::<_, Infallible>(told), c))
    });
    ([(CONTENT_TYPE, "text/event-stream")], Body::from_stream(stream)).into_response()
}

/// What a page can ask for.
#[derive(Debug, Deserialize)]
#[serde(tag = "do", rename_all = "snake_case", deny_unknown_fields)]
enum Asked {
    /// As if said.
    Say { words: String },
    /// Push-to-talk.
    Talk { held: bool },
    /// An entry of the sheet.
    Sheet { entry: String, value: String },
}

fn no(why: impl Into<String>) -> Response {
    (StatusCode::BAD_REQUEST, why.into()).into_response()
}

async fn touch(Extract(state): Extract<Arc<State>>, headers: HeaderMap, body: Bytes) -> Response {
    if text(&headers, CONTENT_TYPE).is_none_or(|t| !t.starts_with("application/json")) {
        return (StatusCode::UNSUPPORTED_MEDIA_TYPE, "A touch is sent as JSON.").into_response();
    }
    // Push-to-talk is never refused its release.
    let asked = match serde_json::from_slice(&body) {
        Ok(asked) => asked,
        Err(e) => return no(format!("That is no touch of this page ({e}).")),
    };
    let release = matches!(asked, Asked::Talk { held: false });
    if !release && !state.may_touch(Instant::now()) {
        return (StatusCode::TOO_MANY_REQUESTS, "Too many touches at once; try again.").into_response();
    }
    let news = match asked {
        Asked::Say { words } => {
            let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
            let plain = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '\'' | '-' | '.' | ',');
            if words.is_empty() || words.chars().count() > WORDS || !words.chars().all(plain) {
                return no("Words are letters and figures, at most 200 of them.");
            }
            News::Typed(words)
        }
        Asked::Talk { held } => News::Touched(Touch::Talk(held)),
        Asked::Sheet { entry, value } => match value_of(&state.book, &entry, value.trim()) {
            Ok(value) => News::Touched(Touch::Sheet { entry, value }),
            Err(why) => return no(why),
        },
    };
    if (state.send)(news) {
        StatusCode::NO_CONTENT.into_response()
    } else {
        (StatusCode::SERVICE_UNAVAILABLE, "The session is over.").into_response()
    }
}

/// What was written for an entry, as a value of its type.
fn value_of(book: &Book, entry: &str, text: &str) -> Result<Value, String> {
    let Some(e) = book.sheet.iter().find(|e| e.id == entry) else {
        return Err(format!("The sheet has no entry \u{201c}{entry}\u{201d}."));
    };
    match &e.kind {
        ValueKind::Number => match text.replace(',', ".").parse::<f64>() {
            Ok(n) if n.is_finite() => Ok(Value::Number(n)),
            _ => Err(format!("{} is a number: write it in figures.", e.title)),
        },
        ValueKind::Bool => match text {
            "true" | "yes" => Ok(Value::Bool(true)),
            "false" | "no" => Ok(Value::Bool(false)),
            _ => Err(format!("{} is yes or no.", e.title)),
        },
        ValueKind::Word(all) if text.is_empty() || text.chars().count() > 64 => {
            Err(format!("{} cannot be empty or longer than 64 letters{}.", e.title, among(all)))
        }
        ValueKind::Word(all) if all.is_empty() || all.iter().any(|w| w == text) => Ok(Value::Word(text.into())),
        ValueKind::Word(all) => Err(format!("{} cannot be \u{201c}{text}\u{201d}{}.", e.title, among(all))),
    }
}

fn among(all: &[String]) -> String {
    if all.is_empty() { String::new() } else { format!("; it is one of {}", all.join(", ")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_as_in_the_standard() {
        // RFC 4648, section 10.
        let check = |text: &str, want: &str| assert_eq!(base64(text.as_bytes()), want);
        check("", "");
        check("f", "Zg==");
        check("fo", "Zm8=");
        check("foo", "Zm9v");
        check("foob", "Zm9vYg==");
        check("foobar", "Zm9vYmFy");
    }
}
