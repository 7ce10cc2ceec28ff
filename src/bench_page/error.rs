//! Why the bench page cannot be shown, or something on it cannot be done.

use std::io;

use crate::instrument::PlaceError;
use crate::repair::{LengthError, WorkError};
use crate::report::ReportError;
use crate::{evaluation, job, session};

/// What stopped it; [`Error::next`] says what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// No address of this computer's own could be had.
    #[error("no port of this computer's own could be opened: {0}")]
    Port(io::Error),
    /// The system gives no chance numbers.
    #[error("the system gives no chance numbers, so the page cannot be kept from others: {0}")]
    Chance(String),
    /// The server could not go on.
    #[error("the page could not be served: {0}")]
    Server(io::Error),
    /// Neither a job nor a folder.
    #[error("`{0}` is no folder")]
    NoFolder(String),
    /// No job is chosen yet.
    #[error("no job is chosen")]
    NoJob,
    /// No job of the list.
    #[error("`{0}` is none of the jobs that can be opened")]
    NoSuchJob(String),
    /// The name of a new job is not plain.
    #[error("`{0}` cannot name a job")]
    JobName(String),
    /// No template of that name.
    #[error("there is no template `{0}`")]
    NoTemplate(String),
    /// Recording goes on, and this would get in its way.
    #[error("takes are being recorded")]
    Recording,
    /// Nothing is recorded, so there is nothing to be told.
    #[error("nothing is being recorded")]
    NotRecording,
    /// Nothing waits to be kept.
    #[error("no note of another pitch waits to be kept there")]
    NothingHeld,
    /// Every reed has its take.
    #[error("nothing is due in pass `{0}`")]
    NothingDue(String),
    /// A number that is no temperature.
    #[error("`{0}` is no room temperature")]
    Temperature(String),
    /// The plan was changed beside the page.
    #[error("plan.toml was changed by another program since the page showed it")]
    PlanChanged,
    /// No picture that browsers show.
    #[error("that is no photo in JPEG, PNG or WebP, whatever its name says")]
    NoPhoto,
    /// The program has no microphone.
    #[error("this program was built without recording")]
    NoMicrophone,
    /// The job folder.
    #[error(transparent)]
    Record(#[from] job::Error),
    /// Findings and pages.
    #[error(transparent)]
    Gathering(#[from] evaluation::EvaluationError),
    /// Takes.
    #[error(transparent)]
    Session(#[from] session::SessionError),
    /// The input.
    #[cfg(feature = "mic")]
    #[error(transparent)]
    Microphone(#[from] crate::audio::MicrophoneError),
    /// A drawing.
    #[error(transparent)]
    Report(#[from] ReportError),
    /// A place.
    #[error(transparent)]
    Place(#[from] PlaceError),
    /// A mark.
    #[error(transparent)]
    Work(#[from] WorkError),
    /// A length.
    #[error(transparent)]
    Length(#[from] LengthError),
    /// Something that wants a plain yes first.
    #[error("{0}")]
    Ask(String),
    /// A word that is none of a few.
    #[error("{0}")]
    Word(String),
}

impl Error {
    /// What to do about it.
    pub fn next(&self) -> String {
        match self {
            Error::Port(_) | Error::Chance(_) | Error::Server(_) => {
                "close other programs, and try again".into()
            }
            Error::NoFolder(_) => "give the folder of a job, or one that holds jobs".into(),
            Error::NoJob => "choose a job or make one".into(),
            Error::JobName(_) => {
                "use up to 80 letters, digits, spaces, `_` and `-`, without / \\ : * ? \" < > |".into()
            }
            Error::NoSuchJob(_) => "choose one of the list, or start the program with its folder".into(),
            Error::NoTemplate(_) => "choose one of the list".into(),
            Error::Recording => "stop recording first".into(),
            Error::NotRecording => "begin a pass on the page `Record`".into(),
            Error::NothingHeld => "play on".into(),
            Error::NothingDue(_) => "name another pass, or choose which reeds are played".into(),
            Error::Temperature(_) => "write degrees Celsius from -40 to 60, or leave it empty".into(),
            Error::PlanChanged => {
                "load the plan again; what you typed is still on the page to be copied".into()
            }
            Error::NoPhoto => {
                "save it as one of these; a telephone's HEIC photos are saved as JPEG by its own gallery".into()
            }
            Error::NoMicrophone => "build it with its default features: `cargo build --release`".into(),
            Error::Record(error) => error.next(),
            Error::Gathering(error) => error.next(),
            Error::Session(error) => error.next(),
            #[cfg(feature = "mic")]
            Error::Microphone(error) => error.next().to_owned(),
            Error::Report(error) => error.next(),
            Error::Place(error) => error.next(),
            // In the words of the page, which offers them in its field.
            Error::Work(WorkError::Unknown { .. } | WorkError::Nothing) => {
                "choose one of the words that the field offers, or write `note` before anything else; a photo has a form of its own".into()
            }
            Error::Work(error) => error.next(),
            Error::Length(error) => error.next(),
            Error::Ask(_) => "nothing was changed".into(),
            Error::Word(_) => "correct it and try again".into(),
        }
    }
}
