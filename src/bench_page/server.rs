//! The server: loopback only, few connections at once, and none that keeps us waiting.

use std::path::Path;
use std::pin::pin;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::Router;
use axum::middleware;
use futures_util::future::{Either, select};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::Semaphore;

use super::app_state::AppState;
use super::guard::{self, Door};
use super::{Error, routes};

/// A browser opens six at most; the rest is for a second window.
const MOST_CONNECTIONS: usize = 32;
/// The head of a request must have come after so long.
const HEAD_TIME: Duration = Duration::from_secs(5);
/// And may be so long.
const MOST_HEAD: usize = 16 * 1024;
/// Time for the answer to the request that closed the page.
const LAST_WORDS: Duration = Duration::from_millis(300);
/// Ports that no registered service of note uses and that systems do not hand out by themselves.
const FIRST_PORT: u16 = 21_000;
const PORTS: u64 = 9_000;
/// A program that was started without a terminal ends when no page was open for so long.
const ALONE: Duration = Duration::from_secs(600);
/// How often the job folder is looked at, for what other programs do to it.
const LOOK_EVERY: Duration = Duration::from_millis(500);

/// Where the page can be opened.
#[derive(Debug, Clone)]
pub struct Opened {
    /// For people: good as long as the program runs. Whoever knows it can do all that the page does.
    pub address: String,
    /// To start a browser with: leads to `address` once, within a minute. The list of running programs shows it to every
    /// user of the computer.
    pub start: String,
}

/// Serve the page until it is closed from within; `opened` is called with where it is.
pub(super) async fn run(
    app: Arc<AppState>,
    ends_alone: bool,
    opened: impl FnOnce(&Opened),
) -> Result<(), Error> {
    let listener = listen(app.home()).await?;
    let door = Door::new(listener.local_addr().map_err(Error::Port)?.port())?;
    let routes = routes::router(app.clone()).fallback(routes::nothing);
    // Around the router, so that a path is looked at before it is matched.
    let routes = Router::new()
        .fallback_service(routes)
        .layer(middleware::from_fn_with_state(door.clone(), guard::look));
    opened(&Opened { address: door.address(), start: door.start() });
    tokio::spawn(watch(app.clone(), ends_alone));
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    loop {
        let (accepting, closed) = (pin!(listener.accept()), pin!(app.events.closed()));
        let Either::Left((accepted, _)) = select(accepting, closed).await else {
            tokio::time::sleep(LAST_WORDS).await;
            return Ok(());
        };
        // A connection that was lost at once is nobody's fault; too many open files go away.
        let Ok((stream, from)) = accepted else {
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let Ok(place) = room.clone().try_acquire_owned() else { continue };
        if !from.ip().is_loopback() {
            continue;
        }
        let service = TowerToHyperService::new(routes.clone());
        tokio::spawn(async move {
            let mut http = http1::Builder::new();
            http.timer(TokioTimer::new()).header_read_timeout(HEAD_TIME).max_buf_size(MOST_HEAD);
            // What goes wrong with one connection is over with it.
            let _ = http.serve_connection(TokioIo::new(stream), service).await;
            drop(place);
        });
    }
}

/// At the port kept for this folder, so that a page finds the program again that was started anew; at any other where
/// something else has it. What keeps strangers out is the word in the address, and not the port.
async fn listen(folder: &Path) -> Result<TcpListener, Error> {
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    // FNV-1a: the same folder gives the same port on every start.
    let hash = whole.as_os_str().as_encoded_bytes().iter().fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
        (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3)
    });
    let kept = FIRST_PORT + (hash % PORTS) as u16;
    match TcpListener::bind(("127.0.0.1", kept)).await {
        Ok(listener) => Ok(listener),
        Err(_) => TcpListener::bind(("127.0.0.1", 0)).await.map_err(Error::Port),
    }
}

/// Tell the page when another program has written to the job; end where nobody looks any more and no terminal could.
async fn watch(app: Arc<AppState>, ends_alone: bool) {
    let (mut seen, mut looked_at) = (None, Instant::now());
    loop {
        if app.events.has_readers() || app.orders().is_some() {
            looked_at = Instant::now();
        }
        if ends_alone && looked_at.elapsed() > ALONE {
            app.events.close();
            return;
        }
        let looked = app.clone();
        if let Ok(stamp) = tokio::task::spawn_blocking(move || looked.stamp()).await {
            if seen.as_ref().is_some_and(|seen| *seen != stamp) {
                app.events.changed();
            }
            seen = Some(stamp);
        }
        tokio::time::sleep(LOOK_EVERY).await;
    }
}
