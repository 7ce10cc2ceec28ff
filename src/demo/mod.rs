//! An invented job to try the program on: a small block, what is wrong with it, and how it sounds in two passes.
//!
//! Workshop, instrument and faults are made up. The sound comes from a few lines of physics and a fixed seed, so every
//! machine makes the same takes; nothing here is known to the analysis.

mod chance;
mod make;
mod sound;
mod story;

use rayon::prelude::*;

use crate::instrument::{Instrument, ReedPlace};
use crate::take::Take;

pub use make::make;
pub use story::{DemoPass, PASSES, PLAN, WHAT_IS_WRONG};

/// The takes of one pass, in the plan's order; one reed has none, as happens at the bench.
///
/// - `instrument`: as [`PLAN`] describes it; reeds of another plan are left out.
pub fn takes(instrument: &Instrument, pass: &DemoPass) -> Vec<(ReedPlace, Take)> {
    let reeds: Vec<ReedPlace> = instrument.reeds().map(|(place, _)| place).collect();
    let sounding = |place: ReedPlace| {
        let sounding = story::sounding(instrument, pass, &place)?;
        Some((place, sound::take(&sounding)))
    };
    reeds.into_par_iter().filter_map(sounding).collect()
}

/// The plays of the sealing test the story has in a pass, in order, each with whether it is sealed.
pub fn seal_plays(instrument: &Instrument, pass: &DemoPass) -> Vec<(ReedPlace, bool, Take)> {
    story::seal_plays(instrument, pass)
        .into_par_iter()
        .map(|(reed, is_sealed, sounding)| (reed, is_sealed, sound::take(&sounding)))
        .collect()
}
