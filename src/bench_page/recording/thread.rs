//! What a sealing test and the tuning of reeds share: their thread, how they end, and what they said last.

use std::sync::Arc;
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::bench_page::Error;
use crate::bench_page::app_state::AppState;
use crate::bench_page::recording_task::{RecordingCommand, RecordingTask};
use crate::report::figures;

/// The page is told how things stand so often: enough for a meter.
const EVERY: Duration = Duration::from_millis(80);
/// The clip mark stays so long.
const CLIP_STAYS: Duration = Duration::from_secs(2);

/// What a task with a microphone tells of itself.
pub(super) struct Teller {
    pub app: Arc<AppState>,
    pub orders: Receiver<RecordingCommand>,
    said: Vec<String>,
    count: u64,
    told: Instant,
    clipped: Option<Instant>,
}

impl Teller {
    /// Say something that stays on the screen until the next word, and is spoken where calls are.
    pub fn say(&mut self, lines: Vec<String>) {
        if !lines.is_empty() {
            self.said = lines.iter().map(|line| figures(line)).collect();
            self.count += 1;
        }
    }

    /// What was said last, with its number.
    pub fn said(&self) -> Value {
        json!({"n": self.count, "lines": self.said})
    }

    /// Whether it is time to tell how things stand.
    pub fn is_due(&mut self) -> bool {
        let is_due = self.told.elapsed() >= EVERY;
        if is_due {
            self.told = Instant::now();
        }
        is_due
    }

    /// Whether the clip mark is lit.
    pub fn is_clipped(&mut self, was_clipped: bool) -> bool {
        if was_clipped {
            self.clipped = Some(Instant::now());
        }
        self.clipped.is_some_and(|since| since.elapsed() < CLIP_STAYS)
    }
}

/// Run `play` in a thread of its own; its last words are told when it ends.
pub(super) fn spawn(
    app: &Arc<AppState>,
    name: &str,
    play: impl FnOnce(&mut Teller) -> Result<Vec<String>, Error> + Send + 'static,
) -> Result<RecordingTask, Error> {
    let (orders, ordered) = channel();
    let app = app.clone();
    let run = move || {
        let told = app.clone();
        let mut teller =
            Teller { app, orders: ordered, said: Vec::new(), count: 0, told: Instant::now(), clipped: None };
        let saying = match play(&mut teller) {
            Ok(lines) => {
                let lines: Vec<String> = lines.iter().map(|line| figures(line)).collect();
                json!({"kind": "stood", "said": lines.first(), "more": lines.get(1..)})
            }
            Err(error) => json!({"kind": "stood", "next": error.next(), "error":
                format!("{error}; what was played so far is stored")}),
        };
        told.events.say(saying);
        told.events.stands(Value::Null);
        told.events.changed();
    };
    let thread = std::thread::Builder::new().name(name.into()).spawn(run).map_err(Error::Server)?;
    Ok(RecordingTask { orders, holds_job: true, thread })
}
