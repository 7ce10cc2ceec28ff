//! What is told to every open page: sayings with numbers, which a page that was away asks for again, and how things stand
//! now, of which only the newest counts.

// Without a microphone nothing is ever recorded, and nothing is said of it.
#![cfg_attr(not(feature = "mic"), allow(dead_code))]

use std::collections::VecDeque;
use std::convert::Infallible;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use axum::response::sse::Event;
use futures_util::stream::{self, Stream};
use serde_json::{Value, json};
use tokio::sync::watch;

/// So many sayings are kept for pages that were away; a long day of takes has fewer.
const KEPT: usize = 2_000;
/// A page is told no more often.
const EVERY: Duration = Duration::from_millis(60);
/// And no more seldom, so that a lost connection shows.
const AT_LEAST: Duration = Duration::from_secs(10);

/// How things stand is told again after so long, changed or not.
const TOLD_AGAIN: Duration = Duration::from_secs(1);
/// A page that lost the connection tries again after so long.
const RETRY: Duration = Duration::from_millis(700);

/// The board all pages read from.
pub(super) struct EventStream {
    board: Mutex<Board>,
    version: watch::Sender<u64>,
    is_closed: watch::Sender<bool>,
}

#[derive(Default)]
struct Board {
    /// Number and saying, the newest last.
    said: VecDeque<(u64, Value)>,
    count: u64,
    now: Value,
    changes: u64,
}

impl Default for EventStream {
    fn default() -> Self {
        Self { board: Mutex::default(), version: watch::Sender::new(0), is_closed: watch::Sender::new(false) }
    }
}

impl EventStream {
    /// Say something that every page must hear.
    pub fn say(&self, saying: Value) {
        let mut board = self.board();
        board.count += 1;
        let n = board.count;
        board.said.push_back((n, saying));
        while board.said.len() > KEPT {
            board.said.pop_front();
        }
        drop(board);
        self.tell();
    }

    /// How the recording stands now; `null` when there is none.
    pub fn stands(&self, now: Value) {
        self.board().now = now;
        self.tell();
    }

    /// Something in the job has changed.
    pub fn changed(&self) {
        self.board().changes += 1;
        self.tell();
    }

    /// Whether a page listens.
    pub fn has_readers(&self) -> bool {
        self.version.receiver_count() > 0
    }

    /// Let the program end.
    pub fn close(&self) {
        self.is_closed.send_replace(true);
    }

    /// Wait until it is to end.
    pub async fn closed(&self) {
        let mut closed = self.is_closed.subscribe();
        // The sender lives as long as this does.
        let _ = closed.wait_for(|closed| *closed).await;
    }

    /// Everything after the saying numbered `heard`, then what comes.
    pub fn stream(self: &Arc<Self>, heard: u64) -> impl Stream<Item = Result<Event, Infallible>> + use<> {
        let reader = Reader {
            events: self.clone(),
            versions: self.version.subscribe(),
            heard,
            waiting: VecDeque::new(),
            changes: None,
            now: None,
            told: Instant::now(),
        };
        stream::unfold(reader, |mut reader| async move {
            loop {
                if let Some(event) = reader.waiting.pop_front() {
                    return Some((Ok(event), reader));
                }
                reader.gather();
                if reader.waiting.is_empty() {
                    let more = tokio::time::timeout(AT_LEAST, reader.versions.changed()).await;
                    if more.is_err() {
                        reader.waiting.push_back(Event::default().comment("here"));
                    } else {
                        tokio::time::sleep(EVERY).await;
                    }
                }
            }
        })
    }

    fn tell(&self) {
        self.version.send_modify(|version| *version += 1);
    }

    fn board(&self) -> MutexGuard<'_, Board> {
        self.board.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// One page's place on the board.
struct Reader {
    events: Arc<EventStream>,
    versions: watch::Receiver<u64>,
    heard: u64,
    waiting: VecDeque<Event>,
    changes: Option<u64>,
    now: Option<Value>,
    /// When `now` was told last.
    told: Instant,
}

impl Reader {
    fn gather(&mut self) {
        self.versions.mark_unchanged();
        let board = self.events.board();
        // A number from an earlier run of the program stands for nothing heard.
        if self.heard > board.count {
            self.heard = 0;
        }
        for (n, saying) in board.said.iter().filter(|(n, _)| *n > self.heard) {
            self.waiting.push_back(Event::default().event("said").id(n.to_string()).data(saying.to_string()));
        }
        self.heard = board.count;
        // The same again is told too: a page takes what no longer comes for lost.
        let is_stale = !board.now.is_null() && self.told.elapsed() >= TOLD_AGAIN;
        if self.now.as_ref() != Some(&board.now) || is_stale {
            self.told = Instant::now();
            self.now = Some(board.now.clone());
            self.waiting.push_back(Event::default().event("now").data(board.now.to_string()));
        }
        if self.changes != Some(board.changes) {
            let event = Event::default().event("job").data(json!(board.changes).to_string());
            let is_first = self.changes.replace(board.changes).is_none();
            self.waiting.push_back(if is_first { event.retry(RETRY) } else { event });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use futures_util::StreamExt;

    fn heard(events: &Arc<EventStream>, after: u64, count: usize) -> Vec<String> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        runtime.block_on(async {
            let events: Vec<_> = events.stream(after).take(count).collect().await;
            events.into_iter().map(|event| format!("{:?}", event.unwrap())).collect()
        })
    }

    #[test]
    fn a_page_that_was_away_hears_what_it_missed_and_how_things_stand() {
        let events = Arc::new(EventStream::default());
        for n in 1..=3 {
            events.say(json!({ "take": n }));
        }
        events.stands(json!({"place": "A1 press"}));
        let all = heard(&events, 0, 5);
        assert!((0..3).all(|n| all[n].contains(&format!("{{\\\"take\\\":{}}}", n + 1))), "{all:?}");
        assert!(all[3].contains("A1 press"), "{all:?}");
        let later = heard(&events, 2, 2);
        assert!(later[0].contains("{\\\"take\\\":3}") && later[1].contains("A1 press"), "{later:?}");
        // A number of another run: everything is told.
        assert!(heard(&events, 99, 1)[0].contains("{\\\"take\\\":1}"));
    }
}
