//! A recording task as the rest of the page knows it: its commands and its end. What runs in its thread is in `recording`.

// Without a microphone there is never a task, and what it would be told is still understood.
#![cfg_attr(not(feature = "mic"), allow(dead_code))]

use std::sync::mpsc::Sender;
use std::thread::JoinHandle;

use crate::job::JobWriter;
use crate::session::Command;

/// Something to be done on a job by whoever holds it.
pub(super) type Writing = Box<dyn FnOnce(&mut JobWriter) + Send>;

/// What the page asks of a task; a piece of writing to the job is what only the page does.
pub(super) type RecordingCommand = Command<Writing>;

/// A task that was begun.
pub(super) struct RecordingTask {
    /// Where its orders go.
    pub orders: Sender<RecordingCommand>,
    /// Whether it holds the job; a trial of the microphone does not.
    pub holds_job: bool,
    pub thread: JoinHandle<()>,
}

/// What is to be recorded, as the page says it.
#[derive(Debug, Clone, serde::Deserialize)]
pub(super) struct Wish {
    /// The pass; opened where it is not there.
    pub pass: String,
    /// Open it even where its name is one letter from that of another: that was asked, and answered yes.
    #[serde(default)]
    pub yes: bool,
    /// Name or id of the input; empty for the system's own choice.
    #[serde(default)]
    pub input: String,
    /// Room temperature, °C, as typed.
    #[serde(default)]
    pub temperature: String,
    /// Places to play instead of all that are due: `B1..B12, A1 draw`.
    #[serde(default)]
    pub places: String,
    /// Which window of the browser asks.
    #[serde(default)]
    pub window: String,
}

impl RecordingTask {
    /// Whether it has ended by itself.
    pub fn is_over(&self) -> bool {
        self.thread.is_finished()
    }

    /// End it, and wait until all is stored.
    pub fn end(self) {
        // One that is over takes no orders.
        let _ = self.orders.send(RecordingCommand::Stop);
        let _ = self.thread.join();
    }
}
