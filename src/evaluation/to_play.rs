//! Which reeds are worth another play: their take is doubtful, or their valve is to be heard again.

use std::collections::BTreeSet;

use super::{Evaluation, PassView};
use crate::analysis::Opposite;
use crate::instrument::ReedPlace;
use crate::judgement::{Missing, Verdict};
use crate::repair::ValveVerdict;

impl PassView {
    /// The reeds with a take that gives no reading, one with warnings, one whose opposite reed a longer take would tell, or
    /// one by which their valve cannot be judged.
    pub fn doubtful_reeds(&self) -> BTreeSet<ReedPlace> {
        let readings = &self.readings.readings;
        let has_take =
            |place: &ReedPlace| readings.get(place).is_some_and(|reading| *reading != Err(Missing::NoTake));
        let unjudged =
            self.findings.valves.iter().filter(|valve| matches!(valve.verdict, Verdict::NotJudged { .. }));
        let unjudged = unjudged
            .map(|valve| ReedPlace { plate: valve.place.plate.clone(), stroke: valve.heard_on })
            .filter(has_take);
        let is_doubtful = |place: &ReedPlace| match readings.get(place) {
            Some(Ok(reading)) => {
                !reading.warnings.is_empty()
                    || matches!(reading.opposite, Opposite::Unresolved { needs: Some(_), .. })
            }
            Some(Err(missing)) => *missing != Missing::NoTake,
            None => false,
        };
        readings.keys().filter(|place| is_doubtful(place)).cloned().chain(unjudged).collect()
    }
}

impl Evaluation {
    /// By all passes and notes: the reeds that test a valve that leaks or may leak, or that was changed and not heard since.
    pub fn to_hear_again(&self) -> BTreeSet<ReedPlace> {
        use ValveVerdict::{Changed, Leaks, Suspect};
        let open =
            self.standing.valves.iter().filter(|valve| matches!(valve.state, Leaks | Suspect | Changed));
        open.map(|valve| valve.tested_by.clone()).collect()
    }
}
