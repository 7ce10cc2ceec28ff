//! Who may ask: only the page of this very program, in a browser on this computer. Looks at every request before
//! anything else does, the stream of events included.

use std::time::Duration;

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use super::Error;

/// A request may bring at most so much.
pub(super) const MOST_BODY: usize = 256 * 1024;
/// And must have brought it after so long.
const BODY_TIME: Duration = Duration::from_secs(5);

/// What may be in the page: its own files, nothing written into it, nothing from elsewhere.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; media-src 'self'; \
    connect-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";
/// What may be in the report's pages, which are whole in themselves.
pub(super) const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; media-src data:; frame-ancestors 'none'; sandbox";

/// The address and the token of this run.
#[derive(Debug, Clone)]
pub(super) struct Door {
    /// `127.0.0.1:43210`
    pub host: String,
    /// Hexadecimal; the first part of every path.
    pub token: String,
}

impl Door {
    /// With a token nobody can guess.
    pub fn new(port: u16) -> Result<Self, Error> {
        let mut bytes = [0_u8; 16];
        getrandom::fill(&mut bytes).map_err(|error| Error::Chance(error.to_string()))?;
        let token = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
        Ok(Self { host: format!("127.0.0.1:{port}"), token })
    }

    /// The address to open.
    pub fn address(&self) -> String {
        format!("http://{}/{}/", self.host, self.token)
    }

    /// The path behind the token; nothing where the token is wrong.
    fn inside<'p>(&self, path: &'p str) -> Option<&'p str> {
        let (token, _) = path.strip_prefix('/')?.split_once('/')?;
        let inside = path.get(1 + token.len()..)?;
        // As long for a token that is nearly right as for any other.
        let differs = token.bytes().zip(self.token.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b));
        (token.len() == self.token.len() && differs == 0).then_some(inside)
    }

    /// Why a request is not answered.
    fn refuse(&self, method: &Method, headers: &HeaderMap) -> Option<&'static str> {
        let text = |name: HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
        let hosts: Vec<_> = headers.get_all(header::HOST).iter().collect();
        if !matches!(hosts.as_slice(), [host] if host.as_bytes() == self.host.as_bytes()) {
            return Some("another host was asked for");
        }
        let own = format!("http://{}", self.host);
        let origin = text(header::ORIGIN);
        if origin.is_some_and(|origin| origin != own) {
            return Some("another page asks");
        }
        let site = text(HeaderName::from_static("sec-fetch-site"));
        if site.is_some_and(|site| !matches!(site, "same-origin" | "none")) {
            return Some("another site asks");
        }
        if method != Method::GET {
            if origin.is_none() {
                return Some("it is not said which page asks");
            }
            let kind = text(header::CONTENT_TYPE).unwrap_or("");
            if kind != "application/json" {
                return Some("only JSON is taken");
            }
        }
        None
    }
}

/// Look at a request, take in all of it, and pass it on without its token.
pub(super) async fn look(State(door): State<Door>, request: Request, next: Next) -> Response {
    let mut answer = match let_in(&door, request).await {
        Ok(request) => next.run(request).await,
        Err(refused) => refused,
    };
    let headers = answer.headers_mut();
    headers.entry(header::CONTENT_SECURITY_POLICY).or_insert(HeaderValue::from_static(POLICY));
    for (name, value) in [
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::CACHE_CONTROL, "no-store"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    answer
}

async fn let_in(door: &Door, request: Request) -> Result<Request, Response> {
    let refused = |status: StatusCode, why: &'static str| (status, why).into_response();
    if let Some(why) = door.refuse(request.method(), request.headers()) {
        return Err(refused(StatusCode::FORBIDDEN, why));
    }
    let (mut parts, body) = request.into_parts();
    let Some(inside) = door.inside(parts.uri.path()) else {
        return Err(refused(StatusCode::NOT_FOUND, "nothing is here"));
    };
    let target = match parts.uri.query() {
        Some(query) => format!("{inside}?{query}"),
        None => inside.to_owned(),
    };
    parts.uri = target.parse().map_err(|_| refused(StatusCode::BAD_REQUEST, "that is no path"))?;
    let body = match tokio::time::timeout(BODY_TIME, to_bytes(body, MOST_BODY)).await {
        Err(_) => return Err(refused(StatusCode::REQUEST_TIMEOUT, "it took too long")),
        Ok(Err(_)) => return Err(refused(StatusCode::PAYLOAD_TOO_LARGE, "it is too much")),
        Ok(Ok(body)) => body,
    };
    Ok(Request::from_parts(parts, Body::from(body)))
}
