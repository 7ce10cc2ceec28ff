//! One long recording taken apart into its notes: sound goes in a piece at a time, notes come out, and what was none.
//!
//! Pure: no files, no job, no plan. Nothing grows with the length of the recording.

mod channel;
mod cuts;
mod decimator;
mod detection;
pub(crate) mod level;
mod segmenter;
mod splitter;
mod tone;

pub use cuts::Cuts;
pub use detection::{Completeness, Detection, DetectionKind, NoNote, Note};
pub use splitter::{LEVEL_STEP_S, MOST_CHANNELS, Splitter};
