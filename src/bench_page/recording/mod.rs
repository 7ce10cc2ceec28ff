//! Sound heard for the page: takes recorded, valves tested, reeds tuned. A thread of its own holds the microphone and the
//! job's lock, and sends the events; the page may be closed meanwhile.

#[cfg(feature = "mic")]
mod input_state;
#[cfg(feature = "mic")]
mod recorder;
#[cfg(feature = "mic")]
mod seal_task;
#[cfg(feature = "mic")]
mod thread;
#[cfg(feature = "mic")]
mod trial_task;
#[cfg(feature = "mic")]
mod tune_task;

#[cfg(feature = "mic")]
pub(super) use recorder::begin;
#[cfg(feature = "mic")]
pub(super) use seal_task::seal;
#[cfg(feature = "mic")]
pub(super) use trial_task::trial;
#[cfg(feature = "mic")]
pub(super) use tune_task::tune;
#[cfg(not(feature = "mic"))]
pub(super) use without_microphone::{begin, seal, trial, tune};

/// A program built without `mic` refuses all of it.
#[cfg(not(feature = "mic"))]
mod without_microphone {
    use std::path::PathBuf;
    use std::sync::Arc;

    use crate::bench_page::Error;
    use crate::bench_page::app_state::AppState;
    use crate::bench_page::recording_task::{RecordingTask, SealWish, TuneWish, Wish};

    pub fn begin(_app: &Arc<AppState>, _folder: PathBuf, _wish: Wish) -> Result<RecordingTask, Error> {
        Err(Error::NoMicrophone)
    }

    pub fn seal(_app: &Arc<AppState>, _folder: PathBuf, _wish: SealWish) -> Result<RecordingTask, Error> {
        Err(Error::NoMicrophone)
    }

    pub fn tune(_app: &Arc<AppState>, _folder: PathBuf, _wish: TuneWish) -> Result<RecordingTask, Error> {
        Err(Error::NoMicrophone)
    }

    pub fn trial(_app: &Arc<AppState>, _input: &str) -> Result<RecordingTask, Error> {
        Err(Error::NoMicrophone)
    }
}
