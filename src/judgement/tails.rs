//! From which level a ringing opposite reed stands out of the tails of its block.
//!
//! A tongue can be set ringing through the metal of the plate behind a perfect valve, so the tail is judged against
//! what the other plates of the block do, and more strictly than the steady tone where there is nothing to compare.

use std::collections::BTreeMap;

use super::pass::PassReadings;
use super::robust::{median, robust_scatter};
use crate::analysis::Tail;
use crate::instrument::ReedPlace;

/// Other tails of the block, below which there is no comparison.
const TAIL_NEEDS_OTHERS: usize = 8;
/// Robust standard deviations above the block's median from which a tail stands out.
const TAIL_FACTOR: f64 = 4.0;
/// And at least this far above it, dB: 3 mm² of leak instead of 1 mm² make 5 dB in the two-reed model.
const TAIL_AT_LEAST_DB: f64 = 6.0;
/// Limit without a comparison, dB. In the two-reed model a partner 10 cents off rings at -24 dB behind 3 mm² and at
/// -18 dB behind 10 mm²; stiff coupling through the plate alone (1/1000 of the tongue's stiffness) gives -24 dB.
const TAIL_ALONE_DB: f64 = -20.0;

/// The levels of all tails of a pass, by block.
pub(crate) struct TailLimits {
    levels: BTreeMap<String, Vec<(ReedPlace, f64)>>,
}

impl TailLimits {
    /// Collect the tails of `pass`. One that was quiet counts at its limit, the loudest it can have been.
    pub(crate) fn new(pass: &PassReadings) -> Self {
        let mut levels: BTreeMap<String, Vec<(ReedPlace, f64)>> = BTreeMap::new();
        for place in pass.readings.keys() {
            // The middle of a reed's takes, so that it does not matter which of them speaks for it.
            let of_reed: Vec<f64> = pass
                .takes(place)
                .filter_map(|reading| match reading.tail {
                    Tail::Heard { level, .. } => Some(level.get()),
                    Tail::Quiet { limit, .. } => Some(limit.get()),
                    Tail::NotMeasured(_) => None,
                })
                .collect();
            if let Some(level) = median(&of_reed) {
                levels.entry(place.plate.block.clone()).or_default().push((place.clone(), level));
            }
        }
        Self { levels }
    }

    /// The limit for the reed at `place`, dB, and whether it comes from the block.
    pub(crate) fn limit(&self, place: &ReedPlace) -> (f64, bool) {
        let others: Vec<f64> = self
            .levels
            .get(&place.plate.block)
            .into_iter()
            .flatten()
            .filter(|(other, _)| other != place)
            .map(|(_, level)| *level)
            .collect();
        match (median(&others), robust_scatter(&others)) {
            (Some(middle), Some(scatter)) if others.len() >= TAIL_NEEDS_OTHERS => {
                (middle + (TAIL_FACTOR * scatter).max(TAIL_AT_LEAST_DB), true)
            }
            _ => (TAIL_ALONE_DB, false),
        }
    }
}
