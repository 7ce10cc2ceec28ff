//! What a pass brings to the judgement: where and how warm it was, and a reading or a reason for each reed.

use std::collections::BTreeMap;

use super::sealing::SealingFinding;
use crate::analysis::{Reading, Refusal};
use crate::instrument::ReedPlace;

/// The readings of one pass, with what is known of its circumstances.
#[derive(Debug, Clone, PartialEq)]
pub struct PassReadings {
    /// The pass's name.
    pub name: String,
    /// Room temperature, °C, where it was written down.
    pub temperature_c: Option<f64>,
    /// Where the block lay, where it was written down.
    pub measured_at: Option<MeasuredAt>,
    /// What the take that speaks for each reed told; a reed that is not listed has no take.
    pub readings: BTreeMap<ReedPlace, Result<Reading, Missing>>,
    /// The sealing tests made in this pass, each with its verdict.
    pub sealings: Vec<SealingFinding>,
    /// What the other good takes of a reed told.
    pub further: BTreeMap<ReedPlace, Vec<Reading>>,
}

impl PassReadings {
    /// Every good take of a reed, the one that speaks first.
    pub fn takes(&self, place: &ReedPlace) -> impl Iterator<Item = &Reading> {
        let speaks = self.readings.get(place).and_then(|reading| reading.as_ref().ok());
        let further = self.further.get(place).into_iter().flatten();
        speaks.into_iter().chain(further.filter(move |_| speaks.is_some()))
    }
}

/// Where a block lies while it is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MeasuredAt {
    /// In the instrument.
    Instrument,
    /// On a test bench.
    Bench,
}

/// Why a reed has no reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Missing {
    /// Nothing was recorded.
    #[error("no take in this pass")]
    NoTake,
    /// The take was heard and gives no reading.
    #[error("{0}")]
    Refused(Refusal),
    /// The take's file cannot be read.
    #[error("{0}")]
    Unreadable(String),
}
