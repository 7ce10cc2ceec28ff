//! What a plan is.

use super::numbers::PlateNumbers;
use crate::instrument::{Bellows, Block, Instrument, Stroke, Temperament, Tuning};
use crate::repair::ValveRule;
use crate::units::{Cents, Decibels, Hz};

/// The newest format this program reads and writes, of plan and diary alike.
pub const FORMAT: i64 = 1;

/// What `plan.toml` says.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// What the job is called on page and table.
    pub title: String,
    /// What lies on the bench.
    pub instrument: Instrument,
    /// The numbers valves are cut by.
    pub valve_rule: ValveRule,
    /// The number by which each plate is known in this job, wherever it lies; empty in plans that have none.
    pub numbers: PlateNumbers,
}

impl Plan {
    /// What holds where a plan says nothing; bisonoric, so that rows of either kind can be read.
    pub(super) fn empty() -> Self {
        let tuning =
            Tuning { reference: Hz::STANDARD_A4, temperament: Temperament::EQUAL, stretch: Cents::ZERO };
        Self {
            title: String::new(),
            instrument: Instrument { bellows: Bellows::Bisonoric, tuning, blocks: Vec::new() },
            valve_rule: ValveRule::default(),
            numbers: PlateNumbers::new(),
        }
    }

    /// The same of a block.
    pub(super) fn empty_block() -> Block {
        Block {
            name: String::new(),
            outer_tongue_sounds_on: Stroke::Press,
            leak_limit: Decibels::COMMON_LEAK_LIMIT,
            tolerance: Cents::COMMON_TOLERANCE,
            rows: Vec::new(),
        }
    }
}
