//! The pages people read: the restorer's report, the hand-over sheet and the long recording, each one self-contained file.
//!
//! Nothing is fetched: style, drawings and sound are in the file. Text of the user's is escaped by the template library.

mod book;
mod dossier;
mod frame;
mod history;
mod long_recording;
mod map;
mod method;
mod owner;
mod photos;
mod plate_tables;
mod plates;
mod report;
mod todo;
mod tuning;

pub use dossier::{Clip, Dossier, NotedPhoto};
pub use long_recording::long_recording_page;
pub use owner::hand_over_page;
pub use report::report_page;
