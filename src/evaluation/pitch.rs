//! The pitch of the instrument as a whole: what its A4 stands at.

use super::PassView;
use crate::instrument::Instrument;
use crate::judgement::robust::median;
use crate::repair::InstrumentPitch;
use crate::units::Cents;

/// So many reeds tell it, not fewer: the median of three withstands one reed far off.
const LEAST_REEDS: usize = 3;

/// `None` where too few reeds were measured. Reeds that may be of another plate do not count.
pub(super) fn instrument_pitch(instrument: &Instrument, view: &PassView) -> Option<InstrumentPitch> {
    let pitches = view.findings.reeds.iter().filter_map(|reed| reed.pitch.as_ref().ok());
    let offs: Vec<f64> =
        pitches.filter(|pitch| pitch.tune.is_some()).map(|pitch| pitch.deviation.value.get()).collect();
    if offs.len() < LEAST_REEDS {
        return None;
    }
    let a4 = instrument.tuning.reference.raised_by(Cents::new(median(&offs)?)?);
    let facts = view.facts.as_ref()?;
    Some(InstrumentPitch { pass: facts.pass.clone(), date: facts.date.clone(), a4, n_reeds: offs.len() })
}
