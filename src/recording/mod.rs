//! Recording at the bench: which reed is due, when its take begins and ends, and what becomes of it.
//!
//! No device and no key is named here: sound and words go in, what happened comes out, so that a terminal, a page and
//! a test can all sit in front of it.

mod agenda;
#[cfg(feature = "mic")]
mod clock;
mod cutter;
mod error;
mod known;
mod live;
mod meter;
mod need;
mod note;
mod said;
mod session;
mod tone;
pub mod words;

pub use agenda::{Agenda, Order, reeds_in, still_due};
#[cfg(feature = "mic")]
pub use clock::clock_of_input;
pub use cutter::{Cut, Cutter, Piece, PieceEnd};
pub use error::Error;
pub use live::{Live, Now};
pub use need::{Need, steady_need};
pub use said::{Due, OtherReed, Said, Snapshot, Taken};
pub use session::{Session, Setting};
pub use tone::{ToneError, clock_against};
