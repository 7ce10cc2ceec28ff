//! Work on the bench: marks, the tray of valves, what is needed, what fits where, and what is to be done next.
//!
//! Pure: no files and no clock. The record keeps what was noted, the report draws what is worked out here.

mod bench;
mod count_check;
mod fitting;
mod instrument_pitch;
mod length;
mod mark;
mod matching;
mod need;
mod next_list;
mod order;
mod out_of_order;
mod rule;
mod sizes;
mod standing;
mod status;
mod tray;
mod work;
mod work_list;
mod work_place;

pub use bench::{Bench, FaceState, PlateState, ValveState};
pub use count_check::{CountCheck, Difference, Totals, check};
pub use fitting::{Choice, FittedNeed, Fitting, Strip, fit, lot_words};
pub use instrument_pitch::InstrumentPitch;
pub use length::{LengthError, MOST_COUNT, parse_count, parse_length, parse_thickness, parse_width};
pub use mark::{Happening, Mark};
pub use matching::{Cost, assign};
pub use need::{Basis, Need, needs, needs_now};
pub use next_list::{NextStep, StepGroup, StepKind, Tick, grouped, next_list, stage};
pub use order::{Warning, warnings};
pub use out_of_order::{OutOfOrder, out_of_order, reeds_of_work};
pub use rule::ValveRule;
pub use standing::{
    Answer, Evidence, Noted, PassEvidence, PitchEvidence, PlateLies, PlateStanding, ReedStanding, ReedState,
    Standing, TakeMoment, ValveStanding, ValveVerdict, tested_by_changed,
};
pub use status::{FaceStatus, PlateStatus, status};
pub use tray::{Condition, Lot, Tray};
pub use work::{Filing, Part, Rust, Source, Work, WorkError, is_bin_name, summed_work};
pub use work_list::{Task, TaskValve, ValveTrouble, WorkList, work_list};
