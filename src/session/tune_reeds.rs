//! Which reeds are tuned, to which target.

use super::TuneReed;
use crate::instrument::{Instrument, ReedPlace, Spot, Stroke, ValvePlace};
use crate::units::{Cents, Measured};

/// Tolerances that can be asked for, cents.
pub const TOLERANCES_CENTS: std::ops::RangeInclusive<f64> = 0.2..=50.0;

/// The reeds of these places, each once, both of a plate one after the other; a valve is none, and comes back as the error.
pub fn reeds_at(instrument: &Instrument, spots: Vec<Spot>) -> Result<Vec<ReedPlace>, ValvePlace> {
    let mut reeds: Vec<ReedPlace> = Vec::new();
    for spot in spots {
        let places = match spot {
            Spot::Reed(reed) => vec![reed],
            Spot::Plate(plate) => {
                Stroke::BOTH.map(|stroke| ReedPlace { plate: plate.clone(), stroke }).to_vec()
            }
            Spot::Valve(valve) => return Err(valve),
        };
        for place in places {
            if instrument.target(&place).is_some() && !reeds.contains(&place) {
                reeds.push(place);
            }
        }
    }
    Ok(reeds)
}

/// A reed with its target: the plan's, raised by what the bench offsets it with; `None` where the plan has no reed.
///
/// - `tolerance`: instead of the block's own.
pub fn tune_reed(
    instrument: &Instrument,
    place: &ReedPlace,
    tolerance: Option<Cents>,
    offset: Option<Measured>,
) -> Option<TuneReed> {
    let planned = instrument.target(place)?;
    let (block, _, plate) = instrument.plate(&place.plate)?;
    let reed = (*plate.reeds.on(place.stroke))?;
    let (target, doubt) = match offset {
        Some(offset) => (planned.raised_by(offset.value), offset.uncertainty),
        None => (planned, Cents::ZERO),
    };
    Some(TuneReed::new(place.clone(), reed.note, target, doubt, tolerance.unwrap_or(block.tolerance)))
}
