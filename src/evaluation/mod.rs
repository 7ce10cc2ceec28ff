//! The one door to everything that is told of a job: readings, findings, comparison, close-ups, clips, the report.
//! Joins record, audio, analysis, judgement and report, and shows nothing: command line and bench page stand in front.

mod clip;
mod clips;
mod detail;
mod error;
mod evaluate;
mod listening;
pub mod long_recording;
mod moment;
mod pitch;
mod plate;
mod sealing;
mod to_play;
mod together;
mod tuned;
mod tuning_offset;
mod view;
mod written;

pub use detail::Detail;
pub use error::EvaluationError;
pub use evaluate::{Evaluation, PassChoice};
pub use sealing::sets_of_pass;
pub use tuned::{bench_offsets, gains, goes, goes_elsewhere, worked_between};
pub use tuning_offset::{TuningOffset, tuning_offset};
pub use view::PassView;
pub use written::{Page, Reported, USUAL_SOUND_MB, Written, put, write_chart, write_report};
