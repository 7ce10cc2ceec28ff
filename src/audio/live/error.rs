//! Why nothing can be heard, and what to do about it.

use cpal::ErrorKind;

/// What stopped the microphone; [`MicrophoneError::next`] says what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MicrophoneError {
    /// No input at all.
    #[error("no input to record from was found")]
    NoInput,
    /// No input of this name.
    #[error("no input is called `{wanted}`; there {}", listed(.there))]
    NotFound {
        /// As typed.
        wanted: String,
        /// The inputs there are.
        there: Vec<String>,
    },
    /// Part of several inputs' names.
    #[error("`{wanted}` fits {} inputs: `{}`", .fitting.len(), .fitting.join("`, `"))]
    Several {
        /// As typed.
        wanted: String,
        /// The inputs it fits.
        fitting: Vec<String>,
    },
    /// Another program has it.
    #[error("the input `{name}` is in use by another program")]
    Busy {
        /// Which input.
        name: String,
    },
    /// The system does not let us.
    #[error("the system does not allow this program to record from `{name}`")]
    NotAllowed {
        /// Which input.
        name: String,
    },
    /// Its rate or samples are not of use.
    #[error("the input `{name}` gives {what}, which cannot be used")]
    Unfit {
        /// Which input.
        name: String,
        /// What it gives.
        what: String,
    },
    /// It went away while we listened, or never gave a sound.
    #[error("the input `{name}` stopped: {how}")]
    Stopped {
        /// Which input.
        name: String,
        /// How that showed.
        how: String,
    },
    /// Anything else.
    #[error("the input `{name}` cannot be used: {detail}")]
    Failed {
        /// Which input.
        name: String,
        /// What the audio library said.
        detail: String,
    },
}

impl MicrophoneError {
    /// What to do next.
    pub fn next(&self) -> &'static str {
        match self {
            MicrophoneError::NoInput => "plug a microphone in, or check the system's sound settings",
            MicrophoneError::NotFound { .. } | MicrophoneError::Several { .. } => {
                "name one of them, or enough of it; `platenote devices` lists them"
            }
            MicrophoneError::Busy { .. } => "close the other program, or name another input",
            MicrophoneError::NotAllowed { .. } => {
                "allow it in the system's privacy settings; on Linux your user may have to be in the group `audio`"
            }
            MicrophoneError::Unfit { .. } => {
                "set the input to 48000 samples per second in the system's settings"
            }
            MicrophoneError::Stopped { .. } => "check the plug and the system's sound settings, then go on",
            MicrophoneError::Failed { .. } => {
                "try again, or name another input; `platenote devices` lists them"
            }
        }
    }

    /// From what the audio library said of the input `name`.
    pub(super) fn from_library(name: &str, error: &cpal::Error) -> Self {
        let name = name.to_owned();
        match error.kind() {
            ErrorKind::DeviceBusy => Self::Busy { name },
            ErrorKind::PermissionDenied => Self::NotAllowed { name },
            ErrorKind::DeviceNotAvailable => Self::Stopped { name, how: "it is not there".into() },
            ErrorKind::HostUnavailable => {
                Self::Stopped { name, how: "the sound server does not answer".into() }
            }
            ErrorKind::UnsupportedConfig => Self::Unfit { name, what: error.to_string() },
            _ => Self::Failed { name, detail: error.to_string() },
        }
    }
}

fn listed(there: &[String]) -> String {
    match there {
        [] => "are none".into(),
        [one] => format!("is only `{one}`"),
        all => format!("are `{}`", all.join("`, `")),
    }
}
