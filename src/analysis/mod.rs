//! Samples in, reading out: no files, devices, clock, chance or printing.

mod reading;

pub use reading::{
    Clock, CloseUp, Doubt, Expectation, NotMeasured, Opposite, OppositeExpectation, Partial, Reading,
    Refusal, SoundingReed, Tail, Warning,
};

use crate::take::Take;
use crate::units::{Cents, Hz, Measured};

/// A take that has been listened to: its pitch is known, the opposite reed has not been looked for yet.
///
/// In two halves, because the opposite reed's pitch is known only once the other stroke's take has been heard.
pub struct Heard {
    pitch: Measured,
    f0: Hz,
}

impl Heard {
    /// The sounding reed's pitch and half its 95 % interval.
    pub fn pitch(&self) -> (Hz, Cents) {
        (self.f0, self.pitch.uncertainty)
    }

    /// Look for the opposite reed and give the whole reading.
    pub fn reading(self, opposite: OppositeExpectation) -> Reading {
        let _ = opposite;
        unreachable!("the steps of the analysis follow")
    }
}

/// Listen to one take: everything but the opposite reed.
pub fn listen(take: &Take, expectation: &Expectation) -> Result<Heard, Refusal> {
    let _ = expectation;
    if take.samples.is_empty() { Err(Refusal::Empty) } else { Err(Refusal::NoTone) }
}

/// Read one take.
pub fn read(take: &Take, expectation: &Expectation) -> Result<Reading, Refusal> {
    Ok(listen(take, expectation)?.reading(expectation.opposite))
}

/// The neighbourhood of the partial in which a second tone shows best.
///
/// `second` is the tone to look at, so that two takes can be drawn alike; without it the reading's own.
pub fn close_up(take: &Take, reading: &Reading, second: Option<Cents>) -> Option<CloseUp> {
    let _ = (take, reading, second);
    None
}
