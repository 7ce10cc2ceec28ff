//! Recording at the bench: which reed is due, when its take begins and ends, and what becomes of it.
//!
//! Sound and words go in, what happened comes out, so that a terminal, a page and a test can all sit in front of it. Only
//! the loop that plays a session with a microphone knows a device, and none knows a key.

mod agenda;
#[cfg(feature = "mic")]
mod clock;
mod command;
mod cutter;
mod error;
mod event;
mod follow;
mod guided;
mod listener;
mod live;
mod need;
mod note;
mod pitch_cache;
#[cfg(feature = "mic")]
mod play;
pub mod seal_words;
mod sealing_test;
mod tone;
mod tune_reeds;
pub mod tune_words;
mod tuning;
pub mod words;

pub use agenda::{Agenda, Sequence, reeds_in, still_due};
#[cfg(feature = "mic")]
pub use clock::clock_of_input;
pub use command::Command;
pub use cutter::{Cut, Cutter, Piece, PieceEnd};
pub use error::SessionError;
pub use event::{Due, OtherReed, SessionEvent, Snapshot, Taken};
pub use follow::{Follow, FollowEvent, Played};
pub use guided::{Session, Setting};
pub use live::{Live, LiveState};
pub use need::{Need, steady_need};
#[cfg(feature = "mic")]
pub use play::{Front, play};
pub use sealing_test::{NAME_A_VALVE, SealSaid, SealingTest, reed_that_tests};
pub use tone::{ToneError, clock_against};
pub use tune_reeds::{TOLERANCES_CENTS, reeds_at, tune_reed};
pub use tuning::{Stands, TuneNow, TunePlay, TuneReed, TuneSaid, TuneSetting, Tuning};
