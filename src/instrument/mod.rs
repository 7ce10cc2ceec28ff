//! What lies on the bench: note, tuning, block, row, plate, reed, valve, stroke, face. Plain data and rules, no files.

mod block;
mod naming;
mod note;
mod note_names;
mod place;
mod plan_lines;
mod ranges;
mod tuning;
mod valve_sizes;

pub use block::{Bellows, Block, Instrument, Material, PerFace, PerStroke, Plate, Reed, Row, Valve};
pub use naming::{PlaceError, Spot};
pub use note::Note;
pub use note_names::NoteNames;
pub use place::{Face, PlatePlace, ReedPlace, Stroke, ValvePlace};
pub use plan_lines::PlanLines;
pub use ranges::place_ranges;
pub use tuning::{Temperament, Tremolo, Tuning};
pub use valve_sizes::{SizeRange, SizesAlong, ValveSizes};
