//! A long recording as takes that may be stored: listened to, placed on the plan, judged as takes.

mod known_offset;
mod proposal;
mod scan;

pub use known_offset::{KnownStanding, OffsetSource, known_offset, said_offset};
pub use proposal::{PlacedNote, Proposal, propose};
pub use scan::{ScannedRecording, scan};
