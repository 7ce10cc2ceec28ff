//! A task: takes recorded for the page. A thread of its own holds the microphone, the session and the job's lock, and
//! tells the events; the page may be closed meanwhile.

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
    thread: JoinHandle<()>,
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

#[cfg(not(feature = "mic"))]
pub(super) fn begin(
    _desk: &std::sync::Arc<super::app_state::AppState>,
    _folder: std::path::PathBuf,
    _wish: Wish,
) -> Result<RecordingTask, super::Error> {
    Err(super::Error::NoMicrophone)
}

#[cfg(not(feature = "mic"))]
pub(super) fn trial(
    _app: &std::sync::Arc<super::app_state::AppState>,
    _input: &str,
) -> Result<RecordingTask, super::Error> {
    Err(super::Error::NoMicrophone)
}

#[cfg(feature = "mic")]
pub(super) use with_microphone::{begin, trial};

#[cfg(feature = "mic")]
#[path = "recording_task_mic.rs"]
mod with_microphone;

#[cfg(feature = "mic")]
mod input_state;
#[cfg(feature = "mic")]
mod trial_task;
