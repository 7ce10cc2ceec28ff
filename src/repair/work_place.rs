//! Where work can be done.

use super::work::{Work, WorkError};
use crate::instrument::{Instrument, Spot, Valve};

impl Work {
    /// Refuse only what could not be understood afterwards: work without a place, a fitted valve without its face.
    pub fn check_places(&self, instrument: &Instrument, spots: &[Spot]) -> Result<(), WorkError> {
        let needs_place = !matches!(self, Work::Note(_) | Work::Pause | Work::Soldered);
        if spots.is_empty() && needs_place {
            return Err(WorkError::NoPlace { work: self.to_string() });
        }
        let is_valve_work = matches!(
            self,
            Work::ValveOff { .. } | Work::ValveFitted { .. } | Work::ValveKept | Work::SpringFitted
        );
        for spot in spots.iter().filter(|_| is_valve_work) {
            let plate = match spot {
                Spot::Valve(_) => continue,
                Spot::Reed(reed) => &reed.plate,
                // Where the plate has one valve only, the plate's name says which; lifted off or kept may be both.
                Spot::Plate(plate) => {
                    let both = instrument.plate(plate).is_some_and(|(_, _, plate)| {
                        plate.valves.outer != Valve::None && plate.valves.inner != Valve::None
                    });
                    if !both || matches!(self, Work::ValveOff { .. } | Work::ValveKept) {
                        continue;
                    }
                    plate
                }
            };
            return Err(WorkError::NoFace { work: self.to_string(), plate: plate.to_string() });
        }
        Ok(())
    }
}
