//! What was noted at the bench, in order: marks at places, and counts of the tray.

use jiff::Timestamp;
use jiff::civil::Date;

use super::tray::Lot;
use super::work::Work;
use crate::instrument::Spot;

/// A line of the bench notes.
#[derive(Debug, Clone, PartialEq)]
pub struct Mark {
    /// Its number in the job, from 1.
    pub n: u32,
    /// When it was noted.
    pub at: Timestamp,
    /// The day, where the bench is.
    pub day: Date,
    /// The places it is about; none where it is about the whole job.
    pub spots: Vec<Spot>,
    /// What was done or seen.
    pub work: Work,
    /// Whether a later line took it back.
    pub undone: bool,
}

/// Something that changes what is known of the bench.
#[derive(Debug, Clone, PartialEq)]
pub enum Happening {
    /// A mark.
    Mark(Mark),
    /// Valves of the tray were counted.
    Counted {
        /// The lots.
        lots: Vec<Lot>,
        /// Whether the tray holds nothing else.
        whole: bool,
    },
}
