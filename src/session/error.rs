//! Why a take could not be kept.

use crate::{audio, job};

/// What stopped the recording; [`SessionError::next`] says what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// The job folder could not be written to.
    #[error(transparent)]
    Record(#[from] job::Error),
    /// The sound could not be made into a file.
    #[error(transparent)]
    Sound(#[from] audio::SoundError),
}

impl SessionError {
    /// What to do next.
    pub fn next(&self) -> String {
        match self {
            SessionError::Record(error) => error.next().to_string(),
            SessionError::Sound(error) => error.next().to_string(),
        }
    }
}
