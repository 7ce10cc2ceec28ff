//! A place out of the pitch, where the block's notes leave no doubt.

use super::{NotPlaced, listed};
use crate::instrument::{Block, Instrument, ReedPlace, Stroke};
use crate::units::{Cents, Hz};

/// A sound is placed on a reed whose target lies at most this far from its pitch, cents. Our own choice: with a
/// semitone to the next note it leaves that one at least [`CLEARANCE`] farther off.
pub const NEAREST: f64 = 35.0;
/// And only when every other reed lies this much farther off, cents.
pub const CLEARANCE: f64 = 30.0;

/// A reed the pitch may belong to.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The reed.
    pub place: ReedPlace,
    /// How far the pitch lies above its target.
    pub deviation: Cents,
}

/// The one reed a pitch belongs to, of all those of `stroke` in `block` (of any where `None`).
///
/// In a unisonoric instrument the stroke must be given, since both reeds of a plate have one note.
///
/// Source: our own rule.
pub fn place_by_pitch(
    pitch: Hz,
    block: Option<&Block>,
    stroke: Option<Stroke>,
    instrument: &Instrument,
) -> Result<Candidate, NotPlaced> {
    let mut candidates: Vec<Candidate> = instrument
        .reeds()
        .filter(|(place, _)| block.is_none_or(|block| block.name == place.plate.block))
        .filter(|(place, _)| stroke.is_none_or(|stroke| stroke == place.stroke))
        .filter_map(|(place, _)| {
            let deviation = pitch.cents_above(instrument.target(&place)?);
            Some(Candidate { place, deviation })
        })
        .collect();
    // Stable, so that equally near reeds keep the plan's order.
    candidates.sort_by(|a, b| a.deviation.abs().get().total_cmp(&b.deviation.abs().get()));
    let Some(nearest) = candidates.first().cloned() else { return Err(NotPlaced::NoReeds) };
    let distance = nearest.deviation.abs().get();
    if distance > NEAREST {
        return Err(NotPlaced::NoneNear {
            pitch_hz: pitch.get(),
            place: nearest.place.to_string(),
            cents: nearest.deviation.get(),
        });
    }
    let near: Vec<&Candidate> =
        candidates.iter().take_while(|other| other.deviation.abs().get() < distance + CLEARANCE).collect();
    if near.len() > 1 {
        let places = listed(near.iter().map(|other| other.place.to_string()));
        return Err(NotPlaced::SeveralNear { pitch_hz: pitch.get(), places });
    }
    Ok(nearest)
}
