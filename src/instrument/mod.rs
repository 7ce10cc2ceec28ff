//! What lies on the bench: note, tuning, block, row, plate, reed, valve, stroke, face. Plain data and rules, no files.

mod block;
mod naming;
mod note;
mod place;
mod tuning;

pub use block::{Bellows, Block, Instrument, Material, PerFace, PerStroke, Plate, Reed, Row, Valve};
pub use naming::{PlaceError, Spot};
pub use note::Note;
pub use place::{Face, PlatePlace, ReedPlace, Stroke, ValvePlace};
pub use tuning::{Temperament, Tremolo, Tuning};
