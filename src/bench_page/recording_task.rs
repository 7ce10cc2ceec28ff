//! A recording task as the rest of the page knows it: its commands and its end. What runs in its thread is in `recording`.

// Without a microphone there is never a task, and what it would be told is still understood.
#![cfg_attr(not(feature = "mic"), allow(dead_code))]

use std::sync::mpsc::Sender;
use std::thread::JoinHandle;

use crate::job::JobWriter;
use crate::repair::Part;
use crate::session::Command;

/// Something to be done on a job by whoever holds it.
pub(super) type Writing = Box<dyn FnOnce(&mut JobWriter) + Send>;

/// A command only the page sends to a task.
pub(super) enum Own {
    /// Write to the job.
    Write(Writing),
    /// Take the last go with the file back.
    Undo,
    /// A go that the pitch did not tell of, or told otherwise: so many strokes there.
    Filed(Part, u32),
}

/// A command of the page to a task.
pub(super) type RecordingCommand = Command<Own>;

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

/// A sealing test, as the page says it.
#[derive(Debug, Clone, serde::Deserialize)]
pub(super) struct SealWish {
    /// The valve, or the reed that tests it: `B3 inner`.
    pub valve: String,
    /// The pass its plays are kept in.
    pub pass: String,
    /// Open it even where its name is one letter from that of another.
    #[serde(default)]
    pub yes: bool,
    /// `held`, `swell`, or empty to be told from the sound.
    #[serde(default)]
    pub blown: String,
    /// Name or id of the input.
    #[serde(default)]
    pub input: String,
}

/// Reeds to be tuned, as the page says it.
#[derive(Debug, Clone, serde::Deserialize)]
pub(super) struct TuneWish {
    /// Reeds or plates; empty for all that are off their pitch.
    #[serde(default)]
    pub places: String,
    /// Who files.
    #[serde(default)]
    pub by: String,
    /// With what.
    #[serde(default)]
    pub tool: String,
    /// Cents, as typed, instead of the plan's.
    #[serde(default)]
    pub tolerance: String,
    /// The pass that plays are kept in as takes; empty for none.
    #[serde(default)]
    pub keep: String,
    /// Name or id of the input.
    #[serde(default)]
    pub input: String,
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
