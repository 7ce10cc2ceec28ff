//! How a verb ends: the exit codes, and an error with what to do next.

use std::io::Write;
use std::process::ExitCode;

use crate::{audio, evaluation, instrument, job, repair, session};

/// How the program ended; the numbers are part of its interface.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ended {
    /// Everything that was asked is done.
    Done = 0,
    /// Something could not be done, or a check found something wrong; the rest is done.
    CouldNot = 1,
    /// The arguments make no sense together; nothing was touched. clap ends with the same number.
    BadUsage = 2,
}

/// Why a verb stopped, for the person who typed it.
#[derive(Debug)]
pub(crate) struct Failure {
    ended: Ended,
    what: String,
    next: Option<String>,
}

impl Failure {
    /// It could not be done: what was found and wanted, and what to do next.
    pub(crate) fn could_not(what: impl Into<String>, next: impl Into<String>) -> Self {
        Self { ended: Ended::CouldNot, what: what.into(), next: Some(next.into()) }
    }

    /// The arguments make no sense together.
    pub(crate) fn bad_usage(what: impl Into<String>, next: impl Into<String>) -> Self {
        Self { ended: Ended::BadUsage, what: what.into(), next: Some(next.into()) }
    }

    /// The reader of stdout has gone (`… | head`): nothing is left to say, and nothing is wrong.
    pub(crate) fn reader_gone() -> Self {
        Self { ended: Ended::Done, what: String::new(), next: None }
    }

    /// Whether it only says that the reader of stdout has gone.
    pub(crate) fn is_reader_gone(&self) -> bool {
        self.what.is_empty()
    }

    /// What was found and wanted.
    pub(crate) fn what(&self) -> &str {
        &self.what
    }

    /// What to do next.
    pub(crate) fn next(&self) -> Option<&str> {
        self.next.as_deref()
    }

    /// Print `error: …` and `next:  …` to stderr, and say with which code to end.
    pub(crate) fn print(&self) -> Ended {
        if !self.what.is_empty() {
            print_error(&self.what, self.next.as_deref());
        }
        self.ended
    }
}

/// Print one `error: …` with its `next:  …` and go on; for verbs that do the rest before they end.
pub(crate) fn print_error(what: &str, next: Option<&str>) {
    let mut text = format!("error: {what}\n");
    if let Some(next) = next {
        text += &format!("next:  {next}\n");
    }
    // A closed stderr leaves nobody to tell; the exit code still does.
    let _ = std::io::stderr().lock().write_all(super::plain_text::plain(&text).as_bytes());
}

impl From<job::Error> for Failure {
    fn from(error: job::Error) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}

impl From<session::SessionError> for Failure {
    fn from(error: session::SessionError) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}

impl From<evaluation::EvaluationError> for Failure {
    fn from(error: evaluation::EvaluationError) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}

impl From<audio::SoundError> for Failure {
    fn from(error: audio::SoundError) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}

impl From<instrument::PlaceError> for Failure {
    fn from(error: instrument::PlaceError) -> Self {
        Self::could_not(error.to_string(), error.next())
    }
}

impl From<repair::WorkError> for Failure {
    fn from(error: repair::WorkError) -> Self {
        Self::bad_usage(error.to_string(), error.next())
    }
}

impl From<repair::LengthError> for Failure {
    fn from(error: repair::LengthError) -> Self {
        Self::bad_usage(error.to_string(), error.next())
    }
}

impl From<Ended> for ExitCode {
    fn from(ended: Ended) -> Self {
        ExitCode::from(ended as u8)
    }
}
