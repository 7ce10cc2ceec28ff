//! Who may ask: only the page of this very program, in a browser on this computer. Looks at every request before
//! anything else does, the stream of events included.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Redirect, Response};

use super::Error;

/// A request may bring at most so much.
pub(super) const MOST_BODY: usize = 256 * 1024;
/// And must have brought it after so long.
const BODY_TIME: Duration = Duration::from_secs(5);
/// A photo may be larger, and take longer.
const MOST_PHOTO: usize = 24 * 1024 * 1024;
const PHOTO_TIME: Duration = Duration::from_secs(20);
const PHOTO_KINDS: [&str; 3] = ["image/jpeg", "image/png", "image/webp"];
/// A browser that was started must have come after so long.
const START_TIME: Duration = Duration::from_secs(60);

/// What may be in the page: its own files, nothing written into it, nothing from elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; \
    connect-src 'self'; frame-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// What may be in the report's pages, which are whole in themselves.
pub(super) const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:; frame-ancestors 'none'; sandbox";
/// The same where the bench page itself frames one to print it; scripts stay forbidden.
pub(super) const PRINT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:; frame-ancestors 'self'; sandbox allow-same-origin allow-modals";

/// The address and the token of this run.
#[derive(Debug, Clone)]
pub(super) struct Door {
    /// `127.0.0.1:43210`
    pub host: String,
    /// Hexadecimal; the first part of every path.
    pub token: String,
    /// What starts a browser, until it was used.
    ticket: Arc<Mutex<Option<Ticket>>>,
}

/// A word that is good once, for a short time.
#[derive(Debug)]
struct Ticket {
    word: String,
    since: Instant,
}

impl Door {
    /// With a token nobody can guess.
    pub fn new(port: u16) -> Result<Self, Error> {
        let ticket = Ticket { word: secret()?, since: Instant::now() };
        Ok(Self {
            host: format!("127.0.0.1:{port}"),
            token: secret()?,
            ticket: Arc::new(Mutex::new(Some(ticket))),
        })
    }

    /// The address to open.
    pub fn address(&self) -> String {
        format!("http://{}/{}/", self.host, self.token)
    }

    /// The address to start a browser with.
    pub fn start(&self) -> String {
        let ticket = self.ticket.lock().unwrap_or_else(PoisonError::into_inner);
        let word = ticket.as_ref().map_or("", |ticket| &ticket.word);
        format!("http://{}/start/{word}", self.host)
    }

    /// Whether `word` is the ticket; from then on it is none any more.
    fn takes(&self, word: &str) -> bool {
        let mut ticket = self.ticket.lock().unwrap_or_else(PoisonError::into_inner);
        let is_right = ticket.as_ref().is_some_and(|ticket| is_same(word, &ticket.word));
        let is_fresh = ticket.as_ref().is_some_and(|ticket| ticket.since.elapsed() <= START_TIME);
        if is_right {
            *ticket = None;
        }
        is_right && is_fresh
    }

    /// The path behind the token; nothing where the token is wrong.
    fn inside<'p>(&self, path: &'p str) -> Option<&'p str> {
        let (token, _) = path.strip_prefix('/')?.split_once('/')?;
        let inside = path.get(1 + token.len()..)?;
        is_same(token, &self.token).then_some(inside)
    }

    /// Why a request is not answered.
    fn refuse(&self, method: &Method, headers: &HeaderMap, kinds: &[&str]) -> Option<&'static str> {
        let all = |name: HeaderName| headers.get_all(name).iter().map(|value| value.to_str().unwrap_or("?"));
        let text = |name: HeaderName| all(name).next();
        let hosts: Vec<_> = headers.get_all(header::HOST).iter().collect();
        if !matches!(hosts.as_slice(), [host] if host.as_bytes() == self.host.as_bytes()) {
            return Some("another host was asked for");
        }
        let own = format!("http://{}", self.host);
        if all(header::ORIGIN).any(|origin| origin != own) {
            return Some("another page asks");
        }
        let mut sites = all(HeaderName::from_static("sec-fetch-site"));
        if sites.any(|site| !matches!(site, "same-origin" | "none")) {
            return Some("another site asks");
        }
        if method != Method::GET {
            if text(header::ORIGIN).is_none() {
                return Some("it is not said which page asks");
            }
            let kind = text(header::CONTENT_TYPE).unwrap_or("");
            // Kinds that no form of another page can send.
            if !kinds.contains(&kind) {
                let is_photo = kinds.len() > 1;
                return Some(if is_photo {
                    "only JPEG, PNG and WebP are taken"
                } else {
                    "only JSON is taken"
                });
            }
        }
        None
    }
}

/// Hexadecimal that nobody can guess.
fn secret() -> Result<String, Error> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|error| Error::Chance(error.to_string()))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Takes as long for a word that is nearly right as for any other.
fn is_same(said: &str, wanted: &str) -> bool {
    let differs = said.bytes().zip(wanted.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
    said.len() == wanted.len() && differs == 0
}

/// Look at a request, take in all of it, and pass it on without its token.
pub(super) async fn look(State(door): State<Door>, request: Request, next: Next) -> Response {
    let mut answer = match let_in(&door, request).await {
        Ok(request) => next.run(request).await,
        Err(mut refused) => {
            // A stranger who reads no answers must not keep a place: one short answer, which the system sends, is all.
            refused.headers_mut().insert(header::CONNECTION, HeaderValue::from_static("close"));
            refused
        }
    };
    let headers = answer.headers_mut();
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    // The policy says who may frame a page; this says it to browsers that know no policy.
    headers.entry(header::X_FRAME_OPTIONS).or_insert(HeaderValue::from_static("DENY"));
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    answer
}

async fn let_in(door: &Door, request: Request) -> Result<Request, Response> {
    let refused = |status: StatusCode, why: &'static str| (status, why).into_response();
    let is_photo = request.uri().path().ends_with("/do/photo");
    let is_sound = request.uri().path().ends_with("/do/sound");
    let kinds: &[&str] = if is_photo {
        &PHOTO_KINDS
    } else if is_sound {
        &["application/octet-stream"]
    } else {
        &["application/json"]
    };
    if let Some(why) = door.refuse(request.method(), request.headers(), kinds) {
        return Err(refused(StatusCode::FORBIDDEN, why));
    }
    let (mut parts, body) = request.into_parts();
    if let Some(word) = parts.uri.path().strip_prefix("/start/") {
        return Err(if parts.method == Method::GET && door.takes(word) {
            Redirect::to(&format!("/{}/", door.token)).into_response()
        } else {
            refused(StatusCode::GONE, "this address was good once; open the one in the terminal")
        });
    }
    let Some(inside) = door.inside(parts.uri.path()) else {
        return Err(refused(StatusCode::NOT_FOUND, "nothing is here"));
    };
    let target = match parts.uri.query() {
        Some(query) => format!("{inside}?{query}"),
        None => inside.to_owned(),
    };
    parts.uri = target.parse().map_err(|_| refused(StatusCode::BAD_REQUEST, "that is no path"))?;
    // A long recording goes on to the disk as it comes; what takes it in counts and times it.
    if is_sound {
        return Ok(Request::from_parts(parts, body));
    }
    let (time, most) = if is_photo { (PHOTO_TIME, MOST_PHOTO) } else { (BODY_TIME, MOST_BODY) };
    let body = match tokio::time::timeout(time, to_bytes(body, most)).await {
        Err(_) => return Err(refused(StatusCode::REQUEST_TIMEOUT, "it took too long")),
        Ok(Err(_)) => return Err(refused(StatusCode::PAYLOAD_TOO_LARGE, "it is too much")),
        Ok(Ok(body)) => body,
    };
    Ok(Request::from_parts(parts, Body::from(body)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ticket_is_good_once_and_only_for_a_minute() {
        let door = Door::new(1).unwrap();
        let word = door.start().rsplit('/').next().unwrap().to_owned();
        assert!(word.len() == 32 && word != door.token);
        assert!(!door.takes("") && !door.takes(&door.token));
        assert!(door.takes(&word));
        assert!(!door.takes(&word) && !door.takes(""));
        let late = Door::new(1).unwrap();
        let word = late.start().rsplit('/').next().unwrap().to_owned();
        // The clock of a computer that was just started does not reach back so far.
        let Some(since) = Instant::now().checked_sub(START_TIME + Duration::from_secs(1)) else { return };
        late.ticket.lock().unwrap().as_mut().unwrap().since = since;
        assert!(!late.takes(&word));
    }
}
