//! From the job's takes to what is told of them: a pass listened to, two passes held side by side, the report written.
//! Joins record, audio, analysis, judgement and report, and shows nothing: command line and bench page stand in front.

mod both;
mod clips;
mod close_ups;
mod error;
mod pass;
mod sealing;
mod standing;
mod written;

pub use both::Gathered;
pub use error::Error;
pub use pass::{HeardPass, listen};
pub use sealing::sets_of_pass;
pub use standing::{Standing, standing};
pub use written::{Page, Reported, USUAL_SOUND_MB, Written, put, write_chart, write_report};
