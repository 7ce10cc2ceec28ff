//! Live sound: from the callback through a ring to the one who listens, with every loss noticed.
//!
//! The audio library does not say all that goes wrong, so nothing here relies on its word alone: a reader that waits in
//! vain says so, what arrives is held against the time stamps, and exact zeros are pointed out.

mod device;
mod error;
mod microphone;
mod ring;
mod watch;

pub use device::{Input, inputs};
pub use error::MicrophoneError;
pub use microphone::{Incident, Microphone};
