//! Takes recorded for the page. A thread of its own holds the microphone, the session and the job's lock, and sends the
//! events; the page may be closed meanwhile.

#[cfg(feature = "mic")]
mod input_state;
#[cfg(feature = "mic")]
mod recorder;
#[cfg(feature = "mic")]
mod trial_task;

#[cfg(feature = "mic")]
pub(super) use recorder::begin;
#[cfg(feature = "mic")]
pub(super) use trial_task::trial;
#[cfg(not(feature = "mic"))]
pub(super) use without_microphone::{begin, trial};

/// A program built without `mic` refuses both.
#[cfg(not(feature = "mic"))]
mod without_microphone {
    use std::path::PathBuf;
    use std::sync::Arc;

    use crate::bench_page::Error;
    use crate::bench_page::app_state::AppState;
    use crate::bench_page::recording_task::{RecordingTask, Wish};

    pub fn begin(_app: &Arc<AppState>, _folder: PathBuf, _wish: Wish) -> Result<RecordingTask, Error> {
        Err(Error::NoMicrophone)
    }

    pub fn trial(_app: &Arc<AppState>, _input: &str) -> Result<RecordingTask, Error> {
        Err(Error::NoMicrophone)
    }
}
