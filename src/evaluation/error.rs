//! What can go wrong while the job's takes are gathered into findings and pages.

use std::path::PathBuf;

use crate::audio;
use crate::job;
use crate::report::ReportError;

/// Why nothing could be gathered; [`EvaluationError::next`] says what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum EvaluationError {
    /// The job folder could not be read or written.
    #[error(transparent)]
    Record(#[from] job::Error),
    /// A drawing or a page could not be made.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// A long recording could not be read.
    #[error(transparent)]
    Sound(#[from] audio::SoundError),
    /// A long recording has more channels than are taken apart.
    #[error("`{}` has {channels} channels, and up to {most} are taken apart", file.display())]
    TooManyChannels {
        /// The recording.
        file: PathBuf,
        /// As it says.
        channels: usize,
        /// So many can be taken apart.
        most: usize,
    },
    /// The plan is empty.
    #[error("the plan has no plates, so there is nothing to draw")]
    NoPlates {
        /// Where the plan is.
        plan: PathBuf,
    },
    /// The system gives no threads.
    #[error("no threads to listen with: {0}")]
    NoThreads(String),
}

impl EvaluationError {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            EvaluationError::Record(error) => error.next(),
            EvaluationError::Report(error) => error.next(),
            EvaluationError::Sound(error) => error.next().to_owned(),
            EvaluationError::TooManyChannels { .. } => {
                "export the channels with the reeds as a file of their own".into()
            }
            EvaluationError::NoPlates { plan } => {
                format!("list the notes of each row in `{}`", plan.display())
            }
            EvaluationError::NoThreads(_) => "close other programs and try again".into(),
        }
    }
}
